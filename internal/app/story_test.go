package app_test

import (
	"slices"
	"strings"
	"testing"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/app/apptest"
	"rankwright/scoring"
	"rankwright/syllabus"
	"rankwright/timetable"
)

const pupils = `student_id,given_name,family_name,birth_date,household,ladder,rank,rank_since,classes_since_rank
a1,Ayotomi,Fasanwe,2021-02-14,h1,youth,,2026-07-25,15
a2,Inti,Quispaya,2020-11-30,h2,youth,,2026-08-01,12
a3,Maélle,Vandestraete,2020-12-03,h3,youth,,2026-08-22,14
a4,Zofia,Krajewik,2018-02-28,h4,youth,Reed,2026-07-11,27
`

// day is a grading with everybody entered who may, on the mat.
type day struct {
	*apptest.School
	g       rankwright.GradingID
	entries map[rankwright.StudentID]rankwright.EntryID
	anahera app.Actor
}

func newDay(t *testing.T) *day {
	t.Helper()
	s := apptest.New(t)
	s.Publish("otterlight.yaml")
	s.Import(pupils)
	d := &day{School: s, anahera: s.Person("Anahera Ropatini", app.Examiner, "")}
	d.hold("Autumn grading", "2026-10-10", "a1", "a2", "a4")
	return d
}

// hold plans a grading, enters the students and opens the mat.
func (d *day) hold(title, on string, students ...rankwright.StudentID) {
	d.T.Helper()
	d.At(on)
	g, err := d.App.CreateGrading(d.Ctx(), d.Owner, app.NewGrading{Title: title, Day: rankwright.MustDay(on), Ladder: "youth"})
	d.must(err)
	d.g = g.ID
	d.must(d.App.SetPanel(d.Ctx(), d.Owner, d.g, []string{d.Owner.ID, d.anahera.ID}, d.Owner.ID))
	d.must(d.App.Enter(d.Ctx(), d.Owner, d.g, students))
	d.must(d.App.Move(d.Ctx(), d.Owner, d.g, app.OnTheMat))
	v, err := d.App.Grading(d.Ctx(), d.Owner, d.g)
	d.must(err)
	d.entries = map[rankwright.StudentID]rankwright.EntryID{}
	for _, e := range v.Entries {
		d.entries[e.Student.ID] = e.Entry.ID
	}
}

func (d *day) must(err error) {
	d.T.Helper()
	if err != nil {
		d.T.Fatal(err)
	}
}

// all gives every requirement of a student its best mark, or the one said.
func (d *day) all(student rankwright.StudentID, but map[rankwright.RequirementID]int) {
	d.T.Helper()
	v, err := d.App.Grading(d.Ctx(), d.Owner, d.g)
	d.must(err)
	var marks []scoring.Mark
	for _, e := range v.Entries {
		if e.Student.ID != student {
			continue
		}
		k, _ := v.Syllabus.Rank(e.Rank)
		for _, q := range k.Requirements {
			if q.Bonus {
				continue
			}
			n := best(&q)
			if x, ok := but[q.ID]; ok {
				if x < 0 {
					continue
				}
				n = x
			}
			marks = append(marks, scoring.Mark{Entry: e.Entry.ID, Requirement: q.ID, Value: scoring.N(n)})
		}
	}
	st, err := d.App.AddMarks(d.Ctx(), d.anahera, d.g, marks)
	d.must(err)
	for _, x := range st {
		if !x.Stored {
			d.T.Fatalf("not stored: %+v", x)
		}
	}
}

func best(q *syllabus.Requirement) int {
	switch q.Kind {
	case syllabus.Tick:
		return 1
	case syllabus.Leveled:
		return q.Scale.Levels[len(q.Scale.Levels)-1].Value
	case syllabus.Steps, syllabus.Recall:
		return q.Of
	}
	if q.Of > 0 {
		return q.Of
	}
	return q.Expect.Int()
}

func (d *day) clear(student rankwright.StudentID, ids ...rankwright.ClearanceID) {
	d.T.Helper()
	for _, id := range ids {
		d.must(d.App.SetClearance(d.Ctx(), d.Owner, d.entries[student], id, true))
	}
}

func (d *day) sign() {
	d.T.Helper()
	d.must(d.App.Move(d.Ctx(), d.Owner, d.g, app.Deciding))
	d.must(d.App.Sign(d.Ctx(), d.Owner, d.g, ""))
}

func (d *day) outcome(student rankwright.StudentID) app.Outcome {
	d.T.Helper()
	_, o, err := d.App.OneOutcome(d.Ctx(), d.Owner, d.entries[student])
	d.must(err)
	return o
}

