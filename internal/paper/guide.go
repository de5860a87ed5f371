package paper

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"rankwright"
	"rankwright/internal/paper/pdf"
)

// A Guide is what one rank asks, on as many pages as it needs. Every text is
// printed as it is given.
type Guide struct {
	Title, Lead, Rank string
	Belt              Belt
	// Cautions stand in a frame before everything else: a title and its lines.
	Cautions GuideList
	// Must is the word beside what is always needed.
	Must  string
	Parts []GuidePart
	// Footer stands on every page; the first guide's, for all of them.
	Footer string
}

// GuidePart is a part with a heading of its own.
type GuidePart struct {
	Head, Note string
	Pictures   []GuidePicture
	Asked      []GuideAsked
	Lines      []string
	Lists      []GuideList
	After      []string // under the lists
}

// GuideAsked is one thing that is asked.
type GuideAsked struct {
	Show  string
	Must  bool
	Lines []string // how much of it is enough
	Notes []string
	// Parts are written out under PartsHead, with numbers where their order
	// counts.
	PartsHead string
	Parts     []string
	Ordered   bool
	Later     []string
	Pictures  []GuidePicture
}

// GuidePicture is a JPEG, with words for those who listen and a caption, which
// may be "".
type GuidePicture struct {
	Data         []byte
	Alt, Caption string
}

// GuideList is some lines under a small heading, either of which may be left
// out.
type GuideList struct {
	Head  string
	Lines []string
	After []string
}

// WriteGuides writes the guides one after the other, each beginning on a page of
// its own, or nothing and all the Faults in the way.
func WriteGuides(w io.Writer, title string, guides []Guide, opt Options) error {
	if len(guides) == 0 {
		return rankwright.Faultf(rankwright.Invalid, "no_guides", "choose a rank of the ladder", "there is no guide to print")
	}
	var faults rankwright.Faults
	pictures := map[*byte]*pdf.Picture{}
	for i := range guides {
		faults = append(faults, guides[i].faults(opt)...)
		for _, x := range guides[i].pictures() {
			pic, err := pdf.ReadPicture(x.Data)
			if err != nil {
				faults = append(faults, rankwright.Faultf(rankwright.Invalid, "bad_picture", "take it back and add it anew", "the picture “%s” cannot be printed", x.Alt))
				continue
			}
			pictures[&x.Data[0]] = pic
		}
	}
	if err := faults.Err(); err != nil {
		return err
	}
	p := &guider{pager: newPager(title, opt), pictures: pictures}
	for i := range guides {
		if i > 0 {
			p.again = nil
			p.turn()
		}
		p.guide(&guides[i])
	}
	p.feet(guides[0].Footer)
	return p.doc.Write(w)
}

// pictures lists all pictures of a guide.
func (g *Guide) pictures() (out []GuidePicture) {
	for _, x := range g.Parts {
		out = append(out, x.Pictures...)
		for _, a := range x.Asked {
			out = append(out, a.Pictures...)
		}
	}
	return out
}

func (g *Guide) faults(opt Options) rankwright.Faults {
	var faults rankwright.Faults
	fonts, check := opt.fonts(), checker(opt, &faults)
	of := " of " + g.Rank
	lists := func(what string, list []GuideList) {
		for _, l := range list {
			check(fonts.sansBold, what, l.Head)
			for _, line := range slices.Concat(l.Lines, l.After) {
				check(fonts.sans, what, line)
			}
		}
	}
	check(fonts.serifBold, "the title", g.Title)
	check(fonts.serifBold, "the rank", g.Rank)
	check(fonts.sans, "the lead"+of, g.Lead)
	check(fonts.sansBold, "the word for what is always needed", g.Must)
	check(fonts.sans, "the footer", g.Footer)
	lists("the cautions"+of, []GuideList{g.Cautions})
	for _, x := range g.Parts {
		check(fonts.serifBold, "a heading"+of, x.Head)
		for _, line := range slices.Concat([]string{x.Note}, x.Lines, x.After) {
			check(fonts.sans, "a line of “"+x.Head+"”"+of, line)
		}
		lists("a line of “"+x.Head+"”"+of, x.Lists)
		for _, a := range x.Asked {
			what := "“" + a.Show + "”" + of
			check(fonts.sansBold, what, a.Show)
			for _, line := range slices.Concat(a.Lines, a.Notes, a.Parts, a.Later, []string{a.PartsHead}) {
				check(fonts.sans, what, line)
			}
		}
	}
	for _, x := range g.pictures() {
		check(fonts.sans, "the caption of a picture"+of, x.Caption)
	}
	return faults
}

// A guider is a pager that draws guides.
type guider struct {
	*pager
	pictures map[*byte]*pdf.Picture // by the first of their bytes
}

const (
	guideBand   = 9.0 // height of the belt at the head
	guideIndent = 5.0 // of what stands under a thing asked
	pictureWide = 56.0
	pictureHigh = 44.0
	pictureGap  = 5.0
)

