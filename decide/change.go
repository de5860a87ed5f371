package decide

import (
	"fmt"
	"strings"

	"rankwright"
	"rankwright/syllabus"
)

// ChangeWork bounds the search of Change: so many sets are looked at.
const ChangeWork = 20_000

// Changes is the smallest set of marks that would turn a "not yet" into
// promoted.
type Changes struct {
	// Possible says that there is such a set. Where a label has stood too
	// often in a row no mark helps.
	Possible bool
	Raises   []Raise           // in the order of the syllabus
	Points   rankwright.Amount // what they add up to
	// Fewest says that it is proven that no set of fewer requirements does
	// it, Least that of the sets of as many none adds fewer points. Where the
	// bound on work was hit they are not set, and the set is only small.
	Fewest, Least bool
	Work          int // sets looked at
}

// Raise is one requirement of the set.
type Raise struct {
	Requirement rankwright.RequirementID
	Show        string // what is shown, in a child's words
	From, To    Fact   // what it came to, and what it would have to come to
	Points      rankwright.Amount
}

// Change finds the fewest requirements, and of several such sets the one that
// adds the fewest points that count, whose marks would have to be better for a "not yet"
// to be promoted, clearances aside. Votes of a panel count as one requirement.
// The values are those that a requirement comes to when the examiners' marks
// are combined. For any other outcome there is nothing to change and the
// answer is empty.
//
// The search is exact: it deepens by the number of requirements, goes on from
// a condition that is not met only to the requirements that it looks at, and
// leaves out what provably cannot do it with so few. It gives up the proof,
// not the answer, after ChangeWork sets.
func (j *Judge) Change(c Case) Changes {
	if v := j.Decide(c); v.Outcome != syllabus.NotYet {
		return Changes{}
	}
	if c.Card == nil || len(c.Card.Seen) != len(j.asked) {
		return Changes{}
	}
	s := j.state(&c)
	defer s.done()
	f := newSearch(s)
	if !f.run() {
		return Changes{Work: f.work}
	}
	out := Changes{Possible: true, Fewest: f.fewest, Least: f.least, Work: f.work}
	for i := range j.asked {
		p := f.pick(i)
		if p == nil {
			continue
		}
		q := j.asked[i].q
		r := Raise{Requirement: q.ID, Show: q.Show, From: mark(q, s.value[i]), To: mark(q, p.value), Points: p.gain}
		if q.Kind == syllabus.Consent {
			t := s.votes[i]
			n := rankwright.Whole(t.yes + t.no + t.abstain)
			r.From, r.To = Fact{Unit: InVotes, Num: s.value[i], Of: n}, Fact{Unit: InVotes, Num: p.value, Of: n}
		} else if !s.have[i] {
			r.From = Fact{Word: "no mark"}
		}
		out.Raises, out.Points = append(out.Raises, r), out.Points+p.gain
	}
	return out
}

// Words says in a sentence or two what would have been enough; "" where
// nothing was looked for.
func (c Changes) Words() string {
	switch {
	case !c.Possible && c.Work == 0:
		return ""
	case !c.Possible:
		return "No mark of this grading would have changed the outcome: it rests on earlier results."
	}
	parts := make([]string, len(c.Raises))
	for i, r := range c.Raises {
		parts[i] = r.Words()
	}
	if c.Fewest {
		return "The least that would have been enough: " + strings.Join(parts, "; ") + "."
	}
	return "One way that would have been enough: " + strings.Join(parts, "; ") + "."
}

// Words writes one raise, such as "Settle-back from sitting: 2 instead of 1".
func (r Raise) Words() string {
	if r.To.Unit == InVotes {
		return fmt.Sprintf("%s: %s instead of %s", r.Show, count(r.To.Num.Int(), "consent"), r.From.Num)
	}
	if r.From.Unit == InWords {
		return fmt.Sprintf("%s: %s", r.Show, r.To.Words())
	}
	return fmt.Sprintf("%s: %s instead of %s", r.Show, r.To.Words(), r.From.Words())
}
