// Package scoring holds the marks of a grading: facts that are never edited,
// and the pure functions that turn any heap of them into a card.
//
// A correction is a later mark by the same examiner of the same requirement
// of the same entry; both stay in the log. Merging is a function of the set
// of marks alone: any order, any repetition and any batching give one card.
package scoring

import (
	"cmp"
	"fmt"
	"strings"

	"rankwright"
	"rankwright/syllabus"
)

// Mark is one examiner's score of one requirement of one entry.
type Mark struct {
	ID     rankwright.MarkID
	Device rankwright.DeviceID
	// Seq numbers the marks of one device from 1.
	Seq int64
	// Clock is a logical clock (Lamport 1978): one more than the largest that
	// the device had seen. It orders an examiner's marks across devices
	// whatever the devices take the time to be.
	Clock       int64
	Entry       rankwright.EntryID
	Requirement rankwright.RequirementID
	Examiner    rankwright.ExaminerID
	Try         int // 1 where only one is marked
	Value       Value
	// At is when the device says the mark was made, in milliseconds since
	// 1970 UTC. It is shown, and orders marks only where no clock does.
	At   int64
	Note string
}

// Value is what was marked.
type Value struct {
	Sort ValueSort
	Num  rankwright.Amount // of a Number: points of a level, a count, seconds; a tick is 1 or 0
}

// ValueSort tells the values apart.
type ValueSort uint8

const (
	// NotSeen says that the examiner did not see it: no mark counts.
	NotSeen ValueSort = iota
	// Number is a score.
	Number
	// Abstain is a vote that is neither yes nor no.
	Abstain
)

// N returns the value of a whole number.
func N(n int) Value { return Value{Sort: Number, Num: rankwright.Whole(n)} }

// String writes the value as marks.csv has it, a vote as 1 or 0.
func (v Value) String() string {
	switch v.Sort {
	case Number:
		return v.Num.String()
	case Abstain:
		return "abstain"
	}
	return "x"
}

// Format writes the value as marks.csv has it for the kind of requirement.
func (v Value) Format(k syllabus.Kind) string {
	if k == syllabus.Consent && v.Sort == Number {
		if v.Num == 0 {
			return "no"
		}
		return "yes"
	}
	return v.String()
}

// ParseValue reads a value as it stands in marks.csv: 1 or 0 for a tick, a
// whole number for a level, steps, recall or a count, seconds with at most
// three decimals for a time, yes, no or abstain for a consent, and x for "not
// seen". The value must be one that the requirement can have.
func ParseValue(q *syllabus.Requirement, text string) (Value, error) {
	t := strings.TrimSpace(text)
	if t == "x" || t == "X" {
		return Value{}, nil
	}
	if q.Kind == syllabus.Consent {
		switch strings.ToLower(t) {
		case "yes":
			return N(1), nil
		case "no":
			return N(0), nil
		case "abstain":
			return Value{Sort: Abstain}, nil
		}
		return Value{}, refuse(q, text, "yes, no, abstain, or x for not seen")
	}
	if q.Kind != syllabus.Timed && strings.ContainsRune(t, '.') {
		return Value{}, refuse(q, text, wanted(q))
	}
	a, err := rankwright.ParseAmount(t)
	if err != nil || !Can(q, a) {
		return Value{}, refuse(q, text, wanted(q))
	}
	return Value{Sort: Number, Num: a}, nil
}

// Can says whether the requirement can have this number as its mark.
func Can(q *syllabus.Requirement, a rankwright.Amount) bool {
	if a < 0 || a > rankwright.MaxAmount {
		return false
	}
	if q.Kind == syllabus.Timed {
		return a%(rankwright.One/1000) == 0
	}
	if !a.IsWhole() {
		return false
	}
	switch q.Kind {
	case syllabus.Tick, syllabus.Consent:
		return a <= rankwright.One
	case syllabus.Leveled:
		for _, l := range q.Scale.Levels {
			if a == rankwright.Whole(l.Value) {
				return true
			}
		}
		return false
	}
	return q.Of == 0 || a <= rankwright.Whole(q.Of)
}

func wanted(q *syllabus.Requirement) string {
	switch q.Kind {
	case syllabus.Tick:
		return "1 for shown, 0 for not shown, or x for not seen"
	case syllabus.Leveled:
		first, last := q.Scale.Levels[0].Value, q.Scale.Levels[len(q.Scale.Levels)-1].Value
		return fmt.Sprintf("a level from %d to %d, or x for not seen", first, last)
	case syllabus.Timed:
		return "seconds such as 12 or 12.5, or x for not seen"
	}
	if q.Of > 0 {
		return fmt.Sprintf("a whole number from 0 to %d, or x for not seen", q.Of)
	}
	return "a whole number, or x for not seen"
}

func refuse(q *syllabus.Requirement, text, want string) error {
	return rankwright.Faultf(rankwright.Invalid, "bad_value", "write "+want,
		"%q cannot be the mark of %s, which is marked by %s", text, q.ID, q.Kind)
}

// later orders an examiner's marks of one thing, the latest first: by logical
// clock, then by device and number, and at last by id, value and note, so that
// the order is total and depends neither on the order of arrival nor on what
// the devices take the time to be. Their time tells marks apart that are alike
// in all else; only the same mark is equal.
func later(a, b *Mark) int {
	return cmp.Or(cmp.Compare(b.Clock, a.Clock), cmp.Compare(b.Device, a.Device), cmp.Compare(b.Seq, a.Seq), cmp.Compare(b.ID, a.ID),
		cmp.Compare(a.Value.Sort, b.Value.Sort), cmp.Compare(a.Value.Num, b.Value.Num), cmp.Compare(b.Note, a.Note), cmp.Compare(b.At, a.At))
}
