// Package storetest holds the one suite of tests that every database under
// package store must pass. Each test gets a base of its own.
package storetest

import (
	"context"
	"database/sql"
	"errors"
	"reflect"
	"testing"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/roster"
	"rankwright/scoring"
)

// Base is an empty base and a way behind its back.
type Base struct {
	*store.Store
	Behind *sql.DB // a second connection that does not go through the store
	// DropTrigger is the statement that drops a trigger of a table.
	DropTrigger func(trigger, table string) string
	// Schedules is how many roads of marks to the log are tried.
	Schedules int
}

// Run runs the suite; open gives a fresh base each time and closes it by
// t.Cleanup.
func Run(t *testing.T, open func(t *testing.T) Base) {
	for _, c := range []struct {
		name string
		run  func(*testing.T, Base)
	}{
		{"settings are set and set again", settings},
		{"people come back as they were put", people},
		{"a name is one active person's whatever its case", names},
		{"a one-time link works once and in time", tokens},
		{"a session lives until it ends or expires", sessions},
		{"a ladder has one draft", drafts},
		{"a published syllabus can never change", published},
		{"students and guardians come back as they were put", students},
		{"an erased student leaves an anonymous row", erased},
		{"a grading comes back as it was put", gradings},
		{"a grading moves from state to state once", states},
		{"a panel is replaced as a whole", panels},
		{"a waiver is given once and can be taken back", waivers},
		{"a student has one entry in a grading", entries},
		{"an entry with marks or a decision stays", removal},
		{"all that was said of a clearance is kept", clearances},
		{"marks come back as they were sent", marks},
		{"the same mark twice is once", repeated},
		{"a bad mark does not keep the others out", badMarks},
		{"two devices do not mix", devices},
		{"marks since a number come in order of arrival", since},
		{"marks cannot be changed or removed", immutable},
		{"a decision replaces the one before", decisions},
		{"a PIN is set and set again", pins},
		{"a device that has ended stays as it was", paired},
		{"who came is forgotten with the entry", arrivals},
		{"what a device says of its numbers never goes back", counts},
		{"the numbers that came are told across gradings, refused ones too", numbers},
		{"numbers that a device told to be of other gradings are kept once, at most a thousand rows of them", elsewhere},
		{"a refused mark stays until somebody sees to it or it is kept after all", refusals},
		{"what was accepted as missing is kept for ever", acceptances},
		{"sessions and sittings come back as they were put", sittings},
		{"what suits a household is said and said again, and goes with its last student", answers},
		{"an examiner's limits come back as they were put", limits},
		{"the stations of a grading are replaced as a whole", stations},
		{"a name is kept off the door until it is not, or the child is erased", offTheDoor},
		{"a plan is replaced as a whole and forgets an entry that is gone", plans},
		{"a time that was told only moves on", told},
		{"a family's link lives until it is withdrawn", links},
		{"what a family signed is kept for ever, its words until the child is erased", signatures},
		{"what a household asked and wrote goes with its last student", messages},
		{"of what the school wrote for a kind and language the latest counts, and all is kept", wordings},
		{"a result that is shown to the family can be taken back", shown},
		{"a household's language is said and said again, and goes with its last student", languages},
		{"translations are kept for ever, the latest first", translations},
		{"a message keeps its words until a child of the household is erased, and moves from state to state", outbox},
		{"what is known of an address and a household's way is said and unsaid", addresses},
		{"what is put onto papers is kept and replaced", paperFiles},
		{"the shelf is counted and never below none", stock},
		{"a thing of a kind is handed out once, and is forgotten with the child", handedOut},
		{"pictures come in order, get other words and go", pictures},
		{"the rank ledger is a chain", ledger},
		{"the rank ledger's chain finds tampering", ledgerTampered},
		{"the audit is a chain, read from its end", audit},
		{"the audit's chain finds tampering", auditTampered},
		{"what is not there is not found", absent},
		{"order is by bytes and not by a language", order},
		{"text of any script comes back byte for byte", scripts},
		{"text that is no text is refused", noText},
		{"an error or a panic rolls everything back", rollback},
		{"a swallowed failure is not committed", swallowed},
		{"a reading cannot write", readOnly},
		{"a reading does not see what is written meanwhile", snapshot},
		{"writers at once take turns", writers},
		{"writes gathered into one are kept or undone each by itself", gathered},
		{"whatever road marks take, each is there once", roads},
	} {
		t.Run(c.name, func(t *testing.T) { c.run(t, open(t)) })
	}
}

// fixture is what most tests need: a version, a grading and two students
// entered in it.
const (
	grading = rankwright.GradingID("g1")
	ladder  = rankwright.LadderID("juniors")
)

func fill(t *testing.T, b Base) {
	t.Helper()
	Fill(t, b.Store)
}

