package storetest

import (
	"testing"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/roster"
	"rankwright/scoring"
)

func gradings(t *testing.T, b Base) {
	fill(t, b)
	g := someGrading()
	g.Signed, g.Signer = 20, "p1"
	full(t, g)
	write(t, b, func(tx *store.Tx) error { return tx.PutGrading(g) })
	get := func(tx *store.Tx) (store.Grading, error) { return tx.Grading(grading) }
	same(t, read(t, b, get), g)

	g.Title, g.Day, g.Place, g.Ranks, g.Theme, g.Lead = "November", g.Day+7, "New hall", nil, "", ""
	write(t, b, func(tx *store.Tx) error { return tx.PutGrading(g) })
	same(t, read(t, b, get), g)

	early := someGrading()
	early.ID, early.Day = "g9", g.Day-100
	write(t, b, func(tx *store.Tx) error { return tx.PutGrading(early) })
	same(t, read(t, b, (*store.Tx).Gradings), []store.Grading{early, g})

	early.Version = "v404"
	refused(t, b, rankwright.Invalid, "no_version", func(tx *store.Tx) error { return tx.PutGrading(early) })
}

func states(t *testing.T, b Base) {
	fill(t, b)
	move := func(id rankwright.GradingID, from, to string) func(*store.Tx) error {
		return func(tx *store.Tx) error { return tx.SetGradingState(id, from, to) }
	}
	write(t, b, move(grading, "planning", "open"))
	refused(t, b, rankwright.Conflict, "moved_on", move(grading, "planning", "open"))
	refused(t, b, rankwright.NotFound, "not_found", move("g404", "planning", "open"))
	stale := someGrading() // still "planning"
	stale.Title = "stale"
	refused(t, b, rankwright.Conflict, "moved_on", func(tx *store.Tx) error { return tx.PutGrading(stale) })
	got := read(t, b, func(tx *store.Tx) (store.Grading, error) { return tx.Grading(grading) })
	same(t, []string{got.State, got.Title}, []string{"open", "October"})
}

func panels(t *testing.T, b Base) {
	fill(t, b)
	write(t, b, func(tx *store.Tx) error { return tx.PutPerson(person("p2", "Bram Okafor")) })
	want := []store.Examiner{{Grading: grading, Person: "p1", HighestRank: "blue"}, {Grading: grading, Person: "p2"}}
	full(t, want[0])
	get := func(tx *store.Tx) ([]store.Examiner, error) { return tx.Examiners(grading) }
	write(t, b, func(tx *store.Tx) error { return tx.PutExaminers(grading, []store.Examiner{want[1], want[0]}) })
	same(t, read(t, b, get), want)
	write(t, b, func(tx *store.Tx) error { return tx.PutExaminers(grading, want[1:]) })
	same(t, read(t, b, get), want[1:])
	refused(t, b, rankwright.Conflict, "in_use", func(tx *store.Tx) error {
		return tx.PutExaminers(grading, []store.Examiner{{Person: "p404"}})
	})
	same(t, read(t, b, get), want[1:])
}

func waivers(t *testing.T, b Base) {
	fill(t, b)
	one := store.Waiver{Grading: grading, Rank: "yellow", Requirement: "roll", Entry: "e1", Reason: "arm in a sling", By: "p1", At: 9}
	all := one
	all.Entry = ""
	full(t, one)
	get := func(tx *store.Tx) ([]store.Waiver, error) { return tx.Waivers(grading) }
	write(t, b, func(tx *store.Tx) error {
		if err := tx.AddWaiver(one); err != nil {
			return err
		}
		return tx.AddWaiver(all)
	})
	same(t, read(t, b, get), []store.Waiver{all, one})
	refused(t, b, rankwright.Conflict, "waived", func(tx *store.Tx) error { return tx.AddWaiver(one) })
	write(t, b, func(tx *store.Tx) error { return tx.RemoveWaiver(one) })
	same(t, read(t, b, get), []store.Waiver{all})
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error { return tx.RemoveWaiver(one) })
}

