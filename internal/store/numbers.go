package store

import (
	"slices"

	"rankwright"
	"rankwright/scoring"
)

// Count is how far a device has counted its marks, as it says itself.
type Count struct {
	Grading rankwright.GradingID
	Log     rankwright.DeviceID // its own name for itself, as marks have it
	Paired  rankwright.DeviceID // "" where somebody is signed in with a password
	Person  string
	Since   int64 // numbers up to this one are of before this grading; -1 where it says no numbers
	Seq     int64 // the highest number that it has given
	Unsent  int   // marks that it had not sent by then
	Seen    Moment
}

// Reach is what came of a device's numbers at one grading.
type Reach struct {
	Log         rankwright.DeviceID
	First, Last int64
}

// Refusal is a mark that was answered with a refusal.
type Refusal struct {
	No        int64
	Mark      scoring.Mark // without its note and its logical clock
	Grading   rankwright.GradingID
	Why       string
	Sender    string // who was signed in
	Received  Moment
	Settled   Moment // 0 until somebody has seen to it
	SettledBy string
}

// Acceptance is the head instructor's word that marks are missing and that it
// goes on without them.
type Acceptance struct {
	No      int64
	Grading rankwright.GradingID
	Missing string // JSON
	Reason  string
	By      string
	At      Moment
}

const countColumns = `grading, log, paired, person, since, seq, unsent, seen`

func readCount(r row) (c Count, err error) {
	err = r.Scan(&c.Grading, &c.Log, &c.Paired, &c.Person, &c.Since, &c.Seq, &c.Unsent, &c.Seen)
	return c, err
}

// Counts returns what devices have said of their numbers at a grading, in
// order of their names.
func (t *Tx) Counts(grading rankwright.GradingID) ([]Count, error) {
	return list(t, readCount, `SELECT `+countColumns+` FROM counts WHERE grading = $1 ORDER BY log`, grading)
}

// Count returns what a device has said last, and whether it has said anything.
func (t *Tx) Count(grading rankwright.GradingID, log rankwright.DeviceID) (Count, bool, error) {
	return maybe(t, readCount, `SELECT `+countColumns+` FROM counts WHERE grading = $1 AND log = $2`, grading, log)
}

// PutCount writes what a device says. Its numbers never go back, and where
// they began stays as it was first.
func (t *Tx) PutCount(c Count) error {
	_, err := t.exec(`INSERT INTO counts (`+countColumns+`) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)
		ON CONFLICT (grading, log) DO UPDATE SET paired = excluded.paired, person = excluded.person,
			since = CASE WHEN counts.since >= 0 THEN counts.since ELSE excluded.since END,
			seq = CASE WHEN counts.seq > excluded.seq THEN counts.seq ELSE excluded.seq END, unsent = excluded.unsent, seen = excluded.seen`,
		c.Grading, c.Log, c.Paired, c.Person, c.Since, c.Seq, c.Unsent, c.Seen)
	return err
}

// Reaches returns the first and the last number of each device at a grading,
// of marks that were kept and of marks that were refused, in order of their
// names.
func (t *Tx) Reaches(grading rankwright.GradingID) ([]Reach, error) {
	return list(t, func(r row) (x Reach, err error) {
		err = r.Scan(&x.Log, &x.First, &x.Last)
		return x, err
	}, `SELECT device, MIN(seq), MAX(seq) FROM (
			SELECT device, seq FROM marks WHERE grading = $1
			UNION ALL SELECT device, seq FROM refusals WHERE grading = $1 AND device <> '' AND seq > 0) AS came
		GROUP BY device ORDER BY device`, grading)
}

// Came returns the numbers of a device after one and up to another that came,
// at whatever grading, kept or refused, each once and in order.
func (t *Tx) Came(log rankwright.DeviceID, after, last int64) ([]int64, error) {
	return list(t, scalar[int64], `SELECT seq FROM marks WHERE device = $1 AND seq > $2 AND seq <= $3
		UNION SELECT seq FROM refusals WHERE device = $1 AND seq > $2 AND seq <= $3 ORDER BY seq`, log, after, last)
}

