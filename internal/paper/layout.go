package paper

import (
	"strings"

	"rankwright/internal/paper/pdf"
)

// A plan is where everything on a certificate stands, in millimetres: it is
// what is drawn and what the tests measure.
type plan struct {
	width, height float64
	band          pdf.Rectangle
	plate         pdf.Rectangle
	base          pdf.RGB
	tip           *pdf.RGB
	pieces        []piece
	rules         []pdf.Rectangle // to sign on
}

// A piece is a text in its box, which it never leaves.
type piece struct {
	what  string
	role  string
	lang  string
	box   pdf.Rectangle
	block pdf.Block
	color pdf.RGB
	fits  bool
}

func (p piece) top() float64 {
	return (p.box.Top+p.box.Bottom)/2 - p.block.Height()/2
}

// depth is the height of a box that holds the block and all its outlines.
func (p piece) depth() float64 {
	height := p.block.Height()
	ink := p.block.Ink(0, 0, 0, pdf.Centre)
	return height + 2*max(0, -ink.Top, ink.Bottom-height)
}

func blank(s string) bool { return strings.TrimSpace(s) == "" }

const (
	frame  = 10.0 // from the paper's edge
	margin = 30.0 // of text
	lead   = 1.37 // ems; holds two stacked marks in the shipped fonts
)

// heights says from where to where each text stands below the frame's top.
type heights struct {
	school, title, name      [2]float64
	statement, first, second [2]float64 // first and second where there are two
	belt                     float64    // its middle
	honour, meta, lowMeta    [2]float64 // lowMeta where there is an honour
	signatures               float64
	number                   [2]float64
}

var (
	landscape = heights{
		school: [2]float64{12, 21}, title: [2]float64{22, 40}, name: [2]float64{43, 79},
		statement: [2]float64{80, 96}, first: [2]float64{79, 90}, second: [2]float64{90, 99},
		belt: 117, honour: [2]float64{133, 143}, meta: [2]float64{140, 148}, lowMeta: [2]float64{144, 151},
		signatures: 165, number: [2]float64{181, 185.5},
	}
	portrait = heights{
		school: [2]float64{13, 20}, title: [2]float64{23, 37}, name: [2]float64{41, 75},
		statement: [2]float64{77, 86}, first: [2]float64{76, 83}, second: [2]float64{83.5, 89},
		belt: 102, honour: [2]float64{113, 120}, meta: [2]float64{116, 122}, lowMeta: [2]float64{121, 126},
		signatures: 160, number: [2]float64{178, 182},
	}
)

