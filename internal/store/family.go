package store

import "rankwright"

// FamilyLink is the personal link of one household at one grading. Of the link
// itself only the hash is kept.
type FamilyLink struct {
	ID          string
	Grading     rankwright.GradingID
	Household   rankwright.HouseholdID
	Hash        string
	Until       rankwright.Day // the last day, none where it ends by the rule
	Created     Moment
	By          string
	Withdrawn   Moment // none where it was not withdrawn
	WithdrawnBy string
	Used        rankwright.Day // last used, none where it never was
}

// Sheet is what families may sign for one clearance of a ladder. Without words
// it is not put before them.
type Sheet struct {
	Number    int64
	Ladder    rankwright.LadderID
	Clearance rankwright.ClearanceID
	Body      string
	By        string
	At        Moment
}

// Signature is what a family said to a sheet for one child.
type Signature struct {
	Number    int64
	Grading   rankwright.GradingID
	Student   rankwright.StudentID
	Entry     rankwright.EntryID
	Clearance rankwright.ClearanceID
	Sheet     int64
	Said      string // signed, withdrawn, talk
	// Hash is over the typed name and the words; both go when the child is
	// erased, and the hash stays.
	Hash string
	Link string
	At   Moment
	Name string // as it was typed
	Body string // what was signed, word for word
}

// FamilyMessage is a question of a family to the school, or an answer.
type FamilyMessage struct {
	Number    int64
	Grading   rankwright.GradingID
	Household rankwright.HouseholdID
	Sender    string // family, school
	Body      string
	By        string
	At        Moment
}

// FamilyNote is what a family wrote beside its wishes for times.
type FamilyNote struct {
	Grading   rankwright.GradingID
	Household rankwright.HouseholdID
	Body      string
	At        Moment
}

// ResultShown says that a family may see the result of an entry.
type ResultShown struct {
	Entry rankwright.EntryID
	By    string
	At    Moment
}

// MoveAsk says that a household was asked on its page about one change of the
// time that it was told.
type MoveAsk struct {
	Grading   rankwright.GradingID
	Household rankwright.HouseholdID
	Change    string // as in MoveAnswer
	By        string
	At        Moment
}

const familyLinkColumns = `id, grading, household, hash, until, created, said_by, withdrawn, withdrawn_by, used`

func readFamilyLink(r row) (l FamilyLink, err error) {
	err = r.Scan(&l.ID, &l.Grading, &l.Household, &l.Hash, dayColumn{&l.Until}, &l.Created, &l.By, &l.Withdrawn, &l.WithdrawnBy, dayColumn{&l.Used})
	return l, err
}

// AddFamilyLink keeps a new link.
func (t *Tx) AddFamilyLink(l FamilyLink) error {
	_, err := t.exec(`INSERT INTO family_links (`+familyLinkColumns+`) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)`,
		l.ID, l.Grading, l.Household, l.Hash, l.Until, l.Created, l.By, l.Withdrawn, l.WithdrawnBy, l.Used)
	return reword(err, "in_use", missing("grading", l.Grading))
}

// FamilyLinks returns the links of a grading, withdrawn ones too, in the order
// in which they were made.
func (t *Tx) FamilyLinks(grading rankwright.GradingID) ([]FamilyLink, error) {
	return list(t, readFamilyLink, `SELECT `+familyLinkColumns+` FROM family_links WHERE grading = $1 ORDER BY created, id`, grading)
}

// FamilyLink returns a link by its id.
func (t *Tx) FamilyLink(id string) (FamilyLink, error) {
	return one(t, missing("link", id), readFamilyLink, `SELECT `+familyLinkColumns+` FROM family_links WHERE id = $1`, id)
}

// FamilyLinkByHash returns a link by the hash of what stands in it.
func (t *Tx) FamilyLinkByHash(hash string) (FamilyLink, error) {
	return one(t, noToken(), readFamilyLink, `SELECT `+familyLinkColumns+` FROM family_links WHERE hash = $1`, hash)
}

// WithdrawFamilyLink ends a link; one that was withdrawn before stays as it is.
func (t *Tx) WithdrawFamilyLink(id string, at Moment, by string) error {
	_, err := t.exec(`UPDATE family_links SET withdrawn = $2, withdrawn_by = $3 WHERE id = $1 AND withdrawn = 0`, id, at, by)
	return err
}