// CountedElsewhere is the highest number of a device that is known of other
// gradings, as it came or as the device said; 0 where there is none.
func (t *Tx) CountedElsewhere(log rankwright.DeviceID, grading rankwright.GradingID) (int64, error) {
	n, _, err := maybe(t, scalar[int64], `SELECT COALESCE(MAX(n), 0) FROM (
		SELECT MAX(seq) AS n FROM marks WHERE device = $1 AND grading <> $2
		UNION ALL SELECT MAX(seq) FROM refusals WHERE device = $1 AND grading <> $2
		UNION ALL SELECT MAX(seq) FROM counts WHERE log = $1 AND grading <> $2) AS elsewhere`, log, grading)
	return n, err
}

// Elsewhere returns the numbers that a device told a grading to be of others,
// in order.
func (t *Tx) Elsewhere(grading rankwright.GradingID, log rankwright.DeviceID) ([]scoring.Span, error) {
	return list(t, func(r row) (s scoring.Span, err error) {
		err = r.Scan(&s.From, &s.To)
		return s, err
	}, `SELECT first, last FROM elsewhere WHERE grading = $1 AND log = $2 ORDER BY first`, grading, log)
}

// mostElsewhere keeps a device that has gone astray from filling the disk.
const mostElsewhere = 1000

// AddElsewhere keeps that numbers of a device are of other gradings than this
// one. What was told before is not kept again; of one device at most a thousand
// spans are kept.
func (t *Tx) AddElsewhere(grading rankwright.GradingID, log rankwright.DeviceID, spans []scoring.Span) error {
	if len(spans) == 0 {
		return nil
	}
	known, err := t.Elsewhere(grading, log)
	if err != nil {
		return err
	}
	for _, s := range spans {
		for _, s := range scoring.Without([]scoring.Span{s}, known) {
			if len(known) >= mostElsewhere {
				return nil
			}
			if _, err := t.exec(`INSERT INTO elsewhere (grading, log, first, last) VALUES ($1, $2, $3, $4)`, grading, log, s.From, s.To); err != nil {
				return err
			}
			known = append(known, s)
		}
	}
	return nil
}

// MarkedLast is who gave the latest mark of a device at a grading, and when by
// the server's clock; "" where there is none.
func (t *Tx) MarkedLast(grading rankwright.GradingID, log rankwright.DeviceID) (person string, at Moment, err error) {
	type last struct {
		person string
		at     Moment
	}
	l, _, err := maybe(t, func(r row) (x last, err error) {
		err = r.Scan(&x.person, &x.at)
		return x, err
	}, `SELECT examiner, received FROM marks WHERE grading = $1 AND device = $2 ORDER BY seq DESC LIMIT 1`, grading, log)
	return l.person, l.at, err
}

const refusalColumns = `number, grading, id, device, seq, entry, requirement, examiner, try, sort, amount, at, why, sender, received, settled, settled_by`

func readRefusal(r row) (x Refusal, err error) {
	m := &x.Mark
	err = r.Scan(&x.No, &x.Grading, &m.ID, &m.Device, &m.Seq, &m.Entry, &m.Requirement, &m.Examiner, &m.Try, &m.Value.Sort, &m.Value.Num, &m.At,
		&x.Why, &x.Sender, &x.Received, &x.Settled, &x.SettledBy)
	return x, err
}

// digest is one for all times that the same mark is refused.
func (r *Refusal) digest() string {
	m := &r.Mark
	return link(string(r.Grading), string(m.ID), string(m.Device), m.Seq, string(m.Entry), string(m.Requirement), string(m.Examiner), m.Try, int64(m.Value.Sort), int64(m.Value.Num), m.At)
}

// mostRefusals keeps a device that has gone astray from filling the disk.
const mostRefusals = 5000