// planCertificate places the texts of one certificate. Heights are set out
// for a sheet 190 mm high within its frame and stretched to the one at hand.
func planCertificate(c Certificate, fonts *Fonts, setter *pdf.Setter, width, height float64) *plan {
	p := &plan{width: width, height: height}
	p.base, _ = pdf.ParseRGB(c.Belt.Base)
	if tip, ok := pdf.ParseRGB(c.Belt.Tip); ok {
		p.tip = &tip
	}
	stretch := (height - 2*frame) / 190
	y := func(v float64) float64 { return frame + v*stretch }
	at, nameLines := landscape, 2
	if height > width {
		at, nameLines = portrait, 3
	}
	row := func(from, to float64) pdf.Rectangle {
		return pdf.Rectangle{Left: margin, Top: y(from), Right: width - margin, Bottom: y(to)}
	}
	add := func(what, role string, face *pdf.Typeface, text string, box pdf.Rectangle, color pdf.RGB, f pdf.Fit) *piece {
		if blank(text) {
			return &piece{}
		}
		f.Lead = lead
		block, fits := setter.Fit(face, text, box.Right-box.Left, box.Bottom-box.Top, f)
		p.pieces = append(p.pieces, piece{what, role, "", box, block, color, fits})
		return &p.pieces[len(p.pieces)-1]
	}

	text := func(what, role string, face *pdf.Typeface, s string, at [2]float64, color pdf.RGB, f pdf.Fit) *piece {
		return add(what, role, face, s, row(at[0], at[1]), color, f)
	}
	text("the school's name", "P", fonts.sansBold, c.School, at.school, ink, pdf.Fit{Max: 14, Min: 7, OneLine: 10, Lines: 2})
	text("the title", "H1", fonts.serif, c.Title, at.title, ink, pdf.Fit{Max: 33, Min: 12, OneLine: 20, Lines: 2})
	text("the name", "P", fonts.serifBold, c.Student, at.name, ink, pdf.Fit{Max: 50, Min: 9, OneLine: 34, Lines: nameLines})
	statement := at.statement
	if !blank(c.Second) {
		statement = at.first
	}
	text("the statement", "P", fonts.sans, c.Statement, statement, ink, pdf.Fit{Max: 13, Min: 8, OneLine: 12, Lines: 2})
	text("the second statement", "P", fonts.sans, c.Second, at.second, quiet, pdf.Fit{Max: 10.5, Min: 7, OneLine: 9, Lines: 2}).lang = c.SecondLang
	p.planBelt(y(at.belt), c, fonts, setter, add)
	meta := at.meta
	if !blank(c.Honour) {
		meta = at.lowMeta
	}
	text("the honour", "P", fonts.serifBold, c.Honour, at.honour, ink, pdf.Fit{Max: 15, Min: 8, OneLine: 10, Lines: 2})
	text("place and date", "P", fonts.sans, join(c.Place, c.Date), meta, ink, pdf.Fit{Max: 11.5, Min: 7, OneLine: 9, Lines: 2})
	p.planSignatures(y(at.signatures), c, fonts, add)
	text("the number", "P", fonts.sans, c.Number, at.number, quiet, pdf.Fit{Max: 8.5, Min: 6, Lines: 1})
	return p
}

type adder func(what, role string, face *pdf.Typeface, text string, box pdf.Rectangle, color pdf.RGB, f pdf.Fit) *piece

// planBelt lays the belt round the card and the rank's name on a plate in its
// middle, so that the rank never hangs on colour alone.
func (p *plan) planBelt(middle float64, c Certificate, fonts *Fonts, setter *pdf.Setter, add adder) {
	const side, deep, over = 12.0, 22.0, 2.0
	p.band = pdf.Rectangle{Left: frame - over, Top: middle - deep/2, Right: p.width - frame + over, Bottom: middle + deep/2}
	room := p.width * 0.5
	fit := pdf.Fit{Max: 27, Min: 9, OneLine: 18, Lines: 2, Lead: lead}
	block, _ := setter.Fit(fonts.serifBold, c.Rank, room, deep-4, fit)
	half := max(block.Width(), 34)/2 + side
	p.plate = pdf.Rectangle{Left: p.width/2 - half, Top: p.band.Top - 2, Right: p.width/2 + half, Bottom: p.band.Bottom + 2}
	box := pdf.Rectangle{Left: p.width/2 - room/2, Top: middle - (deep-4)/2, Right: p.width/2 + room/2, Bottom: middle + (deep-4)/2}
	add("the rank", "P", fonts.serifBold, c.Rank, box, ink, fit)
}

