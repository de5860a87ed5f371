package decide

import (
	"cmp"
	"slices"

	"rankwright"
	"rankwright/scoring"
	"rankwright/syllabus"
)

// state is one entry's values, worked out far enough to test conditions.
type state struct {
	j      *Judge
	c      *Case
	value  []rankwright.Amount // combined over examiners
	have   []bool
	points []rankwright.Amount
	in     []bool // asked of this entry and counted
	votes  []tally
	weak   []bool // requirement was weak before
	sweak  []bool // section was weak before
}

type tally struct {
	yes, no, abstain int
	veto             bool
}

func (j *Judge) newState(c *Case) *state {
	n := len(j.asked)
	amounts := make([]rankwright.Amount, 2*n)
	flags := make([]bool, 2*n)
	s := &state{j: j, c: c, value: amounts[:n:n], points: amounts[n:], have: flags[:n:n], in: flags[n:]}
	if len(j.votes) > 0 {
		s.votes = make([]tally, n)
	}
	for i := range j.asked {
		s.load(i, c.Card.Seen[i])
	}
	for i := range j.asked {
		s.include(i)
	}
	if c.Before != nil && len(c.Before.Weak)+len(c.Before.WeakSections) > 0 {
		s.weak, s.sweak = make([]bool, n), make([]bool, len(j.sections))
		for _, id := range c.Before.Weak {
			if i, ok := j.index[id]; ok {
				s.weak[i] = true
			}
		}
		for _, id := range c.Before.WeakSections {
			if i := slices.Index(j.sections, id); i >= 0 {
				s.sweak[i] = true
			}
		}
	}
	return s
}

// include settles whether requirement i counts. What is waived does not,
// unless it was shown in full: a waiver is never against the child.
func (s *state) include(i int) {
	a := &s.j.asked[i]
	s.in[i] = !a.waived && !slices.Contains(s.c.Waived, a.q.ID) ||
		a.counts && s.have[i] && s.points[i] >= a.q.Points && s.meets(i)
}

// load combines the marks of requirement i, or takes what was kept from an
// earlier grading where nobody marked it.
func (s *state) load(i int, seen []scoring.Seen) {
	a := &s.j.asked[i]
	if a.q.Kind == syllabus.Consent {
		s.count(i, seen)
		return
	}
	s.have[i] = len(seen) > 0
	if !s.have[i] {
		for _, k := range s.c.Kept {
			if k.Requirement == a.q.ID && s.c.Day <= k.Until {
				s.value[i], s.have[i] = k.Value, true
			}
		}
	} else {
		s.value[i] = combine(a, seen, s.c.Lead)
	}
	s.points[i] = s.credit(i, s.value[i])
}

func (s *state) count(i int, seen []scoring.Seen) {
	t := tally{}
	for _, m := range seen {
		switch {
		case m.Value.Sort == scoring.Abstain:
			t.abstain++
		case m.Value.Num > 0:
			t.yes++
		default:
			t.no++
			t.veto = t.veto || (m.Examiner == s.c.Lead && m.Examiner != "")
		}
	}
	s.votes[i] = t
	s.have[i] = t.yes+t.no+t.abstain > 0
	s.value[i] = rankwright.Whole(t.yes)
}

// credit turns a value into points.
func (s *state) credit(i int, v rankwright.Amount) rankwright.Amount {
	a := &s.j.asked[i]
	q := a.q
	if !s.have[i] {
		return 0
	}
	switch q.Kind {
	case syllabus.Timed, syllabus.Count:
		target := q.Expected(s.c.Band)
		for _, c := range q.Credit {
			if q.AtMost && rankwright.ShareAtMost(v, c.At, target) || !q.AtMost && c.At.Reaches(v, target) {
				return c.Points
			}
		}
		if len(q.Credit) == 0 && meets(q, v, target) {
			return q.Points
		}
		return 0
	case syllabus.Consent:
		return 0
	}
	return a.unit.Times(v)
}

func meets(q *syllabus.Requirement, v, expected rankwright.Amount) bool {
	if q.AtMost {
		return v <= expected
	}
	return v >= expected
}

// meets says whether requirement i was shown as expected.
func (s *state) meets(i int) bool {
	return s.have[i] && meets(s.j.asked[i].q, s.value[i], s.j.asked[i].q.Expected(s.c.Band))
}

// combine makes one value of several examiners' marks, after the tries of
// each examiner have been brought down to one.
func combine(a *asked, seen []scoring.Seen, lead rankwright.ExaminerID) rankwright.Amount {
	if len(seen) == 1 {
		return seen[0].Value.Num
	}
	var room [8]rankwright.Amount
	values := room[:0]
	leads := rankwright.Amount(-1)
	for i := 0; i < len(seen); {
		j := i + 1
		v := seen[i].Value.Num
		for ; j < len(seen) && seen[j].Examiner == seen[i].Examiner; j++ {
			switch a.q.Keep {
			case syllabus.KeepBest:
				if better(a.q, seen[j].Value.Num, v) {
					v = seen[j].Value.Num
				}
			case syllabus.KeepLast:
				v = seen[j].Value.Num
			}
		}
		if seen[i].Examiner == lead {
			leads = v
		}
		values = append(values, v)
		i = j
	}
	return combined(a, values, leads)
}

func better(q *syllabus.Requirement, a, b rankwright.Amount) bool {
	if q.AtMost {
		return a < b
	}
	return a > b
}

// combined applies the combining rule; leads is the lead's value or -1.
func combined(a *asked, values []rankwright.Amount, leads rankwright.Amount) rankwright.Amount {
	method := a.combine.Method
	if len(values) == 2 {
		method = a.combine.OfTwo
	}
	// From the least favourable to the best.
	slices.SortFunc(values, func(x, y rankwright.Amount) int {
		if a.q.AtMost {
			return cmp.Compare(y, x)
		}
		return cmp.Compare(x, y)
	})
	n := len(values)
	switch method {
	case syllabus.Mean:
		sum := rankwright.Amount(0)
		for _, v := range values {
			sum += v
		}
		return sum / rankwright.Amount(n)
	case syllabus.Median:
		if n%2 == 0 {
			return (values[n/2-1] + values[n/2]) / 2
		}
		return values[n/2]
	case syllabus.Majority:
		// The best value that more than half reach: at least n/2+1 marks are
		// at or above it.
		return values[n-(n/2+1)]
	case syllabus.Lowest:
		return values[0]
	}
	if leads >= 0 {
		return leads
	}
	return values[0]
}