func TestAWholeGradingFromPlanToLedger(t *testing.T) {
	d := newDay(t)
	d.all("a1", nil)
	d.all("a2", map[rankwright.RequirementID]int{"RE-BF1": 1}) // the fall is a must
	d.all("a4", nil)
	d.clear("a1", "consent", "home_note")
	d.clear("a2", "consent", "home_note")
	d.clear("a4", "consent") // the home note is missing
	d.sign()

	for id, want := range map[rankwright.StudentID]syllabus.Outcome{"a1": syllabus.Promoted, "a2": syllabus.NotYet, "a4": syllabus.Held} {
		if o := d.outcome(id); o.Stands() != want {
			t.Errorf("%s is %s, want %s", id, o.Stands(), want)
		}
	}
	awards, err := d.App.Awards(d.Ctx(), d.Owner, d.g, "")
	d.must(err)
	if len(awards) != 1 || awards[0].Name != "Ayotomi Fasanwe" || awards[0].Line.Rank != "reed" || awards[0].Line.Certificate != "2026-0001" || awards[0].Line.Label != "commendation" {
		t.Fatalf("awards: %+v", awards)
	}
	st, err := d.App.Student(d.Ctx(), d.Owner, "a1")
	d.must(err)
	if st.Rank != "reed" || st.RankSince.String() != "2026-10-10" || st.ClassesSinceRank != 0 {
		t.Errorf("standing after promotion: %+v", st.Student)
	}

	// The note comes in later: the held promotion is released.
	if err := d.App.Release(d.Ctx(), d.Owner, d.entries["a4"]); rankwright.KindOf(err) != rankwright.Conflict {
		t.Errorf("released while a clearance was missing: %v", err)
	}
	d.clear("a4", "home_note")
	d.must(d.App.Release(d.Ctx(), d.Owner, d.entries["a4"]))
	if o := d.outcome("a4"); o.Stands() != syllabus.Promoted {
		t.Errorf("after release %s", o.Stands())
	}
	ledger, err := d.App.Ledger(d.Ctx(), d.Owner)
	d.must(err)
	if len(ledger) != 2 {
		t.Errorf("%d lines in the ledger, want 2", len(ledger))
	}
	if err := d.App.Release(d.Ctx(), d.Owner, d.entries["a4"]); err == nil {
		t.Error("a promotion was released twice")
	}
	found, err := d.App.Verify(d.Ctx(), d.Owner)
	d.must(err)
	if found.Gradings != 1 || found.Outcomes != 3 || len(found.Differ) != 0 {
		t.Errorf("verify found %+v", found)
	}
}

// What was shown stands for the retry; only what was short is asked again,
// and after one part retry the whole is shown.
func TestARetryAsksOnlyWhatWasShort(t *testing.T) {
	d := newDay(t)
	d.must(d.App.Withdraw(d.Ctx(), d.Owner, d.entries["a1"]))
	d.must(d.App.Withdraw(d.Ctx(), d.Owner, d.entries["a4"]))
	d.all("a2", map[rankwright.RequirementID]int{"RE-BF1": 1})
	d.sign()
	again := map[rankwright.RequirementID]int{}
	for _, id := range []rankwright.RequirementID{"RE-ET1", "RE-ET2", "RE-KB1", "RE-KB2", "RE-PR1", "RE-SM1", "RE-SM2", "RE-SM3", "RE-HA1", "RE-HA2", "RE-KI1", "RE-BF2", "RE-GU1", "RE-PD1", "RE-FI1", "RE-TH1"} {
		again[id] = -1
	}
	d.hold("Another look", "2026-11-28", "a2")
	if o := d.outcome("a2"); o.Verdict.Outcome != syllabus.Incomplete || !slices.Equal(o.Verdict.Missing, []rankwright.RequirementID{"RE-BF1", "RE-CN1"}) {
		t.Fatalf("before the retry: %s, missing %v", o.Verdict.Outcome, o.Verdict.Missing)
	}
	again["RE-BF1"] = 1
	d.all("a2", again)
	if o := d.outcome("a2"); o.Verdict.Outcome != syllabus.NotYet || o.Verdict.Label != "whole" {
		t.Errorf("short again after one part retry: %s %q, want the whole", o.Verdict.Outcome, o.Verdict.Label)
	}
	again["RE-BF1"] = 2 // a later mark corrects it
	d.all("a2", again)
	if o := d.outcome("a2"); o.Verdict.Outcome != syllabus.Held {
		t.Errorf("shown at the retry: %s, want held for the clearances", o.Verdict.Outcome)
	}
}

