package timetable

import (
	"cmp"
	"slices"
)

// allMay says that everybody who stands in w may stand in v, looked at alone.
func (q *Prepared) allMay(plan *Plan, w, v int) bool {
	for e, at := range plan.At {
		if at == w && !q.mayStand(e, v) {
			return false
		}
	}
	return true
}

// Early is a plan as good as the one given, whose sittings begin as early in
// their sessions as they can at that cost, so that a hall does not stand empty
// before and between them. A sitting moves as a whole, with its entries and its
// panel, to a free sitting of its session that is earlier, or as early and
// before it in the problem's list. The plan given is left as it is.
func (q *Prepared) Early(plan *Plan) *Plan {
	out, total := plan.Clone(), q.Total(plan)
	before := func(a, b int) int {
		s := q.Problem.Sittings
		return cmp.Or(cmp.Compare(s[a].Start, s[b].Start), cmp.Compare(a, b))
	}
	order := make([]int, len(q.Problem.Sittings))
	for w := range order {
		order[w] = w
	}
	slices.SortFunc(order, before)
	for again := true; again; {
		again = false
		for i, w := range order {
			open := q.Open(out)
			if !open[w] || q.Problem.Sittings[w].Hold == Held { // which stays open where it is
				continue
			}
			for _, v := range order[:i] {
				if open[v] || q.Problem.Sittings[v].Session != q.Problem.Sittings[w].Session || !q.allMay(out, w, v) {
					continue
				}
				moved := out.Clone()
				for e, at := range moved.At {
					if at == w {
						moved.At[e] = v
					}
				}
				moved.Panels[v], moved.Panels[w] = moved.Panels[w], nil
				// Each move leaves less before it, and so this ends.
				if cost := q.Total(moved); cost <= total && len(Verify(q.Problem, moved)) == 0 {
					out, total, again = moved, cost, true
					break
				}
			}
		}
	}
	return out
}
