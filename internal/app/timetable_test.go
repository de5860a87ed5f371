package app_test

import (
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/app/apptest"
	"rankwright/internal/store"
	"rankwright/scoring"
	"rankwright/timetable"
)

const many = `student_id,given_name,family_name,birth_date,household,ladder,rank,rank_since,classes_since_rank
a1,Ayotomi,Fasanwe,2021-02-14,h1,youth,,2026-07-25,15
a2,Inti,Quispaya,2020-11-30,h2,youth,,2026-08-01,12
a3,Zofia,Krajewik,2018-02-28,h4,youth,Reed,2026-07-11,27
a4,Igor,Krajewik,2016-02-29,h4,youth,Amber,2026-05-30,33
a5,Linh-Đan,Phùng,2019-10-10,h5,youth,Reed,2026-07-04,24
a6,Kwabena,Darkofi,2016-07-21,h6,youth,Amber,2026-06-13,30
a7,Hanae,Ishikure,2017-03-03,h7,youth,Amber,2026-02-28,46
a8,Naveed,Barakzoy,2015-09-19,h8,youth,Slate,2026-05-16,41
`

// times is a grading that is being timetabled.
type times struct {
	*apptest.School
	t       *testing.T
	g       rankwright.GradingID
	entry   map[rankwright.StudentID]rankwright.EntryID
	tomek   app.Actor // instructor
	anahera app.Actor // instructor
	desk    app.Actor
}

func newTimes(t *testing.T) *times {
	t.Helper()
	s := apptest.New(t)
	s.Publish("otterlight.yaml")
	s.Import(many)
	d := &times{School: s, t: t, tomek: s.Person("Tomek Wielgosek", app.Instructor, ""), anahera: s.Person("Anahera Ropatini", app.Instructor, ""),
		desk: s.Person("Perpetua Okwuosah", app.Assistant, "")}
	g, err := s.App.CreateGrading(s.Ctx(), s.Owner, app.NewGrading{Title: "Autumn grading", Day: rankwright.MustDay("2026-10-10"), Ladder: "youth"})
	d.must(err)
	d.g = g.ID
	d.must(s.App.SetPanel(s.Ctx(), s.Owner, d.g, []string{s.Owner.ID, d.tomek.ID, d.anahera.ID}, s.Owner.ID))
	d.must(s.App.Enter(s.Ctx(), s.Owner, d.g, []rankwright.StudentID{"a1", "a2", "a3", "a4", "a5", "a6", "a7", "a8"}))
	d.entry = map[rankwright.StudentID]rankwright.EntryID{}
	v, err := s.App.Grading(s.Ctx(), s.Owner, d.g)
	d.must(err)
	for _, e := range v.Entries {
		d.entry[e.Student.ID] = e.Entry.ID
	}
	return d
}

func (d *times) must(err error) {
	d.t.Helper()
	if err != nil {
		d.t.Fatal(err)
	}
}

// fails wants a fault of a code, or of a field.
func (d *times) fails(code string, err error) {
	d.t.Helper()
	var f *rankwright.Fault
	if !errors.As(err, &f) || f.Code != code && f.Where.Name != code {
		d.t.Fatalf("got %v, want a fault %q", err, code)
	}
	if f.Say == "" || f.Do == "" {
		d.t.Errorf("the fault %q does not say what happened and what to do: %+v", code, f)
	}
}

// row adds a session of sittings of 40 minutes.
func (d *times) row(day string, from, until timetable.Minute, makeUp bool, mats ...string) app.Session {
	d.t.Helper()
	like := app.LikeUsual()
	like.Panel, like.Mixed, like.Least = 1, 3, 1
	s, err := d.App.AddSession(d.Ctx(), d.Owner, d.g, app.SittingsRow{Day: rankwright.MustDay(day), From: from, Until: until, MakeUp: makeUp, Mats: mats, Minutes: 40, Like: like})
	d.must(err)
	return s
}

