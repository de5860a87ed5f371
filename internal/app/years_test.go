package app_test

import (
	"strings"
	"testing"

	"rankwright"
	"rankwright/examples"
	"rankwright/internal/app"
	"rankwright/scoring"
	"rankwright/syllabus"
)

// alone leaves one student in the grading that newDay holds.
func alone(t *testing.T) *day {
	t.Helper()
	d := newDay(t)
	d.must(d.App.Withdraw(d.Ctx(), d.Owner, d.entries["a1"]))
	d.must(d.App.Withdraw(d.Ctx(), d.Owner, d.entries["a4"]))
	return d
}

func (d *day) missing(student rankwright.StudentID) int {
	d.T.Helper()
	return len(d.outcome(student).Verdict.Missing)
}

func (d *day) sound() {
	d.T.Helper()
	found, err := d.App.Verify(d.Ctx(), d.Owner)
	d.must(err)
	if len(found.Differ) > 0 {
		d.T.Errorf("verify: %v are not as they were signed", found.Differ)
	}
}

// An absent day between a "not yet" and its retry takes nothing away.
func TestAnUnwellDayWipesNothingOut(t *testing.T) {
	d := alone(t)
	d.all("a2", map[rankwright.RequirementID]int{"RE-BF1": 1})
	d.sign()
	d.hold("Another look", "2026-11-07", "a2")
	d.must(d.App.SetPresence(d.Ctx(), d.Owner, d.entries["a2"], "unwell"))
	d.sign()
	d.hold("A third date", "2026-11-28", "a2")
	if n := d.missing("a2"); n != 2 {
		t.Errorf("%d marks are missing after the unwell day, want the fall and the coach's note", n)
	}
	if o := d.outcome("a2"); o.Case.Retries != 1 {
		t.Errorf("%d retries, want the first", o.Case.Retries)
	}
	d.sound()
}

// What the head instructor names is shown again, whatever the rule said; the
// rest stands.
func TestWhatTheHeadInstructorNamesIsShownAgain(t *testing.T) {
	d := alone(t)
	d.all("a2", nil)
	d.clear("a2", "consent", "home_note")
	d.must(d.App.Move(d.Ctx(), d.Owner, d.g, app.Deciding))
	e := d.entries["a2"]
	if err := d.App.Override(d.Ctx(), d.Owner, e, "not_yet", "the falls were not calm", []string{"no-such-thing"}); rankwright.KindOf(err) != rankwright.Invalid {
		t.Fatalf("a section that is not there was named: %v", err)
	}
	d.must(d.App.Override(d.Ctx(), d.Owner, e, "not_yet", "the falls were not calm", []string{"BF"}))
	d.must(d.App.Sign(d.Ctx(), d.Owner, d.g, ""))
	d.hold("Another look", "2026-12-12", "a2")
	if n := d.missing("a2"); n != 3 {
		t.Errorf("%d marks are missing, want the two falls and the coach's note", n)
	}
	d.sound()
}

// A verdict does not depend on what is signed after it, even for a day before.
func TestALaterSignatureForAnEarlierDayChangesNothing(t *testing.T) {
	d := alone(t)
	early, entries := d.g, d.entries
	d.all("a2", map[rankwright.RequirementID]int{"RE-BF1": 1})
	d.hold("A week later", "2026-10-17", "a2")
	d.all("a2", nil)
	d.sign()
	d.g, d.entries = early, entries
	d.sign()
	d.sound()
}

func newVersion(d *day, change func(string) string) {
	d.T.Helper()
	text, err := examples.Files.ReadFile("otterlight.yaml")
	d.must(err)
	draft := change(string(text))
	if draft == string(text) {
		d.T.Fatal("the example file no longer has the line that this test changes")
	}
	_, _, err = d.App.SaveDraft(d.Ctx(), d.Owner, draft)
	d.must(err)
	_, err = d.App.Publish(d.Ctx(), d.Owner, "youth")
	d.must(err)
}

