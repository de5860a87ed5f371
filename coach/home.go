// Package coach says how to practise: what of a rank's requirements is for
// home and what is left to class, and which of it comes on which day, in ten
// minutes a day. It is pure and knows no clock: the same input always gives
// the same plan.
package coach

import (
	"slices"

	"rankwright"
	"rankwright/syllabus"
)

// How a task is practised at home.
type How uint8

const (
	// Do is a movement, done alone.
	Do How = iota
	// SayAndDo is an order of steps: it is said and done, from memory.
	SayAndDo
	// Say is said from memory. Of falls and partner work it is the only part
	// that is for home: the words, sitting at the table.
	Say
	// Think is thought about and told: a theme.
	Think
)

// Memory says whether it is learned by heart and so repeated at growing
// distances.
func (h How) Memory() bool { return h == SayAndDo || h == Say }

// Task is one requirement as it is practised at home.
type Task struct {
	Requirement rankwright.RequirementID
	How         How
	// OnlySaid says that the requirement shows more than is for home: a fall,
	// a throw or a hold, of which the words alone are practised.
	OnlySaid bool
	// Minutes are what it takes on one day: common practice, no published
	// source.
	Minutes int
	// Weak says that it fell short last time.
	Weak bool
}

// Weak is what fell short last time, single requirements and whole sections.
type Weak struct {
	Requirements []rankwright.RequirementID
	Sections     []rankwright.SectionID
}

// Home sorts what is asked of a child, in the order of the rank, into tasks
// for home and what is left to class. What carries a caution for falls,
// partner work or contact is never done at home: of what is recalled, or of
// steps that are written out, the words are said, and the rest is for class,
// where there are mats and an instructor. What is marked before the day, notes
// of the school and extras are in neither.
func Home(s *syllabus.Syllabus, asked []*syllabus.Requirement, weak Weak) (tasks []Task, class []rankwright.RequirementID) {
	for _, q := range asked {
		if q.Bonus || q.Before || q.ForRelease {
			continue
		}
		t := Task{Requirement: q.ID, Minutes: minutes(q), Weak: slices.Contains(weak.Requirements, q.ID) || slices.Contains(weak.Sections, q.Section)}
		ok := true
		t.How, ok = how(q)
		if !Safe(s, q) {
			t.OnlySaid = q.Kind != syllabus.Recall
			ok = q.Kind == syllabus.Recall || q.Kind == syllabus.Steps && len(q.Parts) > 0
			t.How = Say
		}
		if !ok {
			class = append(class, q.ID)
			continue
		}
		tasks = append(tasks, t)
	}
	return tasks, class
}

// Safe says whether a requirement may be done at home: neither it nor its
// section carries a caution for falls, partner work or contact.
func Safe(s *syllabus.Syllabus, q *syllabus.Requirement) bool {
	return !slices.ContainsFunc(s.CautionsOf(q), func(c syllabus.Caution) bool {
		return c == syllabus.Falls || c == syllabus.Partner || c == syllabus.Contact
	})
}

func how(q *syllabus.Requirement) (How, bool) {
	switch {
	case q.Themed:
		return Think, true
	case q.Kind == syllabus.Recall:
		return Say, true
	case q.Kind == syllabus.Steps:
		return SayAndDo, true
	}
	return Do, q.Kind != syllabus.Consent // a vote on all of it is nothing to practise
}

func minutes(q *syllabus.Requirement) int {
	n := max(q.Of, len(q.Parts))
	switch {
	case q.Kind == syllabus.Tick:
		return 1
	case q.Kind != syllabus.Recall && q.Kind != syllabus.Steps || n <= 6:
		return 2
	case n <= 12:
		return 3
	}
	return mostOfTask
}
