package store

import "rankwright"

// Plan returns the plan of a kind of a grading, and whether there is one.
func (t *Tx) Plan(grading rankwright.GradingID, kind string) (Plan, bool, error) {
	p, ok, err := maybe(t, func(r row) (p Plan, err error) {
		err = r.Scan(&p.Grading, &p.Kind, &p.Facts, &p.Revision, &p.By, &p.At)
		return p, err
	}, `SELECT grading, kind, facts, revision, said_by, at FROM plans WHERE grading = $1 AND kind = $2`, grading, kind)
	if err != nil || !ok {
		return p, ok, err
	}
	if p.Placements, err = list(t, func(r row) (x Placement, err error) {
		err = r.Scan(&x.Entry, &x.Sitting, &x.Squad)
		return x, err
	}, `SELECT entry, sitting, squad FROM placements WHERE grading = $1 AND kind = $2 ORDER BY entry`, grading, kind); err != nil {
		return p, ok, err
	}
	p.Duties, err = list(t, func(r row) (x Duty, err error) {
		err = r.Scan(&x.Person, &x.Sitting)
		return x, err
	}, `SELECT person, sitting FROM duties WHERE grading = $1 AND kind = $2 ORDER BY person, sitting`, grading, kind)
	return p, ok, err
}

// PutPlan replaces the plan of its kind.
func (t *Tx) PutPlan(p Plan) error {
	if err := t.RemovePlan(p.Grading, p.Kind); err != nil {
		return err
	}
	if _, err := t.exec(`INSERT INTO plans (grading, kind, facts, revision, said_by, at) VALUES ($1, $2, $3, $4, $5, $6)`,
		p.Grading, p.Kind, p.Facts, p.Revision, p.By, p.At); err != nil {
		return reword(err, "in_use", missing("grading", p.Grading))
	}
	for _, x := range p.Placements {
		if _, err := t.exec(`INSERT INTO placements (grading, kind, entry, sitting, squad) VALUES ($1, $2, $3, $4, $5)`,
			p.Grading, p.Kind, x.Entry, x.Sitting, x.Squad); err != nil {
			return reword(err, "in_use", missing("entry", x.Entry))
		}
	}
	for _, x := range p.Duties {
		if _, err := t.exec(`INSERT INTO duties (grading, kind, person, sitting) VALUES ($1, $2, $3, $4)`,
			p.Grading, p.Kind, x.Person, x.Sitting); err != nil {
			return reword(err, "in_use", missing("person", x.Person))
		}
	}
	return nil
}

// RemovePlan forgets the plan of a kind, if there is one.
func (t *Tx) RemovePlan(grading rankwright.GradingID, kind string) error {
	_, err := t.exec(`DELETE FROM plans WHERE grading = $1 AND kind = $2`, grading, kind)
	return err
}

// PlacementLocks returns which entries of a grading stay where they are, in
// order of entry.
func (t *Tx) PlacementLocks(grading rankwright.GradingID) ([]PlacementLock, error) {
	return list(t, func(r row) (l PlacementLock, err error) {
		err = r.Scan(&l.Entry, &l.By, &l.At)
		return l, err
	}, `SELECT l.entry, l.said_by, l.at FROM placement_locks l JOIN entries e ON e.id = l.entry WHERE e.grading = $1 ORDER BY l.entry`, grading)
}

// SetPlacementLock keeps an entry where it is, or lets it go.
func (t *Tx) SetPlacementLock(l PlacementLock, on bool) error {
	if !on {
		_, err := t.exec(`DELETE FROM placement_locks WHERE entry = $1`, l.Entry)
		return err
	}
	_, err := t.exec(`INSERT INTO placement_locks (entry, said_by, at) VALUES ($1, $2, $3) ON CONFLICT (entry) DO NOTHING`, l.Entry, l.By, l.At)
	return reword(err, "in_use", missing("entry", l.Entry))
}

// CannotCome returns which entries of a grading cannot come on the ordinary
// dates, in order of entry.
func (t *Tx) CannotCome(grading rankwright.GradingID) ([]CannotCome, error) {
	return list(t, func(r row) (c CannotCome, err error) {
		err = r.Scan(&c.Entry, &c.By, &c.At)
		return c, err
	}, `SELECT c.entry, c.said_by, c.at FROM cannot_come c JOIN entries e ON e.id = c.entry WHERE e.grading = $1 ORDER BY c.entry`, grading)
}

// SetCannotCome says that an entry cannot come on the ordinary dates, or can.
func (t *Tx) SetCannotCome(c CannotCome, on bool) error {
	if !on {
		_, err := t.exec(`DELETE FROM cannot_come WHERE entry = $1`, c.Entry)
		return err
	}
	_, err := t.exec(`INSERT INTO cannot_come (entry, said_by, at) VALUES ($1, $2, $3) ON CONFLICT (entry) DO NOTHING`, c.Entry, c.By, c.At)
	return reword(err, "in_use", missing("entry", c.Entry))
}

