// Package paper makes what a grading prints: certificates and plain lists.
//
// Everything is a vector PDF with its fonts inside, tagged for readers who
// listen, and the same input gives the same bytes. A name that the fonts
// cannot set is reported before anything is printed; it never comes out as
// boxes. The package draws what it is given: it formats no dates, decides
// nothing and reads no files.
package paper

import "rankwright/internal/paper/pdf"

// Sheet is a size of paper.
type Sheet uint8

const (
	A4     Sheet = iota // 210 × 297 mm (ISO 216)
	Letter              // 8.5 × 11 in
)

// Turn says which way the sheet is held.
type Turn uint8

const (
	Natural   Turn = iota // certificates landscape, lists portrait
	Portrait              // upright
	Landscape             // on its side
)

// Options holds for a whole document; the zero value is a good choice.
type Options struct {
	Paper Sheet
	Turn  Turn
	// Design is how certificates are laid out, and Logo the school's on them;
	// optional.
	Design Design
	Logo   *Picture
	// Fonts may add scripts to the shipped ones; nil means the shipped ones.
	Fonts *Fonts
	// Lang is the document's language as a BCP 47 tag; "" means "en".
	Lang string
	// PageOf writes "page x of y" on lists in the document's language; nil
	// means English.
	PageOf func(page, of int) string
	// Plain leaves the file uncompressed, for tests.
	Plain bool
}

// size returns width and height in millimetres.
func (o Options) size(natural Turn) (w, h float64) {
	w, h = 210, 297
	if o.Paper == Letter {
		w, h = 8.5*25.4, 11*25.4
	}
	turn := o.Turn
	if turn == Natural {
		turn = natural
	}
	if turn == Landscape {
		w, h = h, w
	}
	return w, h
}

// The inks of everything printed: near black for what is read first, a grey
// of contrast 5.9 to 1 on white for the rest.
var (
	ink   = pdf.RGB{R: 0x1b, G: 0x26, B: 0x2e}
	quiet = pdf.RGB{R: 0x5a, G: 0x66, B: 0x70}
	white = pdf.RGB{R: 0xff, G: 0xff, B: 0xff}
)