func (d *times) look() *app.Timetable {
	d.t.Helper()
	t, err := d.App.Timetable(d.Ctx(), d.Owner, d.g)
	d.must(err)
	return t
}

func (d *times) plan(ask bool) *app.Timetable {
	d.t.Helper()
	d.must(d.App.StartPlan(d.Ctx(), d.Owner, d.g, app.PlanOptions{Ask: ask}))
	d.must(d.App.AwaitPlan(d.Ctx(), d.g))
	return d.look()
}

// of lists the sittings of a session.
func of(t *app.Timetable, session string) (out []app.Sitting) {
	for _, w := range t.Sittings {
		if w.Session == session {
			out = append(out, w)
		}
	}
	return out
}

func TestASessionToldInALineBecomesARowOfSittings(t *testing.T) {
	d := newTimes(t)
	s := d.row("2026-10-10", 9*60, 12*60, false, "A", "B")
	if s.Name != "Saturday morning" {
		t.Errorf("it is called %q", s.Name)
	}
	v := d.look()
	var got []string
	for _, w := range v.Sittings {
		got = append(got, fmt.Sprintf("%s %s", timetable.Minute(w.Begins), w.Mat))
	}
	if want := "09:00 A,09:00 B,09:40 A,09:40 B,10:20 A,10:20 B,11:00 A,11:00 B"; strings.Join(got, ",") != want {
		t.Errorf("sittings %s, want %s", strings.Join(got, ","), want)
	}
	add := func(r app.SittingsRow) error { _, err := d.App.AddSession(d.Ctx(), d.Owner, d.g, r); return err }
	row := app.SittingsRow{Day: rankwright.MustDay("2026-10-10"), From: 11 * 60, Until: 13 * 60, Mats: []string{"A"}, Minutes: 40, Like: app.LikeUsual()}
	d.fails("mat_taken", add(row))
	row.Mats = []string{" ", ""}
	d.fails("mats", add(row))
	row.Mats, row.Minutes = []string{"C", "C"}, 40
	d.fails("mats", add(row))
	row.Mats, row.Until = []string{"C"}, row.From+30
	d.fails("until", add(row))
	row.Until, row.Minutes, row.From = 23*60, 5, 0
	d.fails("minutes", add(row))
	row.Day = 0
	d.fails("day", add(row))

	// It is moved as a whole, past its own places.
	d.must(d.App.EditSession(d.Ctx(), d.Owner, d.g, s.ID, "", rankwright.MustDay("2026-10-11"), 9*60+40, true))
	v = d.look()
	if x := v.Session(s.ID); x.Name != "Sunday morning" || !x.MakeUp || v.Sittings[0].Begins != 580 || v.Sittings[7].Begins != 700 {
		t.Errorf("moved to %+v, sittings %+v", x, v.Sittings)
	}
	d.must(d.App.RemoveSession(d.Ctx(), d.Owner, d.g, s.ID))
	if v = d.look(); len(v.Sessions)+len(v.Sittings) != 0 {
		t.Errorf("left over: %+v", v.Sittings)
	}
}

func TestANewGradingBeginsWithTheSittingsOfTheLast(t *testing.T) {
	d := newTimes(t)
	d.row("2026-10-10", 9*60, 12*60, false, "A")
	d.row("2026-10-16", 17*60, 19*60, true, "A")
	d.must(d.App.SetExaminerLimits(d.Ctx(), d.Owner, d.g, d.tomek.ID, app.ExaminerLimits{Most: 3, Row: 2, Mats: []string{"A"}}))
	g, err := d.App.CreateGrading(d.Ctx(), d.Owner, app.NewGrading{Title: "Winter grading", Day: rankwright.MustDay("2026-12-12"), Ladder: "youth", Copy: d.g})
	d.must(err)
	v, err := d.App.Timetable(d.Ctx(), d.Owner, g.ID)
	d.must(err)
	if len(v.Sittings) != 7 || v.Sessions[0].Day.String() != "2026-12-12" || v.Sessions[1].Day.String() != "2026-12-18" || v.Sessions[1].Name != "Friday evening" {
		t.Errorf("taken over: %+v", v.Sessions)
	}
	at := slices.IndexFunc(v.Examiners, func(x app.ExaminerTimes) bool { return x.Person == d.tomek.ID })
	if x := v.Examiners[at]; x.Most != 3 || x.Row != 2 || !slices.Equal(x.Mats, []string{"A"}) {
		t.Errorf("limits: %+v", x)
	}
	d.must(d.App.EditGrading(d.Ctx(), d.Owner, g.ID, app.NewGrading{Title: "Winter grading", Day: rankwright.MustDay("2026-12-13")}))
	if v, err = d.App.Timetable(d.Ctx(), d.Owner, g.ID); err != nil || v.Sessions[0].Day.String() != "2026-12-13" || v.Sessions[0].Name != "Sunday morning" {
		t.Errorf("the day moved and the session did not: %+v %v", v.Sessions, err)
	}
	d.fails("has_sessions", d.App.CopySessions(d.Ctx(), d.Owner, g.ID, d.g))
}

