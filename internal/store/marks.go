package store

import (
	"rankwright"
)

const markColumns = `arrival, id, device, seq, clock, grading, entry, requirement, examiner, try, sort, amount, at, note, received`

const insertMark = `INSERT INTO marks (` + markColumns + `)
	VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15) ON CONFLICT DO NOTHING`

func readMark(r row) (m MarkRow, err error) {
	err = r.Scan(&m.Arrival, &m.ID, &m.Device, &m.Seq, &m.Clock, &m.Grading, &m.Entry, &m.Requirement, &m.Examiner, &m.Try,
		&m.Value.Sort, &m.Value.Num, &m.At, &m.Note, &m.Received)
	return m, err
}

// AppendMarks adds marks to the log and answers each, in their order. A mark
// that is there already is a double and changes nothing; one that cannot be
// kept is refused by itself, and the others are kept. Arrival is given here.
// The error is for the whole batch: then nothing of it is kept.
func (t *Tx) AppendMarks(marks []MarkRow) ([]MarkStatus, error) {
	if len(marks) == 0 {
		return nil, nil
	}
	arrival, err := Once(t, "the last arrival", func() (*int64, error) {
		n, _, err := maybe(t, scalar[int64], `SELECT COALESCE(MAX(arrival), 0) FROM marks`)
		return &n, err
	})
	if err != nil {
		return nil, err
	}
	gradings, err := Lasting(t, "gradings of entries", func() (map[rankwright.EntryID]rankwright.GradingID, error) {
		return map[rankwright.EntryID]rankwright.GradingID{}, nil
	})
	if err != nil {
		return nil, err
	}
	out := make([]MarkStatus, len(marks))
	for i, m := range marks {
		out[i].ID = m.ID
		if out[i].Refuse, err = t.unfitMark(&m, gradings); err != nil {
			return nil, err
		}
		if out[i].Refuse != "" {
			continue
		}
		m.Arrival = *arrival + 1
		n, err := t.exec(insertMark, m.Arrival, m.ID, m.Device, m.Seq, m.Clock, m.Grading, m.Entry, m.Requirement, m.Examiner, m.Try,
			m.Value.Sort, m.Value.Num, m.At, m.Note, m.Received)
		if err != nil {
			return nil, err
		}
		if out[i].Stored = n == 1; out[i].Stored {
			*arrival++
			continue
		}
		if out[i].Double, out[i].Refuse, err = t.sameMark(m); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// unfitMark says why a mark cannot be kept, "" where it can. It fills in the
// grading of the entry.
func (t *Tx) unfitMark(m *MarkRow, gradings map[rankwright.EntryID]rankwright.GradingID) (string, error) {
	for _, s := range []string{string(m.ID), string(m.Device), string(m.Entry), string(m.Requirement), string(m.Examiner), m.Note} {
		if !storable(s) {
			return "the mark has characters that are no text", nil
		}
	}
	if m.ID == "" || m.Device == "" || m.Seq < 1 {
		return "the mark has no id, no device or no number", nil
	}
	grading, known := gradings[m.Entry]
	if !known {
		var err error
		grading, _, err = maybe(t, scalar[rankwright.GradingID], `SELECT grading FROM entries WHERE id = $1`, m.Entry)
		if err != nil {
			return "", err
		}
		if grading != "" {
			gradings[m.Entry] = grading
		}
	}
	switch {
	case grading == "":
		return "the mark is of an entry that is not there", nil
	case m.Grading == "":
		m.Grading = grading
	case m.Grading != grading:
		return "the mark is of an entry in another grading", nil
	}
	return "", nil
}

// sameMark compares a mark with those that have its id or its device and
// number.
func (t *Tx) sameMark(m MarkRow) (double bool, refuse string, err error) {
	there, err := list(t, readMark, `SELECT `+markColumns+` FROM marks WHERE id = $1 OR (device = $2 AND seq = $3) ORDER BY arrival`,
		m.ID, m.Device, m.Seq)
	if err != nil {
		return false, "", err
	}
	if len(there) == 1 && there[0].Mark == m.Mark {
		return true, "", nil
	}
	for _, o := range there {
		if o.ID == m.ID {
			return false, "another mark has this id, and it is kept as it was", nil
		}
	}
	return false, "another mark of this device has this number, and it is kept as it was", nil
}

// MarksSince returns the marks of a grading that arrived after a number, in
// order of arrival, at most limit of them.
func (t *Tx) MarksSince(grading rankwright.GradingID, arrival int64, limit int) ([]MarkRow, error) {
	return list(t, readMark, `SELECT `+markColumns+` FROM marks WHERE grading = $1 AND arrival > $2 ORDER BY arrival LIMIT $3`,
		grading, arrival, limit)
}

// MarksOf returns the marks of an entry in order of arrival.
func (t *Tx) MarksOf(entry rankwright.EntryID) ([]MarkRow, error) {
	return list(t, readMark, `SELECT `+markColumns+` FROM marks WHERE entry = $1 ORDER BY arrival`, entry)
}

// MarksOfGrading returns all marks of a grading in order of arrival.
func (t *Tx) MarksOfGrading(grading rankwright.GradingID) ([]MarkRow, error) {
	return list(t, readMark, `SELECT `+markColumns+` FROM marks WHERE grading = $1 ORDER BY arrival`, grading)
}

// LatestMarks tells when the latest mark arrived of each requirement of each
// entry of a grading, in no order.
func (t *Tx) LatestMarks(grading rankwright.GradingID) ([]LatestMark, error) {
	return list(t, func(r row) (x LatestMark, err error) {
		err = r.Scan(&x.Entry, &x.Requirement, &x.At)
		return x, err
	}, `SELECT entry, requirement, MAX(received) FROM marks WHERE grading = $1 GROUP BY entry, requirement`, grading)
}

// MaxClock is the largest logical clock among the marks of a grading, 0 where
// there are none.
func (t *Tx) MaxClock(grading rankwright.GradingID) (int64, error) {
	n, _, err := maybe(t, scalar[int64], `SELECT COALESCE(MAX(clock), 0) FROM marks WHERE grading = $1`, grading)
	return n, err
}
