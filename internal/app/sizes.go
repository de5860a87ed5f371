package app

import (
	"context"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/roster"
)

// Sizes is what of a student is put in by hand on the student's own page: what
// is needed for belt, shirt and the reading of the name.
type Sizes struct{ Said, BeltSize, ShirtSize string }

// SetSizes writes a student's sizes and how the name is said.
func (a *App) SetSizes(ctx context.Context, who Actor, id rankwright.StudentID, x Sizes) error {
	return a.do(ctx, who, EditRoster, on{kind: "student", id: string(id)}, func(tx *store.Tx) (any, error) {
		s, err := student(tx, id)
		if err != nil {
			return nil, err
		}
		s.Said, s.BeltSize, s.ShirtSize = x.Said, x.BeltSize, x.ShirtSize
		s = s.Clean()
		if faults := s.Validate(a.Today()); len(faults) > 0 {
			for _, f := range faults {
				if f.Code == "too_long" {
					return nil, invalid("sizes", f.Do, "%s", f.Say)
				}
			}
		}
		return map[string]string{"what": "sizes"}, tx.PutStudents([]roster.Student{s}, a.moment())
	})
}
