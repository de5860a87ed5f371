package calendar

import (
	"crypto/sha256"
	"fmt"
	"slices"
	"strings"
	"time"

	"rankwright"
)

// UID makes the lasting name of an event out of opaque identifiers, such as
// those of a grading, an examiner and a sitting. They cannot be read off it.
// The form is a UUID of version 8 (RFC 9562, Davis 2024), as RFC 7986 section
// 5.3 asks for.
func UID(ids ...string) string {
	h := sha256.New()
	for _, id := range ids {
		fmt.Fprintf(h, "%d:%s,", len(id), id)
	}
	b := h.Sum(nil)[:16]
	b[6], b[8] = b[6]&0x0f|0x80, b[8]&0x3f|0x80
	return fmt.Sprintf("%x-%x-%x-%x-%x", b[:4], b[4:6], b[6:8], b[8:10], b[10:])
}

// A Told is one child's time as the family was told it last.
type Told struct {
	UID      string
	Sequence int // 0 at first, one more whenever it was told anew or cancelled
	Changed  time.Time
	// Given is the child's given name, and all that a calendar learns of it: no
	// family name, age, rank or result.
	// It may be "" for a child who is no longer entered.
	Given          string
	Day            rankwright.Day
	Start, Minutes int
	Where          string
	Cancelled      bool
}

// A Notice is what stands in every event of a family.
type Notice struct {
	Bring []string // kit, drink, the signed sheet
	// Early is how many minutes before the start to be there; 0 says nothing.
	Early int
	// Remind is how many minutes before the start a reminder is shown; 0 is none.
	Remind int
	// Words says it in the family's language; nil is English.
	Words *Words
}

// Words are the sentences of a family's events in its language.
type Words struct {
	Summary   func(given []string) string // of the children, none where nobody is named
	TakenBack string
	Early     string // that one is to be there so many minutes before
	Bring     func(things []string) string
}

// words are those of the notice, English where it has none.
func (n Notice) words() Words {
	if n.Words != nil {
		return *n.Words
	}
	return Words{
		Summary: func(given []string) string {
			if len(given) == 0 {
				return "Grading"
			}
			return "Grading: " + listed(given)
		},
		TakenBack: "This time is taken back.",
		Early:     fmt.Sprintf("Please be there %s before.", minutes(n.Early)),
		Bring:     func(things []string) string { return "To bring: " + strings.Join(things, "; ") + "." },
	}
}

// Family are the events of one household: one for each time and place, with all
// of its children who come then. told are all the times that the household was
// ever told for a grading, cancelled ones too, in an order that stays.
//
// The event of a time bears the UID of the first child who comes then. Where
// brothers and sisters come apart or together in a later plan, the UIDs that no
// longer lead an event are cancelled. The sequence of every event grows with any
// change in the household, so that each program takes the latest of each.
func Family(told []Told, n Notice) []Event {
	sequence := -1
	var changed time.Time
	for _, t := range told {
		sequence += t.Sequence + 1
		if t.Changed.After(changed) {
			changed = t.Changed
		}
	}
	first := sequence == len(told)-1 // nothing was ever told anew
	var events []Event
	var names [][]string
	for _, t := range told {
		e := Event{UID: t.UID, Sequence: sequence, Changed: changed, Day: t.Day, Start: t.Start, Minutes: t.Minutes, Where: t.Where, Cancelled: t.Cancelled}
		at := -1
		for i := range events {
			o := &events[i]
			if !t.Cancelled && !o.Cancelled && o.Day == e.Day && o.Start == e.Start && o.Where == e.Where {
				at = i
			}
		}
		if at >= 0 {
			events[at].Minutes = max(events[at].Minutes, e.Minutes)
			names[at] = append(names[at], t.Given)
			if first && t.Changed.Equal(events[at].Changed) {
				continue // it never led an event of its own
			}
			e.Cancelled = true
		}
		events, names = append(events, e), append(names, []string{t.Given})
	}
	say := n.words()
	for i := range events {
		e := &events[i]
		e.Summary = say.Summary(slices.DeleteFunc(names[i], func(n string) bool { return n == "" }))
		if e.Cancelled {
			e.Text = say.TakenBack
			continue
		}
		e.Text, e.Remind = n.text(), n.Remind
	}
	return events
}

func (n Notice) text() string {
	say := n.words()
	var lines []string
	if n.Early > 0 {
		lines = append(lines, say.Early)
	}
	if len(n.Bring) > 0 {
		lines = append(lines, say.Bring(n.Bring))
	}
	return strings.Join(lines, "\n")
}

func minutes(n int) string {
	if n == 1 {
		return "1 minute"
	}
	return fmt.Sprintf("%d minutes", n)
}

// Examining is the event of one examiner in one sitting. It names no child.
func Examining(e Event, mat string) Event {
	e.Summary = "Examining"
	if clean(mat) != "" {
		e.Summary += " on mat " + clean(mat)
	}
	if e.Cancelled {
		e.Text, e.Remind = "This time is taken back.", 0
	}
	return e
}

// listed joins names as a sentence does.
func listed(names []string) string {
	switch n := len(names); n {
	case 0:
		return ""
	case 1:
		return names[0]
	default:
		return strings.Join(names[:n-1], ", ") + " and " + names[n-1]
	}
}
