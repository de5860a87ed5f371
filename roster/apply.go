package roster

import (
	"slices"
	"strconv"

	"rankwright"
)

// changes compares two records field by field.
func changes(was, is Student) []Change {
	var out []Change
	add := func(f Field, before, after string) {
		if before != after {
			out = append(out, Change{f, before, after})
		}
	}
	add(StudentIDField, string(was.ID), string(is.ID))
	add(GivenNameField, was.GivenName, is.GivenName)
	add(FamilyNameField, was.FamilyName, is.FamilyName)
	add(BirthDateField, was.BirthDate.String(), is.BirthDate.String())
	add(HouseholdField, string(was.Household), string(is.Household))
	add(LadderField, string(was.Ladder), string(is.Ladder))
	add(RankField, string(was.Rank), string(is.Rank))
	add(RankSinceField, was.RankSince.String(), is.RankSince.String())
	add(ClassesField, strconv.Itoa(was.ClassesSinceRank), strconv.Itoa(is.ClassesSinceRank))
	add(GuardianNameField, guardiansText(was.Guardians), guardiansText(is.Guardians))
	add(BeltSizeField, was.BeltSize, is.BeltSize)
	add(ShirtSizeField, was.ShirtSize, is.ShirtSize)
	add(NotesField, was.Notes, is.Notes)
	add(SaidField, was.Said, is.Said)
	return out
}

// Apply returns the roster as it is after a plan: the students of current in
// their order, changed where the plan changes them, then the new ones in the
// order of the file. Everybody has a household afterwards; see
// FillHouseholds. The roster given is not touched.
//
// Unless onlyGood, a plan with any doubtful or refused row, or with an open
// question, is refused whole; with onlyGood those rows are left aside. A plan
// that was made from another state of the roster is always refused.
func Apply(plan ImportPlan, current []Student, onlyGood bool) ([]Student, error) {
	if len(plan.Faults) > 0 {
		return nil, plan.Faults
	}
	if !onlyGood {
		if fs := plan.Problems(); len(fs) > 0 {
			return nil, fs
		}
	}
	out := slices.Clone(current)
	at := map[rankwright.StudentID]int{}
	for i, s := range out {
		at[s.ID] = i
	}
	stale := func(line int) error {
		f := rankwright.Faultf(rankwright.Conflict, "roster_changed", "look at the preview again",
			"the roster was changed by somebody else after this preview was made")
		f.Where = rankwright.Place{File: plan.File, Line: line}
		return f
	}
	for _, row := range plan.Rows {
		switch row.Status {
		case Changed:
			i, ok := at[row.Was.ID]
			if !ok || !current[i].Equal(*row.Was) {
				return nil, stale(row.Line)
			}
			out[i] = row.Student
		case New:
			if _, ok := at[row.Student.ID]; ok {
				return nil, stale(row.Line)
			}
			at[row.Student.ID] = len(out)
			out = append(out, row.Student)
		}
	}
	out, _ = FillHouseholds(out)
	return out, nil
}
