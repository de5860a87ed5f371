package paper

import (
	"fmt"
	"io"

	"rankwright"
	"rankwright/internal/paper/pdf"
)

// A Card is a name to be read from across the mat.
type Card struct {
	Name string
	// Under is the rank's name; it stands beside the belt.
	Under string
	Belt  Belt
	// Corner is a word in the corner, such as "Squad 2"; optional.
	Corner string
}

// CardForm is how cards are used.
type CardForm uint8

const (
	FlatCards   CardForm = iota // 90 × 55 mm, to pin on
	FoldedCards                 // 90 × 110 mm, folded in the middle to stand or to hang on a string
)

// CardNames shortens names as far as they still tell people apart: the given
// name alone, with the first letter of the family name where two have the
// same, and whole where that is the same too.
func CardNames(people [][2]string) []string {
	out := make([]string, len(people))
	shorts := []func(given, family string) string{
		func(given, family string) string {
			if blank(given) {
				return family
			}
			return given
		},
		DoorName,
		func(given, family string) string { return given + " " + family },
	}
	left := make([]int, len(people))
	for i := range left {
		left[i] = i
	}
	for _, short := range shorts {
		count := map[string]int{}
		for _, i := range left {
			out[i] = short(people[i][0], people[i][1])
			count[out[i]]++
		}
		var again []int
		for _, i := range left {
			if count[out[i]] > 1 {
				again = append(again, i)
			}
		}
		left = again
	}
	return out
}

const (
	cardWide = 90.0
	cardDeep = 55.0
	cardPad  = 5.0
	cardBelt = 8.0 // how high the belt is
)

// WriteCards writes the cards with lines to cut along, or nothing and all the
// Faults in the way.
func WriteCards(w io.Writer, title string, cards []Card, form CardForm, opt Options) error {
	var faults rankwright.Faults
	if len(cards) == 0 {
		faults = append(faults, rankwright.Faultf(rankwright.Invalid, "no_cards", "enter students first", "there is nobody to make a card for"))
	}
	doc := pdf.New(pdf.Info{Title: title, Lang: opt.Lang, Plain: opt.Plain})
	fonts, s := opt.fonts(), doc.Setter()
	check := checker(opt, &faults)
	for _, c := range cards {
		check(fonts.sansBold, "the name "+c.Name, c.Name)
		check(fonts.sans, "the rank of "+c.Name, c.Under)
		check(fonts.sans, "the corner of "+c.Name+"'s card", c.Corner)
	}
	width, height := opt.size(Portrait)
	deep := cardDeep
	if form == FoldedCards {
		deep = 2 * cardDeep
	}
	across, down := int((width-20)/cardWide), int((height-20)/deep)
	left, top := (width-float64(across)*cardWide)/2, (height-float64(down)*deep)/2
	var page *pdf.Page
	for i, c := range cards {
		at := i % (across * down)
		if at == 0 {
			page = doc.Page(width, height)
		}
		x, y := left+float64(at%across)*cardWide, top+float64(at/across)*deep
		page.Dash(pdf.Rect(x, y, cardWide, deep), 0.12, quiet, 0.8, 1.6)
		name, fits := s.Fit(fonts.sansBold, c.Name, cardWide-2*cardPad, cardDeep-cardBelt-17, pdf.Fit{Max: 54, Min: 9, OneLine: 26, Lines: 2, Lead: lead})
		if !fits {
			faults = append(faults, rankwright.Faultf(rankwright.Invalid, "too_long", "shorten it in the roster", "the name %q is too long for a card", c.Name))
			continue
		}
		half := y
		if form == FoldedCards {
			half = y + cardDeep
			for _, end := range []float64{x, x + cardWide - 4} {
				page.Stroke(pdf.Segment(end, half, end+4, half), 0.2, quiet)
			}
			page.Turned(x+cardWide/2, half, func() { drawCard(doc, page, nil, fonts, s, c, name, x, half) })
		}
		drawCard(doc, page, doc.Elem(nil, "Sect"), fonts, s, c, name, x, half)
	}
	if err := faults.Err(); err != nil {
		return err
	}
	return doc.Write(w)
}

// drawCard draws one face; without an element it is a face that is the same as
// another one, and is not read aloud twice.
func drawCard(doc *pdf.Doc, page *pdf.Page, elem *pdf.Elem, fonts *Fonts, s *pdf.Setter, c Card, name pdf.Block, x, y float64) {
	tag := func(role string) {
		if elem != nil {
			page.Tag(doc.Elem(elem, role))
		}
	}
	const small = 4.5
	room := cardWide - 2*cardPad
	corner, _ := s.Fit(fonts.sans, c.Corner, room, small, pdf.Fit{Max: 9, Min: 4, Lines: 1, Lead: lead})
	rank, _ := s.Fit(fonts.sans, c.Under, room, small+1, pdf.Fit{Max: 11, Min: 4, Lines: 1, Lead: lead})
	area := cardDeep - cardBelt - 17
	tag("H1")
	page.Block(x+cardPad, y+8.5+(area-name.Height())/2, room, pdf.Centre, name, ink)
	tag("P")
	page.Block(x+cardPad, y+3.5, room, pdf.Centre, corner, quiet)
	tag("P")
	page.Block(x+cardPad, y+cardDeep-cardBelt-7.5, room, pdf.Centre, rank, ink)
	page.Tag(nil)
	drawBand(page, x+cardPad, y+cardDeep-cardBelt-1, room, cardBelt-3, c.Belt)
}

