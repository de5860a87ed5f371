package decide

import (
	"rankwright"
	"rankwright/scoring"
	"rankwright/syllabus"
)

// flips finds every mark that, one step away, would change the outcome: a step
// up where it is not yet, a step down where it is a promotion. A must that was
// met is not among the latter, since it was judged on its own.
func (s *state) flips(v *Verdict) {
	promoted := v.Outcome == syllabus.Promoted
	met := make([]bool, len(s.j.rules))
	var room [8]scoring.Seen
	for i := range s.j.asked {
		a := &s.j.asked[i]
		seen := s.c.Card.Seen[i]
		if len(seen) == 0 || !(a.counts || a.q.Bonus) || promoted && a.q.Must {
			continue
		}
		value, points, in := s.value[i], s.points[i], s.in[i]
		for k := range seen {
			to, ok := step(a.q, seen[k].Value.Num, !promoted)
			if !ok {
				continue
			}
			changed := append(room[:0], seen...)
			changed[k].Value.Num = to
			s.value[i] = combine(a, changed, s.c.Lead)
			if s.value[i] == value {
				continue
			}
			s.points[i] = s.credit(i, s.value[i])
			s.include(i)
			would := s.outcome(met)
			s.value[i], s.points[i], s.in[i] = value, points, in
			if (would == syllabus.Promoted) != promoted {
				v.SecondLook = append(v.SecondLook, Look{Key: OneMark, Requirement: a.q.ID, Examiner: seen[k].Examiner,
					From: seen[k].Value.Num, To: to, Would: would})
			}
		}
	}
}

// outcome is the outcome of the state as it stands, clearances aside.
func (s *state) outcome(met []bool) syllabus.Outcome {
	for i := range s.j.rules {
		met[i] = s.test(&s.j.rules[i], nil).met
	}
	return s.j.results[s.result(met)].res.Outcome
}

// step returns the next better (or worse) mark that the requirement can have.
// A step of a time is one second.
func step(q *syllabus.Requirement, v rankwright.Amount, up bool) (rankwright.Amount, bool) {
	rise := up != q.AtMost
	if q.Kind == syllabus.Leveled {
		for i, l := range q.Scale.Levels {
			if rankwright.Whole(l.Value) != v {
				continue
			}
			if rise && i+1 < len(q.Scale.Levels) {
				return rankwright.Whole(q.Scale.Levels[i+1].Value), true
			}
			if !rise && i > 0 {
				return rankwright.Whole(q.Scale.Levels[i-1].Value), true
			}
		}
		return 0, false
	}
	to := v + rankwright.One
	if !rise {
		to = max(0, v-rankwright.One)
	}
	return to, to != v && scoring.Can(q, to)
}
