package web

import (
	"testing"

	"rankwright/timetable"
)

func TestARoundIsDrawnFromARotation(t *testing.T) {
	c := &timetable.Circuit{Start: 620, Change: 1, Stops: []timetable.Stop{{ID: "a", Minutes: 8}, {ID: "b", Minutes: 8}},
		Squads: []timetable.CircuitSquad{{Little: true}, {}}, LittleWork: 8, LittleBreak: 5}
	r, err := timetable.Rotate(c, 0)
	if err != nil {
		t.Fatal(err)
	}
	round := roundOf("Saturday", c, r, []string{"Falls", "Throws"}, []string{"Squad 1", "Squad 2"})
	visits := 0
	for i, q := range round.Squads {
		seen := map[int]bool{}
		for k, s := range q.Stops {
			visits++
			seen[s.Station] = true
			if k > 0 && s.From < q.Stops[k-1].Until {
				t.Errorf("%s is in two places: %+v", q.Name, q.Stops)
			}
		}
		if !seen[0] || !seen[1] || seen[-1] != (i == 0) {
			t.Errorf("%s: %+v", q.Name, q.Stops)
		}
	}
	if visits != len(r.Visits) || round.Squads[0].Stops[0].From < 620 {
		t.Errorf("%+v", round)
	}
}