// UsedFamilyLink writes the day on which a link was used.
func (t *Tx) UsedFamilyLink(id string, on rankwright.Day) error {
	_, err := t.exec(`UPDATE family_links SET used = $2 WHERE id = $1`, id, on)
	return err
}

func readSheet(r row) (s Sheet, err error) {
	err = r.Scan(&s.Number, &s.Ladder, &s.Clearance, &s.Body, &s.By, &s.At)
	return s, err
}

// Sheets returns every sheet of a ladder in the order in which they were
// written: of one clearance the last counts.
func (t *Tx) Sheets(ladder rankwright.LadderID) ([]Sheet, error) {
	return list(t, readSheet, `SELECT number, ladder, clearance, body, said_by, at FROM sheets WHERE ladder = $1 ORDER BY number`, ladder)
}

// AddSheet keeps a new sheet under the next number and returns it.
func (t *Tx) AddSheet(s Sheet) (Sheet, error) {
	n, _, err := maybe(t, scalar[int64], `SELECT COALESCE(MAX(number), 0) + 1 FROM sheets`)
	if err != nil {
		return s, err
	}
	s.Number = n
	_, err = t.exec(`INSERT INTO sheets (number, ladder, clearance, body, said_by, at) VALUES ($1, $2, $3, $4, $5, $6)`,
		s.Number, s.Ladder, s.Clearance, s.Body, s.By, s.At)
	return s, err
}

const signatureQuery = `SELECT s.number, s.grading, s.student, s.entry, s.clearance, s.sheet, s.said, s.hash, s.link, s.at,
	COALESCE(w.name, ''), COALESCE(w.body, '') FROM signatures s LEFT JOIN signature_words w ON w.number = s.number `

func readSignature(r row) (s Signature, err error) {
	err = r.Scan(&s.Number, &s.Grading, &s.Student, &s.Entry, &s.Clearance, &s.Sheet, &s.Said, &s.Hash, &s.Link, &s.At, &s.Name, &s.Body)
	return s, err
}

// Signatures returns what families said to the sheets of a grading, in the
// order in which they said it: of one clearance of one entry the last counts.
func (t *Tx) Signatures(grading rankwright.GradingID) ([]Signature, error) {
	return list(t, readSignature, signatureQuery+`WHERE s.grading = $1 ORDER BY s.number`, grading)
}

// SignaturesOf returns what was said for one student at all gradings.
func (t *Tx) SignaturesOf(student rankwright.StudentID) ([]Signature, error) {
	return list(t, readSignature, signatureQuery+`WHERE s.student = $1 ORDER BY s.number`, student)
}

// AddSignature keeps what a family said under the next number and returns it.
func (t *Tx) AddSignature(s Signature) (Signature, error) {
	n, _, err := maybe(t, scalar[int64], `SELECT COALESCE(MAX(number), 0) + 1 FROM signatures`)
	if err != nil {
		return s, err
	}
	s.Number = n
	if _, err = t.exec(`INSERT INTO signatures (number, grading, student, entry, clearance, sheet, said, hash, link, at)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)`, s.Number, s.Grading, s.Student, s.Entry, s.Clearance, s.Sheet, s.Said, s.Hash, s.Link, s.At); err != nil {
		return s, reword(err, "in_use", missing("student", s.Student))
	}
	_, err = t.exec(`INSERT INTO signature_words (number, name, body) VALUES ($1, $2, $3)`, s.Number, s.Name, s.Body)
	return s, err
}

func readFamilyMessage(r row) (m FamilyMessage, err error) {
	err = r.Scan(&m.Number, &m.Grading, &m.Household, &m.Sender, &m.Body, &m.By, &m.At)
	return m, err
}

// FamilyMessages returns the questions and answers of a grading in their order.
func (t *Tx) FamilyMessages(grading rankwright.GradingID) ([]FamilyMessage, error) {
	return list(t, readFamilyMessage, `SELECT number, grading, household, sender, body, said_by, at FROM family_messages
		WHERE grading = $1 ORDER BY number`, grading)
}

