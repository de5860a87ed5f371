package look

import (
	"fmt"
	"html/template"
	"unicode/utf8"
)

// Round is the way of the squads round the stations, drawn by the part
// "rotation": a picture with time from left to right and a line for each squad,
// and the same as a table for whoever does not see it or wants it exactly.
type Round struct {
	// Label names it, such as "Saturday, 10:20, mat B".
	Label    string
	Stations []string
	Squads   []RoundSquad
	// Break is the word for a break, Squad and Table those over the names and on
	// what opens the table. "" is English.
	Break, Squad, Table string
}

// RoundSquad is one line of a Round.
type RoundSquad struct {
	Name  string
	Stops []RoundStop // in the order of time
}

// RoundStop is a squad at a station, by its place in the stations, or in a
// break, -1. Times are minutes since midnight.
type RoundStop struct {
	Station     int
	From, Until int
}

// What follows is in the units of the picture, which are CSS pixels where it
// is not zoomed. A minute is wide enough for a station of some minutes to hold
// its name; a long round has a scroller of its own.
const (
	roundMinute = 17
	roundLabel  = 104
	roundLine   = 52
	roundBar    = 44
	roundAxis   = 30
	// Of the text in a bar, in quarters: on the average and a little more.
	roundLetter = 30
)

type (
	roundPicture struct {
		Round
		Width, Height int
		Ticks         []roundTick
		Rows          []roundRow
		Breaks        bool
	}
	roundTick struct {
		X, Low int
		Time   string
	}
	roundRow struct {
		Y, Middle int
		Name      string
		Short     string
		Bars      []roundBox
		Cells     []string // by station
		Pauses    string
	}
	roundBox struct {
		X, Y, Width, Height, Middle, Text int
		Kind                              string
		Words, Full                       string
	}
)

// picture lays the round out.
func (r Round) picture() roundPicture {
	if r.Break == "" {
		r.Break = "Break"
	}
	if r.Squad == "" {
		r.Squad = "Squad"
	}
	if r.Table == "" {
		r.Table = "The round as a table"
	}
	p := roundPicture{Round: r, Height: roundAxis + roundLine*len(r.Squads)}
	first, last := -1, -1
	for _, q := range r.Squads {
		for _, s := range q.Stops {
			if first < 0 || s.From < first {
				first = s.From
			}
			last = max(last, s.Until)
		}
	}
	first, last = max(first, 0), max(last, 0)
	x := func(minute int) int { return roundLabel + (minute-first)*roundMinute }
	p.Width = x(last) + 26
	for t := first; t <= last; t++ {
		if t == first || t%10 == 0 && t-first >= 4 {
			p.Ticks = append(p.Ticks, roundTick{x(t), p.Height, minuteClock(t)})
		}
	}
	for i, q := range r.Squads {
		y := roundAxis + i*roundLine
		row := roundRow{Y: y, Middle: y + roundLine/2 + 5, Name: q.Name, Short: cut(q.Name, 4*(roundLabel-6)/roundLetter), Cells: make([]string, len(r.Stations))}
		for _, s := range q.Stops {
			span := minuteClock(s.From) + "–" + minuteClock(s.Until)
			box := roundBox{X: x(s.From), Y: y + (roundLine-roundBar)/2, Width: (s.Until - s.From) * roundMinute, Height: roundBar, Middle: row.Middle}
			box.Text = box.X + box.Width/2
			name := r.Break
			if s.Station >= 0 && s.Station < len(r.Stations) {
				name = fmt.Sprintf("%d %s", s.Station+1, r.Stations[s.Station])
				box.Kind = []string{"round-one", "round-two"}[s.Station%2]
				row.Cells[s.Station] = span
				box.Words = fmt.Sprint(s.Station + 1)
			} else {
				box.Kind = "round-break"
				if row.Pauses != "" {
					row.Pauses += ", "
				}
				row.Pauses += span
				p.Breaks = true
			}
			box.Full = span + " " + name
			if utf8.RuneCountInString(name)*roundLetter <= 4*(box.Width-8) {
				box.Words = name
			}
			row.Bars = append(row.Bars, box)
		}
		p.Rows = append(p.Rows, row)
	}
	return p
}

func minuteClock(m int) string { return fmt.Sprintf("%02d:%02d", m/60, m%60) }

// cut shortens a text to so many characters.
func cut(s string, most int) string {
	if utf8.RuneCountInString(s) <= most {
		return s
	}
	return string([]rune(s)[:most-1]) + "…"
}

// roundFuncs are what the part "rotation" needs.
var roundFuncs = template.FuncMap{
	"roundpicture": Round.picture,
	"inc":          func(i int) int { return i + 1 },
}
