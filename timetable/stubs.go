package timetable

// Improve searches from a plan for a cheaper one by taking parts of it out and
// putting them back otherwise. start may be nil. It works rounds rounds, or
// fewer where stop, asked now and then, says so (nil never does). The same
// arguments give the same plan; the result keeps all hard limits if start does
// or is nil, and is never dearer than start.
func Improve(q *Prepared, start *Plan, seed uint64, rounds int, stop func() bool) *Plan {
	if start != nil {
		return start.Clone()
	}
	return EmptyPlan(q.Problem)
}

// Verify says, one sentence each, which hard limits a plan breaks. None means
// that it keeps them all.
func Verify(p *Problem, plan *Plan) []string { return nil }
