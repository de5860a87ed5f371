package store

import "rankwright"

// EndTokens ends every link of a purpose that was not used yet.
func (t *Tx) EndTokens(purpose string) error {
	_, err := t.exec(`DELETE FROM tokens WHERE purpose = $1 AND used = 0`, purpose)
	return err
}

// EndTokensOf ends the links of one person that were not used yet.
func (t *Tx) EndTokensOf(person string) error {
	_, err := t.exec(`DELETE FROM tokens WHERE person = $1 AND used = 0`, person)
	return err
}

// UsedStudentIDs lists every student id ever given out, erased ones too.
func (t *Tx) UsedStudentIDs() ([]rankwright.StudentID, error) {
	return list(t, scalar[rankwright.StudentID], `SELECT id FROM students ORDER BY id`)
}

// MaxClock is the largest logical clock among the marks of a grading, 0 where
// there are none.
func (t *Tx) MaxClock(grading rankwright.GradingID) (int64, error) {
	n, _, err := maybe(t, scalar[int64], `SELECT COALESCE(MAX(clock), 0) FROM marks WHERE grading = $1`, grading)
	return n, err
}
