package roster

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"rankwright"
)

// dateColumn is how one column of dates is read.
type dateColumn struct {
	heading  string
	readings map[int]reading // by row of the body
	order    Order
	because  string
	question *Question
}

// decide finds the order of a column of dates. An answer comes first, then
// the order kept in the mapping, then the cells themselves: the order in
// which every cell is a date, if there is one only. Otherwise it asks.
func (im *importing) decide(f Field, col int) *dateColumn {
	dc := &dateColumn{heading: cleanLine(im.head.Text(col)), readings: map[int]reading{}}
	for i, r := range im.body {
		if s := cleanLine(unguard(cleanLine(r.Text(col)))); !isBlank(s) {
			dc.readings[i] = readDate(s, im.today, im.table.Epoch1904)
		}
	}
	id := "order " + string(f)
	if o := Order(im.answers[id]); o == DayFirst || o == MonthFirst || o == YearFirst {
		dc.order, dc.because = o, "as you answered"
		return dc
	}
	if o := im.mapping.DateOrder[f]; o != UnknownOrder {
		dc.order, dc.because = o, "as was kept for these headings"
		return dc
	}
	left := []Order{DayFirst, MonthFirst, YearFirst}
	var open []reading
	alone := map[Order][]string{}
	seen, decider := false, ""
	for i := range im.body {
		rd, ok := dc.readings[i]
		if !ok || len(rd.by) == 0 {
			continue
		}
		seen = true
		left = slices.DeleteFunc(left, func(o Order) bool { return rd.by[o].IsZero() })
		if len(rd.by) == 1 {
			for o := range rd.by {
				alone[o] = append(alone[o], fmt.Sprintf("%d (%s)", im.body[i].Line, rd.text))
			}
			if decider == "" {
				decider = fmt.Sprintf("because line %d has %s", im.body[i].Line, rd.text)
			}
		}
		if _, ok := rd.in(UnknownOrder); !ok && !slices.ContainsFunc(open, func(o reading) bool { return o.text == rd.text }) {
			open = append(open, rd)
		}
	}
	switch {
	case !seen || (len(left) > 1 && len(open) == 0):
	case len(left) == 1:
		dc.order, dc.because = left[0], decider
		if decider == "" {
			dc.because = "the only order in which every value is a date"
		}
	default:
		dc.question = im.askOrder(id, dc.heading, left, open, alone)
	}
	return dc
}

func (im *importing) askOrder(id, heading string, left []Order, open []reading, alone map[Order][]string) *Question {
	q := &Question{ID: id, Where: rankwright.Place{File: im.table.File, Name: heading}}
	if len(left) == 0 {
		var sides []string
		for _, o := range []Order{DayFirst, MonthFirst, YearFirst} {
			if rows := alone[o]; len(rows) > 0 {
				sides = append(sides, fmt.Sprintf("line%s %s can only be %s", plural(len(rows)), firstFew(rows), o.Label()))
				left = append(left, o)
			}
		}
		q.Ask = fmt.Sprintf("The dates do not agree with each other: %s. In which order is the column written? "+
			"The lines that do not fit will be named for you to correct.", strings.Join(sides, ", and "))
	} else {
		q.Ask = fmt.Sprintf("Nothing in the column shows in which order day, month and year are written. Which day is meant by %s?", open[0].text)
	}
	for _, o := range left {
		var shown []string
		for _, rd := range open {
			if d, ok := rd.by[o]; ok && len(shown) < 2 {
				shown = append(shown, rd.text+" is "+short(d))
			}
		}
		label := o.Label()
		if len(shown) > 0 {
			label += ": " + listOf(shown)
		}
		q.Choices = append(q.Choices, Choice{Value: string(o), Label: label})
	}
	return q
}

// notes says aloud how the column was read, where more than one reading was
// possible.
func (dc *dateColumn) notes(lineOf func(int) int) []string {
	var out []string
	if dc.order != UnknownOrder {
		out = append(out, fmt.Sprintf("column %q is read as %s, %s", dc.heading, dc.order.Label(), dc.because))
	}
	serials, twos := 0, 0
	var serial, two string
	for _, i := range slices.Sorted(maps.Keys(dc.readings)) {
		rd := dc.readings[i]
		d, sure := rd.in(dc.order)
		if !sure {
			continue
		}
		if rd.serial {
			if serials++; serials == 1 {
				serial = fmt.Sprintf("%s on line %d is %s", rd.text, lineOf(i), short(d))
			}
		}
		if rd.twoDigit {
			if twos++; twos == 1 {
				two = fmt.Sprintf("%s on line %d is %s", rd.text, lineOf(i), short(d))
			}
		}
	}
	if serials > 0 {
		out = append(out, fmt.Sprintf("column %q holds %d day number%s of a spreadsheet: %s", dc.heading, serials, plural(serials), serial))
	}
	if twos > 0 {
		out = append(out, fmt.Sprintf("column %q has years of two digits, read as the latest year that is not in the future: %s", dc.heading, two))
	}
	return out
}

// date reads the cell of one row, or says what is wrong with it.
func (im *importing) date(d *draft, f Field) rankwright.Day {
	dc := im.dates[f]
	if dc == nil {
		return 0
	}
	rd, ok := dc.readings[d.index]
	if !ok {
		return 0
	}
	if !rd.isDate() {
		d.refuse(im, f, "date", redo, "%s %s", shown(rd.text), rd.trouble)
		return 0
	}
	day, ok := rd.in(dc.order)
	switch {
	case ok:
		return day
	case dc.order == UnknownOrder:
		d.wait(im, f, "%s can be read in more than one way", rd.text)
	default:
		d.refuse(im, f, "date_order", redo, "%s is not a date in the order %s, in which this column is read %s",
			shown(rd.text), dc.order.Label(), dc.because)
	}
	return 0
}

// isBlank says whether a cell says nothing.
func isBlank(s string) bool {
	switch s {
	case "", "-", "--", "–", "—", "?", "n/a", "N/A":
		return true
	}
	return false
}

// shown is what a cell says, for a sentence: in quotation marks where it
// could be taken for part of the sentence.
func shown(s string) string {
	s = cut(s)
	if strings.Contains(s, " ") || !strings.ContainsAny(s, "0123456789") {
		return `"` + s + `"`
	}
	return s
}

// cut shortens a long text.
func cut(s string) string {
	if r := []rune(s); len(r) > 60 {
		return string(r[:57]) + "..."
	}
	return s
}

func plural(n int) string {
	if n == 1 {
		return ""
	}
	return "s"
}

func firstFew(items []string) string {
	if len(items) > 4 {
		return strings.Join(items[:3], ", ") + fmt.Sprintf(" and %d more", len(items)-3)
	}
	return listOf(items)
}
