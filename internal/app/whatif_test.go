package app_test

import (
	"strings"
	"testing"

	"rankwright"
	"rankwright/examples"
	"rankwright/syllabus"
)

// A lower bar for the fall is tried on a signed grading before it is
// published: the one outcome that it decides changes, and nothing is written.
func TestADraftIsTriedOnEarlierGradings(t *testing.T) {
	d := newDay(t)
	d.all("a1", nil)
	d.all("a2", map[rankwright.RequirementID]int{"RE-BF1": 1})
	d.all("a4", nil)
	d.clear("a1", "consent", "home_note")
	d.clear("a2", "consent", "home_note")
	d.clear("a4", "consent", "home_note")
	d.sign()
	text, err := examples.Files.ReadFile("otterlight.yaml")
	d.must(err)
	easier := strings.Replace(string(text), "id: RE-BF1, section: BF, show: Settle-back from sitting, kind: level, scale: FALL, weight: 2,",
		"id: RE-BF1, section: BF, show: Settle-back from sitting, kind: level, scale: FALL, weight: 2, expect: 1,", 1)
	if easier == string(text) {
		t.Fatal("the example file no longer has the line that this test changes")
	}
	_, _, err = d.App.SaveDraft(d.Ctx(), d.Owner, easier)
	d.must(err)
	w, err := d.App.TryDraft(d.Ctx(), d.Owner, "youth")
	d.must(err)
	if len(w.Gradings) != 1 || w.Gradings[0].Judged != 3 || len(w.Gradings[0].Changed) != 1 {
		t.Fatalf("tried on: %+v", w.Gradings)
	}
	if c := w.Gradings[0].Changed[0]; c.Entry.Student.ID != "a2" || c.Was != syllabus.NotYet || c.Would != syllabus.Promoted {
		t.Errorf("changed: %+v", c)
	}
	found, err := d.App.Verify(d.Ctx(), d.Owner)
	d.must(err)
	if len(found.Differ) != 0 {
		t.Errorf("trying a draft changed what was signed: %v", found.Differ)
	}
}
