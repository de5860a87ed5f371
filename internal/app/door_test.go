package app_test

import (
	"testing"

	"rankwright"
	"rankwright/internal/app"
)

// The desk or the family keeps a name off the door, and it stays off at the
// next grading.
func TestANameIsKeptOffTheDoorByTheDeskOrTheFamily(t *testing.T) {
	f := newFamilies(t)
	off := func() map[rankwright.EntryID]bool {
		v, err := f.App.Timetable(f.Ctx(), f.Owner, f.g)
		f.must(err)
		return v.OffDoor
	}
	f.must(f.App.SetOffDoor(f.Ctx(), f.desk, f.g, f.entry["a3"], true))
	f.must(f.App.SetOffDoor(f.Ctx(), f.desk, f.g, f.entry["a5"], true))
	who := f.open("h4") // of a3 and a4
	if p := f.page(who); len(p.Family.OffDoor) != 1 || p.Family.OffDoor[0] != f.entry["a3"] {
		t.Errorf("the family sees %v", p.Family.OffDoor)
	}
	f.must(f.App.FamilyOffDoor(f.Ctx(), who, []rankwright.EntryID{f.entry["a4"], f.entry["a6"]}))
	if got := off(); len(got) != 2 || !got[f.entry["a4"]] || !got[f.entry["a5"]] {
		t.Errorf("off the door: %v, want the family's own a4 beside a5", got)
	}
	f.must(f.App.SetOffDoor(f.Ctx(), f.desk, f.g, f.entry["a5"], false))
	if got := off(); len(got) != 1 {
		t.Errorf("off the door: %v", got)
	}
	for id, want := range map[rankwright.StudentID]bool{"a4": true, "a5": false} {
		if x, err := f.App.ExportStudent(f.Ctx(), f.Owner, id); err != nil || x.OffTheDoor != want {
			t.Errorf("the export of %s says %t: %v", id, x.OffTheDoor, err)
		}
	}
	f.fails("no_entry", f.App.SetOffDoor(f.Ctx(), f.desk, f.g, "e-404", true))
	f.fails("not_allowed", f.App.SetOffDoor(f.Ctx(), who, f.g, f.entry["a3"], true))
	f.fails("not_allowed", f.App.FamilyOffDoor(f.Ctx(), f.desk, nil))

	g, err := f.App.CreateGrading(f.Ctx(), f.Owner, app.NewGrading{Title: "Winter grading", Day: rankwright.MustDay("2026-12-12"), Ladder: "youth"})
	f.must(err)
	f.must(f.App.Enter(f.Ctx(), f.Owner, g.ID, []rankwright.StudentID{"a3", "a4"}))
	v, err := f.App.Timetable(f.Ctx(), f.Owner, g.ID)
	f.must(err)
	if len(v.OffDoor) != 1 {
		t.Errorf("at the next grading: %v", v.OffDoor)
	}
}
