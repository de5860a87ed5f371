//go:build !race

package app_test

import (
	"testing"

	"rankwright/internal/app"
	"rankwright/internal/solver"
)

// The race detector makes compiling the solver ten times as slow, and the rest
// of the planning is watched by the other tests.
//
// With the solver inside, the plan of eight children comes with the proof that
// there is no better one, and the board says so.
func TestAPlanComesWithItsProof(t *testing.T) {
	d := newTimes(t)
	h := solver.New(solver.Options{})
	t.Cleanup(func() { h.Close() })
	d.App = app.New(d.Store, app.Options{Now: d.App.Now, Solver: h})
	d.row("2026-10-10", 9*60, 11*60, false, "A", "B")
	d.must(d.App.StartPlan(d.Ctx(), d.Owner, d.g, app.PlanOptions{Limit: 60e9}))
	d.fails("planning", d.App.StartPlan(d.Ctx(), d.Owner, d.g, app.PlanOptions{}))
	d.must(d.App.AwaitPlan(d.Ctx(), d.g))
	v := d.look()
	if len(v.WaitingNow()) > 0 || !v.Draft.Bounded || v.Draft.Bound != v.Draft.Cost {
		t.Errorf("waiting %v, %+v", v.WaitingNow(), v.Draft.PlanFacts)
	}
	p, there, err := d.App.PlanProgress(d.Ctx(), d.desk, d.g)
	if err != nil || !there || p.Running || p.Bound != v.Draft.Bound {
		t.Errorf("%+v %v", p, err)
	}

	// Ended early there is a plan all the same.
	d.must(d.App.StartPlan(d.Ctx(), d.Owner, d.g, app.PlanOptions{Limit: 60e9}))
	d.must(d.App.StopPlan(d.Ctx(), d.Owner, d.g))
	d.must(d.App.AwaitPlan(d.Ctx(), d.g))
	if v = d.look(); len(v.WaitingNow()) > 0 {
		t.Error("ended early, and the plan is gone")
	}

	// The sitting of Zofia and Igor is lost: at least one family must move, and
	// that is proven of the repair.
	if _, _, known := v.Moves(); known {
		t.Error("nobody was told, and it is known how many move")
	}
	d.must(d.App.PublishTimetable(d.Ctx(), d.Owner, d.g))
	d.must(d.App.LoseSitting(d.Ctx(), d.Owner, d.g, v.Draft.At(d.entry["a3"]), true))
	d.must(d.App.StartPlan(d.Ctx(), d.Owner, d.g, app.PlanOptions{Limit: 60e9, Ask: true}))
	d.must(d.App.AwaitPlan(d.Ctx(), d.g))
	v = d.look()
	moved, fewest, known := v.Moves()
	if !known || fewest < 1 || moved != fewest {
		t.Errorf("%d families move, at least %d, known: %t; %+v", moved, fewest, known, v.Draft.PlanFacts)
	}
	d.must(d.App.SetAnswer(d.Ctx(), d.desk, d.g, "h1", v.Sessions[0].ID, "if_need_be"))
	if _, _, known := d.look().Moves(); known {
		t.Error("something changed, and it is known how many must move")
	}
}
