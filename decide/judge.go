// Package decide turns a card of marks into an outcome, by the pass rule of a
// rank, and says why: each condition with what was asked, what was shown and
// whether it was met. It is exact, knows no clock, and the same input always
// gives the same verdict.
package decide

import (
	"rankwright"
	"rankwright/scoring"
	"rankwright/syllabus"
)

// Judge decides the entries of one rank under one version of a syllabus with
// the waivers of one grading. It is immutable and safe for several goroutines.
type Judge struct {
	syl      *syllabus.Syllabus
	rank     *syllabus.Rank
	index    scoring.Index
	asked    []asked
	sections []rankwright.SectionID // those that the rank uses, in order
	rules    []rule                 // one for each condition
	results  []result
	votes    []int // the requirements of kind consent
}

// asked is a requirement made ready for computing.
type asked struct {
	q       *syllabus.Requirement
	section int
	unit    rankwright.Amount // points for 1 of the value, where no credit table is
	counts  bool              // takes part in totals, sections and requirement conditions
	combine syllabus.Combine
	waived  bool
}

// rule is a condition made ready: sets are lists of places.
type rule struct {
	c     *syllabus.Condition
	reqs  []int   // OnTotal, OnRequirements
	secs  [][]int // OnSections: the requirements of each section looked at
	ids   []int   // OnSections: which section each is
	never map[int]bool
	parts []rule
}

type result struct {
	res  *syllabus.Result
	when []int // places in Judge.rules
}

// Compile makes a judge. waived are the requirements not asked at the
// grading. An unknown rank or requirement is a fault.
func Compile(s *syllabus.Syllabus, rank rankwright.RankID, waived ...rankwright.RequirementID) (*Judge, error) {
	k, _ := s.Rank(rank)
	if k == nil {
		return nil, rankwright.Faultf(rankwright.NotFound, "unknown_rank", "use one of the ranks of the syllabus", "there is no rank %q on the ladder %q", rank, s.Name)
	}
	j := &Judge{syl: s, rank: k, index: scoring.NewIndex(k)}
	place := map[rankwright.SectionID]int{}
	for _, sec := range s.Sections {
		for i := range k.Requirements {
			if k.Requirements[i].Section == sec.ID {
				place[sec.ID] = len(j.sections)
				j.sections = append(j.sections, sec.ID)
				break
			}
		}
	}
	for i := range k.Requirements {
		q := &k.Requirements[i]
		a := asked{q: q, section: place[q.Section], counts: !q.Bonus && !q.ForRelease && q.Kind != syllabus.Consent, combine: s.Combine[q.Kind]}
		if q.Combine != nil {
			a.combine = *q.Combine
		}
		switch q.Kind {
		case syllabus.Tick:
			a.unit = q.Points
		case syllabus.Leveled:
			a.unit = q.Points / rankwright.Amount(q.Scale.Levels[len(q.Scale.Levels)-1].Value)
		case syllabus.Steps, syllabus.Recall:
			a.unit = q.Points / rankwright.Amount(q.Of)
		case syllabus.Consent:
			j.votes = append(j.votes, i)
		}
		j.asked = append(j.asked, a)
	}
	for _, id := range waived {
		at, ok := j.index[id]
		if !ok {
			return nil, rankwright.Faultf(rankwright.NotFound, "unknown_requirement", "waive one of the requirements of the rank", "rank %q does not ask for %q", k.Name, id)
		}
		j.asked[at].waived = true
	}
	at := map[string]int{}
	for i := range k.Pass.Conditions {
		c := &k.Pass.Conditions[i]
		at[c.ID] = i
		j.rules = append(j.rules, j.rule(c))
	}
	for i := range k.Pass.Results {
		r := result{res: &k.Pass.Results[i]}
		for _, w := range r.res.When {
			r.when = append(r.when, at[w])
		}
		j.results = append(j.results, r)
	}
	return j, nil
}

// Rank returns the rank that the judge decides on.
func (j *Judge) Rank() *syllabus.Rank { return j.rank }

// Syllabus returns the syllabus version that it goes by.
func (j *Judge) Syllabus() *syllabus.Syllabus { return j.syl }

// Fold merges one entry's marks into the card of this rank.
func (j *Judge) Fold(marks []scoring.Mark) *scoring.Card { return j.index.Fold(marks) }

func (j *Judge) rule(c *syllabus.Condition) rule {
	r := rule{c: c}
	switch c.Kind {
	case syllabus.OnTotal, syllabus.OnRequirements:
		for i := range j.asked {
			if j.asked[i].counts && j.in(c.Of, i) {
				r.reqs = append(r.reqs, i)
			}
		}
		r.never = j.nevers(c)
	case syllabus.OnSections:
		for s := range j.sections {
			var reqs []int
			for i := range j.asked {
				if j.asked[i].section == s && j.asked[i].counts && j.in(c.Of, i) {
					reqs = append(reqs, i)
				}
			}
			if len(reqs) > 0 {
				r.secs, r.ids = append(r.secs, reqs), append(r.ids, s)
			}
		}
		r.never = j.nevers(c)
	case syllabus.OnAll, syllabus.OnAny:
		for i := range c.Parts {
			r.parts = append(r.parts, j.rule(&c.Parts[i]))
		}
	}
	return r
}

// in says whether a set holds the requirement; whether it was weak before is
// looked up for each entry.
func (j *Judge) in(s syllabus.Set, i int) bool {
	q := j.asked[i].q
	if s.Musts && !q.Must {
		return false
	}
	for _, x := range s.Except {
		if x == string(q.ID) || x == string(q.Section) {
			return false
		}
	}
	if len(s.Sections)+len(s.Only) == 0 {
		return true
	}
	for _, id := range s.Sections {
		if id == q.Section {
			return true
		}
	}
	for _, id := range s.Only {
		if id == q.ID {
			return true
		}
	}
	return false
}

// nevers lists what a condition does not forgive: places of requirements, or
// of sections where the condition is on sections.
func (j *Judge) nevers(c *syllabus.Condition) map[int]bool {
	if !c.Allow.HasNever {
		return nil
	}
	out := map[int]bool{}
	for i := range j.asked {
		if j.in(c.Allow.Never, i) {
			if c.Kind == syllabus.OnSections {
				out[j.asked[i].section] = true
			} else {
				out[i] = true
			}
		}
	}
	return out
}
