package store

import "rankwright"

func readArrival(r row) (a Arrival, err error) {
	err = r.Scan(&a.Entry, &a.At, &a.Late, &a.By)
	return a, err
}

// Arrivals returns who came to a grading and when, in order of entry.
func (t *Tx) Arrivals(grading rankwright.GradingID) ([]Arrival, error) {
	return list(t, readArrival, `SELECT a.entry, a.at, a.late, a.said_by FROM arrivals a JOIN entries e ON e.id = a.entry
		WHERE e.grading = $1 ORDER BY a.entry`, grading)
}

// ArrivalOf returns when an entry came, and whether it did.
func (t *Tx) ArrivalOf(entry rankwright.EntryID) (Arrival, bool, error) {
	return maybe(t, readArrival, `SELECT entry, at, late, said_by FROM arrivals WHERE entry = $1`, entry)
}

// PutArrival writes when an entry came.
func (t *Tx) PutArrival(a Arrival) error {
	_, err := t.exec(`INSERT INTO arrivals (entry, at, late, said_by) VALUES ($1, $2, $3, $4)
		ON CONFLICT (entry) DO UPDATE SET at = excluded.at, late = excluded.late, said_by = excluded.said_by`, a.Entry, a.At, a.Late, a.By)
	return reword(err, "in_use", missing("entry", a.Entry))
}

// RemoveArrival forgets that an entry came.
func (t *Tx) RemoveArrival(entry rankwright.EntryID) error {
	_, err := t.exec(`DELETE FROM arrivals WHERE entry = $1`, entry)
	return err
}

func readDoorTick(r row) (k DoorTick, err error) {
	err = r.Scan(&k.Entry, &k.Line, &k.At, &k.By)
	return k, err
}

// DoorTicks returns what was ticked at the door of a grading, in order of
// entry and line.
func (t *Tx) DoorTicks(grading rankwright.GradingID) ([]DoorTick, error) {
	return list(t, readDoorTick, `SELECT k.entry, k.line, k.at, k.said_by FROM door_ticks k JOIN entries e ON e.id = k.entry
		WHERE e.grading = $1 ORDER BY k.entry, k.line`, grading)
}

// SetDoorTick ticks a line of an entry, or takes the tick away.
func (t *Tx) SetDoorTick(k DoorTick, on bool) error {
	if !on {
		_, err := t.exec(`DELETE FROM door_ticks WHERE entry = $1 AND line = $2`, k.Entry, k.Line)
		return err
	}
	_, err := t.exec(`INSERT INTO door_ticks (entry, line, at, said_by) VALUES ($1, $2, $3, $4) ON CONFLICT (entry, line) DO NOTHING`,
		k.Entry, k.Line, k.At, k.By)
	return reword(err, "in_use", missing("entry", k.Entry))
}

// LastArrival is the number of the latest mark of a grading, 0 where there is
// none.
func (t *Tx) LastArrival(grading rankwright.GradingID) (int64, error) {
	n, _, err := maybe(t, scalar[int64], `SELECT COALESCE(MAX(arrival), 0) FROM marks WHERE grading = $1`, grading)
	return n, err
}