// drawBand draws a belt as a short band with its edges, so that pale ones are
// seen on white paper. The rank's name always stands beside it.
func drawBand(page *pdf.Page, x, y, wide, deep float64, belt Belt) {
	base, ok := pdf.ParseRGB(belt.Base)
	if !ok {
		return
	}
	page.Fill(pdf.Rect(x, y, wide, deep), base)
	if tip, ok := pdf.ParseRGB(belt.Tip); ok {
		page.Fill(pdf.Rect(x+wide*0.68, y, wide*0.2, deep), tip)
	}
	page.Stroke(pdf.Rect(x, y, wide, deep), 0.2, ink)
}

// A LabelSheet is a sheet of labels by its measures in millimetres.
type LabelSheet struct {
	Paper        Sheet
	Across, Down int
	Wide, High   float64 // of one label
	Left, Top    float64 // where the first one begins
	GapX, GapY   float64 // between two
}

// Name tells the sheet by its measures, in inches on US Letter.
func (l LabelSheet) Name() string {
	if l.Paper == Letter {
		return fmt.Sprintf("%d × %d on US Letter, %s × %s in", l.Across, l.Down, inches(l.Wide), inches(l.High))
	}
	return fmt.Sprintf("%d × %d on A4, %s × %s mm", l.Across, l.Down, trimmed(l.Wide), trimmed(l.High))
}

func trimmed(v float64) string { return fmt.Sprintf("%.4g", v) }

// inches writes a length in eighths of an inch where it is one.
func inches(mm float64) string {
	eighths := int(mm/25.4*8 + 0.5)
	whole, part := eighths/8, eighths%8
	if d := mm/25.4*8 - float64(eighths); d > 0.01 || d < -0.01 {
		return trimmed(mm / 25.4)
	}
	below := 8
	for part > 0 && part%2 == 0 {
		part, below = part/2, below/2
	}
	switch {
	case part == 0:
		return fmt.Sprint(whole)
	case whole == 0:
		return fmt.Sprintf("%d/%d", part, below)
	}
	return fmt.Sprintf("%d %d/%d", whole, part, below)
}

// LabelSheets are common grids, named by their measures alone; each stands in
// the middle of its paper.
func LabelSheets() []LabelSheet {
	const in = 25.4
	return []LabelSheet{
		middled(LabelSheet{Paper: A4, Across: 3, Down: 7, Wide: 63.5, High: 38.1, GapX: 2.54}),
		middled(LabelSheet{Paper: A4, Across: 2, Down: 7, Wide: 99.1, High: 38.1, GapX: 2.54}),
		middled(LabelSheet{Paper: A4, Across: 3, Down: 8, Wide: 70, High: 36}),
		middled(LabelSheet{Paper: A4, Across: 2, Down: 4, Wide: 105, High: 74}),
		middled(LabelSheet{Paper: Letter, Across: 3, Down: 10, Wide: 2.625 * in, High: in, GapX: in / 8}),
		middled(LabelSheet{Paper: Letter, Across: 2, Down: 5, Wide: 4 * in, High: 2 * in, GapX: in * 3 / 16}),
	}
}

func middled(l LabelSheet) LabelSheet {
	w, h := Options{Paper: l.Paper}.size(Portrait)
	l.Left = (w - float64(l.Across)*l.Wide - float64(l.Across-1)*l.GapX) / 2
	l.Top = (h - float64(l.Down)*l.High - float64(l.Down-1)*l.GapY) / 2
	return l
}

// Check says what is wrong with the measures of a sheet.
func (l LabelSheet) Check() rankwright.Faults {
	var faults rankwright.Faults
	add := func(do, say string, args ...any) {
		faults = append(faults, rankwright.Faultf(rankwright.Invalid, "bad_labels", do, say, args...))
	}
	w, h := Options{Paper: l.Paper}.size(Portrait)
	if l.Across < 1 || l.Down < 1 || l.Across > 20 || l.Down > 40 {
		add("count the labels across and down", "a sheet of %d by %d labels cannot be", l.Across, l.Down)
		return faults
	}
	if !(l.Wide >= 15 && l.High >= 8) {
		add("measure one label in millimetres", "labels of %s × %s mm are too small to print on", trimmed(l.Wide), trimmed(l.High))
	}
	if !(l.Left >= 0 && l.Top >= 0 && l.GapX >= 0 && l.GapY >= 0) {
		add("measure again", "no margin or gap is below nothing")
	}
	const hair = 0.2
	if right := l.Left + float64(l.Across)*l.Wide + float64(l.Across-1)*l.GapX; !(right <= w+hair) {
		add("measure again; nothing is stretched", "the labels reach to %.1f mm across, and the paper is %.1f mm wide", right, w)
	}
	if bottom := l.Top + float64(l.Down)*l.High + float64(l.Down-1)*l.GapY; !(bottom <= h+hair) {
		add("measure again; nothing is stretched", "the labels reach to %.1f mm down, and the paper is %.1f mm high", bottom, h)
	}
	return faults
}

