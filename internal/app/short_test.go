package app_test

import (
	"slices"
	"testing"

	"rankwright"
	"rankwright/internal/app"
)

// An examiner is told what fell short last time: requirements where it was for
// the same rank, else the sections; and nothing of those who had everything.
func TestTheNextExaminerSeesWhatFellShortLastTime(t *testing.T) {
	d := newDay(t)
	d.all("a1", map[rankwright.RequirementID]int{"RE-BF1": 1}) // promoted by the head instructor
	d.all("a2", map[rankwright.RequirementID]int{"RE-BF1": 1}) // the fall is a must
	d.all("a4", nil)
	for _, s := range []rankwright.StudentID{"a1", "a2", "a4"} {
		d.clear(s, "consent", "home_note")
	}
	if sh, err := d.App.Sheet(d.Ctx(), d.anahera, d.g, "reed"); err != nil || len(sh.Short) > 0 {
		t.Errorf("at a first grading: %+v, %v", sh.Short, err)
	}
	d.must(d.App.Move(d.Ctx(), d.Owner, d.g, app.Deciding))
	d.must(d.App.Override(d.Ctx(), d.Owner, d.entries["a1"], "promoted", "shown well on Tuesday", nil))
	d.must(d.App.Sign(d.Ctx(), d.Owner, d.g, ""))

	d.At("2026-11-07")
	g, err := d.App.CreateGrading(d.Ctx(), d.Owner, app.NewGrading{Title: "Another look", Day: rankwright.MustDay("2026-11-07"), Ladder: "youth"})
	d.must(err)
	d.must(d.App.SetPanel(d.Ctx(), d.Owner, g.ID, []string{d.Owner.ID, d.anahera.ID}, d.Owner.ID))
	for _, s := range []rankwright.StudentID{"a1", "a2", "a4"} {
		d.must(d.App.EnterAnyway(d.Ctx(), d.Owner, g.ID, s, "for the test"))
	}
	v, err := d.App.Grading(d.Ctx(), d.Owner, g.ID)
	d.must(err)
	got := map[rankwright.StudentID]app.Short{}
	ranks := map[rankwright.StudentID]rankwright.RankID{}
	for _, e := range v.Entries {
		sh, err := d.App.Sheet(d.Ctx(), d.anahera, g.ID, e.Rank)
		d.must(err)
		ranks[e.Student.ID] = e.Rank
		if x, there := sh.Short[e.Entry.ID]; there {
			got[e.Student.ID] = x
		}
	}
	if ranks["a1"] != "amber" || ranks["a2"] != "reed" {
		t.Fatalf("the ranks are %v: the test shows nothing", ranks)
	}
	if x := got["a2"]; !slices.Equal(x.Requirements, []rankwright.RequirementID{"RE-BF1"}) {
		t.Errorf("for the same rank: %+v", x)
	}
	if x := got["a1"]; len(x.Requirements) != 0 || !slices.Equal(x.Sections, []rankwright.SectionID{"BF"}) {
		t.Errorf("for the next rank: %+v", x)
	}
	if _, there := got["a4"]; there {
		t.Errorf("of somebody who had everything: %+v", got["a4"])
	}
}
