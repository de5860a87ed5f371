package app

import (
	"context"
	"encoding/json"
	"errors"
	"sync"
	"time"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/timetable"
)

// planning is the one timetable that is worked out at a time: a school's
// laptop has other things to do as well.
type planning struct {
	mu   sync.Mutex
	last *planRun
}

// planRun is one working out, and what came of it.
type planRun struct {
	grading rankwright.GradingID
	by      string
	began   time.Time
	limit   time.Duration
	stop    context.CancelFunc
	done    chan struct{}

	mu       sync.Mutex
	progress Progress
}

// Progress is how far the working out of a timetable is.
type Progress struct {
	Running bool
	For     time.Duration // since it began
	Limit   time.Duration
	Found   bool // a plan so far
	Cost    int64
	Waiting int // entries without a sitting in it
	Bounded bool
	Bound   int64
	Stopped bool // somebody ended it early
	Fault   error
}

// PlanOptions say how a timetable is worked out.
type PlanOptions struct {
	Limit time.Duration // 0 is the usual
	// Ask lets families be moved that were told a time and said nothing of
	// another; each of them has to say yes before anything is changed.
	Ask bool
}

const (
	usualLimit = 10 * time.Second
	mostLimit  = 2 * time.Minute
)

// StartPlan begins to work out a timetable in the background, from the draft
// or the published plan where there is one. What comes of it becomes the draft.
func (a *App) StartPlan(ctx context.Context, who Actor, id rankwright.GradingID, o PlanOptions) error {
	if o.Limit == 0 {
		o.Limit = usualLimit
	}
	if o.Limit < time.Second || o.Limit > mostLimit {
		return invalid("limit", "write 1 to 120", "a timetable cannot be worked out in %d seconds", int(o.Limit/time.Second))
	}
	var q *problem
	err := a.do(ctx, who, PlanTimes, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		t, err := a.timetable(tx, id)
		if err != nil {
			return nil, err
		}
		switch {
		case len(t.Sittings) == 0:
			return nil, rankwright.Faultf(rankwright.Conflict, "no_sittings", "make a session first", "there are no sittings to place anybody in")
		case len(t.Families) == 0:
			return nil, rankwright.Faultf(rankwright.Conflict, "no_entries", "enter students first", "nobody is entered")
		}
		moves := agreed
		if o.Ask {
			moves = askable
		}
		if q, err = t.problem(moves); err != nil {
			return nil, err
		}
		return map[string]any{"entries": len(q.entry), "sittings": len(q.sitting), "seed": t.Seed, "ask": o.Ask}, nil
	})
	if err != nil {
		return err
	}
	a.planning.mu.Lock()
	defer a.planning.mu.Unlock()
	if r := a.planning.last; r != nil {
		select {
		case <-r.done:
		default:
			return rankwright.Faultf(rankwright.Unavailable, "planning", "wait until it has ended, or end it", "another timetable is being worked out")
		}
	}
	run, stop := context.WithTimeout(context.WithoutCancel(ctx), o.Limit)
	r := &planRun{grading: id, by: who.ID, began: time.Now(), limit: o.Limit, stop: stop, done: make(chan struct{})}
	a.planning.last = r
	go a.workOut(run, r, who, q)
	return nil
}

// workOut works the timetable out and keeps what came of it.
func (a *App) workOut(ctx context.Context, r *planRun, who Actor, q *problem) {
	defer close(r.done)
	defer r.stop()
	plan, facts, err := a.solve(ctx, q, r.tell)
	if err == nil {
		err = a.keepDraft(context.WithoutCancel(ctx), who, q, plan, facts)
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.progress.Fault = err
	r.progress.For = time.Since(r.began)
	r.progress.Stopped = errors.Is(ctx.Err(), context.Canceled)
}

// tell notes the best plan so far and what is proven.
func (r *planRun) tell(p Progress) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.progress = p
}

