package decide

import (
	"slices"

	"rankwright"
	"rankwright/scoring"
	"rankwright/syllabus"
)

// state is one entry's values and what every condition counts of them. It can
// be changed one requirement at a time, which is how "what would change it"
// stays quick.
type state struct {
	j      *Judge
	c      Case
	value  []rankwright.Amount // combined over examiners
	points []rankwright.Amount
	have   []bool
	in     []bool // asked of this entry and counted
	waived []bool
	votes  []tally
	weak   []bool // requirement was weak before
	sweak  []bool // section was weak before
	bonus  rankwright.Amount
	counts []found  // by leaf
	sums   []sum    // by leaf and section
	states []status // by leaf, and by section or requirement
	met    []bool   // by rule
	looks  []Look   // reasons for a second look, as they are found
}

type tally struct {
	yes, no, abstain int
	veto             bool
}

// found is what a condition on a total, on sections or on requirements found.
type found struct {
	sum        // of a total
	seen   int // sections or requirements looked at
	fell   int // of them, those that fell short
	graver int // of those, the ones that are not forgiven
}

// status is how one section or requirement stands to one condition.
type status uint8

const (
	looked status = 1 << iota
	fell
	graver
)

// sum is points earned, points that could be, and those before waivers.
type sum struct{ got, of, full rankwright.Amount }

func (s *sum) add(o sum) {
	s.got += o.got
	s.of += o.of
	s.full += o.full
}

func (j *Judge) newState() *state {
	n := len(j.asked)
	amounts := make([]rankwright.Amount, 2*n)
	flags := make([]bool, 4*n+len(j.sections)+len(j.rules))
	cut := func(k int) (part []bool) {
		part, flags = flags[:k:k], flags[k:]
		return part
	}
	s := &state{j: j, value: amounts[:n:n], points: amounts[n:], have: cut(n), in: cut(n), waived: cut(n),
		weak: cut(n), sweak: cut(len(j.sections)), met: cut(len(j.rules)),
		counts: make([]found, len(j.leaves)), sums: make([]sum, j.sums), states: make([]status, j.places)}
	if len(j.votes) > 0 {
		s.votes = make([]tally, n)
	}
	return s
}

// state works an entry out. done gives its space back.
func (j *Judge) state(c *Case) *state {
	s := j.states.Get().(*state)
	s.c, s.bonus, s.looks = *c, 0, s.looks[:0]
	clear(s.counts)
	clear(s.sums)
	clear(s.states)
	clear(s.weak)
	clear(s.sweak)
	if c.Before != nil {
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
	for i := range j.asked {
		a := &j.asked[i]
		s.waived[i] = a.waived || len(c.Waived) > 0 && slices.Contains(c.Waived, a.q.ID)
		s.load(i, a.tries(c.Card.Seen[i]))
		s.include(i)
		if a.q.Bonus {
			s.bonus += s.points[i]
		} else {
			s.begin(i)
		}
	}
	for _, r := range j.leaves {
		if r.c.Kind == syllabus.OnSections {
			for place := range j.sections {
				s.settle(r, r.places+place, s.ofSection(r, place))
			}
		}
	}
	return s
}

func (s *state) done() {
	s.c = Case{}
	s.j.states.Put(s)
}

// include settles whether requirement i counts. What is waived does not,
// unless it was shown in full: a waiver is never against the child.
func (s *state) include(i int) {
	a := &s.j.asked[i]
	s.in[i] = !s.waived[i] || a.counts && s.have[i] && s.points[i] >= a.q.Points && s.meets(i)
}

// load combines the marks of requirement i, or takes what was kept from an
// earlier grading where nobody marked it.
func (s *state) load(i int, seen []scoring.Seen) {
	a := &s.j.asked[i]
	if a.q.Kind == syllabus.Consent {
		s.vote(i, seen)
		return
	}
	s.have[i], s.value[i] = len(seen) > 0, 0
	if s.have[i] {
		s.value[i] = combine(a, seen, s.c.Lead)
	} else {
		for _, k := range s.c.Kept {
			if k.Requirement == a.q.ID && s.c.Day <= k.Until && (!s.have[i] || better(a.q, k.Value, s.value[i])) {
				s.value[i], s.have[i] = k.Value, true
			}
		}
	}
	s.points[i] = s.credit(i, s.value[i])
}

// vote counts one vote of each examiner, the latest try.
func (s *state) vote(i int, seen []scoring.Seen) {
	t := tally{}
	for k, m := range seen {
		if k+1 < len(seen) && seen[k+1].Examiner == m.Examiner {
			continue
		}
		switch {
		case m.Value.Sort == scoring.Abstain:
			t.abstain++
		case m.Value.Num > 0:
			t.yes++
		default:
			t.no++
			t.veto = t.veto || m.Examiner == s.c.Lead && m.Examiner != ""
		}
	}
	s.votes[i] = t
	s.have[i] = t.yes+t.no+t.abstain > 0
	s.value[i], s.points[i] = rankwright.Whole(t.yes), 0
}

// set changes what requirement i came to, and everything that counts it.
func (s *state) set(i int, v rankwright.Amount, have bool) {
	a := &s.j.asked[i]
	was, points := s.worth(i), s.points[i]
	s.value[i], s.have[i] = v, have
	s.points[i] = s.credit(i, v)
	s.include(i)
	if a.q.Bonus {
		s.bonus += s.points[i] - points
		return
	}
	now := s.worth(i)
	diff := sum{got: now.got - was.got, of: now.of - was.of}
	for _, l := range a.looks {
		switch r := s.j.leaves[l]; r.c.Kind {
		case syllabus.OnTotal:
			if !r.c.Of.Weak || s.weak[i] {
				s.counts[l].add(diff)
			}
		case syllabus.OnSections:
			s.sums[r.first+a.section].add(diff)
			s.settle(r, r.places+a.section, s.ofSection(r, a.section))
		default:
			s.settle(r, r.places+i, s.ofRequirement(r, i))
		}
	}
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
	q := s.j.asked[i].q
	return s.have[i] && meets(q, s.value[i], q.Expected(s.c.Band))
}
