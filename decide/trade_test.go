package decide_test

import (
	"strings"
	"testing"

	"rankwright/decide"
	"rankwright/scoring"
)

// Facts of the trade: common practice, no published source.
func TestFactsOfTheTrade(t *testing.T) {
	// Yellow's sheet has 25 points: 2 at the door, 2 of kit, 7 of the belt, 4
	// of stance, 4 of falls, 1 of the head and 5 of the creed.
	const door = "nails 1|nothing-worn 1|kit 1|"
	const falls = "fall-back 1|fall-left 1|fall-right 1|fall-front 1|head 1|"
	for _, c := range []struct{ name, rank, marks, points, want string }{
		{"a beginner is credited for the steps of the belt that were managed", "yellow", door + falls + "tie 4|stance 4|creed 5|signed signature", "22 of 25", "promoted"},
		{"seven ordered steps are a point each", "yellow", door + falls + "tie 7|stance 4|creed 5|signed signature", "25 of 25", "promoted"},
		{"black belt: all seven inside 30 seconds", "black", door + falls + "tie 7|tie-time 30|stance 4|creed 5|signed signature", "26 of 26", "promoted"},
		{"black belt: all seven in 30.001 seconds", "black", door + falls + "tie 7|tie-time 30.001|stance 4|creed 5|signed signature", "25 of 26", "not yet: tie-time"},
		{"black belt: six steps in 20 seconds", "black", door + falls + "tie 6|tie-time 20|stance 4|creed 5|signed signature", "25 of 26", "not yet: tie"},
		{"a fighting stance is scored on four points", "yellow", door + falls + "tie 7|stance 3|creed 5|signed signature", "24 of 25", "promoted"},
		{"falls to the back, both sides and front are a point each", "yellow", door + "fall-back 1|fall-left 0|fall-right 0|fall-front 1|head 1|tie 7|stance 4|creed 5|signed signature", "23 of 25", "promoted"},
		{"the head on the mat is not made up for by anything", "yellow", door + "fall-back 1|fall-left 1|fall-right 1|fall-front 1|head 0|tie 7|stance 4|creed 5|extra-1 1|extra-2 1|signed signature", "26 of 25", "not yet: head"},
		{"of a list of five a beginner needs two", "yellow", door + falls + "tie 7|stance 4|creed 2|signed signature", "22 of 25", "promoted"},
		{"of a list of five a beginner with one is not there yet", "yellow", door + falls + "tie 7|stance 4|creed 1|signed signature", "21 of 25", "not yet: creed"},
		{"a brown belt needs all five", "brown", door + falls + "tie 7|stance 4|creed 4|signed signature", "24 of 25", "not yet: creed"},
		{"a brown belt with all five", "brown", door + falls + "tie 7|stance 4|creed 5|signed signature", "25 of 25", "promoted"},
		{"extra techniques add points", "yellow", door + falls + "tie 2|stance 2|creed 2|extra-1 1|extra-2 1|signed signature", "17 of 25", "not yet: named"},
		{"extra techniques lift just to the line", "yellow", door + falls + "tie 3|stance 2|creed 2|extra-1 1|extra-2 1|signed signature", "18 of 25", "promoted"},
		{"extra techniques not shown take nothing away", "yellow", door + falls + "tie 7|stance 4|creed 5|extra-1 0|signed signature", "25 of 25", "promoted"},
		{"a missing signature holds a promotion whatever the score", "yellow", door + falls + "tie 7|stance 4|creed 5|extra-1 1|extra-2 1", "27 of 25", "held"},
		{"a signature does not promote", "yellow", door + falls + "tie 0|stance 0|creed 2|signed signature", "11 of 25", "not yet: named"},
		{"a kit item waived for one grading", "yellow", "nails 1|nothing-worn 1|waived kit|" + falls + "tie 5|stance 3|creed 2|signed signature", "17 of 23", "promoted"},
		{"the same not waived", "yellow", "nails 1|nothing-worn 1|kit 0|" + falls + "tie 5|stance 3|creed 2|signed signature", "17 of 25", "not yet: named"},
		{"long nails at the door", "yellow", "nails 0|nothing-worn 1|kit 1|" + falls + "tie 7|stance 4|creed 5|signed signature", "24 of 25", "not yet: nails"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := load(t, "rules/trade.yaml")
			j, text := shape(t, s, "rank "+c.rank+"|"+c.marks)
			v := j.Decide(telling(t, s, j, text))
			if got := v.Points.String() + " of " + v.Of.String(); got != c.points {
				t.Errorf("%s points, want %s", got, c.points)
			}
			got := strings.ReplaceAll(v.Outcome.String(), "_", " ")
			if again := strings.Replace(againWords(&v), "named by the head instructor", "named", 1); again != "" {
				got += ": " + again
			}
			if got != c.want {
				t.Errorf("%s, want %s; %s", got, c.want, v.Summary())
			}
		})
	}
}

// Absent, unwell and stopped are each their own outcome, whatever was marked.
func TestWhoWasNotExaminedIsNotANotYet(t *testing.T) {
	s := load(t, "rules/p07.yaml")
	for marks, want := range map[string]string{
		"absent": "absent", "unwell": "absent (unwell)", "stopped": "stopped",
		"absent|i1..i6 5": "absent", "stopped|i1..i6 1": "stopped", "i1..i5 5": "incomplete",
	} {
		j, text := shape(t, s, marks)
		v := j.Decide(telling(t, s, j, text))
		got := v.Outcome.String()
		if v.Label != "" {
			got += " (" + v.Label + ")"
		}
		if got != want || v.Line != -1 || v.Whole || len(v.ShowAgain) > 0 {
			t.Errorf("%s is %s, want %s", marks, got, want)
		}
	}
}

// A card of another rank, or none, is an empty card: everything is missing.
func TestNoCardIsIncomplete(t *testing.T) {
	j := judge(t, load(t, "rules/p07.yaml"), "any")
	for name, card := range map[string]*scoring.Card{"none": nil, "another rank's": {Seen: make([][]scoring.Seen, 2)}} {
		v := j.Decide(decide.Case{Card: card})
		if v.Outcome.String() != "incomplete" || len(v.Missing) != 6 {
			t.Errorf("%s: %s, missing %v", name, v.Outcome, v.Missing)
		}
	}
}
