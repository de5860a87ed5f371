package paper

import (
	"fmt"
	"io"

	"rankwright"
	"rankwright/internal/paper/pdf"
)

// A FamilyLetter is one child's letter, on a page of its own. Every text is printed
// as it is given, and nothing on it says how many letters there are.
type FamilyLetter struct {
	School, Place, Date string // the head of the page; Place is optional
	Name                string // the child's
	Rank                string
	Belt                Belt
	Title               string
	Blocks              []LetterBlock
	// Cautions stand in a frame under a heading; optional.
	CautionTitle string
	Cautions     []string
	// Signed stands under the line to sign on; optional.
	Signed string
	// Lang is the letter's own language as a BCP 47 tag; "" is the document's.
	Lang string
	// RightToLeft says that the letter is written from right to left.
	RightToLeft bool
	// PageOf writes "page x of y" of a letter with several pages in its
	// language; nil means that of the Options.
	PageOf func(page, of int) string
}

// LetterBlock is a part of a paragraph: lines, or the items of a list. First
// says that a paragraph begins with it.
type LetterBlock struct {
	First        bool
	Lines, Items []string
}

// The measures of a letter, in millimetres and points. A line holds about 85
// letters of the largest size, which is read without losing the line (common
// practice, no published source).
const (
	letterSide   = 25.0
	letterIndent = 5.0
	letterGap    = 2.8 // between paragraphs
	letterLead   = 1.4
	letterSign   = 17.0 // for a hand to sign
)

// letterSizes are tried in turn until the letter is on one page; a letter that
// is long even so goes on to a second page in the middle size.
var letterSizes = []float64{11, 10.5, 10, 9.5}

// CheckLetters reports everything that would stop WriteLetters, naming the
// child and the characters.
func CheckLetters(letters []FamilyLetter, opt Options) rankwright.Faults {
	var faults rankwright.Faults
	fonts, setter := opt.fonts(), pdf.NewSetter(opt.Lang)
	for i := range letters {
		faults = append(faults, letters[i].faults(fonts, setter)...)
	}
	return faults
}

func (l *FamilyLetter) faults(fonts *Fonts, setter *pdf.Setter) (faults rankwright.Faults) {
	whose := fmt.Sprintf(" in the letter about %q", l.Name)
	check := func(face *pdf.Typeface, what, whose, text string) {
		if f := unsettable(setter, face, what, whose, text); f != nil {
			faults = append(faults, f)
		}
	}
	if blank(l.Name) {
		faults = append(faults, rankwright.Faultf(rankwright.Invalid, "no_name", "give the child's name", "a letter has no name"))
	}
	check(fonts.serifBold, fmt.Sprintf("the name %q", l.Name), "", l.Name)
	check(fonts.sansBold, "the school's name", whose, l.School)
	check(fonts.sans, "the head of the page", whose, l.Place+" "+l.Date)
	check(fonts.sansBold, "the rank", whose, l.Rank)
	check(fonts.serif, "the line at the top", whose, l.Title)
	for _, b := range l.Blocks {
		for _, s := range append(b.Lines, b.Items...) {
			check(fonts.sans, "a line", whose, s)
		}
	}
	check(fonts.sansBold, "the heading of the cautions", whose, l.CautionTitle)
	for _, s := range l.Cautions {
		check(fonts.sans, "a caution", whose, s)
	}
	check(fonts.sans, "the signature", whose, l.Signed)
	return faults
}

// WriteLetters writes the letters one after the other, or nothing and all the
// Faults in the way.
func WriteLetters(w io.Writer, letters []FamilyLetter, opt Options) error {
	if len(letters) == 0 {
		return rankwright.Faultf(rankwright.Invalid, "no_letters", "choose whose letters are printed", "there is no letter to print")
	}
	if err := CheckLetters(letters, opt).Err(); err != nil {
		return err
	}
	title := letters[0].Title
	for i := range letters {
		if letters[i].Name != letters[0].Name {
			title = letters[0].School
		}
	}
	p := newPager(title, opt)
	for i := range letters {
		if i > 0 {
			p.again = nil
			p.turn()
		}
		p.letter(&letters[i])
	}
	return p.doc.Write(w)
}

// scribe sets one letter: the pager's page with the letter's own measures.
type scribe struct {
	*pager
	of   *FamilyLetter
	sect *pdf.Elem
	size float64
}

