package store

import "rankwright"

// Message is a message to a family, to one address or to be handed over.
type Message struct {
	ID        string
	Grading   rankwright.GradingID
	Household rankwright.HouseholdID // "" once nobody of it is on the roster any more
	Batch     string                 // those that were prepared together
	Kind      string
	About     string // what was told, so that it is told once
	Lang      string
	Channel   string // mail, paper, paste
	State     string
	Tries     int
	Next      Moment // not to be tried before
	Answer    string // the mail server's last words
	Link      string // the id of the link that was made for it last
	Created   Moment
	By        string
	Agreed    Moment // when a person said yes
	AgreedBy  string
	Began     Moment // of the last try
	Ended     Moment // when it came to rest
	// The words are gone once a child of the household was erased.
	Address, Subject, Body string
}

// AddressFlag is what is known of an address.
type AddressFlag struct {
	Address string // its hash
	Flag    string // reminder, word, bounced
	At      Moment
}

// ByHand says that a household wants no e-mail.
type ByHand struct {
	Household rankwright.HouseholdID
	By        string
	At        Moment
}

const messageQuery = `SELECT o.id, o.grading, o.household, o.batch, o.kind, o.about, o.lang, o.channel, o.state, o.tries, o.next_try, o.answer, o.link,
	o.created, o.said_by, o.agreed, o.agreed_by, o.began, o.ended, COALESCE(w.address, ''), COALESCE(w.subject, ''), COALESCE(w.body, '')
	FROM outbox o LEFT JOIN outbox_words w ON w.id = o.id `

func readMessage(r row) (m Message, err error) {
	err = r.Scan(&m.ID, &m.Grading, &m.Household, &m.Batch, &m.Kind, &m.About, &m.Lang, &m.Channel, &m.State, &m.Tries, &m.Next, &m.Answer, &m.Link,
		&m.Created, &m.By, &m.Agreed, &m.AgreedBy, &m.Began, &m.Ended, &m.Address, &m.Subject, &m.Body)
	return m, err
}

// AddMessage keeps a new message.
func (t *Tx) AddMessage(m Message) error {
	if _, err := t.exec(`INSERT INTO outbox (id, grading, household, batch, kind, about, lang, channel, state, tries, next_try, answer, link,
		created, said_by, agreed, agreed_by, began, ended) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19)`,
		m.ID, m.Grading, m.Household, m.Batch, m.Kind, m.About, m.Lang, m.Channel, m.State, m.Tries, m.Next, m.Answer, m.Link,
		m.Created, m.By, m.Agreed, m.AgreedBy, m.Began, m.Ended); err != nil {
		return reword(err, "in_use", missing("grading", m.Grading))
	}
	_, err := t.exec(`INSERT INTO outbox_words (id, address, subject, body) VALUES ($1, $2, $3, $4)`, m.ID, m.Address, m.Subject, m.Body)
	return err
}

// Message returns a message by its id.
func (t *Tx) Message(id string) (Message, error) {
	return one(t, missing("message", id), readMessage, messageQuery+`WHERE o.id = $1`, id)
}

// Messages returns the messages of a grading in the order in which they were
// made.
func (t *Tx) Messages(grading rankwright.GradingID) ([]Message, error) {
	return list(t, readMessage, messageQuery+`WHERE o.grading = $1 ORDER BY o.created, o.id`, grading)
}

// MessagesIn returns the messages of all gradings that are in a state, those
// that may be tried first before the others.
func (t *Tx) MessagesIn(state string) ([]Message, error) {
	return list(t, readMessage, messageQuery+`WHERE o.state = $1 ORDER BY o.next_try, o.created, o.id`, state)
}

// NextMessage returns the message in a state that may be tried first, and
// whether there is one.
func (t *Tx) NextMessage(state string) (Message, bool, error) {
	return maybe(t, readMessage, messageQuery+`WHERE o.state = $1 ORDER BY o.next_try, o.created, o.id LIMIT 1`, state)
}

