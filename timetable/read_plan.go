package timetable

import (
	"slices"

	"rankwright"
)

// ReadPlan reads a plan file for a problem, as WritePlan writes it or as
// somebody wrote it by hand; only the sittings count. An entry that no sitting
// names waits. The error is a rankwright.Faults with line and column. Whether
// the plan keeps the limits is for Verify to say.
func ReadPlan(q *Prepared, name string, data []byte) (*Plan, error) {
	s := newSource(name, data)
	root := s.parse()
	if root == nil {
		return nil, s.err()
	}
	r := &reader{s}
	r.object(root, "plan")
	r.format(root)
	p := q.Problem
	plan := EmptyPlan(p)
	sittings := places(p.Sittings, func(s Sitting) SittingID { return s.ID })
	entries := places(p.Entries, func(e Entry) rankwright.EntryID { return e.ID })
	examiners := places(p.Examiners, func(x Examiner) rankwright.ExaminerID { return x.ID })
	seen := map[int]bool{}
	for _, v := range r.list(root, "sittings") {
		if !r.object(v, "placed") {
			continue
		}
		id := SittingID(r.text(v, "id"))
		w, ok := sittings[id]
		if !ok || seen[w] {
			r.fault(v.get("id").at, "unknown_sitting", "name each sitting of the problem once", "the sitting %q is not in the problem, or stands here a second time", cut(string(id)))
			continue
		}
		seen[w] = true
		for _, x := range r.list(v, "panel") {
			i, ok := examiners[rankwright.ExaminerID(r.asText(x, "panel"))]
			if !ok || slices.Contains(plan.Panels[w], i) {
				r.fault(x.at, "unknown_examiner", "name examiners of the problem, each once", "%s is no examiner of the problem, or is on this panel twice", x.kindName())
				continue
			}
			plan.Panels[w] = append(plan.Panels[w], i)
		}
		slices.Sort(plan.Panels[w])
		for _, x := range r.list(v, "entries") {
			i, ok := entries[rankwright.EntryID(r.asText(x, "entries"))]
			if !ok || plan.At[i] != Waiting {
				r.fault(x.at, "unknown_entry", "name entries of the problem, each in one sitting", "%s is no entry of the problem, or stands in another sitting too", x.kindName())
				continue
			}
			plan.At[i] = w
		}
	}
	for _, x := range r.list(root, "waiting") {
		i, ok := entries[rankwright.EntryID(r.asText(x, "waiting"))]
		if !ok || plan.At[i] != Waiting {
			r.fault(x.at, "unknown_entry", "name entries of the problem, and let them wait or stand in a sitting", "%s is no entry of the problem, or stands in a sitting too", x.kindName())
		}
	}
	if err := s.err(); err != nil {
		return nil, err
	}
	return plan, nil
}
