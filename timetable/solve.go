package timetable

import (
	"context"
	"fmt"
	"math"
	"sync"

	"rankwright"
)

// Search says how Solve searches.
type Search struct {
	// Seed chooses the chances that are taken; the same seed, problem and Work
	// give the same outcome.
	Seed uint64
	// Work ends the search after so much work of the solver, in its repeatable
	// units; 0 goes on until there is a proof.
	Work int64
	// Gap ends the search when the plan is within this share of the bound, in
	// thousandths; 0 asks for the proof.
	Gap int64
	// Tell hears of each better plan or bound, from one goroutine at a time; nil
	// hears nothing.
	Tell func(Outcome)
}

// Outcome is what a search found.
type Outcome struct {
	// Plan keeps all limits; nil if none was found.
	Plan *Plan
	// Objective is the plan's exact cost. Bound is proven: no plan costs less.
	Objective, Bound int64
	// Proven says that no plan is better (or, without a Plan, that there is none).
	Proven bool
	// Impossible says that there is no plan that keeps all limits.
	Impossible bool
	// Work is what the solver did, in its repeatable units.
	Work int64
}

// Gap is by how much a better plan could at most be cheaper, in thousandths of
// the bound, rounded up. It is 0 where the plan is proven best, and
// math.MaxInt64 without a plan or a bound.
func (o Outcome) Gap() int64 {
	switch {
	case o.Plan == nil:
		return math.MaxInt64
	case o.Objective <= o.Bound:
		return 0
	case o.Bound <= 0:
		return math.MaxInt64
	}
	return ((o.Objective-o.Bound)*1000 + o.Bound - 1) / o.Bound
}

// The rounds of local search that a plan is begun with, and polished with.
const (
	firstRounds  = 200 // for each entry
	polishRounds = 20_000
	firstWork    = 10_000
	mostWork     = 4_000_000
)

// Solve searches for the best plan and for the proof. It takes turns: in each
// turn one programme raises the bound while, beside it, parts of the plan are
// solved again and again; then both are compared, and the next turn may do
// four times the work. Whoever ends ctx gets the best plan and bound so far. Of
// plans that cost the same it takes one whose sittings begin early. An
// error is a fault of the solver; the outcome beside it holds what was found
// before.
func Solve(ctx context.Context, q *Prepared, s Solver, how Search) (Outcome, error) {
	f := &solving{q: q, s: s, how: how, ctx: ctx}
	f.offer(Improve(q, nil, how.Seed, firstRounds*max(5, len(q.May)), f.stopped))
	f.full = newModel(q, detail{examiners: true})
	for g := range f.full.windows {
		f.open = f.open || len(f.full.windows[g]) > 1
	}
	if f.open {
		f.coarse = newModel(q, detail{merge: true, coarse: true})
	}
	err := f.turns()
	if f.out.Plan != nil {
		f.out.Plan = q.Early(f.out.Plan)
		f.out.Objective = q.Total(f.out.Plan)
	}
	return f.out, err
}

// Whole is the problem as one programme, which says all of it: who stands
// where, which sittings are open for which ranks, and before whom. It is for
// other solvers to be compared with; Solve has better ways.
func Whole(q *Prepared) Program { return newModel(q, detail{examiners: true}).Program }

// solving is one search.
type solving struct {
	q    *Prepared
	s    Solver
	how  Search
	ctx  context.Context
	full *model
	// open says that some sitting's ranks are for the plan to choose. Then the
	// bound comes from a coarse model first.
	open       bool
	coarse     *model
	coarseDone bool
	values     []int64 // the best of the coarse model, for search only
	relaxed    bool    // the first relaxation has been solved
	largest    bool    // a programme was too large for the solver

	mu  sync.Mutex
	out Outcome
	// beside is the better plan of the turn's other side, told but not yet
	// taken: what counts is decided when both sides are done, so that it does
	// not depend on which was faster.
	beside *Plan
}

func (f *solving) stopped() bool { return f.ctx.Err() != nil }

// offer takes a plan if it is better and keeps all limits.
func (f *solving) offer(plan *Plan) {
	if plan == nil || len(Verify(f.q.Problem, plan)) > 0 {
		return
	}
	cost := f.q.Total(plan)
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.out.Plan == nil || cost < f.out.Objective {
		f.out.Plan, f.out.Objective = plan, cost
		f.tell()
	}
}

