// Package promote makes a rank real: what goes on the certificate, in which
// order ranks are read out, what belongs in the rank ledger, and which belts
// and shirts are to be ordered.
package promote

import (
	"cmp"
	"fmt"
	"slices"

	"rankwright"
	"rankwright/syllabus"
)

// Promotion is one student who gets a rank.
type Promotion struct {
	Entry    rankwright.EntryID
	Student  rankwright.StudentID
	Name     string // as it is read aloud and printed
	Born     rankwright.Day
	Rank     *syllabus.Rank
	Place    int // of the rank on the ladder, 0 the lowest
	Label    string
	FollowUp rankwright.Day // the certificate comes when this is done; zero for at once
}

// Order sorts promotions as they are read out: by rank from the lowest, then
// the youngest first, then by name.
func Order(list []Promotion) {
	slices.SortStableFunc(list, func(a, b Promotion) int {
		return cmp.Or(cmp.Compare(a.Place, b.Place), cmp.Compare(b.Born, a.Born), cmp.Compare(a.Name, b.Name), cmp.Compare(a.Entry, b.Entry))
	})
}

// CertificateNumber names a certificate for ever: the year of the grading and
// the line of the rank ledger.
func CertificateNumber(day rankwright.Day, line int64) string {
	return fmt.Sprintf("%d-%04d", day.Year(), line)
}

// Commendation is the label of a result that is said aloud and printed. Other
// labels are between the school and the family.
const Commendation = "commendation"

// Commended says whether a promotion under this label is with commendation.
func Commended(label string) bool { return label == Commendation }

// Raises says whether next stands higher on the ladder than the rank held.
// Somebody without a rank, or with one that the ladder does not know, is raised
// by any of its ranks.
func Raises(s *syllabus.Syllabus, held, next rankwright.RankID) bool {
	_, a := s.Rank(held)
	_, b := s.Rank(next)
	return b > a
}
