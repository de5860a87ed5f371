package store

// Wording is what the school wrote for a kind of letter or message in a
// language. Without a body the usual words hold again.
type Wording struct {
	Number  int64
	Kind    string
	Lang    string
	Subject string
	Body    string
	By      string
	At      Moment
}

const wordingColumns = `number, kind, lang, subject, body, said_by, at`

func readWording(r row) (w Wording, err error) {
	err = r.Scan(&w.Number, &w.Kind, &w.Lang, &w.Subject, &w.Body, &w.By, &w.At)
	return w, err
}

// Wordings returns the latest of each kind and language, in the order in which
// they were written. Those without a body are among them.
func (t *Tx) Wordings() ([]Wording, error) {
	return list(t, readWording, `SELECT `+wordingColumns+` FROM wordings w
		WHERE number = (SELECT MAX(number) FROM wordings o WHERE o.kind = w.kind AND o.lang = w.lang) ORDER BY number`)
}

// AddWording keeps a wording under the next number and returns it.
func (t *Tx) AddWording(w Wording) (Wording, error) {
	n, _, err := maybe(t, scalar[int64], `SELECT COALESCE(MAX(number), 0) + 1 FROM wordings`)
	if err != nil {
		return w, err
	}
	w.Number = n
	_, err = t.exec(`INSERT INTO wordings (`+wordingColumns+`) VALUES ($1, $2, $3, $4, $5, $6, $7)`, w.Number, w.Kind, w.Lang, w.Subject, w.Body, w.By, w.At)
	return w, err
}