// A mark that was kept does not count where the requirement is measured in
// another way by now.
func TestAKeptMarkMustMeanTheSameUnderANewVersion(t *testing.T) {
	d := alone(t)
	d.all("a2", map[rankwright.RequirementID]int{"RE-BF1": 1})
	d.sign()
	newVersion(d, func(s string) string {
		return strings.Replace(s, "id: RE-GU1, section: GU, show: Guarded rise from sitting, kind: steps, list: rise, of: 5,", "id: RE-GU1, section: GU, show: Guarded rise from sitting, kind: steps, list: rise, of: 6,", 1)
	})
	d.hold("Another look", "2026-12-12", "a2")
	o := d.outcome("a2")
	if n := len(o.Verdict.Missing); n != 3 {
		t.Errorf("missing %v, want the fall, the rise and the coach's note", o.Verdict.Missing)
	}
}

// A held promotion that is released behind a higher one takes nothing back,
// and no rank is given twice.
func TestALateReleaseDoesNotDemote(t *testing.T) {
	d := alone(t)
	first, entries := d.g, d.entries
	d.all("a2", nil)
	d.must(d.App.Move(d.Ctx(), d.Owner, d.g, app.Deciding))
	d.must(d.App.Sign(d.Ctx(), d.Owner, d.g, ""))
	d.hold("Again", "2026-11-14", "a2") // still without a rank: examined for the same one
	d.all("a2", nil)
	d.clear("a2", "consent", "home_note")
	d.sign()
	d.clear2(entries["a2"], "consent", "home_note")
	if err := d.App.Release(d.Ctx(), d.Owner, entries["a2"]); rankwright.KindOf(err) != rankwright.Conflict || !strings.Contains(err.Error(), "has this rank already") {
		t.Errorf("the same rank was given twice: %v", err)
	}
	_ = first
	st, err := d.App.Student(d.Ctx(), d.Owner, "a2")
	d.must(err)
	if st.RankSince.String() != "2026-11-14" || len(st.Ledger) != 1 {
		t.Errorf("rank since %s with %d lines in the ledger", st.RankSince, len(st.Ledger))
	}
	d.sound()
}

func (d *day) clear2(e rankwright.EntryID, ids ...rankwright.ClearanceID) {
	d.T.Helper()
	for _, id := range ids {
		d.must(d.App.SetClearance(d.Ctx(), d.Owner, e, id, true))
	}
}

// An erased child does not keep the others from their ranks.
func TestErasingOneStopsNobodyElse(t *testing.T) {
	d := newDay(t)
	for _, id := range []rankwright.StudentID{"a1", "a2", "a4"} {
		d.all(id, nil)
		d.clear(id, "consent", "home_note")
	}
	d.must(d.App.EraseStudent(d.Ctx(), d.Owner, "a2"))
	d.sign()
	if list, err := d.App.Awards(d.Ctx(), d.Owner, d.g, ""); err != nil || len(list) != 2 {
		t.Errorf("%d certificates, %v; want the two children who are still there", len(list), err)
	}
	d.sound()
}

// What the head instructor holds is given when every clearance is there.
func TestAPromotionHeldByAPersonIsReleased(t *testing.T) {
	d := alone(t)
	d.all("a2", map[rankwright.RequirementID]int{"RE-BF1": 1})
	d.must(d.App.Move(d.Ctx(), d.Owner, d.g, app.Deciding))
	d.must(d.App.Override(d.Ctx(), d.Owner, d.entries["a2"], "held", "shown well on Tuesday; the form is missing", nil))
	d.must(d.App.Sign(d.Ctx(), d.Owner, d.g, ""))
	if err := d.App.Release(d.Ctx(), d.Owner, d.entries["a2"]); rankwright.KindOf(err) != rankwright.Conflict {
		t.Errorf("released without the clearances: %v", err)
	}
	d.clear("a2", "consent", "home_note")
	d.must(d.App.Release(d.Ctx(), d.Owner, d.entries["a2"]))
	if o := d.outcome("a2"); o.Stands() != syllabus.Promoted {
		t.Errorf("%s after the release", o.Stands())
	}
	d.sound()
}

// A mark that comes in between looking and signing stops the signature.
func TestNothingIsSignedUnseen(t *testing.T) {
	d := alone(t)
	d.all("a2", nil)
	d.must(d.App.Move(d.Ctx(), d.Owner, d.g, app.Deciding))
	_, list, err := d.App.Outcomes(d.Ctx(), d.Owner, d.g)
	d.must(err)
	seen, err := app.Seen(list)
	d.must(err)
	d.Mark(d.anahera, d.g, d.entries["a2"], "RE-SM1", scoring.N(2))
	if err := d.App.Sign(d.Ctx(), d.Owner, d.g, seen); rankwright.KindOf(err) != rankwright.Conflict {
		t.Fatalf("signed what nobody saw: %v", err)
	}
	_, list, err = d.App.Outcomes(d.Ctx(), d.Owner, d.g)
	d.must(err)
	seen, err = app.Seen(list)
	d.must(err)
	d.must(d.App.Sign(d.Ctx(), d.Owner, d.g, seen))
	d.sound()
}