func entries(t *testing.T, b Base) {
	fill(t, b)
	e1, e2 := entry("e1", "s1"), entry("e2", "s2")
	full(t, e1)
	same(t, read(t, b, func(tx *store.Tx) ([]store.Entry, error) { return tx.Entries(grading) }), []store.Entry{e1, e2})
	e1.Rank, e1.Squad, e1.Presence, e1.OverruledBy, e1.OverruleWhy, e1.OverruledAt = "blue", 0, "present", "", "", 0
	write(t, b, func(tx *store.Tx) error { return tx.PutEntry(e1) })
	same(t, read(t, b, func(tx *store.Tx) (store.Entry, error) { return tx.Entry("e1") }), e1)
	same(t, read(t, b, func(tx *store.Tx) ([]store.Entry, error) { return tx.EntriesOf("s1") }), []store.Entry{e1})

	refused(t, b, rankwright.Conflict, "entered", func(tx *store.Tx) error { return tx.PutEntry(entry("e3", "s1")) })
	refused(t, b, rankwright.Conflict, "other_entry", func(tx *store.Tx) error { return tx.PutEntry(entry("e1", "s2")) })
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error { return tx.PutEntry(entry("e3", "s404")) })
	write(t, b, func(tx *store.Tx) error {
		if err := tx.AddWaiver(store.Waiver{Grading: grading, Rank: "yellow", Requirement: "roll", Entry: "e2"}); err != nil {
			return err
		}
		if err := tx.AddClearance(store.ClearanceRecord{Entry: "e2", Clearance: "consent"}); err != nil {
			return err
		}
		return tx.RemoveEntry("e2")
	})
	same(t, read(t, b, func(tx *store.Tx) ([]store.Entry, error) { return tx.Entries(grading) }), []store.Entry{e1})
	same(t, len(read(t, b, func(tx *store.Tx) ([]store.Waiver, error) { return tx.Waivers(grading) })), 0)
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error { return tx.RemoveEntry("e2") })
}

func removal(t *testing.T, b Base) {
	fill(t, b)
	write(t, b, func(tx *store.Tx) error {
		if err := tx.PutDecision(store.Decision{Entry: "e2", Outcome: "absent"}); err != nil {
			return err
		}
		if err := tx.AddClearance(store.ClearanceRecord{Entry: "e1", Clearance: "consent"}); err != nil {
			return err
		}
		_, err := tx.AppendMarks([]store.MarkRow{mark("m1", "d1", 1)})
		return err
	})
	for _, id := range []rankwright.EntryID{"e1", "e2"} {
		refused(t, b, rankwright.Conflict, "has_marks", func(tx *store.Tx) error { return tx.RemoveEntry(id) })
	}
	same(t, len(read(t, b, func(tx *store.Tx) ([]store.ClearanceRecord, error) { return tx.ClearancesOf("e1") })), 1)
}

func clearances(t *testing.T, b Base) {
	fill(t, b)
	met := store.ClearanceRecord{Entry: "e1", Clearance: "consent", Met: true, By: "p1", At: 9}
	other := store.ClearanceRecord{Entry: "e2", Clearance: "fee", Met: true, By: "p1", At: 10}
	unmet := store.ClearanceRecord{Entry: "e1", Clearance: "consent", By: "p1", At: 8} // a clock that was put back
	full(t, met)
	for _, c := range []store.ClearanceRecord{met, other, unmet} {
		write(t, b, func(tx *store.Tx) error { return tx.AddClearance(c) })
	}
	same(t, read(t, b, func(tx *store.Tx) ([]store.ClearanceRecord, error) { return tx.Clearances(grading) }),
		[]store.ClearanceRecord{met, other, unmet})
	same(t, read(t, b, func(tx *store.Tx) ([]store.ClearanceRecord, error) { return tx.ClearancesOf("e1") }),
		[]store.ClearanceRecord{met, unmet})
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error {
		return tx.AddClearance(store.ClearanceRecord{Entry: "e404", Clearance: "fee"})
	})
	keeps(t, b, `UPDATE clearances SET met = 1`)
}

func decisions(t *testing.T, b Base) {
	fill(t, b)
	d := store.Decision{Entry: "e1", Outcome: "promoted", Label: "with praise", Verdict: []byte{'{', 0, 0xff, '}'}, Override: "promoted",
		OverrideBy: "p1", OverrideWhy: "seen in class", ShowAgain: "kick", At: 30}
	full(t, d)
	get := func(tx *store.Tx) (store.Decision, error) { return tx.Decision("e1") }
	write(t, b, func(tx *store.Tx) error { return tx.PutDecision(d) })
	same(t, read(t, b, get), d)
	d = store.Decision{Entry: "e1", Outcome: "absent", Verdict: []byte{}}
	write(t, b, func(tx *store.Tx) error { return tx.PutDecision(d) })
	got := read(t, b, get)
	same(t, len(got.Verdict), 0)
	got.Verdict = d.Verdict
	same(t, got, d)
	write(t, b, func(tx *store.Tx) error { return tx.PutDecision(store.Decision{Entry: "e2", Outcome: "held"}) })
	all := read(t, b, func(tx *store.Tx) ([]store.Decision, error) { return tx.Decisions(grading) })
	same(t, []string{all[0].Outcome, all[1].Outcome}, []string{"absent", "held"})
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error { return tx.PutDecision(store.Decision{Entry: "e404"}) })
}