func TestAPlanKeepsToWhatSuitsAndIsToldOnce(t *testing.T) {
	d := newTimes(t)
	sat := d.row("2026-10-10", 9*60, 12*60, false, "A")
	sun := d.row("2026-10-11", 9*60, 11*60, false, "A")
	d.must(d.App.SetAnswer(d.Ctx(), d.desk, d.g, "h4", sat.ID, "no"))
	d.must(d.App.SetAnswer(d.Ctx(), d.desk, d.g, "h4", sun.ID, "yes"))
	d.must(d.App.SetAnswer(d.Ctx(), d.desk, d.g, "h1", sat.ID, "best"))
	d.must(d.App.SetAnswer(d.Ctx(), d.desk, d.g, "h1", sun.ID, "yes"))
	d.fails("suits", d.App.SetAnswer(d.Ctx(), d.desk, d.g, "h1", sun.ID, "perhaps"))
	d.fails("no_family", d.App.SetAnswer(d.Ctx(), d.desk, d.g, "h404", sun.ID, "yes"))
	d.must(d.App.SetExaminerLimits(d.Ctx(), d.Owner, d.g, d.Owner.ID, app.ExaminerLimits{Own: []rankwright.HouseholdID{"h4"}}))
	if v := d.look(); v.Unanswered() != 5 || v.Family("h1").SuitsOf(sat.ID) != "best" {
		t.Errorf("%d families have not answered; %q", v.Unanswered(), v.Family("h1").SuitsOf(sat.ID))
	}
	v := d.plan(false)
	if v.Draft == nil || len(v.WaitingNow()) != 0 || v.Stale {
		t.Fatalf("not everybody is placed: %+v", v.Draft)
	}
	for _, s := range []rankwright.StudentID{"a3", "a4"} {
		w := v.Sitting(v.Draft.At(d.entry[s]))
		if w.Session != sun.ID || slices.Contains(v.Draft.Panel(w.ID), d.Owner.ID) {
			t.Errorf("%s stands in %+v before %v", s, w, v.Draft.Panel(w.ID))
		}
	}
	again := d.plan(false)
	if again.Draft.Cost > v.Draft.Cost {
		t.Errorf("planned again it costs %d, and %d before", again.Draft.Cost, v.Draft.Cost)
	}

	d.must(d.App.PublishTimetable(d.Ctx(), d.tomek, d.g))
	v = d.look()
	if v.Grading.State != string(app.Timetabled) || v.Draft != nil || v.Published == nil {
		t.Fatalf("published: state %s", v.Grading.State)
	}
	told := v.ToldOf(d.entry["a3"])
	if told == nil || told.Sequence != 0 || !strings.HasSuffix(told.UID, "@rankwright") {
		t.Errorf("told: %+v", told)
	}
	d.fails("no_plan", d.App.PublishTimetable(d.Ctx(), d.Owner, d.g))
	lines, err := d.App.Audit(d.Ctx(), d.Owner, 0, 200)
	d.must(err)
	for _, l := range lines {
		for _, name := range []string{"Krajewik", "h4", "Igor"} {
			if strings.Contains(l.Detail, name) && !strings.Contains(l.Act, "roster") {
				t.Errorf("the audit names a family: %s %s", l.Act, l.Detail)
			}
		}
	}
}

