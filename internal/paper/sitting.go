package paper

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"rankwright"
	"rankwright/internal/paper/pdf"
)

// A SittingSheet is what the helpers of one sitting hold in their hands: who is
// in which squad, and when each squad is where. Every text is printed as it is
// given.
type SittingSheet struct {
	Title string // such as "Run sheet"
	// When names day, time and mat; School stands under it.
	When, School string
	// Cautions are printed in a frame before everything else.
	Cautions string
	Stations []SheetStation
	Squads   []SheetSquad
	// Clock words a time of day, in minutes since midnight; nil is 09:05.
	Clock func(minute int) string
	// Footer stands on every page; the first sheet's, for all of them.
	Footer string
}

// SheetStation is one station of the round.
type SheetStation struct {
	Name      string
	Minutes   string   // such as "8 min"
	Examiners []string // who examines there
	// Caution stands where there are falls, partner work or contact.
	Caution string
	Note    string // what to have there, such as pads
}

// SheetSquad is one squad with its way round the stations.
type SheetSquad struct {
	Name     string // such as "Squad 2"
	Children []SheetChild
	Visits   []SheetVisit // in the order of time
}

// SheetChild is one child of a squad: name and rank tried for, nothing else.
type SheetChild struct {
	Name, Rank string
	Belt       Belt
}

// SheetVisit is one stop of a squad. Station is its place in the sheet's
// stations, or -1 for a break.
type SheetVisit struct {
	From, Until int // minutes since midnight
	Station     int
}

// breakWord stands for a break on English sheets.
const breakWord = "Break"

// WriteSittingSheets writes the sheets one after the other, each beginning on a
// page of its own, or nothing and all the Faults in the way.
func WriteSittingSheets(w io.Writer, sheets []SittingSheet, opt Options) error {
	if len(sheets) == 0 {
		return rankwright.Faultf(rankwright.Invalid, "no_sheets", "make the timetable first", "there is no sitting to print")
	}
	var faults rankwright.Faults
	for i := range sheets {
		faults = append(faults, sheets[i].faults(opt)...)
	}
	if err := faults.Err(); err != nil {
		return err
	}
	p := newPager(sheets[0].Title, opt)
	for i := range sheets {
		s := &sheets[i]
		if i > 0 {
			p.again = nil
			p.turn()
		}
		p.sheet(s)
	}
	p.feet(sheets[0].Footer)
	return p.doc.Write(w)
}

func (s *SittingSheet) clock(minute int) string {
	if s.Clock != nil {
		return s.Clock(minute)
	}
	return fmt.Sprintf("%02d:%02d", minute/60, minute%60)
}

func (s *SittingSheet) faults(opt Options) rankwright.Faults {
	var faults rankwright.Faults
	fonts, check := opt.fonts(), checker(opt, &faults)
	check(fonts.serifBold, "the title", s.Title)
	check(fonts.sansBold, "the heading", s.When)
	check(fonts.sans, "the school's name", s.School)
	check(fonts.sansBold, "the cautions", s.Cautions)
	check(fonts.sans, "the footer", s.Footer)
	for _, x := range s.Stations {
		check(fonts.sansBold, "a station's name", x.Name)
		check(fonts.sans, "the examiners of "+x.Name, strings.Join(x.Examiners, ", "))
		check(fonts.sans, "the caution of "+x.Name, x.Caution)
		check(fonts.sans, "the note of "+x.Name, x.Note)
	}
	for _, q := range s.Squads {
		check(fonts.sansBold, "a squad's name", q.Name)
		for _, c := range q.Children {
			check(fonts.sansBold, "the name "+c.Name, c.Name)
			check(fonts.sans, "the rank of "+c.Name, c.Rank)
		}
		for _, v := range q.Visits {
			if v.Station < -1 || v.Station >= len(s.Stations) {
				faults = append(faults, rankwright.Faultf(rankwright.Invalid, "no_station", "make the round again",
					"%s is sent to station %d, and there are %d", q.Name, v.Station+1, len(s.Stations)))
			}
		}
	}
	return faults
}

func (p *pager) sheet(s *SittingSheet) {
	p.line("H1", p.fonts.serifBold, s.Title, 20, ink)
	p.line("P", p.fonts.sansBold, s.When, 12.5, ink)
	p.line("P", p.fonts.sans, s.School, 10, quiet)
	p.y += 3
	p.frame(s.Cautions)
	p.again = func() {
		p.line("P", p.fonts.sans, s.When, 9, quiet)
		p.y += 2
	}
	for i := range s.Squads {
		p.squad(s, &s.Squads[i])
	}
	p.stations(s)
}

const (
	childLine  = 6.4
	visitLine  = 5.6
	squadGap   = 5.0
	squadHead  = 8.5
	bandWide   = 11.0
	bandDeep   = 3.4
	timesShare = 0.46 // of the width, for the way round the stations
)