// Another day of the grading is only taken where everybody may still enter.
func TestTheDayMovesOnlyWhereTheEntriesHold(t *testing.T) {
	d := newDay(t)
	d.must(d.App.Move(d.Ctx(), d.Owner, d.g, app.Timetabled))
	edit := func(on string) error {
		return d.App.EditGrading(d.Ctx(), d.Owner, d.g, app.NewGrading{Title: "Autumn grading", Day: rankwright.MustDay(on)})
	}
	if err := edit("2026-09-01"); rankwright.KindOf(err) != rankwright.Invalid || !strings.Contains(err.Error(), "Ayotomi Fasanwe") {
		t.Errorf("moved to a day on which children may not enter: %v", err)
	}
	d.must(edit("2026-10-17"))
}

// Copying takes over who may still examine, and no waiver.
func TestANewGradingCopiesOnlyWhatStillHolds(t *testing.T) {
	d := newDay(t)
	gone := d.Person("Tomek Wielgosek", app.Instructor, "")
	d.must(d.App.Move(d.Ctx(), d.Owner, d.g, app.Timetabled))
	d.must(d.App.SetPanel(d.Ctx(), d.Owner, d.g, []string{d.Owner.ID, d.anahera.ID, gone.ID}, gone.ID))
	d.must(d.App.Waive(d.Ctx(), d.Owner, app.Waiver{Grading: d.g, Rank: "reed", Requirement: "RE-KB1", Reason: "the shirts are late"}))
	d.must(d.App.SetActive(d.Ctx(), d.Owner, gone.ID, false))
	g, err := d.App.CreateGrading(d.Ctx(), d.Owner, app.NewGrading{Title: "Next", Day: rankwright.MustDay("2027-01-16"), Ladder: "youth", Copy: d.g})
	d.must(err)
	v, err := d.App.Grading(d.Ctx(), d.Owner, g.ID)
	d.must(err)
	if len(v.Panel) != 2 || v.Lead != "" || len(v.Waivers) != 0 {
		t.Errorf("copied %d examiners, lead %q, %d waivers", len(v.Panel), v.Lead, len(v.Waivers))
	}
}

func TestAPanelOfMoreThanTenIsRefused(t *testing.T) {
	d := newDay(t)
	d.must(d.App.Move(d.Ctx(), d.Owner, d.g, app.Timetabled))
	people := []string{d.Owner.ID, d.anahera.ID}
	for _, name := range strings.Fields("Ada Ben Cid Dot Eli Fay Gus Hal Ida") {
		people = append(people, d.Person(name, app.Examiner, "").ID)
	}
	if err := d.App.SetPanel(d.Ctx(), d.Owner, d.g, people, ""); rankwright.KindOf(err) != rankwright.Invalid {
		t.Errorf("eleven examiners: %v", err)
	}
	d.must(d.App.SetPanel(d.Ctx(), d.Owner, d.g, people[:10], ""))
}

// A missing guardian's signature holds a promotion whatever the score, also
// one that the head instructor decided (common practice, no published source).
func TestNoDecisionPassesAMissingSignature(t *testing.T) {
	d := alone(t)
	d.all("a2", map[rankwright.RequirementID]int{"RE-BF1": 1})
	d.clear("a2", "home_note")
	d.must(d.App.Move(d.Ctx(), d.Owner, d.g, app.Deciding))
	d.must(d.App.Override(d.Ctx(), d.Owner, d.entries["a2"], "promoted", "shown well on Tuesday", nil))
	if o := d.outcome("a2"); o.Stands() != syllabus.Held {
		t.Errorf("%s without the signature, want held", o.Stands())
	}
	d.must(d.App.Sign(d.Ctx(), d.Owner, d.g, ""))
	if list, err := d.App.Awards(d.Ctx(), d.Owner, d.g, ""); err != nil || len(list) != 0 {
		t.Errorf("%d certificates without the signature, %v", len(list), err)
	}
	list, err := d.App.Candidates(d.Ctx(), d.Owner, d.g)
	d.must(err)
	for _, c := range list {
		if c.Student.ID == "a2" && c.Held != d.entries["a2"] {
			t.Errorf("somebody held is offered as if nothing had been shown: %+v", c)
		}
	}
	d.clear("a2", "consent")
	d.must(d.App.Release(d.Ctx(), d.Owner, d.entries["a2"]))
	if o := d.outcome("a2"); o.Stands() != syllabus.Promoted {
		t.Errorf("%s with the signature", o.Stands())
	}
	d.sound()
}

