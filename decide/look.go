package decide

import (
	"slices"

	"rankwright"
	"rankwright/scoring"
	"rankwright/syllabus"
)

// flips finds every mark that, one step away, would change the outcome: a step
// up where it is not yet, a step down where it is a promotion. A must that was
// met is not among the latter, since it was judged on its own.
func (s *state) flips(v *Verdict) {
	promoted := v.Outcome == syllabus.Promoted
	if !promoted && s.far() {
		return
	}
	var room [8]scoring.Seen
	for i := range s.j.asked {
		a := &s.j.asked[i]
		if !(a.counts || a.q.Bonus) || promoted && a.q.Must {
			continue
		}
		seen := a.tries(s.c.Card.Seen[i])
		if len(seen) == 0 {
			continue
		}
		value := s.value[i]
		tried, would := value, v.Outcome
		for k := range seen {
			to, ok := step(a.q, seen[k].Value.Num, !promoted)
			if !ok {
				continue
			}
			now := to
			if len(seen) > 1 {
				changed := append(room[:0], seen...)
				changed[k].Value.Num = to
				now = combine(a, changed, s.c.Lead)
			}
			if now != tried {
				tried = now
				s.set(i, now, true)
				would = s.outcome()
				s.set(i, value, true)
			}
			if would != v.Outcome {
				s.looks = append(s.looks, Look{Key: OneMark, Requirement: a.q.ID, Examiner: seen[k].Examiner,
					From: seen[k].Value.Num, To: to, Would: would})
			}
		}
	}
}

// far says whether every promotion needs more than one requirement to change.
func (s *state) far() bool {
	for i := range s.j.results {
		r := &s.j.results[i]
		if r.res.Outcome == syllabus.Promoted && s.open(i) && !slices.ContainsFunc(r.when, func(w int) bool {
			x := &s.j.rules[w]
			return x.c.Kind == syllabus.OnRequirements && s.tooMany(x) > 1
		}) {
			return false
		}
	}
	return true
}

// outcome is the outcome of the state as it stands, clearances aside.
func (s *state) outcome() syllabus.Outcome {
	for i := range s.j.results {
		if s.open(i) && s.reaches(i) {
			return s.j.results[i].res.Outcome
		}
	}
	return syllabus.NotYet
}

// reaches says whether every condition of a result holds in the state as it
// stands.
func (s *state) reaches(line int) bool {
	for _, w := range s.j.results[line].when {
		if !s.holds(&s.j.rules[w]) {
			return false
		}
	}
	return true
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
