package store

import (
	"strings"

	"golang.org/x/text/cases"
	"golang.org/x/text/unicode/norm"

	"rankwright"
)

// Setting returns a setting and whether it was ever set.
func (t *Tx) Setting(key string) (string, bool, error) {
	return maybe(t, scalar[string], `SELECT value FROM settings WHERE key = $1`, key)
}

// SetSetting sets a setting.
func (t *Tx) SetSetting(key, value string) error {
	_, err := t.exec(`INSERT INTO settings (key, value) VALUES ($1, $2)
		ON CONFLICT (key) DO UPDATE SET value = excluded.value`, key, value)
	return err
}

const personColumns = `id, name, role, password_hash, highest_rank, active, created`

func readPerson(r row) (p Person, err error) {
	err = r.Scan(&p.ID, &p.Name, &p.Role, &p.PasswordHash, &p.HighestRank, &p.Active, &p.Created)
	return p, err
}

// Person returns somebody by id.
func (t *Tx) Person(id string) (Person, error) {
	return one(t, missing("person", id), readPerson, `SELECT `+personColumns+` FROM people WHERE id = $1`, id)
}

// PersonByName returns the active person of a name, whatever the case of its
// letters and the spaces about it.
func (t *Tx) PersonByName(name string) (Person, error) {
	return one(t, missing("person", name), readPerson,
		`SELECT `+personColumns+` FROM people WHERE name_folded = $1 AND active = 1`, foldName(name))
}

// People returns everybody, also the ones no longer active, in order of id.
func (t *Tx) People() ([]Person, error) {
	return list(t, readPerson, `SELECT `+personColumns+` FROM people ORDER BY id`)
}

// PutPerson writes a person, new or changed. The name must not be that of
// another active person.
func (t *Tx) PutPerson(p Person) error {
	_, err := t.exec(`INSERT INTO people (`+personColumns+`, name_folded) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)
		ON CONFLICT (id) DO UPDATE SET name = excluded.name, role = excluded.role, password_hash = excluded.password_hash,
			highest_rank = excluded.highest_rank, active = excluded.active, name_folded = excluded.name_folded`,
		p.ID, p.Name, p.Role, p.PasswordHash, p.HighestRank, p.Active, p.Created, foldName(p.Name))
	return reword(err, "taken", rankwright.Faultf(rankwright.Conflict, "name_taken", "add a letter or a second name",
		"somebody with the name %q signs in here already", p.Name))
}

// foldName is the form in which names of people are compared: Unicode's full
// case folding, composed, with single spaces.
func foldName(name string) string {
	return norm.NFKC.String(cases.Fold().String(norm.NFKC.String(strings.Join(strings.Fields(name), " "))))
}

const tokenColumns = `hash, purpose, person, created, expires, used`

func readToken(r row) (k Token, err error) {
	err = r.Scan(&k.Hash, &k.Purpose, &k.Person, &k.Created, &k.Expires, &k.Used)
	return k, err
}

// AddToken keeps a new one-time link.
func (t *Tx) AddToken(k Token) error {
	_, err := t.exec(`INSERT INTO tokens (`+tokenColumns+`) VALUES ($1, $2, $3, $4, $5, $6)`,
		k.Hash, k.Purpose, k.Person, k.Created, k.Expires, k.Used)
	return err
}

// Token returns a one-time link by its hash, used or not.
func (t *Tx) Token(hash string) (Token, error) {
	return one(t, noToken(), readToken, `SELECT `+tokenColumns+` FROM tokens WHERE hash = $1`, hash)
}

// UseToken uses up a one-time link at a moment. It refuses one that was used
// before or has expired by then.
func (t *Tx) UseToken(hash string, at Moment) (Token, error) {
	n, err := t.exec(`UPDATE tokens SET used = $2 WHERE hash = $1 AND used = 0 AND expires > $2`, hash, at)
	if err != nil {
		return Token{}, err
	}
	k, err := t.Token(hash)
	if err != nil || n == 1 {
		return k, err
	}
	if k.Used != 0 {
		return k, rankwright.Faultf(rankwright.Conflict, "token_used", "ask for a new one", "this link was used before")
	}
	return k, rankwright.Faultf(rankwright.Conflict, "token_expired", "ask for a new one", "this link is too old")
}

// DeleteExpiredTokens removes the links that expired before a moment and
// returns how many there were.
func (t *Tx) DeleteExpiredTokens(before Moment) (int64, error) {
	return t.exec(`DELETE FROM tokens WHERE expires < $1`, before)
}

func noToken() *rankwright.Fault {
	return rankwright.Faultf(rankwright.NotFound, "not_found", "ask for a new one", "this link is not known here")
}

// EndTokens ends every link of a purpose that was not used yet.
func (t *Tx) EndTokens(purpose string) error {
	_, err := t.exec(`DELETE FROM tokens WHERE purpose = $1 AND used = 0`, purpose)
	return err
}

// EndTokensOf ends the links of one person that were not used yet.
func (t *Tx) EndTokensOf(person string) error {
	_, err := t.exec(`DELETE FROM tokens WHERE person = $1 AND used = 0`, person)
	return err
}
