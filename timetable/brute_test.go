package timetable

// cheaperPlan looks through every plan for one that keeps all limits and costs
// less than below; it is nil where there is none. It is for problems with a
// handful of entries only. Verify alone decides whether a plan is one.
func cheaperPlan(q *Prepared, below int64) *Plan {
	p := q.Problem
	b := &brute{q: q, below: below, plan: EmptyPlan(p)}
	b.entries(0)
	return b.best
}

type brute struct {
	q     *Prepared
	below int64
	plan  *Plan
	best  *Plan
}

func (b *brute) entries(e int) {
	if e < len(b.plan.At) {
		for w := Waiting; w < len(b.q.Problem.Sittings); w++ {
			if b.plan.At[e] = w; w == Waiting || b.mayCome(e, w) {
				b.entries(e + 1)
			}
		}
		b.plan.At[e] = Waiting
		return
	}
	// A panel never makes a plan cheaper.
	for w := range b.plan.Panels {
		b.plan.Panels[w] = nil
	}
	if b.q.Total(b.plan) < b.below {
		b.panels(0, b.q.Open(b.plan))
	}
}

// mayCome prunes by what Verify says of the entry alone in the sitting.
func (b *brute) mayCome(e, w int) bool {
	s := b.q.Problem.Sittings[w]
	s.Hold, s.Least, s.Most, s.Panel, s.Session = Free, 0, 1, 0, b.q.Problem.Sittings[w].Session
	alone := *b.q.Problem
	alone.Entries = []Entry{alone.Entries[e]}
	alone.Sittings = append([]Sitting(nil), alone.Sittings...)
	for i := range alone.Sittings {
		alone.Sittings[i].Hold = Free
	}
	alone.Sittings[w] = s
	plan := EmptyPlan(&alone)
	plan.At[0] = w
	return len(Verify(&alone, plan)) == 0 && b.q.Problem.Sittings[w].Hold != Shut
}

func (b *brute) panels(w int, open []bool) {
	if w == len(open) {
		if cost := b.q.Total(b.plan); cost < b.below && len(Verify(b.q.Problem, b.plan)) == 0 {
			b.best, b.below = b.plan.Clone(), cost
		}
		return
	}
	if !open[w] || b.q.Problem.Sittings[w].Panel == 0 {
		b.plan.Panels[w] = nil
		b.panels(w+1, open)
		return
	}
	b.seats(w, 0, nil, open)
}

func (b *brute) seats(w, from int, panel []int, open []bool) {
	if len(panel) == b.q.Problem.Sittings[w].Panel {
		b.plan.Panels[w] = append([]int(nil), panel...)
		b.panels(w+1, open)
		b.plan.Panels[w] = nil
		return
	}
	for x := from; x < len(b.q.Problem.Examiners); x++ {
		b.seats(w, x+1, append(panel, x), open)
	}
}
