package timetable

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rankwright"
)

// A hall does not stand empty before and between the sittings for nothing.
func TestSittingsThatCostTheSameBeginEarly(t *testing.T) {
	begin := func() *Problem {
		p := &Problem{Ranks: []rankwright.RankID{"reed"}, Sessions: []Session{{ID: "sat", Day: rankwright.MustDay("2026-12-12"), Cost: 1}}, Rules: DefaultRules(), Weights: DefaultWeights()}
		for _, id := range []SittingID{"w1", "w2", "w3"} {
			p.Sittings = append(p.Sittings, Sitting{ID: id, Session: "sat", Mat: "A", Start: 9*60 + 40*Minute(len(p.Sittings)), Minutes: 40, Most: 4, Panel: 1, Cost: 1})
		}
		p.Households = []Household{{ID: "h1"}}
		p.Entries = []Entry{{ID: "e1", Household: "h1", Rank: "reed"}}
		p.Examiners = []Examiner{{ID: "x1", Highest: "reed", There: []Presence{{Session: "sat"}}}}
		return p
	}
	for _, c := range []struct {
		name string
		more func(*Problem)
		want int
	}{
		{"nothing speaks against the first", func(*Problem) {}, 0},
		{"the first is shut", func(p *Problem) { p.Sittings[0].Hold = Shut }, 1},
		{"the first has no room", func(p *Problem) { p.Sittings[0].Most = 0 }, 1},
		{"the family can come later only", func(p *Problem) { p.Households[0].From = 9*60 + 40 }, 1},
		{"the examiner is there later only", func(p *Problem) { p.Examiners[0].There[0].From = 9*60 + 40 }, 1},
		{"the child is locked where it stands", func(p *Problem) { p.Entries[0].Locked = "w3" }, 2},
		{"the family was told", func(p *Problem) { p.Entries[0].Was, p.Entries[0].Told = "w3", true }, 2},
		{"the first is dearer", func(p *Problem) { p.Sittings[0].Cost = 2 }, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := begin()
			c.more(p)
			plan := &Plan{At: []int{2}, Panels: [][]int{nil, nil, {0}}}
			q := prepared(t, p)
			if said := Verify(p, plan); len(said) > 0 {
				t.Fatalf("the plan to begin with is none: %v", said)
			}
			got := q.Early(plan)
			if got.At[0] != c.want || len(got.Panels[c.want]) != 1 {
				t.Errorf("it stands in sitting %d with panels %v, want sitting %d", got.At[0], got.Panels, c.want)
			}
			if plan.At[0] != 2 {
				t.Error("the plan that was handed in is changed")
			}
		})
	}
}

func TestAnEarlyPlanIsNoWorseAndKeepsEveryLimit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t, 5)
		q, err := Prepare(p)
		if err != nil {
			t.Fatal(err)
		}
		plan := Improve(q, nil, 1, 50, nil)
		if plan == nil || len(Verify(p, plan)) > 0 {
			return
		}
		got := q.Early(plan)
		if said := Verify(p, got); len(said) > 0 {
			t.Fatal(strings.Join(said, "\n"))
		}
		if q.Total(got) > q.Total(plan) {
			t.Fatalf("it costs %d instead of %d", q.Total(got), q.Total(plan))
		}
		if !q.Early(got).Equal(got) {
			t.Fatal("done again, it is another plan")
		}
	})
}