func TestTheRetryWindowEnds(t *testing.T) {
	d := newDay(t)
	d.must(d.App.Withdraw(d.Ctx(), d.Owner, d.entries["a1"]))
	d.must(d.App.Withdraw(d.Ctx(), d.Owner, d.entries["a4"]))
	d.all("a2", map[rankwright.RequirementID]int{"RE-BF1": 1})
	d.sign()
	// 84 days after 10 October 2026 is 2 January 2027: kept on it, not after.
	for on, missing := range map[string]int{"2027-01-02": 2, "2027-01-03": 18} {
		d.hold("Another look", on, "a2")
		o := d.outcome("a2")
		if len(o.Verdict.Missing) != missing {
			t.Errorf("on %s %d marks are missing, want %d", on, len(o.Verdict.Missing), missing)
		}
		d.must(d.App.Withdraw(d.Ctx(), d.Owner, d.entries["a2"]))
	}
}

func TestNobodyEntersAgainstTheRuleWithoutAReason(t *testing.T) {
	d := newDay(t)
	err := d.App.Enter(d.Ctx(), d.Owner, d.g, []rankwright.StudentID{"a3"})
	if rankwright.KindOf(err) != rankwright.Conflict || !strings.Contains(err.Error(), "Maélle Vandestraete may not enter for Reed yet") {
		t.Fatalf("entered with seven weeks: %v", err)
	}
	if err := d.App.EnterAnyway(d.Ctx(), d.Owner, d.g, "a3", " "); rankwright.KindOf(err) != rankwright.Invalid {
		t.Fatalf("entered without a reason: %v", err)
	}
	d.must(d.App.EnterAnyway(d.Ctx(), d.Owner, d.g, "a3", "moves away in November; ready since summer"))
	list, err := d.App.Candidates(d.Ctx(), d.Owner, d.g)
	d.must(err)
	for _, c := range list {
		if c.Student.ID == "a3" && (c.Entry == nil || c.Entry.OverruleWhy == "" || c.Answer.Yes) {
			t.Errorf("the overrule is not kept beside the rule's no: %+v", c)
		}
	}
}

// Every act is tried by every role in every state of a grading; the answer is
// the one that the two tables give.
func TestTheTablesOfRolesAndStatesHold(t *testing.T) {
	roles := map[app.Role]app.Actor{}
	for _, st := range app.States {
		d := newDay(t)
		roles[app.Owner], roles[app.Examiner] = d.Owner, d.anahera
		roles[app.Instructor] = d.Person("Tomek Wielgosek", app.Instructor, "")
		roles[app.Assistant] = d.Person("Perpetua Okwuosah", app.Assistant, "")
		d.all("a1", nil)
		d.all("a2", nil)
		d.all("a4", nil)
		switch st.State {
		case app.Planning, app.Families:
			d.must(d.App.Move(d.Ctx(), d.Owner, d.g, app.Timetabled))
			d.must(d.App.Move(d.Ctx(), d.Owner, d.g, app.Families))
			if st.State == app.Planning {
				d.must(d.App.Move(d.Ctx(), d.Owner, d.g, app.Planning))
			}
		case app.Timetabled:
			d.must(d.App.Move(d.Ctx(), d.Owner, d.g, app.Timetabled))
		case app.Deciding:
			d.must(d.App.Move(d.Ctx(), d.Owner, d.g, app.Deciding))
		case app.Closed:
			d.sign()
		}
		e := d.entries["a1"]
		acts := map[app.Act]func(app.Actor) error{
			app.PlanGrading: func(w app.Actor) error {
				return d.App.EditGrading(d.Ctx(), w, d.g, app.NewGrading{Title: "T", Day: rankwright.MustDay("2026-10-10")})
			},
			app.WaiveAsked: func(w app.Actor) error {
				return d.App.Unwaive(d.Ctx(), w, app.Waiver{Grading: d.g, Rank: "reed", Requirement: "RE-ET1"})
			},
			app.CheckIn:     func(w app.Actor) error { return d.App.SetPresence(d.Ctx(), w, e, "present") },
			app.SettleClear: func(w app.Actor) error { return d.App.SetClearance(d.Ctx(), w, e, "consent", true) },
			app.GiveMarks: func(w app.Actor) error {
				_, err := d.App.AddMarks(d.Ctx(), w, d.g, nil)
				return err
			},
			app.GiveBefore: func(w app.Actor) error {
				_, err := d.App.GiveBefore(d.Ctx(), w, d.g, nil)
				return err
			},
			app.OverrideResult: func(w app.Actor) error { return d.App.Override(d.Ctx(), w, e, "", "", nil) },
			app.EnterStudents:  func(w app.Actor) error { return d.App.Enter(d.Ctx(), w, d.g, nil) },
			app.TakeAnswers:    func(w app.Actor) error { return d.App.SetCannotCome(d.Ctx(), w, e, false) },
			app.PlanTimes: func(w app.Actor) error {
				return d.App.SetWeights(d.Ctx(), w, d.g, timetable.DefaultWeights(), 1)
			},
			app.MoveToday: func(w app.Actor) error { return d.App.MoveToday(d.Ctx(), w, e, "w-404") },
		}
		for act, try := range acts {
			for role, who := range roles {
				err := try(who)
				kind := rankwright.KindOf(err)
				switch {
				case !role.May(act):
					if err == nil || kind != rankwright.Forbidden {
						t.Errorf("%s, %s, %s: %v, want forbidden", st.State, role, act, err)
					}
				case !st.State.Allows(act):
					if err == nil || kind != rankwright.Conflict {
						t.Errorf("%s, %s, %s: %v, want a conflict with the state", st.State, role, act, err)
					}
				case err != nil && kind != rankwright.NotFound: // lifting a waiver that is not there is not found
					t.Errorf("%s, %s, %s: %v, want it done", st.State, role, act, err)
				}
			}
			if err := try(app.Actor{}); rankwright.KindOf(err) != rankwright.SignIn || err == nil {
				t.Errorf("%s: somebody unknown could %s: %v", st.State, act, err)
			}
		}
	}
}