func absent(t *testing.T, b Base) {
	fill(t, b)
	for name, ask := range map[string]func(*store.Tx) error{
		"person":   func(tx *store.Tx) error { _, err := tx.Person("x"); return err },
		"name":     func(tx *store.Tx) error { _, err := tx.PersonByName("x"); return err },
		"token":    func(tx *store.Tx) error { _, err := tx.Token("x"); return err },
		"draft":    func(tx *store.Tx) error { _, err := tx.Draft(ladder); return err },
		"version":  func(tx *store.Tx) error { _, err := tx.Version("x"); return err },
		"student":  func(tx *store.Tx) error { _, err := tx.Student("x"); return err },
		"grading":  func(tx *store.Tx) error { _, err := tx.Grading("x"); return err },
		"entry":    func(tx *store.Tx) error { _, err := tx.Entry("x"); return err },
		"decision": func(tx *store.Tx) error { _, err := tx.Decision("e1"); return err },
	} {
		t.Run(name, func(t *testing.T) { refused(t, b, rankwright.NotFound, "not_found", ask) })
	}
	for name, n := range map[string]int{
		"entries": len(read(t, b, func(tx *store.Tx) ([]store.Entry, error) { return tx.Entries("x") })),
		"marks":   len(read(t, b, func(tx *store.Tx) ([]store.MarkRow, error) { return tx.MarksOf("x") })),
		"ledger":  len(read(t, b, (*store.Tx).Ledger)),
	} {
		if n != 0 {
			t.Errorf("an empty list of %s has %d lines", name, n)
		}
	}
}

func order(t *testing.T, b Base) {
	// In bytes of UTF-8 capitals come before small letters and both before
	// accented ones; no dictionary has it so.
	ids := []rankwright.StudentID{"A", "B", "Z", "a", "b", "z", "Ä", "é", "中"}
	write(t, b, func(tx *store.Tx) error {
		for _, i := range []int{8, 3, 0, 6, 2, 5, 7, 1, 4} {
			if err := tx.PutStudents([]roster.Student{{ID: ids[i]}}, 1); err != nil {
				return err
			}
		}
		return nil
	})
	var got []rankwright.StudentID
	for _, s := range read(t, b, (*store.Tx).Students) {
		got = append(got, s.ID)
	}
	same(t, got, ids)
}

func scripts(t *testing.T, b Base) {
	texts := []string{"Zoë", "Zoe\u0308", "Nguyễn Thị Ánh", "Αλέξης", "Юлія", "مريم", "देविका", "李小龙", "🥋\u200d", "a'b\"c\\d;--", " two  spaces\n\t", "$1 %s {{.}}"}
	write(t, b, func(tx *store.Tx) error {
		for i, s := range texts {
			if err := tx.SetSetting(s, texts[len(texts)-1-i]); err != nil {
				return err
			}
		}
		return nil
	})
	for i, s := range texts {
		same(t, read(t, b, func(tx *store.Tx) (string, error) { v, _, err := tx.Setting(s); return v, err }), texts[len(texts)-1-i])
	}
}

func noText(t *testing.T, b Base) {
	fill(t, b)
	for _, s := range []string{"a\x00b", "\xff", "\xed\xa0\x80"} {
		refused(t, b, rankwright.Invalid, "bad_text", func(tx *store.Tx) error { return tx.SetSetting("k", s) })
		bad, good := mark("m-bad", "d1", 1), mark(rankwright.MarkID("m-"+s[:0]+"good"), "d1", 1)
		bad.Note = s
		write(t, b, func(tx *store.Tx) error {
			got, err := tx.AppendMarks([]store.MarkRow{bad, good})
			if err == nil {
				same(t, []bool{got[0].Refuse != "", got[1].Refuse != ""}, []bool{true, false})
			}
			return err
		})
	}
	same(t, len(read(t, b, func(tx *store.Tx) ([]store.MarkRow, error) { return tx.MarksOf("e1") })), 1)
	same(t, scoring.NotSeen, scoring.ValueSort(0)) // the zero value is what the base keeps for "x"
}
