package calendar

import (
	"fmt"
	"time"

	"rankwright"
)

const (
	clockForm = "20060102T150405"
	utcForm   = clockForm + "Z"
)

// universal says whether a zone is UTC, for which a Z is enough.
func universal(zone *time.Location) bool {
	switch zone.String() {
	case "UTC", "Etc/UTC", "Etc/UCT", "Zulu", "Etc/Zulu", "Universal", "Etc/Universal":
		return true
	}
	return false
}

// instant is what a time on the wall means. Where the clock shows it twice, it
// is the first time; where the clock is put forward over it, there is none, and
// it is reckoned as if the clock had not been moved yet (both as RFC 5545
// section 3.3.5 has it).
func instant(day rankwright.Day, minute int, zone *time.Location) (at time.Time, there bool) {
	y, m, d := day.Date()
	return wall(time.Date(y, m, d, 0, minute, 0, 0, time.UTC), zone)
}

// reading is what programs make of the time that the clock shows at an instant.
func reading(at time.Time) (time.Time, bool) {
	y, m, d := at.Date()
	return wall(time.Date(y, m, d, at.Hour(), at.Minute(), at.Second(), 0, time.UTC), at.Location())
}

// wall finds the instant for a clock's reading, given as if it were UTC.
func wall(reading time.Time, zone *time.Location) (at time.Time, there bool) {
	before := reading.Add(-36 * time.Hour).In(zone) // well before any change on the day
	for {
		_, offset := before.Zone()
		at = reading.Add(-time.Duration(offset) * time.Second).In(zone)
		change, ok := next(before, at)
		if !ok {
			return at, true
		}
		_, after := change.Zone()
		if reading.Add(-time.Duration(after) * time.Second).Before(change) {
			return at, false // put forward over it
		}
		before = change
	}
}

// next is the next change of a zone's clock after an instant, up to and with
// the last one. It does not trust a bound that is none: for years beyond those
// written out in its tables Go gives the turn of the year as one, and on the
// last day of a leap year the instant itself (seen in Go 1.27.3).
func next(after, last time.Time) (time.Time, bool) {
	zone := after.Location()
	for at := after; ; {
		_, end := at.ZoneBounds()
		if end.IsZero() {
			return at, false
		}
		if !end.After(at) {
			end = at.Add(24 * time.Hour)
		}
		if end.After(last) {
			return at, false
		}
		name, offset := at.Zone()
		summer := at.IsDST()
		at = end.In(zone)
		if n, o := at.Zone(); n != name || o != offset || at.IsDST() != summer {
			return at, true
		}
	}
}

// A shift is one change of a zone's clock.
type shift struct {
	at       time.Time // in the zone, after the change
	from, to int       // seconds east of UTC
	name     string
	summer   bool
}

// onset is the moment of the change on the clock before it.
func (s shift) onset() time.Time { return s.at.UTC().Add(time.Duration(s.from) * time.Second) }

// shifts are the changes of a zone in a span of time, after the last one before
// it. Where there was none in the three years before, the clock as it stood is
// put down as a change of nothing.
func shifts(zone *time.Location, from, until time.Time) []shift {
	at := from.AddDate(-3, 0, 0).In(zone)
	name, to := at.Zone()
	since := time.Date(1970, 1, 1, 0, 0, 0, 0, time.UTC).Add(-time.Duration(to) * time.Second)
	list := []shift{{since.In(zone), to, to, name, at.IsDST()}}
	for {
		change, ok := next(at, until)
		if !ok {
			return list
		}
		if !change.After(from) {
			list = list[:0]
		}
		before := to
		name, to = change.Zone()
		list = append(list, shift{change, before, to, name, change.IsDST()})
		at = change
	}
}

// zone writes the VTIMEZONE. Where the zone goes to and fro by a yearly rule, it
// is two parts with that rule, which is what every program reads; else each
// change of the years in question stands by itself.
func (l *lines) zone(zone *time.Location, span [2]time.Time) {
	l.put("BEGIN:VTIMEZONE")
	l.put("TZID:" + escape(zone.String()))
	// One year more at both ends, so that a program which looks a little
	// beyond finds an answer.
	from, until := span[0].AddDate(-1, 0, 0), span[1].AddDate(1, 0, 0)
	list := shifts(zone, from, until)
	if rules, ok := yearly(zone, from, until); ok {
		l.observance(list[0], rules[0])
		l.observance(list[1], rules[1])
	} else {
		for _, s := range list {
			l.observance(s, "")
		}
	}
	l.put("END:VTIMEZONE")
}

func (l *lines) observance(s shift, rule string) {
	kind := "STANDARD"
	if s.summer {
		kind = "DAYLIGHT"
	}
	l.put("BEGIN:" + kind)
	l.put("DTSTART:" + s.onset().Format(clockForm))
	if rule != "" {
		l.put("RRULE:" + rule)
	}
	l.put("TZOFFSETFROM:" + offset(s.from))
	l.put("TZOFFSETTO:" + offset(s.to))
	l.text("TZNAME", s.name)
	l.put("END:" + kind)
}

func offset(seconds int) string {
	sign := "+"
	if seconds < 0 {
		sign, seconds = "-", -seconds
	}
	s := fmt.Sprintf("%s%02d%02d", sign, seconds/3600, seconds/60%60)
	if seconds%60 != 0 {
		s += fmt.Sprintf("%02d", seconds%60)
	}
	return s
}

// yearly finds the two yearly rules of a zone's changes, if they give exactly
// its changes and go on doing so for five years.
func yearly(zone *time.Location, from, until time.Time) (rules [2]string, ok bool) {
	list := shifts(zone, from, until.AddDate(5, 0, 0))
	if len(list) < 4 || list[0].from == list[0].to {
		return rules, false
	}
	for i := range 2 {
		if rules[i], ok = ruleOf(list, i); !ok {
			return rules, false
		}
	}
	return rules, true
}

// ruleOf finds the rule of every second change, from the given one on.
func ruleOf(list []shift, first int) (string, bool) {
	a := list[first]
	at := a.onset()
	nth, last := (at.Day()-1)/7+1, true
	same := true
	for i := first; i < len(list); i += 2 {
		b := list[i]
		on := b.onset()
		if b.from != a.from || b.to != a.to || b.summer != a.summer || b.name != a.name || on.Month() != at.Month() ||
			on.Weekday() != at.Weekday() || on.Hour() != at.Hour() || on.Minute() != at.Minute() || on.Second() != at.Second() ||
			on.Year() != at.Year()+(i-first)/2 {
			return "", false
		}
		same = same && (on.Day()-1)/7+1 == nth
		last = last && on.AddDate(0, 0, 7).Month() != on.Month()
	}
	if !same && !last {
		return "", false
	}
	if last {
		nth = -1
	}
	day := []string{"SU", "MO", "TU", "WE", "TH", "FR", "SA"}[at.Weekday()]
	return fmt.Sprintf("FREQ=YEARLY;BYMONTH=%d;BYDAY=%d%s", int(at.Month()), nth, day), true
}
