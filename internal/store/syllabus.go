package store

import (
	"crypto/sha256"
	"encoding/hex"

	"rankwright"
)

const versionColumns = `id, ladder, number, name, body, hash, published, author, saved`

func readVersion(r row) (v Version, err error) {
	err = r.Scan(&v.ID, &v.Ladder, &v.Number, &v.Name, &v.Text, &v.Hash, &v.Published, &v.By, &v.Saved)
	return v, err
}

// HashText is the hash of a syllabus text: SHA-256 of its bytes, in hex.
func HashText(text string) string {
	sum := sha256.Sum256([]byte(text))
	return hex.EncodeToString(sum[:])
}

// PutDraft saves the draft of a ladder, which has one at most: a draft of
// another id is replaced. Number, Hash and Published are the store's.
func (t *Tx) PutDraft(v Version) error {
	v.Number, v.Hash, v.Published = 0, HashText(v.Text), 0
	if _, err := t.exec(`DELETE FROM versions WHERE ladder = $1 AND number = 0 AND id <> $2`, v.Ladder, v.ID); err != nil {
		return err
	}
	return t.saveVersion(v)
}

// Draft returns the draft of a ladder.
func (t *Tx) Draft(ladder rankwright.LadderID) (Version, error) {
	return one(t, missing("draft of the ladder", ladder), readVersion,
		`SELECT `+versionColumns+` FROM versions WHERE ladder = $1 AND number = 0`, ladder)
}

// Publish freezes a text for ever under the ladder's next number and returns
// it with Number and Hash. The draft of the same id becomes this version. A
// text that the ladder published before is refused.
func (t *Tx) Publish(v Version) (Version, error) {
	last, _, err := maybe(t, scalar[int], `SELECT COALESCE(MAX(number), 0) FROM versions WHERE ladder = $1`, v.Ladder)
	if err != nil {
		return Version{}, err
	}
	v.Number, v.Hash = last+1, HashText(v.Text)
	same, found, err := maybe(t, readVersion, `SELECT `+versionColumns+` FROM versions WHERE ladder = $1 AND hash = $2 AND number > 0`, v.Ladder, v.Hash)
	switch {
	case err != nil:
		return Version{}, err
	case found:
		return Version{}, rankwright.Faultf(rankwright.Conflict, "same_text", "use that version, or change the text first",
			"this text was published before, as version %d of the ladder %q", same.Number, string(v.Ladder))
	case v.Published == 0:
		return Version{}, rankwright.Faultf(rankwright.Invalid, "no_moment", "", "a version is published at a moment, and none is given")
	}
	return v, t.saveVersion(v)
}

func (t *Tx) saveVersion(v Version) error {
	n, err := t.exec(`INSERT INTO versions (`+versionColumns+`) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)
		ON CONFLICT (id) DO UPDATE SET number = excluded.number, name = excluded.name, body = excluded.body,
			hash = excluded.hash, published = excluded.published, author = excluded.author, saved = excluded.saved
		WHERE versions.number = 0 AND versions.ladder = excluded.ladder`,
		v.ID, v.Ladder, v.Number, v.Name, v.Text, v.Hash, v.Published, v.By, v.Saved)
	if err == nil && n == 0 {
		return rankwright.Faultf(rankwright.Conflict, "published", "make a new draft", "this version is published and can no longer be changed")
	}
	return err
}

// Version returns a version, published or draft.
func (t *Tx) Version(id string) (Version, error) {
	return one(t, missing("syllabus version", id), readVersion, `SELECT `+versionColumns+` FROM versions WHERE id = $1`, id)
}

// Versions returns the published versions of a ladder, or of all where ladder
// is "", in order of ladder and number.
func (t *Tx) Versions(ladder rankwright.LadderID) ([]Version, error) {
	return list(t, readVersion, `SELECT `+versionColumns+` FROM versions
		WHERE number > 0 AND (ladder = $1 OR $1 = '') ORDER BY ladder, number`, ladder)
}

// Drafts returns the drafts of all ladders in order of ladder.
func (t *Tx) Drafts() ([]Version, error) {
	return list(t, readVersion, `SELECT `+versionColumns+` FROM versions WHERE number = 0 ORDER BY ladder`)
}