func (p *guider) guide(g *Guide) {
	p.page.Outline(1, g.Rank, p.y)
	p.head(g)
	p.again = func() {
		p.belt(sheetSide, p.y+0.4, bandWide, bandDeep, g.Belt)
		b := p.wrap(p.fonts.sans, g.Title, 9, p.inner()-bandWide-2)
		p.put(nil, sheetSide+bandWide+2, p.y, p.inner()-bandWide-2, pdf.Start, b, quiet)
		p.y += b.Height() + 2
	}
	p.caution(&g.Cautions)
	for i := range g.Parts {
		p.part(g, &g.Parts[i])
	}
}

// head draws the belt over the width of the page with the rank's name on a plate
// within it, so that the rank never hangs on colour alone.
func (p *guider) head(g *Guide) {
	name := p.wrap(p.fonts.serifBold, g.Rank, 15, p.inner()-20)
	deep := max(guideBand, name.Height())
	p.belt(sheetSide, p.y, p.inner(), deep, g.Belt)
	wide := name.Width() + 12
	p.page.Fill(pdf.RoundRect(sheetSide+8, p.y-1, wide, deep+2, 1.2), white)
	p.page.Stroke(pdf.RoundRect(sheetSide+8, p.y-1, wide, deep+2, 1.2), 0.35, ink)
	p.put(p.doc.Elem(nil, "P"), sheetSide+14, p.y+(deep-name.Height())/2, p.inner()-20, pdf.Start, name, ink)
	p.y += deep + 4
	p.line("H1", p.fonts.serifBold, g.Title, 20, ink)
	p.line("P", p.fonts.sans, g.Lead, 11, quiet)
	p.y += 3
}

func (p *guider) caution(l *GuideList) {
	if len(l.Lines) == 0 {
		return
	}
	const pad = 3.0
	inner := p.inner() - 2*pad
	head := p.wrap(p.fonts.sansBold, l.Head, 10, inner)
	deep := head.Height() + 2*pad
	blocks := make([]pdf.Block, len(l.Lines))
	for i, s := range l.Lines {
		blocks[i] = p.wrap(p.fonts.sans, s, 9, inner)
		deep += blocks[i].Height() + 0.5
	}
	p.room(deep + 4)
	p.page.Stroke(pdf.RoundRect(sheetSide, p.y, p.inner(), deep, 1), 0.4, ink)
	y := p.y + pad
	p.put(p.doc.Elem(nil, "P"), sheetSide+pad, y, inner, pdf.Start, head, ink)
	y += head.Height()
	for _, b := range blocks {
		p.put(p.doc.Elem(nil, "P"), sheetSide+pad, y+0.5, inner, pdf.Start, b, ink)
		y += b.Height() + 0.5
	}
	p.y += deep + 4
}

func (p *guider) part(g *Guide, x *GuidePart) {
	head := p.wrap(p.fonts.serifBold, x.Head, 14, p.inner())
	first := 20.0 // a heading never stands alone at the foot
	if len(x.Pictures) > 0 {
		first = pictureHigh + 14
	}
	p.room(head.Height() + first)
	if !blank(x.Head) {
		p.page.Outline(2, x.Head, p.y)
		p.put(p.doc.Elem(nil, "H2"), sheetSide, p.y, p.inner(), pdf.Start, head, ink)
		p.y += head.Height() + 0.8
		p.page.Stroke(pdf.Segment(sheetSide, p.y, p.width-sheetSide, p.y), 0.4, ink)
	}
	p.y += 1.8
	p.line("P", p.fonts.sans, x.Note, 10, quiet)
	p.row(nil, sheetSide, x.Pictures)
	if len(x.Asked) > 0 {
		list := p.doc.Elem(nil, "L")
		for i := range x.Asked {
			p.asked(list, g.Must, &x.Asked[i])
		}
	}
	p.lines(x.Lines)
	for _, l := range x.Lists {
		if !blank(l.Head) {
			p.room(14)
			p.line("H3", p.fonts.sansBold, l.Head, 10.5, ink)
		}
		p.lines(l.Lines)
		for _, s := range l.After {
			p.line("P", p.fonts.sans, s, 10, ink)
		}
		p.y += 1.5
	}
	for _, s := range x.After {
		p.line("P", p.fonts.sans, s, 10, ink)
	}
	p.y += 4
}

// lines draws a list with a dot before each line.
func (p *guider) lines(lines []string) {
	if len(lines) == 0 {
		return
	}
	list := p.doc.Elem(nil, "L")
	for _, s := range lines {
		p.point(list, "•", s, sheetSide, 10, ink)
	}
}

