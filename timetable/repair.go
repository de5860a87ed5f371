package timetable

import (
	"fmt"
	"slices"
)

// ChangeKind is a kind of difference between the published plan and another.
type ChangeKind string

// The differences.
const (
	EntryMoved   ChangeKind = "moved"   // an entry stands in another sitting
	EntryPlaced  ChangeKind = "placed"  // an entry that waited or is new stands in a sitting
	EntryWaits   ChangeKind = "waits"   // an entry loses its sitting and waits
	SittingOpens ChangeKind = "opens"   // a sitting takes place that did not
	SittingEnds  ChangeKind = "ends"    // a sitting does not take place that did
	ExaminerIn   ChangeKind = "comes"   // an examiner is new on a panel
	ExaminerOut  ChangeKind = "is free" // an examiner leaves a panel
)

// Change is one difference, as data: numbers are places in the problem's lists
// or -1.
type Change struct {
	Kind      ChangeKind
	Entry     int
	Household int
	From, To  int // sittings; for a sitting's or an examiner's change, To
	Examiner  int
	// Told says that the household knows of its former time, so that it must be
	// told anew.
	Told bool
}

// Changes is how a plan differs from the published one: first the households
// that were told, then other entries, then sittings, then panels.
func (q *Prepared) Changes(plan *Plan) []Change {
	was := q.PublishedPlan()
	var told, others, sittings, panels []Change
	for e, to := range plan.At {
		from := was.At[e]
		if from == to {
			continue
		}
		c := Change{Kind: EntryMoved, Entry: e, Household: q.EntryHousehold[e], From: from, To: to, Examiner: -1, Told: q.Told[e] && from != Waiting}
		switch {
		case from == Waiting:
			c.Kind = EntryPlaced
		case to == Waiting:
			c.Kind = EntryWaits
		}
		if c.Told {
			told = append(told, c)
		} else {
			others = append(others, c)
		}
	}
	byHousehold := func(a, b Change) int { return a.Household - b.Household }
	slices.SortStableFunc(told, byHousehold)
	slices.SortStableFunc(others, byHousehold)
	before, after := make([]bool, len(plan.Panels)), q.Open(plan)
	for _, w := range was.At {
		if w != Waiting {
			before[w] = true
		}
	}
	for w := range plan.Panels {
		before[w] = before[w] || len(was.Panels[w]) > 0
		c := Change{Entry: -1, Household: -1, From: -1, To: w, Examiner: -1}
		if before[w] != after[w] {
			c.Kind = SittingEnds
			if after[w] {
				c.Kind = SittingOpens
			}
			sittings = append(sittings, c)
		}
		for _, x := range plan.Panels[w] {
			if !slices.Contains(was.Panels[w], x) {
				c.Kind, c.Examiner = ExaminerIn, x
				panels = append(panels, c)
			}
		}
		for _, x := range was.Panels[w] {
			if !slices.Contains(plan.Panels[w], x) {
				c.Kind, c.Examiner = ExaminerOut, x
				panels = append(panels, c)
			}
		}
	}
	return slices.Concat(told, others, sittings, panels)
}

// SayChange words a change as a full sentence.
func (q *Prepared) SayChange(c Change) string {
	switch c.Kind {
	case EntryMoved:
		return fmt.Sprintf("%s moves from %s to %s.", q.entryName(c.Entry), q.sittingName(c.From), q.sittingName(c.To))
	case EntryPlaced:
		return fmt.Sprintf("%s gets %s.", q.entryName(c.Entry), q.sittingName(c.To))
	case EntryWaits:
		return fmt.Sprintf("%s loses %s and waits for a place.", q.entryName(c.Entry), q.sittingName(c.From))
	case SittingOpens:
		return fmt.Sprintf("%s takes place.", upper(q.sittingName(c.To)))
	case SittingEnds:
		return fmt.Sprintf("%s does not take place.", upper(q.sittingName(c.To)))
	case ExaminerIn:
		return fmt.Sprintf("%s examines at %s.", q.examinerName(c.Examiner), q.sittingName(c.To))
	case ExaminerOut:
		return fmt.Sprintf("%s no longer examines at %s.", q.examinerName(c.Examiner), q.sittingName(c.To))
	}
	return string(c.Kind)
}

