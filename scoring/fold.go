package scoring

import (
	"cmp"
	"slices"

	"rankwright"
	"rankwright/syllabus"
)

// Card is what counts of one entry's marks, by requirement.
type Card struct {
	// Seen holds, in the order of the rank's requirements, the marks that
	// count: the latest of each examiner and try, examiners in order of id.
	Seen [][]Seen
	// Strays are marks of requirements that the rank does not have.
	Strays []Mark
	// Corrected counts marks that a later one replaced.
	Corrected int
}

// Seen is one examiner's mark that counts.
type Seen struct {
	Examiner rankwright.ExaminerID
	Try      int
	Value    Value
	Mark     rankwright.MarkID
	Note     string
}

// Index maps the requirements of a rank to their places in a Card.
type Index map[rankwright.RequirementID]int

// NewIndex returns the index of a rank.
func NewIndex(k *syllabus.Rank) Index {
	ix := make(Index, len(k.Requirements))
	for i := range k.Requirements {
		ix[k.Requirements[i].ID] = i
	}
	return ix
}

// Fold merges one entry's marks into its card. It does not change marks.
// "Not seen" takes back an examiner's earlier mark.
func (ix Index) Fold(marks []Mark) *Card {
	type keyed struct {
		place int
		mark  *Mark
	}
	c := &Card{Seen: make([][]Seen, len(ix))}
	rows := make([]keyed, 0, len(marks))
	for i := range marks {
		m := &marks[i]
		if at, ok := ix[m.Requirement]; ok {
			rows = append(rows, keyed{at, m})
		} else {
			c.Strays = append(c.Strays, *m)
		}
	}
	slices.SortFunc(rows, func(a, b keyed) int {
		if d := cmp.Or(cmp.Compare(a.place, b.place), cmp.Compare(a.mark.Examiner, b.mark.Examiner), cmp.Compare(a.mark.Try, b.mark.Try)); d != 0 {
			return d
		}
		switch {
		case a.mark.later(b.mark):
			return -1
		case b.mark.later(a.mark):
			return 1
		}
		return 0
	})
	all := make([]Seen, 0, len(rows)) // one backing array for every requirement
	start := 0
	for i, row := range rows {
		first := i == 0 || rows[i-1].place != row.place || rows[i-1].mark.Examiner != row.mark.Examiner || rows[i-1].mark.Try != row.mark.Try
		if !first {
			if prev := rows[i-1].mark; *prev != *row.mark {
				c.Corrected++
			}
		} else if row.mark.Value.Sort != NotSeen {
			all = append(all, Seen{row.mark.Examiner, row.mark.Try, row.mark.Value, row.mark.ID, row.mark.Note})
		}
		if i+1 == len(rows) || rows[i+1].place != row.place {
			if len(all) > start {
				c.Seen[row.place] = all[start:len(all):len(all)]
			}
			start = len(all)
		}
	}
	slices.SortFunc(c.Strays, func(a, b Mark) int {
		return cmp.Or(cmp.Compare(a.Requirement, b.Requirement), cmp.Compare(a.Examiner, b.Examiner), cmp.Compare(a.ID, b.ID))
	})
	return c
}