// letter draws one letter and numbers its own pages, where there are several.
func (p *pager) letter(l *FamilyLetter) {
	s := &scribe{pager: p, of: l, sect: p.doc.Elem(nil, "Sect")}
	if l.Lang != "" && l.Lang != p.opt.Lang {
		s.sect.In(l.Lang)
	}
	first := len(p.pages) - 1
	p.page.Outline(1, l.Name, p.y)
	s.head()
	room := p.height - sheetBottom - p.y
	s.size = letterSizes[1]
	for _, size := range letterSizes {
		if s.deep(size) <= room {
			s.size = size
			break
		}
	}
	p.again = func() {
		s.line(l.Name+", "+l.Title, p.fonts.sans, 9, 0, quiet, "P", 3)
	}
	s.body()
	own := p.pages[first:]
	if len(own) < 2 {
		return
	}
	pageOf := l.PageOf
	if pageOf == nil {
		pageOf = p.opt.pageOf()
	}
	for i, page := range own {
		number := p.doc.Setter().Shape(p.fonts.sans, pageOf(i+1, len(own))).Line()
		page.Text(p.width-letterSide, p.height-9, pdf.Right, number, 8.5, quiet)
	}
}

func (s *scribe) wide() float64 { return s.width - 2*letterSide }

// left is where a box begins that is so far from the side on which reading
// begins.
func (s *scribe) left(from, width float64) float64 {
	if s.of.RightToLeft {
		return s.width - letterSide - from - width
	}
	return letterSide + from
}

// start is the side at which lines begin, that of the letter: also a line in
// Latin letters begins on the right there.
func (s *scribe) start() pdf.Align {
	if s.of.RightToLeft {
		return pdf.Right
	}
	return pdf.Start
}

// line writes a text from an indent to the end of the line, and a gap after it.
func (s *scribe) line(text string, face *pdf.Typeface, size, indent float64, color pdf.RGB, role string, gap float64) {
	if blank(text) {
		return
	}
	b := s.doc.Setter().Wrap(face, text, size, letterLead, s.wide()-indent)
	s.room(b.Height())
	s.put(s.doc.Elem(s.sect, role), s.left(indent, s.wide()-indent), s.y, s.wide()-indent, s.start(), b, color)
	s.y += b.Height() + gap
}

func (s *scribe) head() {
	l := s.of
	s.y += 3
	top := s.y
	date := s.doc.Setter().Wrap(s.fonts.sans, l.Date, 10, letterLead, s.wide()*0.4)
	school := s.doc.Setter().Wrap(s.fonts.sansBold, l.School, 11, letterLead, s.wide()*0.58)
	s.put(s.doc.Elem(s.sect, "P"), s.left(0, s.wide()*0.58), s.y, s.wide()*0.58, s.start(), school, ink)
	align := pdf.Right
	if l.RightToLeft {
		align = pdf.Left
	}
	s.put(s.doc.Elem(s.sect, "P"), s.left(s.wide()*0.6, s.wide()*0.4), s.y, s.wide()*0.4, align, date, ink)
	s.y += school.Height()
	s.line(l.Place, s.fonts.sans, 9.5, 0, quiet, "P", 0)
	s.y = max(s.y, top+date.Height()) + 2
	s.page.Stroke(pdf.Segment(letterSide, s.y, s.width-letterSide, s.y), 0.4, ink)
	s.y += 8
	s.line(l.Name, s.fonts.serifBold, 17, 0, ink, "P", 1)
	const beltWide, beltDeep = 24.0, 3.2
	rank := s.doc.Setter().Wrap(s.fonts.sansBold, l.Rank, 10.5, letterLead, s.wide()-beltWide-3)
	s.belt(s.left(0, beltWide), s.y+(rank.Lead-beltDeep)/2, beltWide, beltDeep, l.Belt)
	s.put(s.doc.Elem(s.sect, "P"), s.left(beltWide+3, s.wide()-beltWide-3), s.y, s.wide()-beltWide-3, s.start(), rank, ink)
	s.y += rank.Height() + 8
	s.line(l.Title, s.fonts.serif, 20, 0, ink, "H1", 4)
}