func TestWhatWasToldIsMovedOnlyWithTheFamilysYes(t *testing.T) {
	d := newTimes(t)
	d.row("2026-10-10", 9*60, 12*60, false, "A", "B")
	makeUp := d.row("2026-10-17", 9*60, 11*60, true, "A")
	d.plan(false)
	d.must(d.App.PublishTimetable(d.Ctx(), d.Owner, d.g))
	v := d.look()
	was := v.Published.At(d.entry["a6"])
	other := ""
	for _, w := range v.Sittings {
		if w.ID != was && w.Session != makeUp.ID && v.Published.At(d.entry["a8"]) != w.ID && w.Begins != v.Sitting(was).Begins {
			other = w.ID
		}
	}
	// One family to another time, by hand.
	if _, err := d.App.MoveEntries(d.Ctx(), d.Owner, d.g, []rankwright.EntryID{d.entry["a6"]}, other); err != nil {
		t.Fatal(err)
	}
	v = d.look()
	changes := v.Changes()
	if len(changes) != 1 || !changes[0].Needs || changes[0].Said != "" || changes[0].Family.Name != "Darkofi" {
		t.Fatalf("changes: %+v", changes)
	}
	d.fails("needs_yes", d.App.PublishTimetable(d.Ctx(), d.Owner, d.g))
	d.fails("other_change", d.App.SetMoveAnswer(d.Ctx(), d.desk, d.g, "h6", "0123", true))
	d.must(d.App.SetMoveAnswer(d.Ctx(), d.desk, d.g, "h6", changes[0].Key, false))
	d.fails("needs_yes", d.App.PublishTimetable(d.Ctx(), d.Owner, d.g))
	// Planned anew, whoever said no keeps the time.
	if v = d.plan(true); v.Draft.At(d.entry["a6"]) != was {
		t.Error("a family that said no was moved")
	}
	d.Now = d.Now.Add(60e9)
	d.must(d.App.SetMoveAnswer(d.Ctx(), d.desk, d.g, "h6", app.AnyChange, true))
	if _, err := d.App.MoveEntries(d.Ctx(), d.Owner, d.g, []rankwright.EntryID{d.entry["a6"]}, other); err != nil {
		t.Fatal(err)
	}
	if c := d.look().Changes(); len(c) != 1 || c[0].Said != "yes" || c[0].By != d.desk.ID {
		t.Fatalf("changes: %+v", c)
	}
	uid := d.look().ToldOf(d.entry["a6"]).UID
	d.must(d.App.PublishTimetable(d.Ctx(), d.Owner, d.g))
	if x := d.look().ToldOf(d.entry["a6"]); x.UID != uid || x.Sequence != 1 || x.Sitting != other {
		t.Errorf("told anew: %+v", x)
	}
	// Withdrawn, the calendar hears of it.
	d.must(d.App.Withdraw(d.Ctx(), d.Owner, d.entry["a6"]))
	if x := d.look().Told; !slices.ContainsFunc(x, func(p app.PublishedTime) bool { return p.UID == uid && p.Cancelled && p.Sequence == 2 }) {
		t.Errorf("not cancelled: %+v", x)
	}
	// And its family's calendar too, though the entry is gone.
	if x := d.look().FamilyTold("h6"); len(x) != 1 || x[0].UID != uid {
		t.Errorf("h6 was told %+v", x)
	}
	if x := d.look().TakenBack(); len(x) != 1 || x[0].UID != uid || x[0].Household != "h6" {
		t.Errorf("taken back: %+v", x)
	}
}

