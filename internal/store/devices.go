package store

import "rankwright"

func readPIN(r row) (p PIN, err error) {
	err = r.Scan(&p.Grading, &p.Person, &p.Hash, &p.Tries, &p.At)
	return p, err
}

const pinQuery = `SELECT grading, person, hash, tries, at FROM pins `

// PINs returns the PINs of a grading in order of person.
func (t *Tx) PINs(grading rankwright.GradingID) ([]PIN, error) {
	return list(t, readPIN, pinQuery+`WHERE grading = $1 ORDER BY person`, grading)
}

// PIN returns the PIN of one examiner of a grading.
func (t *Tx) PIN(grading rankwright.GradingID, person string) (PIN, error) {
	return one(t, missing("PIN of the examiner", person), readPIN, pinQuery+`WHERE grading = $1 AND person = $2`, grading, person)
}

// PutPIN writes the PIN of an examiner of a grading, new or changed.
func (t *Tx) PutPIN(p PIN) error {
	_, err := t.exec(`INSERT INTO pins (grading, person, hash, tries, at) VALUES ($1, $2, $3, $4, $5)
		ON CONFLICT (grading, person) DO UPDATE SET hash = excluded.hash, tries = excluded.tries, at = excluded.at`,
		p.Grading, p.Person, p.Hash, p.Tries, p.At)
	return err
}

const deviceColumns = `id, grading, person, name, paired, until, seen, unsent, ended, ended_by`

func readDevice(r row) (d Device, err error) {
	err = r.Scan(&d.ID, &d.Grading, &d.Person, &d.Name, &d.Paired, &d.Until, &d.Seen, &d.Unsent, &d.Ended, &d.EndedBy)
	return d, err
}

// Devices returns the devices that were paired for a grading, also those that
// ended, in the order in which they were paired.
func (t *Tx) Devices(grading rankwright.GradingID) ([]Device, error) {
	return list(t, readDevice, `SELECT `+deviceColumns+` FROM devices WHERE grading = $1 ORDER BY paired, id`, grading)
}

// Device returns a paired device by id.
func (t *Tx) Device(id rankwright.DeviceID) (Device, error) {
	return one(t, missing("device", id), readDevice, `SELECT `+deviceColumns+` FROM devices WHERE id = $1`, id)
}

// PutDevice writes a paired device, new or changed. It stays with its grading
// and its examiner.
func (t *Tx) PutDevice(d Device) error {
	_, err := t.exec(`INSERT INTO devices (`+deviceColumns+`) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)
		ON CONFLICT (id) DO UPDATE SET name = excluded.name, until = excluded.until, seen = excluded.seen, unsent = excluded.unsent,
			ended = excluded.ended, ended_by = excluded.ended_by`,
		d.ID, d.Grading, d.Person, d.Name, d.Paired, d.Until, d.Seen, d.Unsent, d.Ended, d.EndedBy)
	return err
}

// SawDevice keeps when a device was last heard of and how many marks it had
// not sent by then. One that has ended stays as it was.
func (t *Tx) SawDevice(id rankwright.DeviceID, seen Moment, unsent int) error {
	_, err := t.exec(`UPDATE devices SET seen = $2, unsent = $3 WHERE id = $1 AND ended = 0`, id, seen, unsent)
	return err
}