// MoveMessage writes how far a message is, where it was in a state; its words
// stay. It says whether it was.
func (t *Tx) MoveMessage(m Message, from string) (bool, error) {
	n, err := t.exec(`UPDATE outbox SET channel = $2, state = $3, tries = $4, next_try = $5, answer = $6, link = $7, agreed = $8, agreed_by = $9, began = $10, ended = $11
		WHERE id = $1 AND state = $12`, m.ID, m.Channel, m.State, m.Tries, m.Next, m.Answer, m.Link, m.Agreed, m.AgreedBy, m.Began, m.Ended, from)
	return n == 1, err
}

// RemoveMessages removes the messages of a grading that are in a state, as if
// they had not been written, and returns how many there were.
func (t *Tx) RemoveMessages(grading rankwright.GradingID, state string) (int64, error) {
	return t.exec(`DELETE FROM outbox WHERE grading = $1 AND state = $2`, grading, state)
}

// AddMessageStop keeps by which secret messages like this one can be ended.
func (t *Tx) AddMessageStop(hash, message string) error {
	_, err := t.exec(`INSERT INTO outbox_stops (hash, message) VALUES ($1, $2)`, hash, message)
	return reword(err, "in_use", missing("message", message))
}

// MessageByStop returns the message whose readers have a secret, by its hash.
func (t *Tx) MessageByStop(hash string) (Message, error) {
	return one(t, noToken(), readMessage, messageQuery+`JOIN outbox_stops s ON s.message = o.id WHERE s.hash = $1`, hash)
}

func readAddressFlag(r row) (f AddressFlag, err error) {
	err = r.Scan(&f.Address, &f.Flag, &f.At)
	return f, err
}

// AddressFlags returns what is known of addresses, in order of hash and flag.
func (t *Tx) AddressFlags() ([]AddressFlag, error) {
	return list(t, readAddressFlag, `SELECT address, flag, at FROM address_flags ORDER BY address, flag`)
}

// FlagAddress keeps something of an address, or forgets it. Said twice is said
// since the first time.
func (t *Tx) FlagAddress(f AddressFlag, on bool) error {
	if !on {
		_, err := t.exec(`DELETE FROM address_flags WHERE address = $1 AND flag = $2`, f.Address, f.Flag)
		return err
	}
	_, err := t.exec(`INSERT INTO address_flags (address, flag, at) VALUES ($1, $2, $3) ON CONFLICT (address, flag) DO NOTHING`, f.Address, f.Flag, f.At)
	return err
}

func readByHand(r row) (h ByHand, err error) {
	err = r.Scan(&h.Household, &h.By, &h.At)
	return h, err
}

// HouseholdsByHand returns the households that want no e-mail, in their order.
func (t *Tx) HouseholdsByHand() ([]ByHand, error) {
	return list(t, readByHand, `SELECT household, said_by, at FROM households_by_hand ORDER BY household`)
}

// PutByHand keeps that a household wants no e-mail, or does again.
func (t *Tx) PutByHand(h ByHand, on bool) error {
	if !on {
		_, err := t.exec(`DELETE FROM households_by_hand WHERE household = $1`, h.Household)
		return err
	}
	_, err := t.exec(`INSERT INTO households_by_hand (household, said_by, at) VALUES ($1, $2, $3) ON CONFLICT (household) DO NOTHING`, h.Household, h.By, h.At)
	return err
}

// forgetMessages removes addresses and words of what was written to the
// household of a student, and the servers' words, which may hold the address.
// What had not gone yet never goes. It is called while the student's row still
// says which household it is.
func (t *Tx) forgetMessages(id rankwright.StudentID) error {
	const theirs = `household IN (SELECT household FROM students WHERE id = $1 AND household <> '' UNION SELECT 'student:' || id FROM students WHERE id = $1)`
	if _, err := t.exec(`DELETE FROM outbox_words WHERE id IN (SELECT id FROM outbox WHERE `+theirs+`)`, id); err != nil {
		return err
	}
	_, err := t.exec(`UPDATE outbox SET answer = '', state = CASE WHEN state IN ('draft', 'waits', 'hand') THEN 'dropped' ELSE state END WHERE `+theirs, id)
	return err
}
