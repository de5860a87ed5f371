package app_test

import (
	"slices"
	"strings"
	"testing"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/timetable"
)

// Each squad is at every station once in the time of its sitting, falls before
// partner work, little ones with a break; and a station at which more is asked
// has no less time.
func TestASittingHasARoundOfItsStations(t *testing.T) {
	d := newTimes(t)
	d.row("2026-10-10", 9*60, 12*60, false, "A", "B")
	v := d.plan(false)
	rounds, breaks := 0, 0
	for i := range v.Sittings {
		w := &v.Sittings[i]
		x := v.Round(w)
		if len(x.Squads) == 0 {
			continue
		}
		if x.Rotation == nil {
			t.Errorf("no round at %s on mat %s", timetable.Minute(w.Begins), w.Mat)
			continue
		}
		rounds++
		if said := timetable.VerifyRotation(x.Circuit, x.Rotation); len(said) > 0 {
			t.Error(strings.Join(said, "\n"))
		}
		if int(x.Rotation.End) > w.Begins+w.Minutes {
			t.Errorf("the round ends at %s", x.Rotation.End)
		}
		place := func(id string) int {
			return slices.IndexFunc(x.Circuit.Stops, func(s timetable.Stop) bool { return string(s.ID) == id })
		}
		if place("BX") >= 0 || place("CN") >= 0 {
			t.Error("what counts extra, or a note, is a station")
		}
		if hands, theme := place("HA"), place("TH"); x.Circuit.Stops[hands].Minutes < x.Circuit.Stops[theme].Minutes {
			t.Error("one question has more time than the hands")
		}
		fell := map[int]timetable.Minute{}
		for _, visit := range x.Rotation.Visits {
			switch visit.Stop {
			case -1:
				breaks++
			case place("BF"):
				fell[visit.Squad] = visit.Until
			case place("PD"):
				if at, ok := fell[visit.Squad]; !ok || visit.From < at {
					t.Errorf("squad %d has partner work before its falls", visit.Squad+1)
				}
			}
		}
	}
	if rounds == 0 || breaks == 0 {
		t.Errorf("%d rounds with %d breaks prove little", rounds, breaks)
	}
	w := v.Sittings[slices.IndexFunc(v.Sittings, func(w app.Sitting) bool { return len(v.Round(&w).Squads) > 0 })]
	w.Minutes = 5
	if x := v.Round(&w); x.Rotation != nil || len(x.Stations) < 6 {
		t.Errorf("a round of %d stations in five minutes", len(x.Stations))
	}

	// What is waived for a whole rank takes no time: a section of it alone is no station.
	asked := v.Grading.Syllabus.Ranks
	for _, k := range asked {
		d.must(d.App.Waive(d.Ctx(), d.Owner, app.Waiver{Grading: d.g, Rank: k.ID, Requirement: theme(k.ID, v), Reason: "no theme this month"}))
	}
	v = d.look()
	for i := range v.Sittings {
		for _, s := range v.Round(&v.Sittings[i]).Stations {
			if s.ID == "TH" {
				t.Fatal("a section of which nothing is asked is a station")
			}
		}
	}
}

// theme is the requirement of a rank's theme of the month.
func theme(rank rankwright.RankID, v *app.Timetable) rankwright.RequirementID {
	k, _ := v.Grading.Syllabus.Rank(rank)
	for _, r := range k.Requirements {
		if r.Section == "TH" {
			return r.ID
		}
	}
	return ""
}