// WaitingList returns who waits at a grading, the next one first.
func (t *Tx) WaitingList(grading rankwright.GradingID) ([]Wait, error) {
	return list(t, func(r row) (w Wait, err error) {
		err = r.Scan(&w.Entry, &w.Place, &w.At)
		return w, err
	}, `SELECT w.entry, w.place, w.at FROM waiting_list w JOIN entries e ON e.id = w.entry WHERE e.grading = $1 ORDER BY w.place, w.at, w.entry`, grading)
}

// PutWaitingList replaces who waits at a grading.
func (t *Tx) PutWaitingList(grading rankwright.GradingID, waits []Wait) error {
	if _, err := t.exec(`DELETE FROM waiting_list WHERE entry IN (SELECT id FROM entries WHERE grading = $1)`, grading); err != nil {
		return err
	}
	for _, w := range waits {
		if _, err := t.exec(`INSERT INTO waiting_list (entry, place, at) VALUES ($1, $2, $3)`, w.Entry, w.Place, w.At); err != nil {
			return reword(err, "in_use", missing("entry", w.Entry))
		}
	}
	return nil
}

const publishedColumns = `uid, grading, entry, household, person, sitting, mat, day, begins, minutes, sequence, cancelled, at`

// PublishedTimes returns every time that was told at a grading, cancelled ones
// too, in order of entry, person and uid.
func (t *Tx) PublishedTimes(grading rankwright.GradingID) ([]PublishedTime, error) {
	return list(t, func(r row) (p PublishedTime, err error) {
		err = r.Scan(&p.UID, &p.Grading, &p.Entry, &p.Household, &p.Person, &p.Sitting, &p.Mat, dayColumn{&p.Day}, &p.Begins, &p.Minutes, &p.Sequence, &p.Cancelled, &p.At)
		return p, err
	}, `SELECT `+publishedColumns+` FROM published_times WHERE grading = $1 ORDER BY entry, person, uid`, grading)
}

// PutPublishedTime writes a time that is told. Of one that was told before the
// sequence must be greater: calendars take the highest they have seen.
func (t *Tx) PutPublishedTime(p PublishedTime) error {
	n, err := t.exec(`INSERT INTO published_times (`+publishedColumns+`) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)
		ON CONFLICT (uid) DO UPDATE SET household = excluded.household, sitting = excluded.sitting, mat = excluded.mat, day = excluded.day, begins = excluded.begins,
			minutes = excluded.minutes, sequence = excluded.sequence, cancelled = excluded.cancelled, at = excluded.at
		WHERE published_times.grading = excluded.grading AND published_times.entry = excluded.entry
			AND published_times.person = excluded.person AND published_times.sequence < excluded.sequence`,
		p.UID, p.Grading, p.Entry, p.Household, p.Person, p.Sitting, p.Mat, p.Day, p.Begins, p.Minutes, p.Sequence, p.Cancelled, p.At)
	if err == nil && n == 0 {
		return rankwright.Faultf(rankwright.Conflict, "told_already", "reload the page and look at what was told meanwhile",
			"another time was told meanwhile")
	}
	return reword(err, "in_use", missing("grading", p.Grading))
}

// MoveAnswers returns what families said to other times than the published
// ones, in order of household and change.
func (t *Tx) MoveAnswers(grading rankwright.GradingID) ([]MoveAnswer, error) {
	return list(t, func(r row) (a MoveAnswer, err error) {
		err = r.Scan(&a.Grading, &a.Household, &a.Change, &a.Yes, &a.By, &a.At)
		return a, err
	}, `SELECT grading, household, change, yes, said_by, at FROM move_answers WHERE grading = $1 ORDER BY household, change`, grading)
}

// PutMoveAnswer writes what a family said to another time.
func (t *Tx) PutMoveAnswer(a MoveAnswer) error {
	_, err := t.exec(`INSERT INTO move_answers (grading, household, change, yes, said_by, at) VALUES ($1, $2, $3, $4, $5, $6)
		ON CONFLICT (grading, household, change) DO UPDATE SET yes = excluded.yes, said_by = excluded.said_by, at = excluded.at`,
		a.Grading, a.Household, a.Change, a.Yes, a.By, a.At)
	return reword(err, "in_use", missing("grading", a.Grading))
}

// forgetHouseholds removes what is kept of households of which nobody is on the
// roster any more: a household's id may be a family's name. The times that were
// told and the messages stay, and say no longer whose they were.
func (t *Tx) forgetHouseholds() error {
	const gone = `household NOT IN (SELECT household FROM students WHERE erased = 0)
			AND household NOT IN (SELECT 'student:' || id FROM students WHERE erased = 0 AND household = '')`
	for _, table := range []string{"published_times", "outbox"} {
		if _, err := t.exec(`UPDATE ` + table + ` SET household = '' WHERE ` + gone); err != nil {
			return err
		}
	}
	for _, table := range []string{"session_answers", "own_households", "move_answers", "move_asks", "family_links", "family_messages", "family_notes", "household_languages", "households_by_hand"} {
		if _, err := t.exec(`DELETE FROM ` + table + ` WHERE ` + gone); err != nil {
			return err
		}
	}
	return nil
}
