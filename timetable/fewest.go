package timetable

import (
	"context"

	"rankwright"
)

// Fewest says how few families can be moved, in comparison with some plan.
type Fewest struct {
	// Waiting is how many entries wait in that plan, and Moved how many
	// households that were told their time it moves.
	Waiting, Moved int
	// Bound is proven: no plan that keeps all limits and lets no more than Waiting
	// entries wait moves fewer households.
	Bound int
	// Plan is one that moves fewer than Moved and lets no more wait, where one was
	// found; of those that were found it moves fewest. It is not polished.
	Plan *Plan
	// Work is what the solver did, in its repeatable units.
	Work int64
}

// Least is how many households the best known plan moves.
func (f *Fewest) Least(q *Prepared) int {
	if f.Plan != nil {
		return q.MovedBy(f.Plan)
	}
	return f.Moved
}

// MovedBy counts the households that were told their time and that a plan moves,
// or lets wait.
func (q *Prepared) MovedBy(plan *Plan) (n int) {
	for _, members := range q.Members {
		for _, e := range members {
			if q.Told[e] && q.Was[e] != Waiting && plan.At[e] != q.Was[e] {
				n++
				break
			}
		}
	}
	return n
}

// waiting counts the entries that have no sitting.
func (p *Plan) waiting() (n int) {
	for _, w := range p.At {
		if w == Waiting {
			n++
		}
	}
	return n
}

// forced counts the households that were told a time that is not theirs any
// more whatever is planned: the sitting is lost, or they cannot come.
func (q *Prepared) forced() (n int) {
	for _, members := range q.Members {
		for _, e := range members {
			if q.Told[e] && q.Was[e] != Waiting && !q.mayStand(e, q.Was[e]) {
				n++
				break
			}
		}
	}
	return n
}

// FewestMoved proves how many households must be moved at least by whoever lets
// no more entries wait than a plan does: first those that have nothing to keep,
// then the relaxation of a programme that counts moved households and nothing
// else (its bound is worked out again in integers), then that programme in whole
// numbers until work is done; 0 is without limit. A nil solver leaves it at the
// first. Whoever ends ctx gets the bound so far. The plan must keep all limits.
// An error is a fault of the solver; what was found before stands beside it.
func FewestMoved(ctx context.Context, q *Prepared, s Solver, plan *Plan, work int64) (Fewest, error) {
	f := Fewest{Moved: q.MovedBy(plan), Bound: q.forced()}
	f.Waiting = plan.waiting()
	if f.Moved <= f.Bound || s == nil || ctx.Err() != nil {
		return f, nil
	}
	counted := q.Problem.clone()
	counted.Weights = Weights{AimMoved: 1}
	c, err := Prepare(counted)
	if err != nil {
		return f, err // it was prepared before; only weights are others
	}
	m := newModel(c, detail{examiners: true})
	var waits []Term
	for k := range m.kinds {
		if w := m.kinds[k].wait; w >= 0 {
			waits = append(waits, Term{w, 1})
		}
	}
	m.row(-Endless, int64(f.Waiting), waits...)
	sol, err := s.Solve(ctx, m.Relaxed(), Limits{Work: work})
	f.Work += sol.Work
	if err != nil {
		return f, err
	}
	if sol.Status == Optimal {
		f.raise(m.DualBound(sol.Duals))
	}
	if f.Moved <= f.Bound || ctx.Err() != nil || work > 0 && f.Work >= work {
		return f, nil
	}
	p := m.Program
	p.Start = m.start(plan)
	if work > 0 {
		work -= f.Work
	}
	if sol, err = s.Solve(ctx, p, Limits{Work: work, Whole: true}); err != nil {
		f.Work += sol.Work
		return f, err
	}
	f.Work += sol.Work
	f.raise(sol.WholeBound())
	if sol.Values == nil {
		return f, nil
	}
	other := m.plan(whole(sol.Values))
	if q.lessMoved(other, f.Moved, f.Waiting) {
		f.Plan = other
	}
	return f, nil
}

// raise takes a higher bound; a plan is a plan, and no bound lies above it.
func (f *Fewest) raise(bound int64) {
	f.Bound = max(f.Bound, int(min(bound, int64(f.Moved))))
}

// lessMoved says whether a plan keeps all limits, moves fewer households than
// moved and lets no more entries wait than waiting.
func (q *Prepared) lessMoved(plan *Plan, moved, waiting int) bool {
	return plan.waiting() <= waiting && q.MovedBy(plan) < moved && len(Verify(q.Problem, plan)) == 0
}

// RepairProven is Repair with a solver: as few households as possible are moved
// by a plan that lets no more wait, and of such plans the cheapest that is found
// is taken. Repaired.Fewest says what is proven of it. how.Work bounds the
// solver's work; rounds is as for Repair.
func RepairProven(ctx context.Context, q *Prepared, s Solver, how Search, rounds int) (*Repaired, error) {
	stop := func() bool { return ctx.Err() != nil }
	plan := Improve(q, q.PublishedPlan(), how.Seed, rounds, stop)
	if len(Verify(q.Problem, plan)) > 0 {
		return nil, rankwright.Faultf(rankwright.Unavailable, "no_plan", "unlock somebody, or make more room", "no plan was found that keeps all limits")
	}
	f, err := FewestMoved(ctx, q, s, plan, how.Work)
	if f.Plan != nil {
		plan = q.polishMoved(f.Plan, how.Seed, rounds, stop)
		f.Moved, f.Plan = q.MovedBy(plan), nil
	}
	r := repaired(q, plan, how.Seed, rounds, stop)
	r.Fewest = &f
	return r, err
}

// polishMoved makes a plan cheaper that moves few households, without moving
// more or letting more wait.
func (q *Prepared) polishMoved(plan *Plan, seed uint64, rounds int, stop func() bool) *Plan {
	dear := q.Problem.clone()
	dear.Weights[AimMoved], dear.Weights[AimPlaced] = MostWeight, MostWeight
	d, err := Prepare(dear)
	if err != nil {
		return plan
	}
	better := Improve(d, plan, seed, rounds, stop)
	if q.lessMoved(better, q.MovedBy(plan)+1, plan.waiting()) && q.Total(better) < q.Total(plan) {
		return better
	}
	return plan
}
