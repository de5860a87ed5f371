package roster

import (
	"strings"
	"time"

	"rankwright"
)

// Order is the order in which a column writes day, month and year.
type Order string

// The orders. UnknownOrder has not been decided.
const (
	UnknownOrder Order = ""
	DayFirst     Order = "dmy"
	MonthFirst   Order = "mdy"
	YearFirst    Order = "ymd"
)

// Label writes the order in words.
func (o Order) Label() string {
	switch o {
	case DayFirst:
		return "day/month/year"
	case MonthFirst:
		return "month/day/year"
	case YearFirst:
		return "year/month/day"
	}
	return "no order"
}

// reading is what one cell can mean. Where fixed is a day the order plays no
// part. Otherwise by holds the day in each order in which the text is one.
type reading struct {
	text     string
	fixed    rankwright.Day
	by       map[Order]rankwright.Day
	serial   bool
	twoDigit bool
	// trouble says why this is no date, where it is none in any order.
	trouble string
}

func (r reading) isDate() bool { return !r.fixed.IsZero() || len(r.by) > 0 }

// in returns the day in an order; without an order, the day if every order
// that fits agrees on it.
func (r reading) in(o Order) (rankwright.Day, bool) {
	if !r.fixed.IsZero() {
		return r.fixed, true
	}
	if o != UnknownOrder {
		d, ok := r.by[o]
		return d, ok
	}
	var only rankwright.Day
	for _, d := range r.by {
		if !only.IsZero() && only != d {
			return 0, false
		}
		only = d
	}
	return only, !only.IsZero()
}

// readDate reads one cell. Two-digit years are the latest that is not in the
// future as of today: birthdays and gradings have been.
func readDate(s string, today rankwright.Day, epoch1904 bool) reading {
	r := reading{text: s}
	text := dropTime(s)
	if allDigits(text) {
		return readNumber(r, text, epoch1904)
	}
	parts, sep := splitDate(text)
	if d, two, ok := namedMonth(parts, today); ok {
		r.fixed, r.twoDigit = d, two
		return r
	}
	if len(parts) != 3 || !allDigits(parts[0]) || !allDigits(parts[1]) || !allDigits(parts[2]) {
		r.trouble = "is not a date"
		return r
	}
	if len(parts[0]) == 4 {
		r.fixed = dayOf(parts[0], parts[1], parts[2], today)
		if r.fixed.IsZero() {
			r.trouble = "is not a date: there is no such day"
		}
		return r
	}
	r.by = map[Order]rankwright.Day{}
	put := func(o Order, y, m, d string) {
		if day := dayOf(y, m, d, today); !day.IsZero() {
			r.by[o] = day
		}
	}
	put(DayFirst, parts[2], parts[1], parts[0])
	put(MonthFirst, parts[2], parts[0], parts[1])
	// Years of two digits are written first with hyphens only, or where
	// nothing else is a date.
	if r.twoDigit = len(parts[2]) == 2; r.twoDigit && (sep == "-" || len(r.by) == 0) {
		put(YearFirst, parts[0], parts[1], parts[2])
	}
	// Dots between numbers mean day first wherever they are used (Unicode
	// CLDR has no region that writes month.day.year).
	if day, ok := r.by[DayFirst]; ok && sep == "." && !r.twoDigit {
		r.fixed, r.by = day, nil
		return r
	}
	if len(r.by) == 0 {
		r.trouble = "is not a date in any order"
	}
	return r
}

// readNumber reads digits alone: yyyymmdd, or a spreadsheet's day number.
func readNumber(r reading, text string, epoch1904 bool) reading {
	switch len(text) {
	case 8:
		if r.fixed = dayOf(text[:4], text[4:6], text[6:], 0); r.fixed.IsZero() {
			r.trouble = "is not a date: as year, month and day there is no such day"
		}
	case 5:
		r.fixed, r.serial = SerialDay(atoi(text), epoch1904), true
	case 4:
		r.trouble = "is a year or a number, and a whole date is needed"
	default:
		r.trouble = "is not a date"
	}
	return r
}

// SerialDay turns a spreadsheet's day number into a day. In the usual system
// day 1 is 1 January 1900 and day 60 is a 29 February that never was, kept
// for the sake of older programs; the other counts from 1 January 1904 as
// day 0 (ECMA-376 part 1, 18.17.4.1). Day 60 and days out of range give the
// zero Day.
func SerialDay(n int, epoch1904 bool) rankwright.Day {
	const last = 2958465 // 31 December 9999
	switch {
	case epoch1904 && n >= 0 && n <= last-1462:
		return rankwright.NewDay(1904, time.January, 1) + rankwright.Day(n)
	case epoch1904 || n < 1 || n == 60 || n > last:
		return 0
	case n < 60:
		return rankwright.NewDay(1899, time.December, 31) + rankwright.Day(n)
	}
	return rankwright.NewDay(1899, time.December, 30) + rankwright.Day(n)
}

