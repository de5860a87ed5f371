package timetable

import "slices"

// Waiting is the place of an entry that stands in no sitting.
const Waiting = -1

// Plan says who stands where and before whom. Its numbers are places in the
// lists of the problem for which it was made.
type Plan struct {
	// At has, for each entry, the number of its sitting, or Waiting.
	At []int
	// Panels has, for each sitting, the numbers of its examiners in ascending
	// order; nil where the sitting is not open.
	Panels [][]int
}

// EmptyPlan is the plan in which everybody waits.
func EmptyPlan(p *Problem) *Plan {
	plan := &Plan{At: make([]int, len(p.Entries)), Panels: make([][]int, len(p.Sittings))}
	for i := range plan.At {
		plan.At[i] = Waiting
	}
	return plan
}

// Clone is a copy that shares nothing with the plan.
func (p *Plan) Clone() *Plan {
	c := &Plan{At: slices.Clone(p.At), Panels: make([][]int, len(p.Panels))}
	for i := range p.Panels {
		c.Panels[i] = slices.Clone(p.Panels[i])
	}
	return c
}

// Equal says whether two plans are the same.
func (p *Plan) Equal(o *Plan) bool {
	return slices.Equal(p.At, o.At) && slices.EqualFunc(p.Panels, o.Panels, func(a, b []int) bool { return slices.Equal(a, b) })
}

// PublishedPlan is the plan that the problem holds as published: Entry.Was and
// Sitting.Was. It need not be possible any more.
func (q *Prepared) PublishedPlan() *Plan {
	plan := EmptyPlan(q.Problem)
	for i := range plan.At {
		plan.At[i] = q.Was[i]
	}
	for w := range plan.Panels {
		plan.Panels[w] = slices.Clone(q.WasPanel[w])
	}
	return plan
}