// Whoever was stopped for safety goes back on the mat by the head
// instructor's word only.
func TestASafetyStopIsNotUndoneAtTheDesk(t *testing.T) {
	d := alone(t)
	desk := d.Person("Perpetua Okwuosah", app.Assistant, "")
	e := d.entries["a2"]
	d.must(d.App.SetPresence(d.Ctx(), desk, e, "present"))
	d.must(d.App.SetPresence(d.Ctx(), desk, e, "stopped"))
	if err := d.App.SetPresence(d.Ctx(), desk, e, "present"); rankwright.KindOf(err) != rankwright.Conflict {
		t.Errorf("the desk undid a safety stop: %v", err)
	}
	d.must(d.App.SetPresence(d.Ctx(), d.Owner, e, "present"))
}

// Nothing is signed before its day.
func TestAGradingIsNotSignedBeforeItsDay(t *testing.T) {
	d := alone(t)
	d.all("a2", nil)
	d.must(d.App.Move(d.Ctx(), d.Owner, d.g, app.Deciding))
	d.Now = d.Now.AddDate(0, 0, -1)
	if err := d.App.Sign(d.Ctx(), d.Owner, d.g, ""); rankwright.KindOf(err) != rankwright.Conflict || !strings.Contains(err.Error(), "has not come yet") {
		t.Errorf("signed the day before: %v", err)
	}
}

// One device whose count has gone astray does not end the marking for all.
func TestACountGoneAstrayIsRefusedAndTheOthersGoOn(t *testing.T) {
	d := alone(t)
	e := d.entries["a2"]
	st, err := d.App.AddMarks(d.Ctx(), d.anahera, d.g, []scoring.Mark{
		{ID: "m1", Device: "x", Seq: 1, Clock: 1 << 52, Entry: e, Requirement: "RE-ET1", Value: scoring.N(1)},
		{ID: "m2", Device: "x", Seq: 2, Clock: 7, Entry: e, Requirement: "RE-ET2", Value: scoring.N(1)}})
	d.must(err)
	if st[0].Stored || st[0].Refuse == "" || !st[1].Stored {
		t.Errorf("answers %+v", st)
	}
	d.Mark(d.anahera, d.g, e, "RE-ET1", scoring.N(1))
}

// An examiner's limit holds for the rank and for what only others examine, and
// a limit on another ladder is no licence for this one.
func TestAnExaminersLimitHolds(t *testing.T) {
	d := alone(t)
	d.must(d.App.Move(d.Ctx(), d.Owner, d.g, app.Timetabled))
	low := d.Person("Bram Oosterlaak", app.Examiner, "reed")
	far := d.Person("Yusra Haddadeen", app.Examiner, "yellow")
	if err := d.App.SetPanel(d.Ctx(), d.Owner, d.g, []string{far.ID}, ""); rankwright.KindOf(err) != rankwright.Invalid {
		t.Errorf("a limit of another ladder was taken for none: %v", err)
	}
	d.must(d.App.SetPanel(d.Ctx(), d.Owner, d.g, []string{low.ID}, ""))
	d.must(d.App.Enter(d.Ctx(), d.Owner, d.g, []rankwright.StudentID{"a4"}))
	d.must(d.App.Move(d.Ctx(), d.Owner, d.g, app.OnTheMat))
	v, err := d.App.Grading(d.Ctx(), d.Owner, d.g)
	d.must(err)
	for _, e := range v.Entries {
		k, _ := v.Syllabus.Rank(e.Rank)
		st, err := d.App.AddMarks(d.Ctx(), low, d.g, []scoring.Mark{{Entry: e.Entry.ID, Requirement: k.Requirements[0].ID, Value: scoring.N(1)}})
		d.must(err)
		if st[0].Stored != (e.Rank == "reed") {
			t.Errorf("%s: %+v", e.Rank, st[0])
		}
	}
}
