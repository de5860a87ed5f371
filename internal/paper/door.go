package paper

import (
	"io"
	"strings"
	"unicode"

	"rankwright"
	"rankwright/internal/paper/pdf"
)

// A DoorList hangs where everybody sees it: times, and by which name a child
// finds its own. No rank, no age, no result, no family name, and never who has
// no time.
type DoorList struct {
	Title string // such as "Times"
	// When is the day in words; School stands under it.
	When, School string
	// Note is a sentence for whoever does not find themselves, such as whom to
	// ask; optional.
	Note     string
	Sittings []DoorSitting
	Footer   string
}

// DoorSitting is one time.
type DoorSitting struct {
	Time  string // such as "10:20"
	Where string // such as "mat B"
	// Names are DoorName's, in the order in which people look for them.
	Names []string
}

// DoorName is the name on the door: the given names, and the first letter of
// the family name with whatever marks stand on it.
func DoorName(given, family string) string {
	given, family = strings.TrimSpace(given), strings.TrimSpace(family)
	var initial []rune
	for _, r := range family {
		if len(initial) > 0 && !unicode.Is(unicode.M, r) {
			break
		}
		if len(initial) > 0 || unicode.IsLetter(r) {
			initial = append(initial, r)
		}
	}
	switch {
	case len(initial) == 0:
		return given
	case given == "":
		return string(initial) + "."
	}
	return given + " " + string(initial) + "."
}

// WriteDoorList writes the list in letters that are read from two metres, or
// nothing and all the Faults in the way.
func WriteDoorList(w io.Writer, d DoorList, opt Options) error {
	if err := d.faults(opt).Err(); err != nil {
		return err
	}
	p := newPager(d.Title, opt)
	p.line("H1", p.fonts.serifBold, d.Title, 30, ink)
	p.line("P", p.fonts.sansBold, d.When, 17, ink)
	p.line("P", p.fonts.sans, d.School, 12, quiet)
	p.y += 2
	p.line("P", p.fonts.sans, d.Note, 12, ink)
	p.y += 4
	p.again = func() {
		p.line("P", p.fonts.sans, d.Title+", "+d.When, 11, quiet)
		p.y += 2
	}
	for i := range d.Sittings {
		p.door(&d.Sittings[i])
	}
	p.feet(d.Footer)
	return p.doc.Write(w)
}

func (d *DoorList) faults(opt Options) rankwright.Faults {
	var faults rankwright.Faults
	if len(d.Sittings) == 0 {
		faults = append(faults, rankwright.Faultf(rankwright.Invalid, "no_times", "publish the timetable first", "there are no times for the door"))
	}
	fonts, check := opt.fonts(), checker(opt, &faults)
	check(fonts.serifBold, "the title", d.Title)
	check(fonts.sansBold, "the day", d.When)
	check(fonts.sans, "the school's name", d.School)
	check(fonts.sans, "the note", d.Note)
	check(fonts.sans, "the footer", d.Footer)
	for _, s := range d.Sittings {
		check(fonts.serifBold, "the time", s.Time)
		check(fonts.sans, "the place", s.Where)
		for _, n := range s.Names {
			check(fonts.sansBold, "the name "+n, n)
		}
	}
	return faults
}

// door draws one time on the left and its names beside it, in two columns that
// are read downwards.
func (p *pager) door(s *DoorSitting) {
	const timeWide, size, gap = 42.0, 15.0, 6.0
	names := s.Names
	column := (p.inner() - timeWide) / 2
	blocks := make([]pdf.Block, len(names))
	for i, n := range names {
		blocks[i] = p.wrap(p.fonts.sansBold, n, size, column-3)
	}
	half := (len(blocks) + 1) / 2
	height := func(list []pdf.Block) (h float64) {
		for _, b := range list {
			h += b.Height() + 0.8
		}
		return h
	}
	clock := p.wrap(p.fonts.serifBold, s.Time, 24, timeWide-3)
	where := p.wrap(p.fonts.sans, s.Where, 12, timeWide-3)
	deep := max(clock.Height()+where.Height(), height(blocks[:half]), height(blocks[half:]))
	p.room(deep + gap)
	p.page.Stroke(pdf.Segment(sheetSide, p.y, p.width-sheetSide, p.y), 0.4, ink)
	p.y += 2
	head := p.doc.Elem(nil, "H2")
	p.put(head, sheetSide, p.y-1, timeWide-3, pdf.Start, clock, ink)
	if !blank(s.Where) {
		p.put(p.doc.Elem(nil, "P"), sheetSide, p.y-1+clock.Height(), timeWide-3, pdf.Start, where, quiet)
	}
	list := p.doc.Elem(nil, "L")
	x, y := sheetSide+timeWide, p.y
	for i, b := range blocks {
		if i == half {
			x, y = x+column, p.y
		}
		item := p.doc.Elem(p.doc.Elem(list, "LI"), "LBody")
		p.put(item, x, y, column-3, pdf.Start, b, ink)
		y += b.Height() + 0.8
	}
	p.y += deep + gap - 2
}
