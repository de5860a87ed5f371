package paper

import (
	"fmt"

	"rankwright/internal/paper/pdf"
)

// A pager puts blocks under one another and goes to a new page where the next
// would not fit whole.
type pager struct {
	doc           *pdf.Doc
	fonts         *Fonts
	opt           Options
	width, height float64
	page          *pdf.Page
	pages         []*pdf.Page
	y             float64
	// again draws what stands at the head of each further page; optional.
	again func()
}

const (
	sheetSide   = 16.0
	sheetTop    = 15.0
	sheetBottom = 17.0
)

func newPager(title string, opt Options) *pager {
	p := &pager{doc: pdf.New(pdf.Info{Title: title, Lang: opt.Lang, Plain: opt.Plain}), fonts: opt.fonts(), opt: opt}
	p.width, p.height = opt.size(Portrait)
	p.turn()
	return p
}

func (p *pager) turn() {
	p.page = p.doc.Page(p.width, p.height)
	p.pages = append(p.pages, p.page)
	p.y = sheetTop
}

// room makes sure that so many millimetres are left, on a new page if need be.
func (p *pager) room(deep float64) {
	if p.y+deep <= p.height-sheetBottom || len(p.pages) > 0 && p.y <= sheetTop {
		return
	}
	p.turn()
	if p.again != nil {
		p.again()
	}
}

func (p *pager) inner() float64 { return p.width - 2*sheetSide }

func (p *pager) wrap(face *pdf.Typeface, s string, size, width float64) pdf.Block {
	return p.doc.Setter().Wrap(face, s, size, bodyLead, width)
}

// put draws a block at a place, as a part of what is read aloud.
func (p *pager) put(e *pdf.Elem, x, y, width float64, align pdf.Align, b pdf.Block, color pdf.RGB) {
	p.page.Tag(e)
	p.page.Block(x, y, width, align, b, color)
	p.page.Tag(nil)
}

// line writes a text over the whole width and moves on.
func (p *pager) line(role string, face *pdf.Typeface, s string, size float64, color pdf.RGB) {
	if blank(s) {
		return
	}
	b := p.wrap(face, s, size, p.inner())
	p.room(b.Height())
	p.put(p.doc.Elem(nil, role), sheetSide, p.y, p.inner(), pdf.Start, b, color)
	p.y += b.Height()
}

// frame writes a text in a frame, for cautions.
func (p *pager) frame(s string) {
	if blank(s) {
		return
	}
	const pad = 3.0
	b := p.wrap(p.fonts.sansBold, s, 10, p.inner()-2*pad)
	deep := b.Height() + 2*pad
	p.room(deep + 4)
	p.page.Stroke(pdf.RoundRect(sheetSide, p.y, p.inner(), deep, 1), 0.4, ink)
	p.put(p.doc.Elem(nil, "P"), sheetSide+pad, p.y+pad, p.inner()-2*pad, pdf.Start, b, ink)
	p.y += deep + 4
}

// belt draws a rank's colour as a short band with its edges, so that pale ones
// are seen on white paper. The rank's name always stands beside it.
func (p *pager) belt(x, y, wide, deep float64, belt Belt) {
	drawBand(p.page, x, y, wide, deep, belt)
}

// pageOf says how a page is numbered.
func (o Options) pageOf() func(page, of int) string {
	if o.PageOf != nil {
		return o.PageOf
	}
	return func(page, of int) string { return fmt.Sprintf("page %d of %d", page, of) }
}

// feet writes the foot of every page once it is known how many there are.
func (p *pager) feet(footer string) {
	pageOf := p.opt.pageOf()
	s := p.doc.Setter()
	for i, page := range p.pages {
		number := s.Shape(p.fonts.sans, pageOf(i+1, len(p.pages))).Line()
		page.Text(p.width-sheetSide, p.height-9, pdf.Right, number, 8.5, quiet)
		if !blank(footer) {
			room := p.inner() - number.Width(8.5) - 6
			b, _ := s.Fit(p.fonts.sans, footer, room, 7, pdf.Fit{Max: 8.5, Min: 5, OneLine: 6.5, Lines: 2, Lead: 1.3})
			page.Block(sheetSide, p.height-8-b.Height(), room, pdf.Start, b, quiet)
		}
	}
}