// A Label is one label: a line to look for, and more under it.
type Label struct {
	Head  string
	Lines []string
	Belt  Belt // drawn as a band beside the text; optional
}

// WriteLabels writes labels onto sheets, the first at a place counted from 1,
// row by row, for a sheet of which some are used up. With edges the labels'
// outlines are drawn, to try it out on plain paper. Paper and turn of the
// options do not count: the sheet says them.
func WriteLabels(w io.Writer, title string, labels []Label, sheet LabelSheet, start int, edges bool, opt Options) error {
	faults := sheet.Check()
	if len(labels) == 0 {
		faults = append(faults, rankwright.Faultf(rankwright.Invalid, "no_labels", "enter students first", "there is nothing to print on labels"))
	}
	each := sheet.Across * sheet.Down
	if start < 1 || each > 0 && start > each {
		faults = append(faults, rankwright.Faultf(rankwright.Invalid, "bad_start", fmt.Sprintf("count from 1 to %d, row by row", each), "there is no label %d on a sheet", start))
	}
	fonts, check := opt.fonts(), checker(opt, &faults)
	for _, l := range labels {
		check(fonts.sansBold, "the name "+l.Head, l.Head)
		for _, line := range l.Lines {
			check(fonts.sans, "a line of "+l.Head, line)
		}
	}
	if err := faults.Err(); err != nil {
		return err
	}
	doc := pdf.New(pdf.Info{Title: title, Lang: opt.Lang, Plain: opt.Plain})
	width, height := Options{Paper: sheet.Paper}.size(Portrait)
	var page *pdf.Page
	for i, l := range labels {
		at := (start - 1 + i) % each
		if at == 0 || i == 0 {
			page = doc.Page(width, height)
		}
		x := sheet.Left + float64(at%sheet.Across)*(sheet.Wide+sheet.GapX)
		y := sheet.Top + float64(at/sheet.Across)*(sheet.High+sheet.GapY)
		if edges {
			page.Stroke(pdf.Rect(x, y, sheet.Wide, sheet.High), 0.1, quiet)
		}
		if f := drawLabel(doc, page, fonts, l, x, y, sheet.Wide, sheet.High); f != nil {
			faults = append(faults, f)
		}
	}
	if err := faults.Err(); err != nil {
		return err
	}
	return doc.Write(w)
}

// drawLabel keeps clear of the edges, where cutting and feeding are a
// millimetre out.
func drawLabel(doc *pdf.Doc, page *pdf.Page, fonts *Fonts, l Label, x, y, wide, high float64) *rankwright.Fault {
	pad := min(4, high/8)
	left, room := x+pad, wide-2*pad
	if _, ok := pdf.ParseRGB(l.Belt.Base); ok {
		drawBand(page, left, y+high-pad-3, room, 3, l.Belt)
		high -= 4
	}
	s := doc.Setter()
	inner := high - 2*pad
	head := inner
	if len(l.Lines) > 0 {
		head = inner * 0.5
	}
	b, fits := s.Fit(fonts.sansBold, l.Head, room, head, pdf.Fit{Max: 15, Min: 5, OneLine: 9, Lines: 2, Lead: 1.3})
	if !fits {
		return rankwright.Faultf(rankwright.Invalid, "too_long", "take larger labels", "%q is too long for a label", l.Head)
	}
	card := doc.Elem(nil, "Sect")
	page.Tag(doc.Elem(card, "P"))
	page.Block(left, y+pad, room, pdf.Start, b, ink)
	at := y + pad + b.Height()
	step := (y + high - pad - at) / float64(max(1, len(l.Lines)))
	for _, line := range l.Lines {
		t, fits := s.Fit(fonts.sans, line, room, min(step, 7), pdf.Fit{Max: 10, Min: 4.5, OneLine: 7, Lines: 2, Lead: 1.3})
		if !fits {
			return rankwright.Faultf(rankwright.Invalid, "too_long", "take larger labels", "%q is too long for a label", line)
		}
		page.Tag(doc.Elem(card, "P"))
		page.Block(left, at, room, pdf.Start, t, ink)
		at += min(step, t.Height()+0.4)
	}
	page.Tag(nil)
	return nil
}