// Question is what a household would have to be asked so that a better plan
// becomes possible.
type Question struct {
	Household int
	Entries   []int // of this household that would move
	From, To  []int // their sittings, entry by entry; To may be Waiting
}

// Repaired is a plan after something happened.
type Repaired struct {
	Plan *Plan
	// Changes are the differences from the published plan.
	Changes []Change
	// Questions, all answered with yes, would make Better possible; none where
	// nothing better was found.
	Questions []Question
	Better    *Plan
	// Gains are the entries that wait in Plan and would stand in Better.
	Gains []int
	// Fewest says how few households must be moved at least; nil without a
	// solver.
	Fewest *Fewest
}

// Repair makes a plan from the published one that moves as few families as
// possible: Weights.Moved is paid for each that was told its time. A household
// that was told and has not said yes to a move keeps its time or, where that
// has gone, waits; then Questions say whom to ask. Locked entries never move.
// seed, rounds and stop are those of Improve, which is called twice.
func Repair(q *Prepared, seed uint64, rounds int, stop func() bool) *Repaired {
	return repaired(q, Improve(q, q.PublishedPlan(), seed, rounds, stop), seed, rounds, stop)
}

// repaired says what a plan changes, and looks for whom to ask so that more
// would have a place.
func repaired(q *Prepared, plan *Plan, seed uint64, rounds int, stop func() bool) *Repaired {
	r := &Repaired{Plan: plan, Changes: q.Changes(plan)}
	asked := q.Problem.clone()
	some := false
	for e := range asked.Entries {
		h := q.EntryHousehold[e]
		if q.Told[e] && q.Was[e] != Waiting && !asked.Households[h].MayMove {
			asked.Households[h].MayMove, some = true, true
		}
	}
	waits := slices.Contains(r.Plan.At, Waiting)
	if !some || !waits {
		return r
	}
	qa, err := Prepare(asked)
	if err != nil {
		return r // it was prepared before; only a yes was added
	}
	better := Improve(qa, r.Plan, seed+1, rounds, stop)
	if qa.Total(better) >= qa.Total(r.Plan) {
		return r
	}
	for e, at := range better.At {
		if at != Waiting && r.Plan.At[e] == Waiting {
			r.Gains = append(r.Gains, e)
		}
	}
	if len(r.Gains) == 0 {
		return r
	}
	for h, members := range q.Members {
		if q.Problem.Households[h].MayMove {
			continue
		}
		question := Question{Household: h}
		for _, e := range members {
			if q.Told[e] && q.Was[e] != Waiting && better.At[e] != q.Was[e] {
				question.Entries = append(question.Entries, e)
				question.From = append(question.From, q.Was[e])
				question.To = append(question.To, better.At[e])
			}
		}
		if len(question.Entries) > 0 {
			r.Questions = append(r.Questions, question)
		}
	}
	if len(r.Questions) > 0 {
		r.Better = better
	} else {
		r.Gains = nil
	}
	return r
}

// SayQuestion words a question as a full sentence to the head instructor.
func (q *Prepared) SayQuestion(x Question) string {
	var parts []string
	for i, e := range x.Entries {
		to := "waiting for another date"
		if x.To[i] != Waiting {
			to = q.sittingName(x.To[i])
		}
		parts = append(parts, fmt.Sprintf("%s for %s instead of %s", to, q.entryName(e), q.sittingName(x.From[i])))
	}
	return fmt.Sprintf("Ask %s whether they agree to %s.", q.householdName(x.Household), listed(parts))
}

// upper begins a sentence.
func upper(s string) string {
	if s != "" && 'a' <= s[0] && s[0] <= 'z' {
		return string(s[0]-'a'+'A') + s[1:]
	}
	return s
}
