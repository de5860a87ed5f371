package ready

import (
	"strings"

	"rankwright"
	"rankwright/syllabus"
)

// Overrule is the head instructor's yes where the rule says no.
type Overrule struct {
	By     string
	Reason string
	On     rankwright.Day
	// Within says that the shortfall lay within what the rule allows to be
	// waived.
	Within bool
}

// Overruled returns the answer as a yes that carries the overrule; the
// reasons stay as they were found. Who, why and when are all required.
func (a Answer) Overruled(o Overrule) (Answer, error) {
	o.By, o.Reason = strings.TrimSpace(o.By), strings.TrimSpace(o.Reason)
	switch {
	case a.Yes:
		return a, rankwright.Faultf(rankwright.Conflict, "nothing_to_overrule", "enter the student as usual", "the rule already says yes")
	case o.By == "":
		return a, rankwright.Faultf(rankwright.Invalid, "no_name", "give the name of the person who decides", "the overrule does not say who made it")
	case o.Reason == "":
		return a, rankwright.Faultf(rankwright.Invalid, "no_reason", "write a sentence that would stand up when a parent asks", "the overrule does not say why")
	case o.On == 0:
		return a, rankwright.Faultf(rankwright.Invalid, "no_day", "give the day of the decision", "the overrule does not say when")
	}
	o.Within = a.Waivable
	a.Yes, a.Overrule = true, &o
	return a, nil
}

// Entry is one student's entry in a grading, for one rank.
type Entry struct {
	ID       rankwright.EntryID
	Student  rankwright.StudentID
	Rank     rankwright.RankID
	AgeOnDay int    // in birthdays; -1 where the birth date is unknown
	Band     string // the age band on the day; "" for none
	Overrule *Overrule
}

// Enter makes the entry to which a yes leads.
func Enter(id rankwright.EntryID, student rankwright.StudentID, s *syllabus.Syllabus, a Answer) (Entry, error) {
	if !a.Yes {
		return Entry{}, rankwright.Faultf(rankwright.Conflict, "not_admitted", "wait for the day on which the answer is yes, or let the head instructor overrule it with a reason",
			"%s may not enter for %s on %s", student, a.Rank, a.On)
	}
	e := Entry{ID: id, Student: student, Rank: a.Rank, AgeOnDay: a.AgeOnDay, Overrule: a.Overrule}
	if i := s.Band(a.AgeOnDay); i >= 0 {
		e.Band = s.Bands[i].ID
	}
	return e, nil
}