func TestARepairAfterAnIllnessALostSittingAndAnExaminerMovesNobodyElse(t *testing.T) {
	d := newTimes(t)
	sat := d.row("2026-10-10", 9*60, 12*60, false, "A", "B")
	makeUp := d.row("2026-10-17", 9*60, 11*60, true, "A")
	d.plan(false)
	d.must(d.App.PublishTimetable(d.Ctx(), d.Owner, d.g))
	before := d.look().Published

	d.must(d.App.SetCannotCome(d.Ctx(), d.desk, d.entry["a8"], true))
	if v := d.look(); !v.Out[d.entry["a8"]] {
		t.Fatal("not written down")
	}
	d.must(d.App.SetExaminerLimits(d.Ctx(), d.Owner, d.g, d.anahera.ID, app.ExaminerLimits{Away: []string{sat.ID}}))
	v := d.plan(false)
	if w := v.Sitting(v.Draft.At(d.entry["a8"])); w == nil || w.Session != makeUp.ID {
		t.Fatalf("the child who cannot come is in %+v", w)
	}
	for s, e := range d.entry {
		if s != "a8" && v.Draft.At(e) != before.At(e) {
			t.Errorf("%s was moved from %q to %q", s, before.At(e), v.Draft.At(e))
		}
	}
	for _, w := range of(v, sat.ID) {
		if slices.Contains(v.Draft.Panel(w.ID), d.anahera.ID) {
			t.Error("an examiner who is away examines")
		}
	}
	c := v.Changes()
	if len(c) != 1 || c[0].Needs || !c[0].Entries[0].Out {
		t.Fatalf("changes: %+v", c)
	}
	d.must(d.App.PublishTimetable(d.Ctx(), d.Owner, d.g))

	// Somebody late: the published times stand, and the repair finds a place.
	d.Import(many + "a9,Eilidh,MacAskaig,2018-12-12,h9,youth,,2026-05-23,36\n")
	d.must(d.App.Enter(d.Ctx(), d.Owner, d.g, []rankwright.StudentID{"a9"}))
	if w := d.look().WaitingNow(); len(w) != 1 {
		t.Fatalf("waiting: %v", w)
	}
	v = d.plan(false)
	if c := v.Changes(); len(c) != 1 || c[0].Needs || c[0].Family.Name != "MacAskaig" || c[0].Entries[0].From != nil {
		t.Fatalf("changes: %+v", c)
	}
	d.must(d.App.PublishTimetable(d.Ctx(), d.Owner, d.g))

	// A sitting that is lost asks for no yes: there is nothing to keep.
	lost := d.look().Published.At(d.entry["a1"])
	d.fails("told", d.App.RemoveSitting(d.Ctx(), d.Owner, d.g, lost))
	d.must(d.App.LoseSitting(d.Ctx(), d.Owner, d.g, lost, true))
	v = d.plan(true)
	if at := v.Draft.At(d.entry["a1"]); at == "" || at == lost {
		t.Fatalf("after the sitting was lost: %q", at)
	}
	for _, c := range v.Changes() {
		for _, e := range c.Entries {
			if e.From != nil && e.From.Sitting != lost {
				t.Errorf("%s is moved, and their sitting is not lost", e.Entry.Student.FullName())
			}
		}
	}
	d.must(d.App.PublishTimetable(d.Ctx(), d.Owner, d.g))
}