// raise takes a bound if it is higher.
func (f *solving) raise(bound int64) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if bound > f.out.Bound {
		f.out.Bound = bound
		f.tell()
	}
}

func (f *solving) tell() {
	if f.out.Plan != nil && f.out.Bound >= f.out.Objective {
		// The bound holds within the solver's tolerance; a plan is a plan.
		f.out.Bound, f.out.Proven = f.out.Objective, true
	}
	if f.how.Tell == nil {
		return
	}
	o := f.out
	if f.beside != nil {
		if cost := f.q.Total(f.beside); o.Plan == nil || cost < o.Objective {
			o.Plan, o.Objective = f.beside, cost
			if o.Objective <= o.Bound {
				o.Bound, o.Proven = o.Objective, true
			}
		}
	}
	f.how.Tell(o)
}

// show tells of a plan of the turn's other side.
func (f *solving) show(plan *Plan) {
	if len(Verify(f.q.Problem, plan)) > 0 {
		return
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	f.beside = plan
	f.tell()
}

func (f *solving) done() bool {
	return f.out.Proven || f.out.Impossible || f.how.Gap > 0 && f.out.Gap() <= f.how.Gap ||
		f.how.Work > 0 && f.out.Work >= f.how.Work || f.stopped()
}

// turns goes on until there is a proof, or no more is wanted.
func (f *solving) turns() error {
	if f.out.Plan != nil && f.out.Objective == 0 {
		f.raise(0)
		f.out.Proven = true
		return nil
	}
	dice := &chance{state: f.how.Seed}
	// The first turn reaches past the first relaxation.
	first := int64(3 * len(f.full.Rows) / 2)
	if f.coarse != nil {
		first = min(2*firstWork, int64(8*len(f.coarse.Rows)))
	}
	for work := max(firstWork, first); !f.done(); work = min(4*work, mostWork) {
		if f.how.Work > 0 {
			work = min(work, f.how.Work-f.out.Work)
		}
		ctx, cancel := context.WithCancel(f.ctx)
		var above, below turn
		start := f.out.Plan
		var both sync.WaitGroup
		both.Go(func() {
			defer func() {
				if p := recover(); p != nil { // a fault of ours must not end the program
					below.err = &rankwright.Fault{Kind: rankwright.Internal, Code: "search_broke", Say: "the search broke off", Err: fmt.Errorf("%v", p)}
				}
			}()
			below = f.search(ctx, start, dice, work)
		})
		above = f.bound(start, work)
		if above.final {
			cancel() // what the other side finds cannot matter any more
		}
		both.Wait()
		cancel()
		f.beside = nil
		if !above.final && below.plan != nil {
			f.offer(below.plan)
		}
		f.out.Work += above.work + below.work
		for _, err := range []error{above.err, below.err} {
			if err != nil && rankwright.KindOf(err) != rankwright.TooLarge {
				return err
			}
		}
		if above.err != nil {
			// What is too large for the solver stays so: the bound is what it is,
			// and the search ends when it finds no better plan.
			if f.largest && (below.plan == nil || below.plan == start) {
				return nil
			}
			f.largest = true
		}
		if above.final {
			return nil
		}
	}
	return nil
}

// turn is what one side of a turn brought.
type turn struct {
	plan  *Plan
	work  int64
	final bool // nothing is left to find
	err   error
}

// bound solves the whole programme, or as long as only its bound is wanted the
// coarse one, and offers what it finds.
func (f *solving) bound(start *Plan, work int64) turn {
	m := f.full
	if f.coarse != nil && !f.coarseDone {
		m = f.coarse
	}
	var t turn
	if !f.relaxed {
		f.relaxed = true
		sol, err := f.s.Solve(f.ctx, m.Relaxed(), Limits{})
		if t.work, t.err = sol.Work, err; err != nil {
			return t
		}
		if sol.Status == Optimal {
			f.raise(m.DualBound(sol.Duals))
		}
	}
	p := m.Program
	if start != nil {
		p.Start = m.start(start)
	}
	sol, err := f.s.Solve(f.ctx, p, Limits{Work: work, Gap: f.how.Gap, Whole: true})
	if t.work, t.err = t.work+sol.Work, err; err != nil {
		return t
	}
	if sol.Status == Infeasible {
		f.out.Impossible, f.out.Proven, t.final = start == nil, start == nil, true
		return t
	}
	f.raise(sol.WholeBound())
	if sol.Values == nil {
		return t
	}
	values := whole(sol.Values)
	if m == f.full {
		f.offer(m.plan(values))
		t.final = sol.Status == Optimal
		return t
	}
	f.coarseDone = sol.Status == Optimal
	plan, more, err := m.realise(f.ctx, f.s, f.full, values, realWork)
	t.work, t.err = t.work+more, err
	if plan != nil {
		f.offer(Improve(f.q, plan, f.how.Seed, polishRounds, f.stopped))
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	t.final = f.out.Proven
	return t
}

const realWork = 3000

func whole(values []float64) []int64 {
	out := make([]int64, len(values))
	for i, v := range values {
		out[i] = int64(math.Round(v))
	}
	return out
}

// search makes the plan better, part by part.
func (f *solving) search(ctx context.Context, start *Plan, dice *chance, work int64) (t turn) {
	if start == nil {
		return t
	}
	t.plan = start
	better := func(plan *Plan) {
		if plan != nil && f.q.Total(plan) < f.q.Total(t.plan) {
			t.plan = plan
			f.show(plan)
		}
	}
	// real makes a plan of the coarse values.
	real := func() {
		plan, spent, err := f.coarse.realise(ctx, f.s, f.full, f.values, realWork)
		t.work, t.err = t.work+spent, err
		if plan != nil {
			plan = Improve(f.q, plan, dice.next(), polishRounds, func() bool { return ctx.Err() != nil })
		}
		better(plan)
	}
	switch {
	case f.coarse != nil && !f.coarseDone:
		if f.values == nil {
			f.values = f.coarse.start(t.plan)
		}
		// With only the sittings in whole numbers, good ones are found soon.
		p := f.coarse.loose()
		p.Start = f.values
		sol, err := f.s.Solve(ctx, p, Limits{Work: work + work/2, Whole: true})
		if t.work, t.err = sol.Work, err; err != nil {
			return t
		}
		if sol.Values != nil {
			f.values = f.coarse.around(ctx, f.s, sol.Values, f.values)
		}
		if real(); t.err != nil || ctx.Err() != nil {
			return t
		}
		spent, err := f.coarse.polish(ctx, f.s, f.values, dice, work/2, nil)
		if t.work, t.err = t.work+spent, err; err == nil {
			real()
		}
	default:
		values := f.full.start(t.plan)
		spent, err := f.full.polish(ctx, f.s, values, dice, work, func(_ neighbours, gain, _, _ int64) {
			if gain > 0 {
				better(f.full.plan(values))
			}
		})
		if t.work, t.err = t.work+spent, err; err == nil {
			better(Improve(f.q, t.plan, dice.next(), polishRounds, func() bool { return ctx.Err() != nil }))
		}
	}
	return t
}

// loose is the programme in which only sittings and sessions are whole.
func (m *model) loose() Program {
	p := m.Relaxed()
	for _, c := range m.open {
		p.Columns[c].Whole = true
	}
	for g := range m.count {
		for _, c := range m.count[g] {
			p.Columns[c].Whole = true
		}
	}
	return p
}

// around finds whole values beside loose ones: the sittings stand as they
// are, and everybody is placed anew. It gives the better of that and values.
func (m *model) around(ctx context.Context, s Solver, loose []float64, values []int64) []int64 {
	near := whole(loose)
	c := partOf(&m.Program, near, m.free(near, neighbours{everyone: true}))
	c.Start = nil
	sol, err := s.Solve(ctx, c.Program, Limits{Work: 20_000, Whole: true})
	if err != nil || sol.Values == nil {
		return values
	}
	for j, i := range c.column {
		near[i] = int64(math.Round(sol.Values[j]))
	}
	if m.Holds(near) && m.Value(near) < m.Value(values) {
		return near
	}
	return values
}