// planSignatures sets the lines to sign on side by side, and in two rows
// where the sheet is too narrow for that.
func (p *plan) planSignatures(y float64, c Certificate, fonts *Fonts, add adder) {
	const gap, least, deep = 8.0, 40.0, 22.0
	n := min(len(c.Signatures), maxSignatures)
	if n == 0 {
		return
	}
	room := p.width - 2*margin
	across := n
	if room < least*float64(n)+gap*float64(n-1) {
		across = (n + 1) / 2
		y -= deep
	}
	line := min(64, (room-gap*float64(across-1))/float64(across))
	space := (room - line*float64(across)) / float64(across)
	for i, s := range c.Signatures[:n] {
		left := margin + space/2 + float64(i%across)*(line+space)
		y := y + deep*float64(i/across)
		p.rules = append(p.rules, pdf.Rectangle{Left: left, Top: y, Right: left + line, Bottom: y})
		under := y + 1
		sign := func(what string, face *pdf.Typeface, text string, deep float64, color pdf.RGB, f pdf.Fit) {
			box := pdf.Rectangle{Left: left, Top: under, Right: left + line, Bottom: under + deep}
			if t := add(what, "P", face, text, box, color, f); t.fits {
				box.Bottom = under + t.depth()
				t.box, under = box, box.Bottom
			}
		}
		sign("a signature's name", fonts.sansBold, s.Name, 9, ink, pdf.Fit{Max: 10, Min: 5.5, OneLine: 8.5, Lines: 3})
		sign("a signature's role", fonts.sans, s.Role, 7, quiet, pdf.Fit{Max: 8.5, Min: 5.5, OneLine: 7.5, Lines: 2})
	}
}

func join(place, date string) string {
	if blank(place) || blank(date) {
		return place + date
	}
	return place + "  ·  " + date
}

func (p *plan) draw(doc *pdf.Doc, page *pdf.Page) {
	page.Stroke(pdf.RoundRect(frame, frame, p.width-2*frame, p.height-2*frame, 1.5), 0.5, ink)
	const inner = frame + 1.8
	page.Stroke(pdf.RoundRect(inner, inner, p.width-2*inner, p.height-2*inner, 0.6), 0.15, ink)
	p.drawBelt(page)
	for _, r := range p.rules {
		page.Stroke(pdf.Segment(r.Left, r.Top, r.Right, r.Top), 0.25, ink)
	}
	card := doc.Elem(nil, "Sect")
	for _, t := range p.pieces {
		elem := doc.Elem(card, t.role)
		if t.lang != "" {
			elem.In(t.lang)
		}
		page.Tag(elem)
		page.Block(t.box.Left, t.top(), t.box.Right-t.box.Left, pdf.Centre, t.block, t.color)
	}
	page.Tag(nil)
}

// drawBelt draws woven cloth: the colour, its edges, and rows of stitching in
// a shade that shows on dark and on pale cloth alike.
func (p *plan) drawBelt(page *pdf.Page) {
	b := p.band
	wide, deep := b.Right-b.Left, b.Bottom-b.Top
	cloth := func(left, width float64, c pdf.RGB) {
		page.Fill(pdf.Rect(left, b.Top, width, deep), c)
		thread := c.Mix(white, 0.28)
		if c.Luminance() > 0.3 {
			thread = c.Mix(ink, 0.2)
		}
		const rows = 8
		for i := 1; i <= rows; i++ {
			y := b.Top + deep*float64(i)/(rows+1)
			page.Dash(pdf.Segment(left, y, left+width, y), 0.22, thread, 1.5, 0.7)
		}
		edge := c.Mix(ink, 0.45)
		page.Stroke(pdf.Segment(left, b.Top, left+width, b.Top), 0.35, edge)
		page.Stroke(pdf.Segment(left, b.Bottom, left+width, b.Bottom), 0.35, edge)
	}
	cloth(b.Left, wide, p.base)
	if p.tip != nil {
		left, width := b.Right-32, 17.0
		cloth(left, width, *p.tip)
		edge := p.tip.Mix(ink, 0.45)
		page.Stroke(pdf.Segment(left, b.Top, left, b.Bottom), 0.3, edge)
		page.Stroke(pdf.Segment(left+width, b.Top, left+width, b.Bottom), 0.3, edge)
	}
	edge := p.base.Mix(ink, 0.45)
	for _, x := range []float64{b.Left, b.Right} {
		page.Stroke(pdf.Segment(x, b.Top-0.175, x, b.Bottom+0.175), 0.35, edge)
	}
	plate := pdf.RoundRect(p.plate.Left, p.plate.Top, p.plate.Right-p.plate.Left, p.plate.Bottom-p.plate.Top, 1.2)
	page.Fill(plate, white)
	page.Stroke(plate, 0.35, ink)
}
