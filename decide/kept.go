package decide

import (
	"slices"

	"rankwright"
	"rankwright/syllabus"
)

// Keep is KeepAs with the outcome that the rule gives.
func (j *Judge) Keep(c Case, v *Verdict, named ...string) []Kept {
	return j.KeepAs(c, v, v.Outcome, named)
}

// KeepAs returns what stands after a grading of which the outcome that counts
// is stands (the head instructor's, or the rule's): after a "not yet", the
// combined value of every requirement that was marked and is not shown again.
// Shown again is what the head instructor named, sections or requirements;
// where nothing is named, what the rule says. Where all of it is shown again,
// or nothing is said, nothing stands.
//
// It stands until the last day that the rule gives a part retry. What had
// already stood from before ends no later than it would have.
func (j *Judge) KeepAs(c Case, v *Verdict, stands syllabus.Outcome, named []string) []Kept {
	if stands != syllabus.NotYet || c.Card == nil || len(c.Card.Seen) != len(j.asked) {
		return nil
	}
	again := map[string]bool{}
	for _, id := range named {
		again[id] = true
	}
	if len(named) == 0 && v.Outcome == syllabus.NotYet && !v.Whole {
		for _, id := range v.ShowAgainSections {
			again[string(id)] = true
		}
		for _, id := range v.ShowAgain {
			again[string(id)] = true
		}
	}
	if len(again) == 0 {
		return nil
	}
	until := v.AgainUntil
	if until == 0 {
		until = j.retryUntil(c.Day)
	}
	s := j.state(&c)
	defer s.done()
	var out []Kept
	for i := range j.asked {
		q := j.asked[i].q
		if !s.have[i] || q.Kind == syllabus.Consent || q.ForRelease || again[string(q.ID)] || again[string(q.Section)] {
			continue
		}
		k := Kept{Requirement: q.ID, Value: s.value[i], Until: until}
		if len(c.Card.Seen[i]) == 0 {
			for _, old := range c.Kept {
				if old.Requirement == q.ID && c.Day <= old.Until {
					k.Until = min(until, old.Until)
				}
			}
		}
		out = append(out, k)
	}
	return out
}

// retryUntil is the last day of a part retry by the rule, for a "not yet" that
// is not the rule's own: that of the first result with a limit, else a hundred
// years on.
func (j *Judge) retryUntil(day rankwright.Day) rankwright.Day {
	for i := range j.results {
		if r := j.results[i].res; r.Outcome == syllabus.NotYet && r.ShowAgain == syllabus.AgainShort && r.Within > 0 {
			return day + rankwright.Day(r.Within)
		}
	}
	return day + 36525
}

// Takes says whether a kept value means the same here as where it was shown:
// the requirement is still marked in the same way and over the same range.
func (j *Judge) Takes(k Kept, was *syllabus.Requirement) bool {
	i, ok := j.index[k.Requirement]
	if !ok || was == nil {
		return false
	}
	q := j.asked[i].q
	if q.Kind != was.Kind || q.Of != was.Of || q.AtMost != was.AtMost || (q.Scale == nil) != (was.Scale == nil) {
		return false
	}
	if q.Scale == nil {
		return true
	}
	return slices.EqualFunc(q.Scale.Levels, was.Scale.Levels, func(a, b syllabus.Level) bool { return a.Value == b.Value })
}

// Left returns what a verdict leaves for the next grading to look back on: what fell short of the conditions that decided.
func (v *Verdict) Left() (weak []rankwright.RequirementID, sections []rankwright.SectionID) {
	for _, r := range v.Reasons {
		if !r.Decides {
			continue
		}
		for _, s := range r.Short {
			if s.Requirement != "" {
				weak = insert(weak, s.Requirement)
			} else {
				sections = insert(sections, s.Section)
			}
		}
	}
	return weak, sections
}

// Well returns what went well, best first: the words of the requirements that
// were shown in full, musts before others, in the order of the syllabus.
func (j *Judge) Well(c Case) []string {
	if c.Card == nil || len(c.Card.Seen) != len(j.asked) {
		return nil
	}
	s := j.state(&c)
	defer s.done()
	var musts, others []string
	for i := range j.asked {
		a := &j.asked[i]
		if !s.in[i] || !s.have[i] || !a.counts || a.q.Points == 0 || s.points[i] < a.q.Points || !s.meets(i) {
			continue
		}
		if a.q.Must {
			musts = append(musts, a.q.Show)
		} else {
			others = append(others, a.q.Show)
		}
	}
	return append(musts, others...)
}
