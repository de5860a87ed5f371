package solver

import (
	"context"
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"rankwright"
	"rankwright/timetable"
)

// tiny draws a problem of a handful of entries that has something of
// everything: answers, times, families, panels with own children, widths,
// sittings held and shut, published plans, weights of all aims.
func tiny(t *rapid.T) *timetable.Problem {
	n := func(name string, low, high int) int { return rapid.IntRange(low, high).Draw(t, name) }
	flip := func(name string) bool { return rapid.Bool().Draw(t, name) }
	p := &timetable.Problem{Ranks: []rankwright.RankID{"white", "yellow", "green"},
		Rules: timetable.Rules{Unanswered: timetable.IfNeedBe, Pause: 10, Rest: 10, LittleAge: 7, LittleAfter: 60}}
	for a := range p.Weights {
		p.Weights[a] = n("weight", 0, 9)
	}
	p.Weights[timetable.AimPlaced] = n("placed", 20, 60)
	for s := range n("sessions", 1, 2) {
		p.Sessions = append(p.Sessions, timetable.Session{ID: timetable.SessionID(fmt.Sprint("s", s)),
			Day: rankwright.MustDay("2026-10-10") + rankwright.Day(n("day", 0, 1)), Makeup: flip("makeup"), Cost: n("session cost", 0, 3)})
	}
	for w := range n("sittings", 2, 4) {
		s := timetable.Sitting{ID: timetable.SittingID(fmt.Sprint("w", w)), Session: p.Sessions[n("session", 0, len(p.Sessions)-1)].ID,
			Mat: timetable.MatID(fmt.Sprint("mat", w%2)), Start: 540 + timetable.Minute(30*n("start", 0, 4)), Minutes: 30,
			Most: n("most", 1, 3), Panel: n("panel", 0, 2), Cost: n("sitting cost", 0, 2), Width: n("width", 0, 2)}
		s.Least = n("least", 0, s.Most)
		if flip("alike") && w > 0 { // so that sittings can be merged
			id, mat, start := s.ID, s.Mat, s.Start
			s = p.Sittings[w-1]
			s.ID, s.Mat, s.Start, s.Hold, s.Was = id, mat, start, timetable.Free, nil
		}
		switch n("hold", 0, 9) {
		case 0:
			s.Hold = timetable.Held
		case 1:
			s.Hold = timetable.Shut
		}
		if n("panel for", 0, 3) == 0 {
			s.PanelFor = p.Ranks[n("rank", 0, 2)]
		}
		p.Sittings = append(p.Sittings, s)
	}
	for h := range n("households", 1, 4) {
		house := timetable.Household{ID: rankwright.HouseholdID(fmt.Sprint("h", h)), MayMove: flip("may move")}
		for _, s := range p.Sessions {
			house.Answers = append(house.Answers, timetable.Answer{Session: s.ID, Suits: timetable.Suits(min(2, n("suits", 0, 4))), Points: n("points", 0, 2)})
		}
		p.Households = append(p.Households, house)
	}
	for e := range n("entries", 1, 5) {
		x := timetable.Entry{ID: rankwright.EntryID(fmt.Sprint("e", e)), Household: p.Households[n("household", 0, len(p.Households)-1)].ID,
			Rank: p.Ranks[n("rank", 0, 2)], Age: n("age", 5, 9), MustPlace: n("must", 0, 9) == 0}
		if n("was", 0, 3) == 0 {
			x.Was, x.Told = p.Sittings[n("where", 0, len(p.Sittings)-1)].ID, flip("told")
		}
		p.Entries = append(p.Entries, x)
	}
	for i := range n("examiners", 1, 3) {
		x := timetable.Examiner{ID: rankwright.ExaminerID(fmt.Sprint("x", i)), Highest: p.Ranks[n("highest", 1, 2)],
			MostSession: n("most a session", 0, 2), MostDay: n("most a day", 0, 3), InARow: n("in a row", 0, 2)}
		for _, s := range p.Sessions {
			if n("there", 0, 3) > 0 {
				x.There = append(x.There, timetable.Presence{Session: s.ID})
			}
		}
		if flip("own") {
			x.Own = append(x.Own, p.Households[n("own household", 0, len(p.Households)-1)].ID)
		}
		p.Examiners = append(p.Examiners, x)
	}
	return p
}

// everyPlan tries all plans and gives the least cost; false where none keeps
// all limits. timetable.Verify alone says whether one does.
func everyPlan(q *timetable.Prepared) (least int64, any bool) { return cheapest(q, q.Total) }

// cheapest is everyPlan by another price, which no panel makes lower.
func cheapest(q *timetable.Prepared, price func(*timetable.Plan) int64) (least int64, any bool) {
	p := q.Problem
	plan := timetable.EmptyPlan(p)
	least = math.MaxInt64
	var panels func(w int, open []bool)
	panels = func(w int, open []bool) {
		if w == len(open) {
			if c := price(plan); c < least && len(timetable.Verify(p, plan)) == 0 {
				least, any = c, true
			}
			return
		}
		plan.Panels[w] = nil
		if !open[w] || p.Sittings[w].Panel == 0 {
			panels(w+1, open)
			return
		}
		var seats func(from int, panel []int)
		seats = func(from int, panel []int) {
			if len(panel) == p.Sittings[w].Panel {
				plan.Panels[w] = slices.Clone(panel)
				panels(w+1, open)
				return
			}
			for i := from; i < len(q.CanSit[w]); i++ {
				seats(i+1, append(panel, q.CanSit[w][i]))
			}
		}
		seats(0, nil)
		plan.Panels[w] = nil
	}
	var entries func(e int)
	entries = func(e int) {
		if e == len(plan.At) {
			for w := range plan.Panels {
				plan.Panels[w] = nil
			}
			if price(plan) < least { // a panel makes nothing cheaper
				panels(0, q.Open(plan))
			}
			return
		}
		for _, w := range append([]int{timetable.Waiting}, q.May[e]...) {
			plan.At[e] = w
			entries(e + 1)
		}
		plan.At[e] = timetable.Waiting
	}
	entries(0)
	return least, any
}

func TestTheProvenPlanOfATinyProblemIsTheBestOfAllPlans(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := rapid.Custom(func(t *rapid.T) *timetable.Prepared {
			q, _ := timetable.Prepare(tiny(t))
			return q
		}).Filter(func(q *timetable.Prepared) bool { return q != nil }).Draw(t, "problem") // some contradict themselves
		least, any := everyPlan(q)
		o, err := timetable.Solve(context.Background(), q, shared(), timetable.Search{Seed: 1, Tell: func(o timetable.Outcome) {
			if any && o.Bound > least || o.Plan != nil && o.Objective < least {
				t.Errorf("told of bound %d and plan %d on the way; the best of all plans costs %d", o.Bound, o.Objective, least)
			}
		}})
		switch {
		case err != nil:
			t.Fatal(err)
		case !any && !o.Impossible:
			t.Fatalf("no plan keeps all limits, and the outcome is %+v", o)
		case any && (!o.Proven || o.Objective != least || o.Bound != least || o.Gap() != 0):
			t.Fatalf("the best of all plans costs %d; outcome: cost %d, bound %d, proven %v, plan %v", least, o.Objective, o.Bound, o.Proven, o.Plan)
		case any && q.Total(o.Plan) != least:
			t.Fatalf("the plan costs %d, not %d", q.Total(o.Plan), least)
		}
	})
}