// squad draws a squad: on the left its children, on the right its way.
func (p *pager) squad(s *SittingSheet, q *SheetSquad) {
	left := p.inner() * (1 - timesShare)
	right := p.inner() - left
	names := make([]pdf.Block, len(q.Children))
	ranks := make([]pdf.Block, len(q.Children))
	deepLeft := 0.0
	nameWide := left - bandWide - 34
	for i, c := range q.Children {
		names[i] = p.wrap(p.fonts.sansBold, c.Name, 10.5, nameWide)
		ranks[i] = p.wrap(p.fonts.sans, c.Rank, 9.5, 26)
		deepLeft += max(childLine, names[i].Height()+1, ranks[i].Height()+1)
	}
	stops := make([]pdf.Block, len(q.Visits))
	deepRight := 0.0
	const clockWide = 25.0
	for i, v := range q.Visits {
		name := breakWord
		if v.Station >= 0 {
			name = s.Stations[v.Station].Name
		}
		stops[i] = p.wrap(p.fonts.sans, name, 9.5, right-clockWide-4)
		deepRight += max(visitLine, stops[i].Height()+0.6)
	}
	p.room(squadHead + max(deepLeft, deepRight) + squadGap)
	p.put(p.doc.Elem(nil, "H2"), sheetSide, p.y, p.inner(), pdf.Start, p.wrap(p.fonts.serifBold, q.Name, 13, p.inner()), ink)
	p.y += squadHead - 1.5
	p.page.Stroke(pdf.Segment(sheetSide, p.y, p.width-sheetSide, p.y), 0.4, ink)
	p.y += 1.5
	top := p.y
	table := p.doc.Elem(nil, "Table")
	for i, c := range q.Children {
		deep := max(childLine, names[i].Height()+1, ranks[i].Height()+1)
		row := p.doc.Elem(table, "TR")
		p.belt(sheetSide, p.y+(childLine-bandDeep)/2, bandWide, bandDeep, c.Belt)
		p.put(p.doc.Elem(row, "TD"), sheetSide+bandWide+2, p.y+(childLine-ranks[i].Lead)/2, 26, pdf.Start, ranks[i], quiet)
		p.put(p.doc.Elem(row, "TD"), sheetSide+bandWide+30, p.y+(childLine-names[i].Lead)/2, nameWide, pdf.Start, names[i], ink)
		p.y += deep
	}
	below := p.y
	p.y = top
	table = p.doc.Elem(nil, "Table")
	x := sheetSide + left + 4
	for i, v := range q.Visits {
		deep := max(visitLine, stops[i].Height()+0.6)
		row := p.doc.Elem(table, "TR")
		clock := p.wrap(p.fonts.sansBold, s.clock(v.From)+"–"+s.clock(v.Until), 9.5, clockWide)
		p.put(p.doc.Elem(row, "TD"), x, p.y+0.5, clockWide, pdf.Start, clock, ink)
		color := ink
		if v.Station < 0 {
			color = quiet
		}
		p.put(p.doc.Elem(row, "TD"), x+clockWide, p.y+0.5, right-clockWide-4, pdf.Start, stops[i], color)
		p.y += deep
	}
	p.y = max(p.y, below) + squadGap
}

// stations draws who examines where, in which order the squads come, and what
// to mind there.
func (p *pager) stations(s *SittingSheet) {
	if len(s.Stations) == 0 {
		return
	}
	p.room(40)
	p.line("H2", p.fonts.serifBold, "Stations", 13, ink)
	p.y += 0.5
	for i := range s.Stations {
		st := &s.Stations[i]
		head := st.Name
		if !blank(st.Minutes) {
			head += " · " + st.Minutes
		}
		var who string
		if len(st.Examiners) > 0 {
			who = "Examined by " + strings.Join(st.Examiners, ", ")
		}
		type coming struct {
			at    int
			squad string
		}
		var turns []coming
		for _, q := range s.Squads {
			for _, v := range q.Visits {
				if v.Station == i {
					turns = append(turns, coming{v.From, q.Name})
				}
			}
		}
		slices.SortStableFunc(turns, func(a, b coming) int { return a.at - b.at })
		var order []string
		for _, t := range turns {
			order = append(order, strings.ReplaceAll(s.clock(t.at)+" "+t.squad, " ", "\u00a0"))
		}
		b := []struct {
			block pdf.Block
			color pdf.RGB
		}{
			{p.wrap(p.fonts.sansBold, head, 10.5, p.inner()), ink},
			{p.wrap(p.fonts.sans, who, 9.5, p.inner()), ink},
			{p.wrap(p.fonts.sans, st.Note, 9.5, p.inner()), ink},
			{p.wrap(p.fonts.sans, strings.Join(order, " · "), 9.5, p.inner()), quiet},
			{p.wrap(p.fonts.sansBold, st.Caution, 9.5, p.inner()), ink},
		}
		texts := []string{head, who, st.Note, strings.Join(order, ""), st.Caution}
		deep := 0.0
		for k := range b {
			if !blank(texts[k]) {
				deep += b[k].block.Height()
			}
		}
		p.room(deep + 4)
		p.page.Stroke(pdf.Segment(sheetSide, p.y, p.width-sheetSide, p.y), 0.15, quiet)
		p.y += 1.5
		for k := range b {
			if blank(texts[k]) {
				continue
			}
			p.put(p.doc.Elem(nil, "P"), sheetSide, p.y, p.inner(), pdf.Start, b[k].block, b[k].color)
			p.y += b[k].block.Height()
		}
		p.y += 2
	}
}
