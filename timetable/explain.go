package timetable

import "slices"

// Explanation says why an entry waits.
type Explanation struct {
	Entry int
	// With are the other entries that cannot all be placed together with it:
	// without any one of them there would be a place. None where the entry
	// cannot be placed even if everybody else waits.
	With []int
	// Clash is what stands in the way: a set of limits and wishes of which every
	// one is needed; if any one were given up, all of them could be placed.
	Clash []Part
	// Proven says that all of this was shown by plans and proofs; otherwise the
	// search found no plan and the rest follows from that.
	Proven bool
	// Dear is set where the entry could be placed and the rest too, at a plan
	// that costs more than to let it wait: by how much, and that plan.
	Dear     bool
	More     int64
	Dearer   *Plan
	Remedies []Remedy

	before *Plan
}

// Explain says why an entry that waits in a plan does so, together with
// everybody whom the plan places. The oracle decides what is possible; Judge
// gives one, and a solver may be one for larger problems. Rounds and seed are
// for the search that looks for a dearer plan and tries the remedies.
func Explain(q *Prepared, plan *Plan, entry int, oracle Oracle, seed uint64, rounds int) *Explanation {
	x := &explainer{q: q, plan: plan, oracle: oracle, seed: seed, rounds: rounds, proven: true}
	return x.explain(entry)
}

type explainer struct {
	q      *Prepared
	plan   *Plan
	oracle Oracle
	seed   uint64
	rounds int
	proven bool
}

// asking is the problem in which just the given entries must be placed.
func asking(p *Problem, must []int) *Problem {
	c := p.clone()
	for e := range c.Entries {
		c.Entries[e].MustPlace = slices.Contains(must, e)
	}
	return c
}

// possible asks the oracle; unclear counts as no.
func (x *explainer) possible(p *Problem) bool {
	q, err := Prepare(p)
	if err != nil {
		return false
	}
	if shortage(q) != nil {
		return false
	}
	// The plan as it is, with what is new, is often not far.
	start := x.plan.Clone()
	for len(start.Panels) < len(p.Sittings) {
		start.Panels = append(start.Panels, nil)
	}
	if reach(q, start, x.seed, x.rounds/4) {
		return true
	}
	switch x.oracle(q) {
	case Possible:
		return true
	case Unclear:
		x.proven = false
	}
	return false
}

func (x *explainer) explain(entry int) *Explanation {
	q, p := x.q, x.q.Problem
	out := &Explanation{Entry: entry, before: x.plan}
	all := []int{entry}
	for e, at := range x.plan.At {
		if at != Waiting && e != entry {
			all = append(all, e)
		}
	}
	whole := asking(p, all)
	if x.possible(whole) {
		out.Dear, out.Proven = true, true
		x.dear(out, whole)
		return out
	}
	// First the entries that clash, then what about them does.
	others := all[1:]
	if qw, err := Prepare(whole); err == nil {
		if short := shortage(qw); short != nil && slices.Contains(short, entry) {
			others = slices.DeleteFunc(short, func(e int) bool { return e == entry })
		}
	}
	others = x.nearest(entry, others)
	if len(q.May[entry]) == 0 {
		others = nil
	}
	out.With = smallest(others, func(set []int) bool { return !x.possible(asking(p, append([]int{entry}, set...))) })
	slices.Sort(out.With)
	must := append([]int{entry}, out.With...)
	list := parts(q, []int{entry})
	base := asking(p, must)
	out.Clash = smallest(list, func(kept []Part) bool {
		given := slices.DeleteFunc(slices.Clone(list), func(g Part) bool { return slices.Contains(kept, g) })
		return !x.possible(without(base, given))
	})
	out.Proven = x.proven
	x.remedies(out, whole, must)
	return out
}

// nearest sorts entries by how many sittings they have in common with one.
func (x *explainer) nearest(entry int, list []int) []int {
	common := func(e int) (n int) {
		for _, w := range x.q.May[e] {
			if x.q.mayStand(entry, w) {
				n++
			}
		}
		return n
	}
	list = slices.Clone(list)
	slices.SortStableFunc(list, func(a, b int) int { return common(b) - common(a) })
	return list
}

// dear says what it would cost more to place the entry and everybody else too.
func (x *explainer) dear(out *Explanation, whole *Problem) {
	qw, err := Prepare(whole)
	if err != nil {
		return
	}
	best, bad := improve(qw, x.plan, x.seed, x.rounds, nil)
	if bad > 0 {
		if best, bad = improve(qw, nil, x.seed, x.rounds, nil); bad > 0 {
			return
		}
	}
	out.Dearer = best
	out.More = x.q.Total(best) - x.q.Total(x.plan)
}