// dropTime takes off a time of day, a trailing ".0" and a weekday.
func dropTime(s string) string {
	s = cleanLine(s)
	if whole, frac, ok := strings.Cut(s, "."); ok && len(whole) == 5 && allDigits(whole) && allDigits(frac) {
		return whole
	}
	if before, after, ok := strings.Cut(s, "T"); ok && len(before) == 10 && isTime(after) {
		return before
	}
	if i := strings.IndexByte(s, ' '); i > 0 && isTime(s[i+1:]) {
		return s[:i]
	}
	if day, rest, ok := strings.Cut(s, " "); ok && weekdays[Fold(day)] {
		return rest
	}
	return s
}

var weekdays = func() map[string]bool {
	m := map[string]bool{}
	for _, w := range strings.Fields(`monday tuesday wednesday thursday friday saturday sunday mon tue tues wed thu thur thurs fri sat sun
		lunes martes miercoles jueves viernes sabado domingo`) {
		m[w] = true
	}
	return m
}()

func isTime(s string) bool {
	s = strings.TrimSuffix(strings.TrimSuffix(s, "Z"), " ")
	for _, m := range []string{" AM", " PM", " am", " pm", " a.m.", " p.m."} {
		s = strings.TrimSuffix(s, m)
	}
	if !strings.Contains(s, ":") {
		return false
	}
	for _, r := range s {
		if (r < '0' || r > '9') && r != ':' && r != '.' && r != '+' {
			return false
		}
	}
	return true
}

// splitDate parts "25-Mar-2017" at its separators, and says which ones if
// they are all alike.
func splitDate(s string) (parts []string, sep string) {
	seps := map[rune]bool{}
	parts = strings.FieldsFunc(s, func(r rune) bool {
		if r == '/' || r == '-' || r == '.' || r == ' ' || r == ',' || r == '·' || r == '‐' || r == '–' || r == '年' || r == '月' || r == '日' {
			if r != ' ' {
				seps[r] = true
			}
			return true
		}
		return false
	})
	if len(seps) == 1 {
		for r := range seps {
			sep = string(r)
		}
	}
	return parts, sep
}

var months = func() map[string]int {
	m := map[string]int{}
	for i, w := range strings.Fields(`january:jan:enero:ene february:feb:febrero march:mar:marzo april:apr:abril:abr may:mayo june:jun:junio
		july:jul:julio august:aug:agosto:ago september:sep:sept:septiembre:setiembre:set october:oct:octubre november:nov:noviembre
		december:dec:diciembre:dic`) {
		for _, n := range strings.Split(w, ":") {
			m[n] = i + 1
		}
	}
	return m
}()

// namedMonth reads "25 March 2017", "March 25th, 2017", "25 de marzo de
// 2017", "2017 Mar 25" and the like.
func namedMonth(parts []string, today rankwright.Day) (d rankwright.Day, two, ok bool) {
	var nums []string
	month, at := 0, 0
	for _, p := range parts {
		f := Fold(p)
		if f == "de" || f == "del" || f == "of" || f == "the" {
			continue
		}
		if m, ok := months[f]; ok && month == 0 {
			month, at = m, len(nums)
			continue
		}
		for _, suffix := range []string{"st", "nd", "rd", "th"} {
			f = strings.TrimSuffix(f, suffix)
		}
		if !allDigits(f) {
			return 0, false, false
		}
		nums = append(nums, f)
	}
	if month == 0 || len(nums) != 2 || at == 2 {
		return 0, false, false
	}
	day, year := nums[0], nums[1]
	if len(day) == 4 {
		day, year = year, day
	}
	d = dayOf(year, itoa(month), day, today)
	return d, len(year) == 2, !d.IsZero()
}

// dayOf makes a day of digits, or the zero Day where there is none. A year
// has four digits or two.
func dayOf(y, m, d string, today rankwright.Day) rankwright.Day {
	if len(m) > 2 || len(d) > 2 || (len(y) != 2 && len(y) != 4) {
		return 0
	}
	year, month, day := atoi(y), atoi(m), atoi(d)
	if len(y) == 2 {
		return twoDigitYear(year, month, day, today)
	}
	if year < 1 || month < 1 || month > 12 || day < 1 || day > rankwright.DaysIn(year, time.Month(month)) {
		return 0
	}
	return rankwright.NewDay(year, time.Month(month), day)
}

// twoDigitYear takes the latest century in which the day is not after today.
func twoDigitYear(yy, month, day int, today rankwright.Day) rankwright.Day {
	for century := today.Year() / 100 * 100; century >= 100 && century >= today.Year()/100*100-200; century -= 100 {
		y := century + yy
		if month < 1 || month > 12 || day < 1 || day > rankwright.DaysIn(y, time.Month(month)) {
			continue
		}
		if d := rankwright.NewDay(y, time.Month(month), day); d <= today {
			return d
		}
	}
	return 0
}

func allDigits(s string) bool {
	for i := range len(s) {
		if s[i] < '0' || s[i] > '9' {
			return false
		}
	}
	return s != ""
}

// atoi reads up to nine digits; the callers have looked.
func atoi(s string) int {
	n := 0
	for i := range min(len(s), 9) {
		n = n*10 + int(s[i]-'0')
	}
	return n
}

func itoa(n int) string {
	if n < 10 {
		return string(rune('0' + n))
	}
	return itoa(n/10) + string(rune('0'+n%10))
}
