package scoring

import (
	"cmp"
	"slices"
	"strings"

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
	// Corrected says that it replaced an earlier mark of another value.
	Corrected bool
}

// SecondLook is the note by which an examiner asks the head instructor for a
// second look. It may stand among others, with semicolons between.
const SecondLook = "Second look"

// AsksSecondLook says that the examiner's note asks for a second look, and what
// else it says.
func (s *Seen) AsksSecondLook() (asks bool, why string) {
	var rest []string
	for part := range strings.SplitSeq(s.Note, ";") {
		switch part = strings.TrimSpace(part); {
		case strings.EqualFold(part, SecondLook):
			asks = true
		case part != "":
			rest = append(rest, part)
		}
	}
	return asks, strings.Join(rest, "; ")
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
// "Not seen" takes back an examiner's earlier mark; a try that is not numbered
// is the first.
func (ix Index) Fold(marks []Mark) *Card {
	c := &Card{Seen: make([][]Seen, len(ix))}
	rows := make([]row, 0, len(marks))
	for i := range marks {
		m := &marks[i]
		if at, ok := ix[m.Requirement]; ok {
			rows = append(rows, row{at, m})
		} else {
			stray := *m
			stray.Try = max(1, stray.Try)
			c.Strays = append(c.Strays, stray)
		}
	}
	slices.SortFunc(rows, func(a, b row) int { return cmp.Or(a.thing(b), later(a.mark, b.mark)) })
	all := make([]Seen, 0, len(rows)) // one backing array for every requirement
	start := 0
	for i, r := range rows {
		switch {
		case i > 0 && rows[i-1].thing(r) == 0:
			if later(rows[i-1].mark, r.mark) == 0 {
				break
			}
			c.Corrected++
			if n := len(all); n > start && r.mark.Value.Sort != NotSeen && all[n-1].of(r) && all[n-1].Value != r.mark.Value {
				all[n-1].Corrected = true
			}
		case r.mark.Value.Sort != NotSeen:
			all = append(all, Seen{r.mark.Examiner, max(1, r.mark.Try), r.mark.Value, r.mark.ID, r.mark.Note, false})
		}
		if i+1 == len(rows) || rows[i+1].place != r.place {
			if len(all) > start {
				c.Seen[r.place] = all[start:len(all):len(all)]
			}
			start = len(all)
		}
	}
	slices.SortFunc(c.Strays, func(a, b Mark) int {
		return cmp.Or(cmp.Compare(a.Requirement, b.Requirement), row{0, &a}.thing(row{0, &b}), later(&a, &b))
	})
	c.Strays = slices.CompactFunc(c.Strays, func(a, b Mark) bool {
		return a.Requirement == b.Requirement && row{0, &a}.thing(row{0, &b}) == 0 && later(&a, &b) == 0
	})
	return c
}

// row is a mark with the place of its requirement.
type row struct {
	place int
	mark  *Mark
}

// of says whether s is what counts of the thing that a row of the same
// requirement marks.
func (s Seen) of(r row) bool { return s.Examiner == r.mark.Examiner && s.Try == max(1, r.mark.Try) }

// thing orders rows by what was marked by whom: of rows that are alike in it
// one counts.
func (a row) thing(b row) int {
	return cmp.Or(cmp.Compare(a.place, b.place), cmp.Compare(a.mark.Examiner, b.mark.Examiner), cmp.Compare(max(1, a.mark.Try), max(1, b.mark.Try)))
}
