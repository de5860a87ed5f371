package store

import (
	"crypto/sha256"
	"encoding/hex"

	"rankwright"
)

// PaperFile is what a school puts onto its papers.
type PaperFile struct {
	Kind  string // logo, signature, font
	Owner string // the person whose signature it is, or what tells one font from another; "" for the logo
	Name  string // as the file was called
	Media string // its media type
	Data  []byte
	Hash  string // SHA-256 of Data, hex
	At    Moment
}

func readPaperFile(r row) (f PaperFile, err error) {
	err = r.Scan(&f.Kind, &f.Owner, &f.Name, &f.Media, &f.Data, &f.Hash, &f.At)
	return f, err
}

// PaperFiles returns the files of a kind, or of all kinds where it is "", with
// their data.
func (t *Tx) PaperFiles(kind string) ([]PaperFile, error) {
	return list(t, readPaperFile, `SELECT kind, owner, name, media, data, hash, at FROM paper_files WHERE kind = $1 OR $1 = '' ORDER BY kind, owner`, kind)
}

// PutPaperFile keeps a file in the place of the one that was there, and
// returns it with Hash.
func (t *Tx) PutPaperFile(f PaperFile) (PaperFile, error) {
	sum := sha256.Sum256(f.Data)
	f.Hash = hex.EncodeToString(sum[:])
	_, err := t.exec(`INSERT INTO paper_files (kind, owner, name, media, data, hash, at) VALUES ($1, $2, $3, $4, $5, $6, $7)
		ON CONFLICT (kind, owner) DO UPDATE SET name = excluded.name, media = excluded.media, data = excluded.data, hash = excluded.hash, at = excluded.at`,
		f.Kind, f.Owner, f.Name, f.Media, f.Data, f.Hash, f.At)
	return f, err
}

// DropPaperFile takes a file out; where there is none nothing happens.
func (t *Tx) DropPaperFile(kind, owner string) error {
	_, err := t.exec(`DELETE FROM paper_files WHERE kind = $1 AND owner = $2`, kind, owner)
	return err
}

// StockLine is how many of one article lie on the shelf, and how many are
// ordered and on their way.
type StockLine struct {
	Kind   string // belt, shirt
	Item   string
	Size   string
	Shelf  int
	Coming int
}

func readStock(r row) (s StockLine, err error) {
	err = r.Scan(&s.Kind, &s.Item, &s.Size, &s.Shelf, &s.Coming)
	return s, err
}

// Stock returns every article that was ever counted.
func (t *Tx) Stock() ([]StockLine, error) {
	return list(t, readStock, `SELECT kind, item, size, shelf, coming FROM stock ORDER BY kind, item, size`)
}

// PutStock writes how many of an article there are. One of which there are
// none is no longer kept.
func (t *Tx) PutStock(s StockLine) error {
	if s.Shelf == 0 && s.Coming == 0 {
		_, err := t.exec(`DELETE FROM stock WHERE kind = $1 AND item = $2 AND size = $3`, s.Kind, s.Item, s.Size)
		return err
	}
	_, err := t.exec(`INSERT INTO stock (kind, item, size, shelf, coming) VALUES ($1, $2, $3, $4, $5)
		ON CONFLICT (kind, item, size) DO UPDATE SET shelf = excluded.shelf, coming = excluded.coming`, s.Kind, s.Item, s.Size, s.Shelf, s.Coming)
	return err
}

// HandedOut is what an entry was given: at most one thing of a kind.
type HandedOut struct {
	Entry rankwright.EntryID
	Kind  string // belt, shirt
	Item  string
	Size  string
	Taken bool // it came from the shelf, and was counted off
	By    string
	At    Moment
}

func readHandedOut(r row) (h HandedOut, err error) {
	taken := 0
	err = r.Scan(&h.Entry, &h.Kind, &h.Item, &h.Size, &taken, &h.By, &h.At)
	h.Taken = taken != 0
	return h, err
}

const handedOutQuery = `SELECT entry, kind, item, size, taken, said_by, at FROM handed_out `

// HandedOuts returns everything that was handed out at a grading, or at all
// gradings where it is "".
func (t *Tx) HandedOuts(grading rankwright.GradingID) ([]HandedOut, error) {
	return list(t, readHandedOut, handedOutQuery+`WHERE $1 = '' OR entry IN (SELECT id FROM entries WHERE grading = $1) ORDER BY entry, kind`, grading)
}

// HandedOutOf returns what was handed out to an entry.
func (t *Tx) HandedOutOf(entry rankwright.EntryID) ([]HandedOut, error) {
	return list(t, readHandedOut, handedOutQuery+`WHERE entry = $1 ORDER BY kind`, entry)
}

// AddHandedOut writes down that something was handed out. A second thing of
// the same kind is refused.
func (t *Tx) AddHandedOut(h HandedOut) error {
	_, err := t.exec(`INSERT INTO handed_out (entry, kind, item, size, taken, said_by, at) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
		h.Entry, h.Kind, h.Item, h.Size, h.Taken, h.By, h.At)
	err = reword(err, "taken", rankwright.Faultf(rankwright.Conflict, "handed_out", "reload the page; take it back first if it was wrong", "this was handed out already"))
	return reword(err, "in_use", missing("entry", h.Entry))
}

// DropHandedOut takes a line back; it says whether there was one.
func (t *Tx) DropHandedOut(entry rankwright.EntryID, kind string) (bool, error) {
	n, err := t.exec(`DELETE FROM handed_out WHERE entry = $1 AND kind = $2`, entry, kind)
	return n > 0, err
}
