package app

import (
	"context"
	"slices"

	"rankwright"
	"rankwright/internal/store"
)

// SetOffDoor writes down that a child's name is not to hang on a door, or may.
// It holds at later gradings too; why is not asked.
func (a *App) SetOffDoor(ctx context.Context, who Actor, id rankwright.GradingID, entry rankwright.EntryID, off bool) error {
	return a.do(ctx, who, TakeAnswers, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		t, err := a.timetable(tx, id)
		if err != nil {
			return nil, err
		}
		e, _ := t.Entry(entry)
		if e == nil {
			return nil, noEntry()
		}
		return map[string]any{"entry": entry, "off_the_door": off}, a.putOffDoor(tx, who, e.Student.ID, off)
	})
}

// FamilyOffDoor says for each child of the own family whether its name is kept
// off the door; off are the entries whose is.
func (a *App) FamilyOffDoor(ctx context.Context, who Actor, off []rankwright.EntryID) error {
	return a.do(ctx, who, AnswerOwn, who.own(), func(tx *store.Tx) (any, error) {
		_, f, err := a.familyAt(tx, who.Only, who.household)
		if err != nil {
			return nil, err
		}
		n := 0
		for _, e := range f.Entries {
			is := slices.Contains(off, e.Entry.ID)
			if is {
				n++
			}
			if err := a.putOffDoor(tx, who, e.Student.ID, is); err != nil {
				return nil, err
			}
		}
		return map[string]any{"entries": entryIDs(f), "off_the_door": n}, nil
	})
}

func (a *App) putOffDoor(tx *store.Tx, who Actor, id rankwright.StudentID, off bool) error {
	return tx.SetOffTheDoor(store.OffTheDoor{Student: id, By: who.ID, At: a.moment()}, off)
}