func TestRefusalsStandInTheAudit(t *testing.T) {
	d := newDay(t)
	if err := d.App.Move(d.Ctx(), d.anahera, d.g, app.Deciding); rankwright.KindOf(err) != rankwright.Forbidden {
		t.Fatal(err)
	}
	lines, err := d.App.Audit(d.Ctx(), d.Owner, 0, 10)
	d.must(err)
	if len(lines) == 0 || lines[0].Allowed || lines[0].Act != string(app.MoveGrading) || lines[0].Person != d.anahera.ID {
		t.Errorf("the latest line of the audit: %+v", lines[0])
	}
}

func TestAnExaminerSeesOnlyTheirOwnMarksAndNoBirthDates(t *testing.T) {
	d := newDay(t)
	d.Mark(d.Owner, d.g, d.entries["a1"], "RE-ET1", scoring.N(1))
	d.Mark(d.anahera, d.g, d.entries["a1"], "RE-ET2", scoring.N(1))
	sh, err := d.App.Sheet(d.Ctx(), d.anahera, d.g, "reed")
	d.must(err)
	seen := 0
	for _, list := range sh.Cards[d.entries["a1"]].Seen {
		seen += len(list)
	}
	if seen != 1 {
		t.Errorf("the examiner sees %d marks, want their own one", seen)
	}
	for _, e := range sh.Entries {
		if e.Student.BirthDate != 0 || len(e.Student.Guardians) > 0 || e.Student.Notes != "" {
			t.Errorf("the examiner sees more than the name: %+v", e.Student)
		}
	}
}

func TestNothingIsSignedWhileMarksAreMissing(t *testing.T) {
	d := newDay(t)
	d.all("a1", nil)
	d.must(d.App.Move(d.Ctx(), d.Owner, d.g, app.Deciding))
	err := d.App.Sign(d.Ctx(), d.Owner, d.g, "")
	if rankwright.KindOf(err) != rankwright.Conflict || !strings.Contains(err.Error(), "marks are missing for") {
		t.Fatalf("signed with marks missing: %v", err)
	}
	d.must(d.App.SetPresence(d.Ctx(), d.Owner, d.entries["a2"], "unwell"))
	d.must(d.App.Override(d.Ctx(), d.Owner, d.entries["a4"], "not_yet", "left early, comes again in January", []string{"BF"}))
	d.must(d.App.Sign(d.Ctx(), d.Owner, d.g, ""))
	if o := d.outcome("a2"); o.Stands() != syllabus.Absent || o.Verdict.Label != "unwell" {
		t.Errorf("unwell is %s %q, and never a not yet", o.Stands(), o.Verdict.Label)
	}
	found, err := d.App.Verify(d.Ctx(), d.Owner)
	d.must(err)
	if len(found.Differ) != 0 {
		t.Errorf("verify differs on %v", found.Differ)
	}
}

func TestAClosedGradingTakesNoMark(t *testing.T) {
	d := newDay(t)
	for _, id := range []rankwright.StudentID{"a1", "a2", "a4"} {
		d.all(id, nil)
	}
	d.sign()
	if _, err := d.App.AddMarks(d.Ctx(), d.anahera, d.g, []scoring.Mark{{Entry: d.entries["a1"], Requirement: "RE-BF1", Value: scoring.N(0)}}); rankwright.KindOf(err) != rankwright.Conflict {
		t.Fatalf("a closed grading took a mark: %v", err)
	}
}
