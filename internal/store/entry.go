package store

import "rankwright"

const entryColumns = `id, grading, student, rank, squad, presence, overruled_by, overrule_why, overruled_at`

func readEntry(r row) (e Entry, err error) {
	err = r.Scan(&e.ID, &e.Grading, &e.Student, &e.Rank, &e.Squad, &e.Presence, &e.OverruledBy, &e.OverruleWhy, &e.OverruledAt)
	return e, err
}

// Entries returns the entries of a grading in order of id.
func (t *Tx) Entries(grading rankwright.GradingID) ([]Entry, error) {
	return list(t, readEntry, `SELECT `+entryColumns+` FROM entries WHERE grading = $1 ORDER BY id`, grading)
}

// EntriesOf returns the entries of a student in order of id.
func (t *Tx) EntriesOf(student rankwright.StudentID) ([]Entry, error) {
	return list(t, readEntry, `SELECT `+entryColumns+` FROM entries WHERE student = $1 ORDER BY id`, student)
}

// Entry returns an entry by id.
func (t *Tx) Entry(id rankwright.EntryID) (Entry, error) {
	return one(t, missing("entry", id), readEntry, `SELECT `+entryColumns+` FROM entries WHERE id = $1`, id)
}

// PutEntry writes an entry, new or changed. An entry stays with its grading
// and its student, and a student has one entry in a grading.
func (t *Tx) PutEntry(e Entry) error {
	n, err := t.exec(`INSERT INTO entries (`+entryColumns+`) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)
		ON CONFLICT (id) DO UPDATE SET rank = excluded.rank, squad = excluded.squad, presence = excluded.presence,
			overruled_by = excluded.overruled_by, overrule_why = excluded.overrule_why, overruled_at = excluded.overruled_at
		WHERE entries.grading = excluded.grading AND entries.student = excluded.student`,
		e.ID, e.Grading, e.Student, e.Rank, e.Squad, e.Presence, e.OverruledBy, e.OverruleWhy, e.OverruledAt)
	if err == nil && n == 0 {
		return rankwright.Faultf(rankwright.Conflict, "other_entry", "make a new entry",
			"the entry %q belongs to another student or another grading", string(e.ID))
	}
	err = reword(err, "taken", rankwright.Faultf(rankwright.Conflict, "entered", "change the entry that is there",
		"the student %q is entered in this grading already", string(e.Student)))
	return reword(err, "in_use", rankwright.Faultf(rankwright.NotFound, "not_found", "choose from the list",
		"there is no student %q or no grading %q", string(e.Student), string(e.Grading)))
}

// RemoveEntry takes out an entry that was made by mistake, with its waivers
// and clearances. It refuses one that has marks or a decision.
func (t *Tx) RemoveEntry(id rankwright.EntryID) error {
	for _, table := range []string{"waivers", "clearances"} {
		if _, err := t.exec(`DELETE FROM `+table+` WHERE entry = $1`, id); err != nil {
			return err
		}
	}
	n, err := t.exec(`DELETE FROM entries WHERE id = $1`, id)
	if err == nil && n == 0 {
		return missing("entry", id)
	}
	return reword(err, "in_use", rankwright.Faultf(rankwright.Conflict, "has_marks", "mark the student as absent instead",
		"the entry has marks or a decision and stays"))
}

const clearanceQuery = `SELECT c.entry, c.clearance, c.met, c.said_by, c.at FROM clearances c JOIN entries e ON e.id = c.entry `

func readClearance(r row) (c ClearanceRecord, err error) {
	err = r.Scan(&c.Entry, &c.Clearance, &c.Met, &c.By, &c.At)
	return c, err
}

// Clearances returns what was said of all clearances of a grading, in the
// order in which it was said: of one clearance of one entry the last counts.
func (t *Tx) Clearances(grading rankwright.GradingID) ([]ClearanceRecord, error) {
	return list(t, readClearance, clearanceQuery+`WHERE e.grading = $1 ORDER BY c.number`, grading)
}

// ClearancesOf is Clearances of one entry.
func (t *Tx) ClearancesOf(entry rankwright.EntryID) ([]ClearanceRecord, error) {
	return list(t, readClearance, clearanceQuery+`WHERE e.id = $1 ORDER BY c.number`, entry)
}

// AddClearance keeps what was said of a clearance.
func (t *Tx) AddClearance(c ClearanceRecord) error {
	_, err := t.exec(`INSERT INTO clearances (number, entry, clearance, met, said_by, at)
		VALUES ((SELECT COALESCE(MAX(number), 0) + 1 FROM clearances), $1, $2, $3, $4, $5)`, c.Entry, c.Clearance, c.Met, c.By, c.At)
	return reword(err, "in_use", missing("entry", c.Entry))
}