// keepDraft makes a plan the draft, unless what it was made from has changed
// under it in a way that it no longer fits: an entry or a sitting that is gone
// is left out.
func (a *App) keepDraft(ctx context.Context, who Actor, q *problem, plan *timetable.Plan, facts PlanFacts) error {
	text, err := json.Marshal(facts)
	if err != nil {
		return err
	}
	id := q.t.Grading.ID
	kept := q.write(plan, string(text))
	kept.By, kept.At = who.ID, a.moment()
	return a.do(ctx, who, PlanTimes, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		now, err := a.timetable(tx, id)
		if err != nil {
			return nil, err
		}
		p := kept
		p.Placements, p.Duties = nil, nil
		for _, x := range kept.Placements {
			if e, _ := now.Entry(x.Entry); e == nil {
				continue
			}
			if now.Sitting(x.Sitting) == nil {
				x.Sitting, x.Squad = "", 0
			}
			p.Placements = append(p.Placements, x)
		}
		for _, d := range kept.Duties {
			if now.Sitting(d.Sitting) != nil {
				p.Duties = append(p.Duties, d)
			}
		}
		return map[string]any{"what": "draft", "cost": facts.Cost, "seed": facts.Seed}, tx.PutPlan(p)
	})
}

// solve searches for a plan until it is proven best or the context ends. A
// plan that stands and is better than what was found is kept.
func (a *App) solve(ctx context.Context, q *problem, tell func(Progress)) (*timetable.Plan, PlanFacts, error) {
	var start *timetable.Plan
	if r := q.t.Current(); r != nil {
		if p := q.read(r); len(timetable.Verify(q.Problem, p)) == 0 {
			start = p
		}
	}
	within, cancel := a.leaveTime(ctx, q)
	defer cancel()
	o, err := a.search(within, q, start, func(o timetable.Outcome) {
		p := Progress{Found: o.Plan != nil, Cost: o.Objective, Bound: o.Bound, Bounded: o.Bound > 0 || o.Proven}
		if o.Plan != nil {
			p.Waiting = waitingIn(o.Plan)
		}
		tell(p)
	})
	if err != nil && o.Plan == nil {
		return nil, PlanFacts{}, err
	}
	if start != nil && (o.Plan == nil || q.Total(start) < o.Objective) {
		o.Plan, o.Objective = start, q.Total(start)
	}
	switch {
	case o.Plan != nil:
		facts := PlanFacts{Cost: o.Objective, Bound: o.Bound, Bounded: o.Bound > 0 || o.Proven, Seed: q.t.Seed, Stopped: !o.Proven}
		a.countMoved(ctx, q.t, o.Plan, &facts)
		return o.Plan, facts, nil
	case o.Impossible:
		return nil, PlanFacts{}, rankwright.Faultf(rankwright.Conflict, "impossible", "unlock somebody, or make room", "no plan keeps what is locked and all limits")
	}
	return nil, PlanFacts{}, rankwright.Faultf(rankwright.Unavailable, "no_plan", "give it longer, unlock somebody, or make more room", "no plan was found in the time")
}

// countFor is how much of the time is kept for the proof of how few families
// can be moved.
const countFor = 3 * time.Second

// leaveTime ends the search early enough for that proof, where families were
// told a time.
func (a *App) leaveTime(ctx context.Context, q *problem) (context.Context, context.CancelFunc) {
	end, ok := ctx.Deadline()
	if !ok || a.solver == nil || q.t.Published == nil {
		return context.WithCancel(ctx)
	}
	return context.WithDeadline(ctx, end.Add(-min(countFor, time.Until(end)/3)))
}

// countMoved proves how few families can be moved, whoever would say yes. What
// cannot be proven is left unsaid: the plan is a plan all the same.
func (a *App) countMoved(ctx context.Context, t *Timetable, plan *timetable.Plan, facts *PlanFacts) {
	if a.solver == nil || t.Published == nil {
		return
	}
	q, err := t.problem(whatever)
	if err != nil {
		return
	}
	f, err := timetable.FewestMoved(ctx, q.Prepared, a.solver, plan, 0)
	if err == nil || rankwright.KindOf(err) == rankwright.TooLarge {
		facts.Fewest, facts.FewestWaiting, facts.Counted = f.Bound, f.Waiting, true
	}
}