// AddFamilyMessage keeps a question or an answer.
func (t *Tx) AddFamilyMessage(m FamilyMessage) error {
	_, err := t.exec(`INSERT INTO family_messages (number, grading, household, sender, body, said_by, at)
		VALUES ((SELECT COALESCE(MAX(number), 0) + 1 FROM family_messages), $1, $2, $3, $4, $5, $6)`,
		m.Grading, m.Household, m.Sender, m.Body, m.By, m.At)
	return reword(err, "in_use", missing("grading", m.Grading))
}

func readFamilyNote(r row) (n FamilyNote, err error) {
	err = r.Scan(&n.Grading, &n.Household, &n.Body, &n.At)
	return n, err
}

// FamilyNotes returns what families wrote beside their wishes at a grading.
func (t *Tx) FamilyNotes(grading rankwright.GradingID) ([]FamilyNote, error) {
	return list(t, readFamilyNote, `SELECT grading, household, body, at FROM family_notes WHERE grading = $1 ORDER BY household`, grading)
}

// PutFamilyNote writes what a family wrote; an empty note is taken away.
func (t *Tx) PutFamilyNote(n FamilyNote) error {
	if n.Body == "" {
		_, err := t.exec(`DELETE FROM family_notes WHERE grading = $1 AND household = $2`, n.Grading, n.Household)
		return err
	}
	_, err := t.exec(`INSERT INTO family_notes (grading, household, body, at) VALUES ($1, $2, $3, $4)
		ON CONFLICT (grading, household) DO UPDATE SET body = excluded.body, at = excluded.at`, n.Grading, n.Household, n.Body, n.At)
	return reword(err, "in_use", missing("grading", n.Grading))
}

func readResultShown(r row) (s ResultShown, err error) {
	err = r.Scan(&s.Entry, &s.By, &s.At)
	return s, err
}

// ResultsShown returns the entries of a grading whose families may see the
// result, in order of entry.
func (t *Tx) ResultsShown(grading rankwright.GradingID) ([]ResultShown, error) {
	return list(t, readResultShown, `SELECT r.entry, r.said_by, r.at FROM results_shown r JOIN entries e ON e.id = r.entry
		WHERE e.grading = $1 ORDER BY r.entry`, grading)
}

// ShowResult lets the family see the result of an entry, or no longer.
func (t *Tx) ShowResult(s ResultShown, on bool) error {
	if !on {
		_, err := t.exec(`DELETE FROM results_shown WHERE entry = $1`, s.Entry)
		return err
	}
	_, err := t.exec(`INSERT INTO results_shown (entry, said_by, at) VALUES ($1, $2, $3) ON CONFLICT (entry) DO NOTHING`, s.Entry, s.By, s.At)
	return reword(err, "in_use", missing("entry", s.Entry))
}

func readMoveAsk(r row) (m MoveAsk, err error) {
	err = r.Scan(&m.Grading, &m.Household, &m.Change, &m.By, &m.At)
	return m, err
}

// MoveAsks returns about which changes of a grading families were asked, in
// order of household and change.
func (t *Tx) MoveAsks(grading rankwright.GradingID) ([]MoveAsk, error) {
	return list(t, readMoveAsk, `SELECT grading, household, change, said_by, at FROM move_asks WHERE grading = $1 ORDER BY household, change`, grading)
}

// PutMoveAsk keeps that a household was asked; asked twice is asked once.
func (t *Tx) PutMoveAsk(m MoveAsk) error {
	_, err := t.exec(`INSERT INTO move_asks (grading, household, change, said_by, at) VALUES ($1, $2, $3, $4, $5)
		ON CONFLICT (grading, household, change) DO NOTHING`, m.Grading, m.Household, m.Change, m.By, m.At)
	return reword(err, "in_use", missing("grading", m.Grading))
}

// forgetSigned removes names and words of what was signed for a student. That
// something was signed stays, with the hash.
func (t *Tx) forgetSigned(id rankwright.StudentID) error {
	_, err := t.exec(`DELETE FROM signature_words WHERE number IN (SELECT number FROM signatures WHERE student = $1)`, id)
	return err
}