// point draws one line of a list with its mark.
func (p *guider) point(list *pdf.Elem, mark, s string, x, size float64, color pdf.RGB) {
	const wide = 6.0
	room := p.width - sheetSide - x - wide
	b := p.wrap(p.fonts.sans, s, size, room)
	p.room(b.Height())
	item := p.doc.Elem(list, "LI")
	p.put(p.doc.Elem(item, "Lbl"), x, p.y, wide-1.5, pdf.Start, p.wrap(p.fonts.sans, mark, size, wide), color)
	p.put(p.doc.Elem(item, "LBody"), x+wide, p.y, room, pdf.Start, b, color)
	p.y += b.Height() + 0.3
}

func (p *guider) asked(list *pdf.Elem, must string, a *GuideAsked) {
	x, room := sheetSide+guideIndent, p.inner()-guideIndent
	type text struct {
		block pdf.Block
		color pdf.RGB
	}
	var texts []text
	add := func(face *pdf.Typeface, s string, size float64, color pdf.RGB) {
		if !blank(s) {
			texts = append(texts, text{p.wrap(face, s, size, room), color})
		}
	}
	add(p.fonts.sansBold, a.Show, 10.5, ink)
	if a.Must {
		add(p.fonts.sansBold, capital(must), 9.5, ink)
	}
	for _, s := range a.Lines {
		add(p.fonts.sans, capital(s), 10, ink)
	}
	add(p.fonts.sans, capital(strings.Join(a.Notes, " · ")), 9, quiet)
	deep := 0.0
	for _, t := range texts {
		deep += t.block.Height()
	}
	if len(a.Parts) > 0 {
		deep += 2 * 10 * bodyLead * 25.4 / 72 // the first of them stay with what they are the parts of
	}
	p.room(deep)
	item := p.doc.Elem(list, "LI")
	body := p.doc.Elem(item, "LBody")
	side := 1.0
	if a.Must {
		side = 1.7
	}
	p.page.Fill(pdf.Ellipse(sheetSide+1.7, p.y+texts[0].block.Lead/2, side, side), ink)
	for _, t := range texts {
		p.put(p.doc.Elem(body, "P"), x, p.y, room, pdf.Start, t.block, t.color)
		p.y += t.block.Height()
	}
	if len(a.Parts) > 0 {
		head := p.wrap(p.fonts.sansBold, a.PartsHead, 9, room)
		p.put(p.doc.Elem(body, "P"), x, p.y+0.5, room, pdf.Start, head, ink)
		p.y += head.Height() + 0.5
		steps := p.doc.Elem(body, "L")
		for i, s := range a.Parts {
			mark := "–"
			if a.Ordered {
				mark = fmt.Sprint(i+1, ".")
			}
			p.point(steps, mark, s, x, 9.5, ink)
		}
	}
	for _, s := range a.Later {
		b := p.wrap(p.fonts.sans, capital(s), 9, room)
		p.room(b.Height())
		p.put(p.doc.Elem(body, "P"), x, p.y, room, pdf.Start, b, quiet)
		p.y += b.Height()
	}
	p.row(body, x, a.Pictures)
	p.y += 2.6
}

// capital begins a line as a sentence does.
func capital(s string) string {
	for i, r := range s {
		return strings.ToUpper(string(r)) + s[i+len(string(r)):]
	}
	return s
}

// row draws pictures side by side, as many as fit, each with its caption.
func (p *guider) row(parent *pdf.Elem, left float64, pictures []GuidePicture) {
	for len(pictures) > 0 {
		x, deep := left, 0.0
		type placed struct {
			pic        *pdf.Picture
			words      GuidePicture
			x, w, h    float64
			caption    pdf.Block
			hasCaption bool
		}
		var now []placed
		for len(pictures) > 0 {
			one := placed{words: pictures[0], pic: p.pictures[&pictures[0].Data[0]], x: x}
			scale := min(pictureWide/float64(one.pic.Width), pictureHigh/float64(one.pic.Height))
			one.w, one.h = float64(one.pic.Width)*scale, float64(one.pic.Height)*scale
			column := max(one.w, 34)
			if len(now) > 0 && x+column > p.width-sheetSide {
				break
			}
			tall := one.h
			if one.hasCaption = !blank(one.words.Caption); one.hasCaption {
				one.caption = p.wrap(p.fonts.sans, one.words.Caption, 8.5, column)
				tall += one.caption.Height() + 1
			}
			deep = max(deep, tall)
			x += column + pictureGap
			now, pictures = append(now, one), pictures[1:]
		}
		p.room(deep + 3)
		p.y += 1.2
		for _, one := range now {
			p.page.Tag(p.doc.Elem(parent, "Figure").Alt(one.words.Alt))
			p.page.Picture(one.pic, one.x, p.y, one.w, one.h)
			p.page.Tag(nil)
			p.page.Stroke(pdf.Rect(one.x, p.y, one.w, one.h), 0.15, quiet)
			if one.hasCaption {
				p.put(p.doc.Elem(parent, "P"), one.x, p.y+one.h+0.8, max(one.w, 34), pdf.Start, one.caption, quiet)
			}
		}
		p.y += deep + 1.8
	}
}