func TestAMoveByHandSaysWhatItDoesAndIsRefusedWithAReason(t *testing.T) {
	d := newTimes(t)
	sat := d.row("2026-10-10", 9*60, 11*60, false, "A")
	sun := d.row("2026-10-11", 9*60, 11*60, false, "A")
	d.must(d.App.SetAnswer(d.Ctx(), d.Owner, d.g, "h4", sun.ID, "no"))
	v := d.plan(false)
	family := []rankwright.EntryID{d.entry["a3"], d.entry["a4"]}
	effects, err := d.App.Effects(d.Ctx(), d.desk, d.g, family)
	d.must(err)
	if len(effects) != 1+len(v.Sittings) {
		t.Fatalf("%d effects for %d sittings", len(effects), len(v.Sittings))
	}
	for _, f := range effects {
		w := v.Sitting(f.Sitting)
		switch {
		case w == nil:
			if len(f.Blocks) > 0 || f.Cost < 1000 {
				t.Errorf("to let two wait: %+v", f)
			}
		case w.Session == sun.ID:
			if len(f.Blocks) == 0 || f.Blocks[0].Kind != timetable.LimitAnswer || !strings.Contains(f.Blocks[0].Say, "Sunday morning does not suit the Krajewik family") {
				t.Errorf("to a session that does not suit: %+v", f)
			}
		}
		sum := int64(0)
		for _, x := range f.Terms {
			sum += x.Cost
		}
		if sum != f.Cost {
			t.Errorf("the terms add up to %d, and the effect is %d", sum, f.Cost)
		}
	}
	_, err = d.App.MoveEntries(d.Ctx(), d.Owner, d.g, family, of(v, sun.ID)[0].ID)
	d.fails("blocked", err)
	// Moved and moved back costs nothing.
	cost := v.Draft.Cost
	home := v.Draft.At(d.entry["a1"])
	f, err := d.App.MoveEntries(d.Ctx(), d.Owner, d.g, []rankwright.EntryID{d.entry["a1"]}, "")
	d.must(err)
	if got := d.look().Draft; got.Cost != cost+f.Cost || got.ByHand != 1 || got.At(d.entry["a1"]) != "" {
		t.Errorf("after the move: %+v, effect %+v", got.PlanFacts, f)
	}
	if w := d.look().WaitingNow(); len(w) != 1 || w[0] != d.entry["a1"] {
		t.Errorf("waiting: %v", w)
	}
	_, err = d.App.MoveEntries(d.Ctx(), d.Owner, d.g, []rankwright.EntryID{d.entry["a1"]}, home)
	d.must(err)
	d.must(d.App.SetLock(d.Ctx(), d.Owner, d.g, family, true))
	for _, w := range of(v, sat.ID) {
		if _, err = d.App.MoveEntries(d.Ctx(), d.Owner, d.g, family, w.ID); w.ID != v.Draft.At(family[0]) {
			d.fails("blocked", err)
		}
	}
	at := d.look().Draft.At(family[0])
	d.must(d.App.SetWeights(d.Ctx(), d.Owner, d.g, timetable.DefaultWeights(), 7))
	if v = d.plan(false); v.Draft.At(family[0]) != at || v.Draft.Seed != 7 {
		t.Error("what is locked moved")
	}
	d.must(d.App.SetLock(d.Ctx(), d.Owner, d.g, family, false))
}

func TestOnTheDayAChildMovesToASittingWithRoomAndKeepsItsMarks(t *testing.T) {
	d := newTimes(t)
	d.row("2026-10-10", 9*60, 11*60, false, "A", "B")
	d.plan(false)
	d.must(d.App.PublishTimetable(d.Ctx(), d.Owner, d.g))
	d.At("2026-10-10")
	d.must(d.App.Move(d.Ctx(), d.Owner, d.g, app.OnTheMat))
	e := d.entry["a8"]
	d.Mark(d.tomek, d.g, e, "CO-ET1", scoring.N(1))
	today, err := d.App.TodaySittings(d.Ctx(), d.desk, d.g)
	d.must(err)
	if len(today.Room[e]) == 0 {
		t.Fatalf("there is no room for anybody: %+v", today)
	}
	to := today.Room[e][0]
	if to.ID == today.At[e] || to.Free < 1 {
		t.Errorf("offered: %+v", to)
	}
	d.must(d.App.MoveToday(d.Ctx(), d.desk, e, to.ID))
	v := d.look()
	if v.Published.At(e) != to.ID || v.ToldOf(e).Sequence != 1 {
		t.Errorf("moved: %+v", v.ToldOf(e))
	}
	var marks []store.MarkRow
	d.must(d.Store.Read(d.Ctx(), func(tx *store.Tx) (err error) { marks, err = tx.MarksOfGrading(d.g); return err }))
	if len(marks) != 1 || marks[0].Entry != e {
		t.Errorf("marks: %+v", marks)
	}
	d.must(d.App.MoveToday(d.Ctx(), d.desk, e, to.ID)) // twice is once
	d.fails("no_sitting", d.App.MoveToday(d.Ctx(), d.desk, e, "w-404"))
}

