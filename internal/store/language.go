package store

import "rankwright"

// HouseholdLang is the language in which the school writes to a household.
type HouseholdLang struct {
	Household rankwright.HouseholdID
	Lang      string // a BCP 47 tag
	By        string
	At        Moment
}

func readHouseholdLang(r row) (l HouseholdLang, err error) {
	err = r.Scan(&l.Household, &l.Lang, &l.By, &l.At)
	return l, err
}

// HouseholdLangs returns what was said about languages, in order of household.
func (t *Tx) HouseholdLangs() ([]HouseholdLang, error) {
	return list(t, readHouseholdLang, `SELECT household, lang, said_by, at FROM household_languages ORDER BY household`)
}

// HouseholdLang returns the language of a household, if one was said.
func (t *Tx) HouseholdLang(h rankwright.HouseholdID) (HouseholdLang, bool, error) {
	return maybe(t, readHouseholdLang, `SELECT household, lang, said_by, at FROM household_languages WHERE household = $1`, h)
}

// PutHouseholdLang keeps the language of a household; "" is said no longer.
func (t *Tx) PutHouseholdLang(l HouseholdLang) error {
	if l.Lang == "" {
		_, err := t.exec(`DELETE FROM household_languages WHERE household = $1`, l.Household)
		return err
	}
	_, err := t.exec(`INSERT INTO household_languages (household, lang, said_by, at) VALUES ($1, $2, $3, $4)
		ON CONFLICT (household) DO UPDATE SET lang = excluded.lang, said_by = excluded.said_by, at = excluded.at`, l.Household, l.Lang, l.By, l.At)
	return err
}

// Translation is a file with the texts of a published version in another
// language, as it was kept.
type Translation struct {
	Number  int64
	Version string
	Lang    string // a BCP 47 tag
	Text    string
	Hash    string
	By      string
	At      Moment
}

func readTranslation(r row) (x Translation, err error) {
	err = r.Scan(&x.Number, &x.Version, &x.Lang, &x.Text, &x.Hash, &x.By, &x.At)
	return x, err
}

// Translations returns every file that was kept for the versions of a ladder in
// a language, or in all where lang is "", the latest first.
func (t *Tx) Translations(ladder rankwright.LadderID, lang string) ([]Translation, error) {
	return list(t, readTranslation, `SELECT x.number, x.version, x.lang, x.body, x.hash, x.said_by, x.at FROM translations x
		JOIN versions v ON v.id = x.version WHERE v.ladder = $1 AND (x.lang = $2 OR $2 = '') ORDER BY x.number DESC`, ladder, lang)
}

// AddTranslation keeps a file under the next number and returns it with Number
// and Hash.
func (t *Tx) AddTranslation(x Translation) (Translation, error) {
	n, _, err := maybe(t, scalar[int64], `SELECT COALESCE(MAX(number), 0) + 1 FROM translations`)
	if err != nil {
		return x, err
	}
	x.Number, x.Hash = n, HashText(x.Text)
	_, err = t.exec(`INSERT INTO translations (number, version, lang, body, hash, said_by, at) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
		x.Number, x.Version, x.Lang, x.Text, x.Hash, x.By, x.At)
	return x, reword(err, "in_use", missing("syllabus version", x.Version))
}
