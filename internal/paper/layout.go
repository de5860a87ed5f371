package paper

import (
	"strings"

	"rankwright/internal/paper/pdf"
)

// A plan is where everything on a certificate stands, in millimetres: it is
// what is drawn and what the tests measure.
type plan struct {
	width, height float64
	design        Design
	band          pdf.Rectangle // the belt
	plate         pdf.Rectangle // under the rank's name, where it lies on the belt
	base          pdf.RGB
	tip           *pdf.RGB
	pieces        []piece
	rules         []pdf.Rectangle // to sign on, and under the school's name
	pictures      []placed
}

// A piece is a text in its box, which it never leaves.
type piece struct {
	what  string
	role  string
	lang  string
	box   pdf.Rectangle
	align pdf.Align
	block pdf.Block
	color pdf.RGB
	fits  bool
}

// placed is a picture with its place and what it is called for those who
// listen.
type placed struct {
	picture *Picture
	box     pdf.Rectangle
	alt     string
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

// heights says from where to where each thing stands below the frame's top, on
// a sheet 190 mm high within its frame.
type heights struct {
	logo                     [2]float64
	school, title, name      [2]float64
	statement, first, second [2]float64 // first and second where there are two
	rank                     [2]float64 // beside or above the belt
	belt                     float64    // its middle, where it lies across
	honour, meta, lowMeta    [2]float64 // lowMeta where there is an honour
	signatures               float64
	number                   [2]float64
}

// setting is one design as the sheet is held.
type setting struct {
	heights
	nameLines   int
	left, right float64 // margins of text
	align       pdf.Align
}

func settingOf(d Design, upright, logo bool) setting {
	s := setting{heights: landscape, nameLines: 2, left: margin, right: margin, align: pdf.Centre}
	if upright {
		s.heights, s.nameLines = portrait, 3
	}
	switch d {
	case Plain:
		s.heights = plainLandscape
		if upright {
			s.heights = plainPortrait
		}
		return s
	case Band:
		s.heights = bandLandscape
		if upright {
			s.heights = bandPortrait
		}
		s.left, s.right, s.align = 50, 20, pdf.Left
		return s
	}
	if logo {
		s.logo, s.school, s.title, s.name, s.nameLines = [2]float64{7, 25}, [2]float64{26, 32}, [2]float64{33, 46}, [2]float64{47, 79}, 2
		if upright {
			s.logo, s.school, s.title, s.name = [2]float64{8, 27}, [2]float64{28, 34}, [2]float64{35, 46}, [2]float64{47, 75}
		}
	}
	return s
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
	plainLandscape = heights{
		logo: [2]float64{1, 19}, school: [2]float64{20, 28}, title: [2]float64{33, 47}, name: [2]float64{49, 83},
		statement: [2]float64{84, 97}, first: [2]float64{83, 91}, second: [2]float64{91, 98},
		rank: [2]float64{99, 119}, belt: 124, honour: [2]float64{130, 139}, meta: [2]float64{136, 144}, lowMeta: [2]float64{140, 147},
		signatures: 165, number: [2]float64{183, 187.5},
	}
	plainPortrait = heights{
		logo: [2]float64{1, 19}, school: [2]float64{20, 27}, title: [2]float64{32, 43}, name: [2]float64{46, 74},
		statement: [2]float64{76, 85}, first: [2]float64{75, 81}, second: [2]float64{81.5, 87},
		rank: [2]float64{88, 103}, belt: 107, honour: [2]float64{112, 119}, meta: [2]float64{116, 122}, lowMeta: [2]float64{120, 125},
		signatures: 160, number: [2]float64{180, 184},
	}
	bandLandscape = heights{
		logo: [2]float64{2, 22}, school: [2]float64{4, 13}, title: [2]float64{14, 30}, name: [2]float64{38, 74},
		statement: [2]float64{77, 91}, first: [2]float64{77, 86}, second: [2]float64{86, 94},
		rank: [2]float64{96, 120}, honour: [2]float64{121, 131}, meta: [2]float64{134, 142}, lowMeta: [2]float64{134, 142},
		signatures: 165, number: [2]float64{183, 187.5},
	}
	bandPortrait = heights{
		logo: [2]float64{2, 18}, school: [2]float64{3, 10}, title: [2]float64{11, 24}, name: [2]float64{34, 68},
		statement: [2]float64{71, 80}, first: [2]float64{70, 77}, second: [2]float64{77.5, 83},
		rank: [2]float64{86, 104}, honour: [2]float64{106, 113}, meta: [2]float64{116, 122}, lowMeta: [2]float64{116, 122},
		signatures: 160, number: [2]float64{180, 184},
	}
)

// planning is a plan on its way.
type planning struct {
	*plan
	setting
	c       Certificate
	fonts   *Fonts
	setter  *pdf.Setter
	stretch float64
}

func (g *planning) y(v float64) float64 { return frame + v*g.stretch }

// row is a box over the width of the text.
func (g *planning) row(at [2]float64) pdf.Rectangle {
	return pdf.Rectangle{Left: g.left, Top: g.y(at[0]), Right: g.width - g.right, Bottom: g.y(at[1])}
}

func (g *planning) add(what, role string, face *pdf.Typeface, text string, box pdf.Rectangle, color pdf.RGB, f pdf.Fit) *piece {
	if blank(text) {
		return &piece{}
	}
	f.Lead = lead
	block, fits := g.setter.Fit(face, text, box.Right-box.Left, box.Bottom-box.Top, f)
	g.pieces = append(g.pieces, piece{what, role, "", box, g.align, block, color, fits})
	return &g.pieces[len(g.pieces)-1]
}

func (g *planning) text(what, role string, face *pdf.Typeface, s string, at [2]float64, color pdf.RGB, f pdf.Fit) *piece {
	return g.add(what, role, face, s, g.row(at), color, f)
}

// planCertificate places the texts of one certificate. Heights are set out
// for a sheet 190 mm high within its frame and stretched to the one at hand.
func planCertificate(c Certificate, opt Options, setter *pdf.Setter, width, height float64) *plan {
	p := &plan{width: width, height: height, design: opt.Design}
	p.base, _ = pdf.ParseRGB(c.Belt.Base)
	if tip, ok := pdf.ParseRGB(c.Belt.Tip); ok {
		p.tip = &tip
	}
	g := &planning{plan: p, setting: settingOf(opt.Design, height > width, opt.Logo != nil), c: c, fonts: opt.fonts(), setter: setter, stretch: (height - 2*frame) / 190}
	fonts := g.fonts
	right := g.right
	if opt.Logo != nil {
		g.logoAt(opt.Logo)
	}
	g.text("the school's name", "P", fonts.sansBold, c.School, g.school, ink, pdf.Fit{Max: 14, Min: 7, OneLine: 10, Lines: 2})
	if p.design == Plain && !blank(c.School) {
		y, middle := (g.y(g.school[1])+g.y(g.title[0]))/2, width/2
		p.rules = append(p.rules, pdf.Rectangle{Left: middle - 18, Top: y, Right: middle + 18, Bottom: y})
	}
	g.text("the title", "H1", fonts.serif, c.Title, g.title, ink, pdf.Fit{Max: 33, Min: 12, OneLine: 20, Lines: 2})
	g.right = right
	g.text("the name", "P", fonts.serifBold, c.Student, g.name, ink, pdf.Fit{Max: 50, Min: 9, OneLine: 34, Lines: g.nameLines})
	statement := g.statement
	if !blank(c.Second) {
		statement = g.first
	}
	g.text("the statement", "P", fonts.sans, c.Statement, statement, ink, pdf.Fit{Max: 13, Min: 8, OneLine: 12, Lines: 2})
	g.text("the second statement", "P", fonts.sans, c.Second, g.second, quiet, pdf.Fit{Max: 10.5, Min: 7, OneLine: 9, Lines: 2}).lang = c.SecondLang
	g.planBelt()
	meta := g.meta
	if !blank(c.Honour) {
		meta = g.lowMeta
	}
	g.text("the honour", "P", fonts.serifBold, c.Honour, g.honour, ink, pdf.Fit{Max: 15, Min: 8, OneLine: 10, Lines: 2})
	g.text("place and date", "P", fonts.sans, join(c.Place, c.Date), meta, ink, pdf.Fit{Max: 11.5, Min: 7, OneLine: 9, Lines: 2})
	g.planSignatures()
	g.text("the number", "P", fonts.sans, c.Number, g.number, quiet, pdf.Fit{Max: 8.5, Min: 6, Lines: 1})
	return p
}

// logoAt sets the logo in the middle above the school's name, and beside the
// band to the right of it, where the first lines become shorter for it.
func (g *planning) logoAt(logo *Picture) {
	box := g.row(g.logo)
	if g.design == Band {
		const wide = 42.0
		box.Left = max(box.Left+40, box.Right-wide)
		g.right += wide + 4
	}
	place := logo.In(box)
	if shift := box.Right - place.Right; g.design == Band {
		place.Left, place.Right = place.Left+shift, place.Right+shift
	}
	g.pictures = append(g.pictures, placed{logo, place, g.c.School})
}

// planBelt lays the belt on the card, with the rank's name always beside it, so
// that the rank never hangs on colour alone.
func (g *planning) planBelt() {
	c, fonts := g.c, g.fonts
	switch g.design {
	case Plain:
		const wide, deep = 96.0, 7.0
		middle := g.y(g.belt)
		g.band = pdf.Rectangle{Left: g.width/2 - wide/2, Top: middle - deep/2, Right: g.width/2 + wide/2, Bottom: middle + deep/2}
		g.text("the rank", "P", fonts.serifBold, c.Rank, g.rank, ink, pdf.Fit{Max: 32, Min: 9, OneLine: 20, Lines: 2})
		return
	case Band:
		const left, wide = 14.0, 20.0
		g.band = pdf.Rectangle{Left: left, Top: frame, Right: left + wide, Bottom: g.height - frame}
		g.text("the rank", "P", fonts.serifBold, c.Rank, g.rank, ink, pdf.Fit{Max: 36, Min: 9, OneLine: 22, Lines: 2})
		return
	}
	// Round the card, with the name on a plate in its middle.
	const side, deep, over = 12.0, 22.0, 2.0
	middle := g.y(g.belt)
	g.band = pdf.Rectangle{Left: frame - over, Top: middle - deep/2, Right: g.width - frame + over, Bottom: middle + deep/2}
	room := g.width * 0.5
	fit := pdf.Fit{Max: 27, Min: 9, OneLine: 18, Lines: 2, Lead: lead}
	block, _ := g.setter.Fit(fonts.serifBold, c.Rank, room, deep-4, fit)
	half := max(block.Width(), 34)/2 + side
	g.plate = pdf.Rectangle{Left: g.width/2 - half, Top: g.band.Top - 2, Right: g.width/2 + half, Bottom: g.band.Bottom + 2}
	box := pdf.Rectangle{Left: g.width/2 - room/2, Top: middle - (deep-4)/2, Right: g.width/2 + room/2, Bottom: middle + (deep-4)/2}
	g.add("the rank", "P", fonts.serifBold, c.Rank, box, ink, fit)
}

// planSignatures sets the lines to sign on side by side, and in two rows
// where the sheet is too narrow for that. A signature's picture stands on its
// line.
func (g *planning) planSignatures() {
	const gap, least, high = 8.0, 40.0, 13.0
	deep, y := 22.0, g.y(g.signatures)
	n := min(len(g.c.Signatures), maxSignatures)
	if n == 0 {
		return
	}
	room := g.width - g.left - g.right
	across := n
	if room < least*float64(n)+gap*float64(n-1) {
		across = (n + 1) / 2
		for _, s := range g.c.Signatures[across:n] {
			if s.Picture != nil {
				deep = 29
			}
		}
		y -= deep
	}
	line := min(64, (room-gap*float64(across-1))/float64(across))
	space := (room - line*float64(across)) / float64(across)
	first := g.left + space/2
	if g.align != pdf.Centre {
		space = min(space, 12)
		first = g.left
	}
	for i, s := range g.c.Signatures[:n] {
		left := first + float64(i%across)*(line+space)
		y := y + deep*float64(i/across)
		g.rules = append(g.rules, pdf.Rectangle{Left: left, Top: y, Right: left + line, Bottom: y})
		if s.Picture != nil {
			g.pictures = append(g.pictures, placed{s.Picture, s.Picture.In(pdf.Rectangle{Left: left, Top: y - high, Right: left + line, Bottom: y + 0.5}), s.Name})
		}
		under := y + 1
		sign := func(what string, face *pdf.Typeface, text string, deep float64, color pdf.RGB, f pdf.Fit) {
			box := pdf.Rectangle{Left: left, Top: under, Right: left + line, Bottom: under + deep}
			if t := g.add(what, "P", face, text, box, color, f); t.fits {
				box.Bottom = under + t.depth()
				t.box, under = box, box.Bottom
			}
		}
		sign("a signature's name", g.fonts.sansBold, s.Name, 9, ink, pdf.Fit{Max: 10, Min: 5.5, OneLine: 8.5, Lines: 3})
		sign("a signature's role", g.fonts.sans, s.Role, 7, quiet, pdf.Fit{Max: 8.5, Min: 5.5, OneLine: 7.5, Lines: 2})
	}
}

func join(place, date string) string {
	if blank(place) || blank(date) {
		return place + date
	}
	return place + "  ·  " + date
}

func (p *plan) draw(doc *pdf.Doc, page *pdf.Page) {
	if p.design == Framed {
		page.Stroke(pdf.RoundRect(frame, frame, p.width-2*frame, p.height-2*frame, 1.5), 0.5, ink)
		const inner = frame + 1.8
		page.Stroke(pdf.RoundRect(inner, inner, p.width-2*inner, p.height-2*inner, 0.6), 0.15, ink)
	}
	p.drawBelt(page)
	for _, r := range p.rules {
		page.Stroke(pdf.Segment(r.Left, r.Top, r.Right, r.Top), 0.25, ink)
	}
	card := doc.Elem(nil, "Sect")
	for _, x := range p.pictures {
		page.Tag(doc.Elem(card, "Figure").Alt(x.alt))
		page.Picture(x.picture, x.box.Left, x.box.Top, x.box.Right-x.box.Left, x.box.Bottom-x.box.Top)
	}
	for _, t := range p.pieces {
		elem := doc.Elem(card, t.role)
		if t.lang != "" {
			elem.In(t.lang)
		}
		page.Tag(elem)
		page.Block(t.box.Left, t.top(), t.box.Right-t.box.Left, t.align, t.block, t.color)
	}
	page.Tag(nil)
}

// drawBelt draws woven cloth: the colour, its edges, and rows of stitching in
// a shade that shows on dark and on pale cloth alike.
func (p *plan) drawBelt(page *pdf.Page) {
	b := p.band
	upright := b.Bottom-b.Top > b.Right-b.Left
	// Along is the way of the cloth; a line is given by both ways.
	along, from, until := [2]float64{b.Left, b.Right}, b.Top, b.Bottom
	line := func(a0, c0, a1, c1 float64) *pdf.Path { return pdf.Segment(a0, c0, a1, c1) }
	if upright {
		along, from, until = [2]float64{b.Top, b.Bottom}, b.Left, b.Right
		line = func(a0, c0, a1, c1 float64) *pdf.Path { return pdf.Segment(c0, a0, c1, a1) }
	}
	deep := until - from
	cloth := func(left, width float64, c pdf.RGB) {
		if upright {
			page.Fill(pdf.Rect(from, left, deep, width), c)
		} else {
			page.Fill(pdf.Rect(left, from, width, deep), c)
		}
		thread := c.Mix(white, 0.28)
		if c.Luminance() > 0.3 {
			thread = c.Mix(ink, 0.2)
		}
		rows := max(2, min(8, int(deep/2.4)))
		for i := 1; i <= rows; i++ {
			at := from + deep*float64(i)/float64(rows+1)
			page.Dash(line(left, at, left+width, at), 0.22, thread, 1.5, 0.7)
		}
		edge := c.Mix(ink, 0.45)
		page.Stroke(line(left, from, left+width, from), 0.35, edge)
		page.Stroke(line(left, until, left+width, until), 0.35, edge)
	}
	cloth(along[0], along[1]-along[0], p.base)
	if p.tip != nil {
		left, width := along[1]-32, 17.0
		cloth(left, width, *p.tip)
		edge := p.tip.Mix(ink, 0.45)
		page.Stroke(line(left, from, left, until), 0.3, edge)
		page.Stroke(line(left+width, from, left+width, until), 0.3, edge)
	}
	edge := p.base.Mix(ink, 0.45)
	for _, x := range along {
		page.Stroke(line(x, from-0.175, x, until+0.175), 0.35, edge)
	}
	if p.plate == (pdf.Rectangle{}) {
		return
	}
	plate := pdf.RoundRect(p.plate.Left, p.plate.Top, p.plate.Right-p.plate.Left, p.plate.Bottom-p.plate.Top, 1.2)
	page.Fill(plate, white)
	page.Stroke(plate, 0.35, ink)
}