// deep is how high the body is in a size.
func (s *scribe) deep(size float64) (h float64) {
	high := func(face *pdf.Typeface, text string, size, width float64) float64 {
		return s.doc.Setter().Wrap(face, text, size, letterLead, width).Height()
	}
	for _, b := range s.of.Blocks {
		if b.First {
			h += letterGap
		}
		for _, x := range b.Lines {
			h += high(s.fonts.sans, x, size, s.wide())
		}
		for _, x := range b.Items {
			h += high(s.fonts.sans, x, size, s.wide()-letterIndent)
		}
	}
	return h + s.frameDeep() + s.signDeep()
}

func (s *scribe) body() {
	for i := range s.of.Blocks {
		b := &s.of.Blocks[i]
		if b.First && i > 0 {
			s.y += letterGap
		}
		// What leads to a list is not left alone at the foot of a page.
		if next := i + 1; len(b.Lines) > 0 && next < len(s.of.Blocks) && len(s.of.Blocks[next].Items) > 0 && !s.of.Blocks[next].First {
			s.room(float64(len(b.Lines)+1) * s.size * letterLead * 25.4 / 72)
		}
		for _, x := range b.Lines {
			s.line(x, s.fonts.sans, s.size, 0, ink, "P", 0)
		}
		s.list(b.Items)
	}
	s.cautions()
	s.sign()
}

func (s *scribe) list(items []string) {
	if len(items) == 0 {
		return
	}
	list := s.doc.Elem(s.sect, "L")
	for _, x := range items {
		item := s.doc.Elem(list, "LI")
		b := s.doc.Setter().Wrap(s.fonts.sans, x, s.size, letterLead, s.wide()-letterIndent)
		dot := s.doc.Setter().Wrap(s.fonts.sans, "•", s.size, letterLead, letterIndent)
		s.room(b.Height())
		s.put(s.doc.Elem(item, "Lbl"), s.left(1, letterIndent-1), s.y, letterIndent-1, s.start(), dot, ink)
		s.put(s.doc.Elem(item, "LBody"), s.left(letterIndent, s.wide()-letterIndent), s.y, s.wide()-letterIndent, s.start(), b, ink)
		s.y += b.Height()
	}
}

const (
	framePad  = 3.5
	frameSize = 9.5
)

func (s *scribe) framed() (list []pdf.Block, deep float64) {
	width := s.wide() - 2*framePad
	add := func(face *pdf.Typeface, text string) {
		if !blank(text) {
			b := s.doc.Setter().Wrap(face, text, frameSize, letterLead, width)
			list, deep = append(list, b), deep+b.Height()+0.8
		}
	}
	if len(s.of.Cautions) == 0 {
		return nil, 0
	}
	add(s.fonts.sansBold, s.of.CautionTitle)
	for _, x := range s.of.Cautions {
		add(s.fonts.sans, x)
	}
	return list, deep + 2*framePad - 0.8
}

func (s *scribe) frameDeep() float64 {
	if _, deep := s.framed(); deep > 0 {
		return deep + 2*letterGap
	}
	return 0
}

// cautions draws the frame, whole on one page.
func (s *scribe) cautions() {
	list, deep := s.framed()
	if len(list) == 0 {
		return
	}
	s.y += 2 * letterGap
	s.room(deep)
	s.page.Stroke(pdf.RoundRect(letterSide, s.y, s.wide(), deep, 1), 0.4, ink)
	y := s.y + framePad
	for _, b := range list {
		s.put(s.doc.Elem(s.sect, "P"), s.left(framePad, s.wide()-2*framePad), y, s.wide()-2*framePad, s.start(), b, ink)
		y += b.Height() + 0.8
	}
	s.y += deep
}

func (s *scribe) signDeep() float64 {
	if blank(s.of.Signed) {
		return 0
	}
	return letterSign + s.doc.Setter().Wrap(s.fonts.sans, s.of.Signed, 10, letterLead, s.wide()).Height()
}

func (s *scribe) sign() {
	if blank(s.of.Signed) {
		return
	}
	s.room(s.signDeep())
	s.y += letterSign - 1.5
	const wide = 70.0
	x := s.left(0, wide)
	s.page.Stroke(pdf.Segment(x, s.y, x+wide, s.y), 0.3, ink)
	s.y += 1.5
	s.line(s.of.Signed, s.fonts.sans, 10, 0, ink, "P", 0)
}
