package roster

import (
	"slices"

	"rankwright"
)

// Examiner is a person who marks, with what bars them from marking whom.
type Examiner struct {
	ID   rankwright.ExaminerID
	Name string
	// HighestRank is the highest rank they may examine, or "" for none.
	HighestRank rankwright.RankID
	// Relatives are the students they do not examine: their own children and
	// whoever else they or the school name.
	Relatives []rankwright.StudentID
}

// MayExamine says why the examiner may not examine the student for the rank,
// with every reason; an empty list means that they may. The ladder is its
// ranks from the lowest to the highest.
func (e Examiner) MayExamine(student rankwright.StudentID, rank rankwright.RankID, ladder []rankwright.RankID) rankwright.Faults {
	var why rankwright.Faults
	no := func(code, do, say string, args ...any) {
		why = append(why, rankwright.Faultf(rankwright.Forbidden, code, do, say, args...))
	}
	tried, highest := slices.Index(ladder, rank), slices.Index(ladder, e.HighestRank)
	switch {
	case tried < 0:
		no("rank_unknown", "choose a rank of this ladder", "the rank %q is not on the ladder", rank)
	case e.HighestRank == "":
		no("no_highest_rank", "enter the highest rank that they may examine",
			"no highest rank to examine is entered for %s", e.Name)
	case highest < 0:
		no("highest_rank_unknown", "enter a rank of this ladder",
			"the highest rank %q that %s may examine is not on this ladder", e.HighestRank, e.Name)
	case tried > highest:
		no("rank_too_high", "ask an examiner of a higher rank",
			"%s may examine up to %s, and this is for %s", e.Name, e.HighestRank, rank)
	}
	if slices.Contains(e.Relatives, student) {
		no("relative", "ask another examiner", "%s is a relative of this student", e.Name)
	}
	return why
}
