// Package decide turns a card of marks into an outcome, by the pass rule of a
// rank, and says why: each condition with what was asked, what was shown and
// whether it was met. It is exact, knows no clock, and the same input always
// gives the same verdict.
package decide

import (
	"slices"
	"strconv"
	"sync"

	"rankwright"
	"rankwright/scoring"
	"rankwright/syllabus"
)

// Judge decides the entries of one rank under one version of a syllabus with
// the waivers of one grading. It never changes once made, apart from a pool of
// scratch space, and is safe for several goroutines.
type Judge struct {
	syl      *syllabus.Syllabus
	rank     *syllabus.Rank
	index    scoring.Index
	asked    []asked
	sections []rankwright.SectionID // those that the rank uses, in order
	rules    []rule                 // one for each condition
	leaves   []*rule                // the conditions, parts too, that count points or requirements
	sums     int                    // how many section sums the leaves keep
	places   int                    // and how many sections and requirements they look at
	panels   []syllabus.Panel       // every shape that a condition names
	results  []result
	votes    []int // the requirements of kind consent
	states   sync.Pool
}

// asked is a requirement made ready for computing.
type asked struct {
	q       *syllabus.Requirement
	section int
	unit    rankwright.Amount // points for 1 of the value, where no credit table is
	counts  bool              // takes part in totals, sections and requirement conditions
	combine syllabus.Combine
	waived  bool
	looks   []int // the leaves that look at it
}

// rule is a condition made ready: sets are lists of places.
type rule struct {
	c     *syllabus.Condition
	reqs  []int  // the requirements looked at
	never []bool // by requirement, or by section where c is OnSections; nil for none
	parts []rule
	leaf  int // place in Judge.leaves, or -1
	// Places of its first section sum and of its first section or requirement
	// among those of all leaves.
	first, places int
}

type result struct {
	res   *syllabus.Result
	when  []int  // places in Judge.rules
	tries string // the reason's rule where Retries is limited
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
	for i := range j.rules {
		j.collect(&j.rules[i])
	}
	for i := range k.Pass.Results {
		r := result{res: &k.Pass.Results[i]}
		for _, w := range r.res.When {
			r.when = append(r.when, at[w])
		}
		if r.res.Retries > 0 {
			r.tries = "retries:" + strconv.Itoa(r.res.Retries)
		}
		j.results = append(j.results, r)
	}
	j.states.New = func() any { return j.newState() }
	return j, nil
}

// Rank returns the rank that the judge decides on.
func (j *Judge) Rank() *syllabus.Rank { return j.rank }

// Syllabus returns the syllabus version that it goes by.
func (j *Judge) Syllabus() *syllabus.Syllabus { return j.syl }

// Fold merges one entry's marks into the card of this rank.
func (j *Judge) Fold(marks []scoring.Mark) *scoring.Card { return j.index.Fold(marks) }

func (j *Judge) rule(c *syllabus.Condition) rule {
	r := rule{c: c, leaf: -1}
	switch c.Kind {
	case syllabus.OnTotal, syllabus.OnSections, syllabus.OnRequirements:
		for i := range j.asked {
			if j.asked[i].counts && j.in(c.Of, i) {
				r.reqs = append(r.reqs, i)
			}
		}
		r.never = j.nevers(c)
	case syllabus.OnConsents:
		j.panels = append(j.panels, c.Panels...)
	case syllabus.OnAll, syllabus.OnAny:
		for i := range c.Parts {
			r.parts = append(r.parts, j.rule(&c.Parts[i]))
		}
	}
	return r
}

// collect gives every counting condition its place.
func (j *Judge) collect(r *rule) {
	for i := range r.parts {
		j.collect(&r.parts[i])
	}
	switch r.c.Kind {
	case syllabus.OnTotal, syllabus.OnSections, syllabus.OnRequirements:
		r.leaf, r.first, r.places = len(j.leaves), j.sums, j.places
		j.leaves = append(j.leaves, r)
		switch r.c.Kind {
		case syllabus.OnSections:
			j.sums += len(j.sections)
			j.places += len(j.sections)
		case syllabus.OnRequirements:
			j.places += len(j.asked)
		}
		for _, i := range r.reqs {
			j.asked[i].looks = append(j.asked[i].looks, r.leaf)
		}
	}
}

// in says whether a set holds the requirement; whether it was weak before is
// looked up for each entry.
func (j *Judge) in(s syllabus.Set, i int) bool {
	q := j.asked[i].q
	if s.Musts && !q.Must {
		return false
	}
	if slices.Contains(s.Except, string(q.ID)) || slices.Contains(s.Except, string(q.Section)) {
		return false
	}
	if len(s.Sections)+len(s.Only) == 0 {
		return true
	}
	return slices.Contains(s.Sections, q.Section) || slices.Contains(s.Only, q.ID)
}

// nevers lists what a condition does not forgive.
func (j *Judge) nevers(c *syllabus.Condition) []bool {
	if !c.Allow.HasNever {
		return nil
	}
	if c.Kind != syllabus.OnSections {
		out := make([]bool, len(j.asked))
		for i := range out {
			out[i] = j.in(c.Allow.Never, i)
		}
		return out
	}
	out := make([]bool, len(j.sections))
	for i := range j.asked {
		if j.in(c.Allow.Never, i) {
			out[j.asked[i].section] = true
		}
	}
	return out
}
