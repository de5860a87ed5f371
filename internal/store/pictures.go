package store

import "rankwright"

// Picture is a picture or a short clip that the school added to a section or a
// requirement of a ladder.
type Picture struct {
	ID     string
	Ladder rankwright.LadderID
	Kind   string // section, requirement
	About  string // which of them
	File   string // its name among the kept files
	Media  string // such as image/jpeg
	Bytes  int64
	Width  int // 0 for a clip
	Height int
	Alt    string // what it shows
	// Caption stands under it; "" for none.
	Caption string
	Place   int64 // the order in which they were added
	By      string
	At      Moment
}

const pictureColumns = `id, ladder, kind, about, file, media, bytes, width, height, alt, caption, place, said_by, at`

func readPicture(r row) (p Picture, err error) {
	err = r.Scan(&p.ID, &p.Ladder, &p.Kind, &p.About, &p.File, &p.Media, &p.Bytes, &p.Width, &p.Height, &p.Alt, &p.Caption, &p.Place, &p.By, &p.At)
	return p, err
}

// Pictures returns the pictures of a ladder, or of all where ladder is "", in
// the order in which they were added.
func (t *Tx) Pictures(ladder rankwright.LadderID) ([]Picture, error) {
	return list(t, readPicture, `SELECT `+pictureColumns+` FROM pictures WHERE ladder = $1 OR $1 = '' ORDER BY place, id`, ladder)
}

// Picture returns one picture.
func (t *Tx) Picture(id string) (Picture, error) {
	return one(t, missing("picture", id), readPicture, `SELECT `+pictureColumns+` FROM pictures WHERE id = $1`, id)
}

// AddPicture keeps a picture, whose file has to be settled in the same
// transaction. The place is the store's.
func (t *Tx) AddPicture(p Picture) (Picture, error) {
	last, _, err := maybe(t, scalar[int64], `SELECT COALESCE(MAX(place), 0) FROM pictures`)
	if err != nil {
		return p, err
	}
	p.Place = last + 1
	_, err = t.exec(`INSERT INTO pictures (`+pictureColumns+`) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14)`,
		p.ID, p.Ladder, p.Kind, p.About, p.File, p.Media, p.Bytes, p.Width, p.Height, p.Alt, p.Caption, p.Place, p.By, p.At)
	return p, err
}

// WordPicture gives a picture other words.
func (t *Tx) WordPicture(id, alt, caption string) error {
	n, err := t.exec(`UPDATE pictures SET alt = $2, caption = $3 WHERE id = $1`, id, alt, caption)
	if err == nil && n == 0 {
		return missing("picture", id)
	}
	return err
}

// RemovePicture forgets a picture. Its file goes by RemoveUnused.
func (t *Tx) RemovePicture(id string) error {
	n, err := t.exec(`DELETE FROM pictures WHERE id = $1`, id)
	if err == nil && n == 0 {
		return missing("picture", id)
	}
	return err
}

// usedFiles are the names of the files to which pictures refer.
func (t *Tx) usedFiles() (map[string]bool, error) {
	names, err := list(t, scalar[string], `SELECT DISTINCT file FROM pictures`)
	out := map[string]bool{}
	for _, n := range names {
		out[n] = true
	}
	return out, err
}