// Fill puts into an empty base what marks need: a grading with two entries.
func Fill(t testing.TB, s *store.Store) {
	t.Helper()
	err := s.Write(context.Background(), func(tx *store.Tx) error {
		if err := tx.PutPerson(person("p1", "Ines Calder")); err != nil {
			return err
		}
		if _, err := tx.Publish(store.Version{ID: "v1", Ladder: ladder, Name: "Autumn", Text: "ranks: []\n", Published: 5, By: "p1", Saved: 5}); err != nil {
			return err
		}
		if err := tx.PutGrading(someGrading()); err != nil {
			return err
		}
		if err := tx.PutStudents([]roster.Student{{ID: "s1", GivenName: "Oona"}, {ID: "s2", GivenName: "Teo"}}, 7); err != nil {
			return err
		}
		if err := tx.PutEntry(entry("e1", "s1")); err != nil {
			return err
		}
		return tx.PutEntry(entry("e2", "s2"))
	})
	if err != nil {
		t.Fatal(err)
	}
}

func person(id, name string) store.Person {
	return store.Person{ID: id, Name: name, Role: "owner", PasswordHash: "$argon2id$…", HighestRank: "blue", Active: true, Created: 3}
}

func someGrading() store.Grading {
	return store.Grading{ID: grading, Title: "October", Day: rankwright.MustDay("2026-10-31"), Place: "Old mill hall", Version: "v1",
		Ranks: []rankwright.RankID{"yellow", "blue"}, Theme: "respect", State: "planning", Lead: "p1", Created: 6}
}

func entry(id rankwright.EntryID, student rankwright.StudentID) store.Entry {
	return store.Entry{ID: id, Grading: grading, Student: student, Rank: "yellow", Squad: 2, Presence: "expected",
		OverruledBy: "p1", OverruleWhy: "moved here", OverruledAt: 8}
}

func mark(id rankwright.MarkID, device rankwright.DeviceID, seq int64) store.MarkRow {
	return store.MarkRow{
		Mark: scoring.Mark{ID: id, Device: device, Seq: seq, Clock: seq, Entry: "e1", Requirement: "kick", Examiner: "p1", Try: 1,
			Value: scoring.N(3), At: 1_791_000_000_123, Note: "bent knee"},
		Grading: grading, Received: 1_791_000_000_456,
	}
}

// Mark is a mark that the base takes after Fill.
func Mark(id rankwright.MarkID, device rankwright.DeviceID, seq int64) store.MarkRow {
	return mark(id, device, seq)
}

func write(t *testing.T, b Base, fn func(*store.Tx) error) {
	t.Helper()
	if err := b.Write(context.Background(), fn); err != nil {
		t.Fatalf("write: %v", err)
	}
}

// refused runs fn in a writing transaction of its own and wants a fault of the
// code; nothing stays written.
func refused(t *testing.T, b Base, kind rankwright.Kind, code string, fn func(*store.Tx) error) {
	t.Helper()
	err := b.Write(context.Background(), fn)
	var f *rankwright.Fault
	if !errors.As(err, &f) || f.Kind != kind || f.Code != code {
		t.Errorf("got %v (%T), want a fault of kind %d and code %s", err, err, kind, code)
		return
	}
	if f.Say == "" {
		t.Errorf("the fault %s says nothing", code)
	}
}

// read returns what fn reads.
func read[T any](t *testing.T, b Base, fn func(*store.Tx) (T, error)) (v T) {
	t.Helper()
	if err := b.Read(context.Background(), func(tx *store.Tx) (err error) {
		v, err = fn(tx)
		return err
	}); err != nil {
		t.Fatalf("read: %v", err)
	}
	return v
}

// keeps runs statements behind the store's back, all of which must fail.
func keeps(t *testing.T, b Base, statements ...string) {
	t.Helper()
	for _, q := range statements {
		if _, err := b.Behind.Exec(q); err == nil {
			t.Errorf("%s was allowed", q)
		}
	}
}

// tamper runs a statement that the table's triggers would refuse.
func tamper(t *testing.T, b Base, table, statement string) {
	t.Helper()
	for _, act := range []string{"UPDATE", "DELETE"} {
		// The second of two calls finds no trigger to drop.
		_, _ = b.Behind.Exec(b.DropTrigger(table+"_keep_"+act, table))
	}
	res, err := b.Behind.Exec(statement)
	if err != nil {
		t.Fatalf("%s: %v", statement, err)
	}
	if n, err := res.RowsAffected(); n == 0 || err != nil {
		t.Fatalf("%s touched %d rows: %v", statement, n, err)
	}
}

func same[T any](t *testing.T, got, want T) {
	t.Helper()
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got  %+v\nwant %+v", got, want)
	}
}

// full fails where a record of the tests leaves a field empty: a column that
// is forgotten must show.
func full(t *testing.T, record any) {
	t.Helper()
	v := reflect.ValueOf(record)
	for i := range v.NumField() {
		if v.Field(i).IsZero() {
			t.Errorf("the test's %T leaves %s empty", record, v.Type().Field(i).Name)
		}
	}
}
