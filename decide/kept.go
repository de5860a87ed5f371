package decide

import (
	"rankwright"
	"rankwright/syllabus"
)

// Keep returns what stands from an earlier, partly successful grading: the
// combined value of every requirement that was marked and is not among those
// to show again, until the last day that the verdict gives. Of any other
// verdict nothing is kept. named are the sections or requirements that the
// head instructor named where the rule left it to a person.
func (j *Judge) Keep(c Case, v *Verdict, named ...string) []Kept {
	if v.Outcome != syllabus.NotYet || v.Whole || c.Card == nil || len(c.Card.Seen) != len(j.asked) {
		return nil
	}
	again := map[string]bool{}
	for _, id := range v.ShowAgainSections {
		again[string(id)] = true
	}
	for _, id := range v.ShowAgain {
		again[string(id)] = true
	}
	for _, id := range named {
		again[id] = true
	}
	if len(again) == 0 {
		return nil
	}
	until := v.AgainUntil
	if until == 0 {
		until = c.Day + 36600 // no limit: a hundred years
	}
	s := j.state(&c)
	defer s.done()
	var out []Kept
	for i := range j.asked {
		q := j.asked[i].q
		if s.have[i] && q.Kind != syllabus.Consent && !q.ForRelease && !again[string(q.ID)] && !again[string(q.Section)] {
			out = append(out, Kept{Requirement: q.ID, Value: s.value[i], Until: until})
		}
	}
	return out
}

// Left returns what a verdict leaves for the next grading of the same rank to
// look back on: what fell short of the conditions that decided.
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