// Moves says how many families the plan that stands would move, and how few any
// could that lets no more wait; known is false where that was not worked out for
// what is planned today.
func (t *Timetable) Moves() (moved, fewest int, known bool) {
	if t.Draft == nil || t.Published == nil {
		return 0, 0, false
	}
	q, err := t.problem(whatever)
	if err != nil {
		return 0, 0, false
	}
	plan := q.read(t.Draft)
	return q.MovedBy(plan), t.Draft.Fewest, t.Draft.Counted && !t.Stale && waitingIn(plan) <= t.Draft.FewestWaiting
}

// search is the solver's where there is one, else a search without a proof.
func (a *App) search(ctx context.Context, q *problem, start *timetable.Plan, tell func(timetable.Outcome)) (timetable.Outcome, error) {
	if a.solver != nil {
		return timetable.Solve(ctx, q.Prepared, a.solver, timetable.Search{Seed: uint64(q.t.Seed), Tell: tell})
	}
	stop := func() bool { return ctx.Err() != nil }
	o := timetable.Outcome{}
	for i := range 8 {
		best := timetable.Improve(q.Prepared, start, uint64(q.t.Seed)+uint64(i), 2000, stop)
		if len(timetable.Verify(q.Problem, best)) == 0 {
			start = best
			o.Plan, o.Objective = best, q.Total(best)
			tell(o)
		}
		if stop() {
			break
		}
	}
	if o.Plan != nil {
		o.Plan = q.Early(o.Plan)
		o.Objective = q.Total(o.Plan)
	}
	return o, nil
}

func waitingIn(p *timetable.Plan) (n int) {
	for _, w := range p.At {
		if w == timetable.Waiting {
			n++
		}
	}
	return n
}

// PlanProgress says how far the working out of a grading's timetable is; the
// last one is told until another begins.
func (a *App) PlanProgress(ctx context.Context, who Actor, id rankwright.GradingID) (p Progress, there bool, err error) {
	if err := a.see(ctx, who, SeeTimetable, on{kind: "grading", id: string(id)}, func(tx *store.Tx) error {
		_, err := tx.Grading(id)
		return err
	}); err != nil {
		return p, false, err
	}
	a.planning.mu.Lock()
	r := a.planning.last
	a.planning.mu.Unlock()
	if r == nil || r.grading != id {
		return p, false, nil
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	p = r.progress
	p.Limit = r.limit
	select {
	case <-r.done:
	default:
		p.Running, p.For = true, time.Since(r.began)
	}
	return p, true, nil
}

// StopPlan ends the working out of a grading's timetable; the best plan so far
// becomes the draft.
func (a *App) StopPlan(ctx context.Context, who Actor, id rankwright.GradingID) error {
	return a.do(ctx, who, PlanTimes, on{"grading", string(id), id}, func(*store.Tx) (any, error) {
		a.planning.mu.Lock()
		defer a.planning.mu.Unlock()
		if r := a.planning.last; r != nil && r.grading == id {
			r.stop()
		}
		return map[string]string{"what": "ended early"}, nil
	})
}

// AwaitPlan waits until no timetable of a grading is being worked out.
func (a *App) AwaitPlan(ctx context.Context, id rankwright.GradingID) error {
	a.planning.mu.Lock()
	r := a.planning.last
	a.planning.mu.Unlock()
	if r == nil || r.grading != id {
		return nil
	}
	select {
	case <-r.done:
		r.mu.Lock()
		defer r.mu.Unlock()
		return r.progress.Fault
	case <-ctx.Done():
		return ctx.Err()
	}
}

// EndPlanning ends whatever timetable is being worked out and waits until its
// best plan so far is kept. The program calls it before it closes the base.
func (a *App) EndPlanning() {
	a.planning.mu.Lock()
	r := a.planning.last
	a.planning.mu.Unlock()
	if r != nil {
		r.stop()
		<-r.done
	}
}