// AddRefusals keeps marks that were refused. One that was refused before keeps
// its place, takes the new reason, and is open again. What is no text is left
// out of it; a grading keeps at most five thousand.
func (t *Tx) AddRefusals(list []Refusal) error {
	if len(list) == 0 {
		return nil
	}
	last, _, err := maybe(t, scalar[int64], `SELECT COALESCE(MAX(number), 0) FROM refusals`)
	if err != nil {
		return err
	}
	there, _, err := maybe(t, scalar[int64], `SELECT COUNT(*) FROM refusals WHERE grading = $1`, list[0].Grading)
	if err != nil {
		return err
	}
	for _, r := range list {
		m := &r.Mark
		for _, s := range []*string{(*string)(&m.ID), (*string)(&m.Device), (*string)(&m.Entry), (*string)(&m.Requirement), (*string)(&m.Examiner), &r.Why} {
			if !storable(*s) {
				*s = ""
			}
		}
		if r.Why == "" {
			r.Why = "the mark has characters that are no text"
		}
		m.Seq = max(0, m.Seq)
		n, err := t.exec(`UPDATE refusals SET why = $2, received = $3, sender = $4, settled = 0, settled_by = '' WHERE digest = $1`, r.digest(), r.Why, r.Received, r.Sender)
		if err != nil {
			return err
		}
		if n > 0 || there >= mostRefusals {
			continue
		}
		last++
		there++
		if _, err := t.exec(`INSERT INTO refusals (`+refusalColumns+`, digest) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, 0, '', $16)`,
			last, r.Grading, m.ID, m.Device, m.Seq, m.Entry, m.Requirement, m.Examiner, m.Try, m.Value.Sort, m.Value.Num, m.At, r.Why, r.Sender, r.Received, r.digest()); err != nil {
			return err
		}
	}
	return nil
}

// Refusals returns the marks of a grading that were refused, nobody has seen
// to, and have not come in since as they were, in the order in which they came.
func (t *Tx) Refusals(grading rankwright.GradingID) ([]Refusal, error) {
	all, err := list(t, readRefusal, `SELECT `+refusalColumns+` FROM refusals WHERE grading = $1 AND settled = 0 ORDER BY number`, grading)
	if err != nil {
		return nil, err
	}
	var failed error
	all = slices.DeleteFunc(all, func(r Refusal) bool {
		kept, ok, err := maybe(t, readMark, `SELECT `+markColumns+` FROM marks WHERE id = $1`, r.Mark.ID)
		if err != nil && failed == nil {
			failed = err
		}
		kept.Clock, kept.Note = 0, ""
		if r.Mark.Examiner == "" { // the server fills in who was signed in
			kept.Examiner = ""
		}
		return ok && kept.Mark == r.Mark
	})
	return all, failed
}

// SettleRefusal keeps who has seen to a refused mark.
func (t *Tx) SettleRefusal(grading rankwright.GradingID, number int64, by string, at Moment) error {
	n, err := t.exec(`UPDATE refusals SET settled = $3, settled_by = $4 WHERE grading = $1 AND number = $2 AND settled = 0`, grading, number, at, by)
	if err == nil && n == 0 {
		err = rankwright.Faultf(rankwright.NotFound, "not_found", "load the page again", "there is no refused mark of that number that waits")
	}
	return err
}

// AddAcceptance keeps for ever what was accepted as missing, and why.
func (t *Tx) AddAcceptance(a Acceptance) error {
	last, _, err := maybe(t, scalar[int64], `SELECT COALESCE(MAX(number), 0) FROM acceptances`)
	if err != nil {
		return err
	}
	_, err = t.exec(`INSERT INTO acceptances (number, grading, missing, reason, said_by, at) VALUES ($1, $2, $3, $4, $5, $6)`, last+1, a.Grading, a.Missing, a.Reason, a.By, a.At)
	return err
}

// Acceptances returns what was accepted as missing at a grading, the latest
// last.
func (t *Tx) Acceptances(grading rankwright.GradingID) ([]Acceptance, error) {
	return list(t, func(r row) (a Acceptance, err error) {
		err = r.Scan(&a.No, &a.Grading, &a.Missing, &a.Reason, &a.By, &a.At)
		return a, err
	}, `SELECT number, grading, missing, reason, said_by, at FROM acceptances WHERE grading = $1 ORDER BY number`, grading)
}