func TestWhoMayPublishAndWhen(t *testing.T) {
	d := newTimes(t)
	d.row("2026-10-10", 9*60, 12*60, false, "A", "B")
	for _, who := range []app.Actor{d.desk, d.Person("Kaito Barretto-Sato", app.Examiner, "")} {
		d.fails("not_allowed", d.App.PublishTimetable(d.Ctx(), who, d.g))
		d.fails("not_allowed", d.App.StartPlan(d.Ctx(), who, d.g, app.PlanOptions{}))
	}
	d.fails("limit", d.App.StartPlan(d.Ctx(), d.Owner, d.g, app.PlanOptions{Limit: 1e6}))
	d.plan(false)
	d.must(d.App.Move(d.Ctx(), d.Owner, d.g, app.OnTheMat))
	d.fails("wrong_state", d.App.PublishTimetable(d.Ctx(), d.Owner, d.g))
	d.must(d.App.Move(d.Ctx(), d.Owner, d.g, app.Timetabled))
	d.must(d.App.PublishTimetable(d.Ctx(), d.tomek, d.g))
}

func TestNobodyMarksAChildOfTheirOwnHousehold(t *testing.T) {
	d := newTimes(t)
	d.must(d.App.SetExaminerLimits(d.Ctx(), d.Owner, d.g, d.anahera.ID, app.ExaminerLimits{Own: []rankwright.HouseholdID{"h8"}}))
	d.must(d.App.Move(d.Ctx(), d.Owner, d.g, app.OnTheMat))
	st, err := d.App.AddMarks(d.Ctx(), d.anahera, d.g, []scoring.Mark{{Entry: d.entry["a8"], Requirement: "CO-ET1", Value: scoring.N(1)},
		{Entry: d.entry["a1"], Requirement: "RE-ET1", Value: scoring.N(1)}})
	d.must(err)
	if st[0].Stored || !strings.Contains(st[0].Refuse, "Anahera Ropatini does not examine a child of their own household") || !st[1].Stored {
		t.Errorf("%+v", st)
	}
}

// The table of docs/placing.md says what the two tables of the app say.
func TestTheManualSaysWhoMayDoWhatWithTheTimetable(t *testing.T) {
	text, err := os.ReadFile("../../docs/placing.md")
	if err != nil {
		t.Fatal(err)
	}
	rows := map[string]app.Act{"see the timetable": app.SeeTimetable, "write down what suits a family, and its yes to another time": app.TakeAnswers, "plan, move, lock": app.PlanTimes,
		"publish": app.PublishTimes, "take changes of what was told": app.MovePublished, "move a child to another sitting on the day": app.MoveToday}
	for line := range strings.Lines(string(text)) {
		cells := strings.Split(strings.Trim(strings.TrimSpace(line), "|"), "|")
		act, ok := rows[strings.TrimSpace(cells[0])]
		if !ok || len(cells) != 5 {
			continue
		}
		delete(rows, strings.TrimSpace(cells[0]))
		for i, role := range []app.Role{app.Owner, app.Instructor, app.Assistant} {
			if said := strings.TrimSpace(cells[1+i]) == "yes"; said != role.May(act) {
				t.Errorf("%s, %s: the manual says %v", act, role, said)
			}
		}
		var while []string
		for _, st := range app.States {
			if st.State.Allows(act) {
				while = append(while, st.Name)
			}
		}
		if len(while) == 0 {
			while = []string{"anything"}
		}
		if got := strings.TrimSpace(cells[4]); got != strings.Join(while, ", ") {
			t.Errorf("%s: the manual says while %q, the table %q", act, got, strings.Join(while, ", "))
		}
	}
	if len(rows) > 0 {
		t.Errorf("the manual lacks %v", rows)
	}
}
