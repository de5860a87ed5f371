package timetable

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// From a plan that keeps every limit, a move is blocked just where the plan it
// leads to breaks one, and its effect is the difference in full.
func TestAMoveIsBlockedJustWhereItsPlanBreaksALimit(t *testing.T) {
	blocked, free := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t, 7)
		q := prepared2(t, p)
		plan := Improve(q, nil, 1, 50, nil)
		if len(p.Entries) == 0 || len(Verify(p, plan)) > 0 {
			return
		}
		who := []int{rapid.IntRange(0, len(p.Entries)-1).Draw(t, "who")}
		if rapid.Bool().Draw(t, "family") {
			who = q.Members[q.EntryHousehold[who[0]]]
		}
		for _, f := range q.Effects(plan, who) {
			said := Verify(p, f.Plan)
			if (len(f.Blocks) > 0) != (len(said) > 0) {
				t.Fatalf("moving %v to %d is blocked by %v, and Verify says %v", who, f.Sitting, f.Blocks, said)
			}
			if got := q.Total(f.Plan) - q.Total(plan); got != f.Total {
				t.Fatalf("moving %v to %d costs %d, in full %d", who, f.Sitting, f.Total, got)
			}
			for _, b := range f.Blocks {
				if q.SayBlock(b) == string(b.Limit) || q.SayBlock(b) == "" {
					t.Fatalf("%v has no sentence", b)
				}
			}
			if len(f.Blocks) > 0 {
				blocked++
			} else {
				free++
			}
		}
	})
	if blocked < 5 || free < 5 {
		t.Errorf("only %d blocked and %d free moves were drawn", blocked, free)
	}
}

func TestTheBoardIsToldWhyAndWhatAMoveCosts(t *testing.T) {
	p, plan := evening(t)
	q := prepared(t, p)
	for _, c := range []struct {
		who  []int
		to   int
		want string
	}{
		{[]int{0}, 3, "eve does not suit the Okafor family"},
		{[]int{3}, 0, "noon at 12:00 on mat A has room for 2"},
		{[]int{2}, 5, "noon at 12:00 on mat A is on the same mat at the same time as noon at 12:15 on mat A"},
		{[]int{0, 1}, 1, ""},
	} {
		f := q.EffectOf(plan, c.who, c.to)
		var said []string
		for _, b := range f.Blocks {
			said = append(said, q.SayBlock(b))
		}
		if got := strings.Join(said, "; "); got != c.want {
			t.Errorf("%v to %s: %q, want %q", c.who, p.Sittings[c.to].ID, got, c.want)
		}
	}
	// Ada and Ben change mats: n1 closes and n2 opens, and nothing else changes.
	if f := q.EffectOf(plan, []int{0, 1}, 1); f.Total != 0 || f.Plan.Panels[0] != nil || len(f.Plan.Panels[1]) != 1 {
		t.Errorf("the mirrored move costs %d: %v", f.Total, f.Plan)
	}
	if f := q.EffectOf(plan, []int{3}, Waiting); f.Units[AimPlaced] != 1 || f.Units[AimSession] != -1 || f.Total != 1000-30-12-1 {
		t.Errorf("letting Dan wait: %+v", f)
	}
}

func BenchmarkEffects(b *testing.B) {
	p, plan, _ := readPlacing(b, "testdata/placing/n500-s1-fixed.json")
	q := prepared(b, p)
	b.ReportAllocs()
	for i := range b.N {
		q.Effects(plan, []int{i % len(p.Entries)})
	}
}
