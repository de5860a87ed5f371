package paper

import (
	"io"
	"strings"

	"rankwright"
	"rankwright/internal/paper/pdf"
)

// A MessageLetter is a message to one family on a page of its own, for families
// without e-mail. Every text is printed as it is given.
type MessageLetter struct {
	School, Place, Date string // Place is optional
	Family              string
	Title               string
	Text                string // lines; an empty one is between paragraphs
	// Code is a QR code with the address in the text, row by row from the top, a
	// true for each dark module; optional.
	Code [][]bool
	Lang string // of the letter, as a BCP 47 tag; "" is the document's
}

const (
	codeWide  = 38.0 // millimetres; a code of 37 modules is read at arm's length (common practice, no published source)
	codeQuiet = 4    // modules left white round the code (ISO/IEC 18004)
)

// WriteMessageLetters writes the letters one after the other, or nothing and all
// the Faults in the way.
func WriteMessageLetters(w io.Writer, letters []MessageLetter, opt Options) error {
	if len(letters) == 0 {
		return rankwright.Faultf(rankwright.Invalid, "no_letters", "choose whose letters are printed", "there is no letter to print")
	}
	var faults rankwright.Faults
	fonts, check := opt.fonts(), checker(opt, &faults)
	for _, l := range letters {
		check(fonts.sansBold, "the school's name", l.School)
		check(fonts.sans, "the head of the page", l.Place+" "+l.Date)
		check(fonts.sansBold, "the family's name "+l.Family, l.Family)
		check(fonts.serifBold, "the line at the top", l.Title)
		for line := range strings.Lines(l.Text) {
			check(fonts.sans, "a line to "+l.Family, strings.TrimSpace(line))
		}
	}
	if err := faults.Err(); err != nil {
		return err
	}
	p := newPager(letters[0].School, opt)
	for i := range letters {
		if i > 0 {
			p.again = nil
			p.turn()
		}
		p.message(&letters[i])
	}
	return p.doc.Write(w)
}

func (p *pager) message(l *MessageLetter) {
	sect := p.doc.Elem(nil, "Sect")
	if l.Lang != "" && l.Lang != p.opt.Lang {
		sect.In(l.Lang)
	}
	line := func(role string, face *pdf.Typeface, s string, size float64, color pdf.RGB, gap float64) {
		if blank(s) {
			return
		}
		b := p.wrap(face, s, size, p.inner())
		p.room(b.Height())
		p.put(p.doc.Elem(sect, role), sheetSide, p.y, p.inner(), pdf.Start, b, color)
		p.y += b.Height() + gap
	}
	p.again = func() { line("P", p.fonts.sans, l.Family+", "+l.Title, 9, quiet, 3) }
	p.page.Outline(1, l.Family, p.y)
	line("P", p.fonts.sansBold, l.School, 12, ink, 0)
	head := l.Date
	if !blank(l.Place) {
		head = l.Place + ", " + l.Date
	}
	line("P", p.fonts.sans, head, 10.5, quiet, 6)
	line("P", p.fonts.sansBold, l.Family, 12, ink, 8)
	line("H1", p.fonts.serifBold, l.Title, 19, ink, 5)
	for s := range strings.Lines(l.Text) {
		if s = strings.TrimSpace(s); s == "" {
			p.y += 2.8
			continue
		}
		line("P", p.fonts.sans, s, 11.5, ink, 0.8)
	}
	p.code(l.Code, sect)
}

// code draws a QR code, its runs of dark modules as one box each.
func (p *pager) code(rows [][]bool, sect *pdf.Elem) {
	if len(rows) == 0 {
		return
	}
	p.y += 6
	p.room(codeWide)
	one := codeWide / float64(len(rows)+2*codeQuiet)
	e := p.doc.Elem(sect, "Figure")
	e.Alt("QR code with the address above")
	p.page.Tag(e)
	for y, row := range rows {
		for x := 0; x < len(row); x++ {
			from := x
			for x < len(row) && row[x] {
				x++
			}
			if x > from {
				p.page.Fill(pdf.Rect(sheetSide+float64(from)*one, p.y+float64(y+codeQuiet)*one, float64(x-from)*one, one), ink)
			}
		}
	}
	p.page.Tag(nil)
	p.y += codeWide
}
