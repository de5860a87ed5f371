// Package calendar writes the times of a grading as iCalendar files (RFC 5545,
// Desruisseaux 2009; RFC 5546, Daboo 2009, for what the methods mean), which
// families and examiners add to the calendar on their phone.
//
// A time is written as the school's wall clock shows it, with the name of the
// school's zone and a VTIMEZONE made from the tz database, and not in UTC: the
// family was promised half past five at the hall. Where a country changes its
// rules between the letter and the day, a program that knows the zone by name
// moves the instant and keeps the half past five; an instant in UTC would send
// the family an hour wrong. A program that does not know the name reads the
// VTIMEZONE.
//
// The package knows no clock: the caller hands in when a time was made or
// changed, so the same input gives the same bytes. It writes the lines itself:
// of the libraries looked at, golang-ical 0.3.4 escapes commas and quotes in
// parameters with backslashes that RFC 5545 section 3.2 does not know (a school
// called "Otterlight, Pellmarrow Quay" would show one), ends lines with LF
// unless told, and has no way to add a DAYLIGHT part; go-ical does not fold.
package calendar

import (
	"bytes"
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"rankwright"
)

// A File is what one person gets in one go.
type File struct {
	// Name is shown by programs that subscribe, such as "Grading at Otterlight".
	Name string
	// Zone is the school's, by its name in the tz database. time.Local is
	// refused, since another machine knows another one.
	Zone *time.Location
	// School is who arranges it; Mail is its address, or "" where none is given
	// out.
	School, Mail string
	Events       []Event
}

// An Event is one time on one day.
type Event struct {
	// UID names it for ever, also when the time moves; see UID.
	UID string
	// Sequence is 0 at first and higher at every change that was given out.
	Sequence int
	// Changed is when this version was made.
	Changed time.Time
	Day     rankwright.Day
	// Start is in minutes since midnight by the school's clock; Minutes is how
	// long it takes as a stopwatch counts.
	Start, Minutes int
	// Summary, Where and Text are plain text; Text may hold line ends. They are
	// kept short of children's data by whoever fills them; see Family.
	Summary, Where, Text string
	// Cancelled takes the time back under the same UID.
	Cancelled bool
	// Remind is how many minutes before the start the program shows a reminder;
	// 0 is none.
	Remind int
}

// mostMinutes is the longest time that is taken for one: a day.
const mostMinutes = 24 * 60

// Write writes the file, or nothing and all the Faults in the way. Its method is
// CANCEL where every event is cancelled, else PUBLISH, in which the cancelled
// ones stand with their status.
func Write(w io.Writer, f File) error {
	if err := f.faults().Err(); err != nil {
		return err
	}
	events := slices.Clone(f.Events)
	slices.SortStableFunc(events, func(a, b Event) int {
		return cmp.Or(cmp.Compare(a.Day, b.Day), cmp.Compare(a.Start, b.Start), cmp.Compare(a.UID, b.UID))
	})
	l := &lines{}
	l.put("BEGIN:VCALENDAR")
	l.put("VERSION:2.0")
	l.put("PRODID:-//rankwright//grading times//EN")
	l.put("CALSCALE:GREGORIAN")
	l.put("METHOD:" + method(events))
	if clean(f.Name) != "" {
		l.text("X-WR-CALNAME", f.Name) // not in the RFC, and read by every program that subscribes
	}
	if !universal(f.Zone) {
		l.zone(f.Zone, span(events, f.Zone))
	}
	for i := range events {
		l.event(&f, &events[i])
	}
	l.put("END:VCALENDAR")
	_, err := w.Write(l.Bytes())
	return err
}

func method(events []Event) string {
	if !slices.ContainsFunc(events, func(e Event) bool { return !e.Cancelled }) {
		return "CANCEL"
	}
	return "PUBLISH"
}

func (f *File) faults() rankwright.Faults {
	if f.Zone == nil || f.Zone.String() == "Local" || f.Zone.String() == "" {
		return rankwright.Faults{rankwright.Faultf(rankwright.Invalid, "no_zone", "name the school's zone, such as Europe/London",
			"a calendar file needs the zone of the school's clock")}
	}
	var faults rankwright.Faults
	wrong := func(i int, code, do, say string, args ...any) {
		faults = append(faults, rankwright.Faultf(rankwright.Invalid, code, do, "time %d of the calendar file: "+say, append([]any{i + 1}, args...)...))
	}
	if len(f.Events) == 0 {
		faults = append(faults, rankwright.Faultf(rankwright.Invalid, "no_events", "publish the timetable first", "the calendar file has no times"))
	}
	if !addressable(f.Mail) {
		faults = append(faults, rankwright.Faultf(rankwright.Invalid, "bad_mail", "write it as name@example.org, or leave it out", "%q is not a mail address", f.Mail))
	}
	seen := map[string]int{}
	for i := range f.Events {
		e := &f.Events[i]
		if e.UID == "" || clean(e.UID) != e.UID || strings.ContainsRune(e.UID, '\n') {
			wrong(i, "no_uid", "make one with calendar.UID", "it has no name of its own (UID) in plain letters")
		} else if at, ok := seen[e.UID]; ok {
			wrong(i, "twice", "give each time its own", "it has the same UID as time %d", at+1)
		}
		seen[e.UID] = i
		if e.Sequence < 0 || e.Sequence > 1<<31-1 {
			wrong(i, "bad_sequence", "count up from 0", "its number of changes, %d, is out of range", e.Sequence)
		}
		if e.Changed.IsZero() || e.Changed.Year() < 1970 || e.Changed.Year() > 9000 {
			wrong(i, "no_stamp", "hand in when it was made", "it does not say when it was made")
		}
		if y := e.Day.Year(); e.Day.IsZero() || y < 1970 || y > 9000 {
			wrong(i, "no_day", "give the day of the grading", "it has no day, or one out of range")
			continue
		}
		if e.Start < 0 || e.Start >= mostMinutes || e.Minutes < 1 || e.Minutes > mostMinutes {
			wrong(i, "bad_time", "check the sitting", "from minute %d of the day for %d minutes is not a time of day", e.Start, e.Minutes)
			continue
		}
		if e.Remind < 0 || e.Remind > 28*mostMinutes {
			wrong(i, "bad_reminder", "choose at most four weeks", "a reminder %d minutes before is out of range", e.Remind)
		}
		if _, there := instant(e.Day, e.Start, f.Zone); !there {
			do := "move the sitting by an hour"
			if _, noon := instant(e.Day, mostMinutes/2, f.Zone); !noon {
				do = "choose another day" // a zone that crossed the date line
			}
			wrong(i, "no_such_time", do, "%s does not exist on %s in %s, where the clock is put forward over it",
				clock(e.Start), e.Day.Long(), f.Zone)
		}
	}
	return faults
}

// span is the first and the last instant of the events.
func span(events []Event, zone *time.Location) [2]time.Time {
	var s [2]time.Time
	for i := range events {
		from, _ := instant(events[i].Day, events[i].Start, zone)
		until := from.Add(time.Duration(events[i].Minutes) * time.Minute)
		if i == 0 || from.Before(s[0]) {
			s[0] = from
		}
		if i == 0 || until.After(s[1]) {
			s[1] = until
		}
	}
	return s
}

func (l *lines) event(f *File, e *Event) {
	stamp := e.Changed.UTC().Format(utcForm)
	l.put("BEGIN:VEVENT")
	l.put("UID:" + escape(e.UID))
	l.put(fmt.Sprintf("SEQUENCE:%d", e.Sequence))
	l.put("DTSTAMP:" + stamp)
	l.put("LAST-MODIFIED:" + stamp)
	l.times(f.Zone, e)
	l.organizer(f.School, f.Mail)
	l.text("SUMMARY", e.Summary)
	if clean(e.Where) != "" {
		l.text("LOCATION", e.Where)
	}
	if clean(e.Text) != "" {
		l.text("DESCRIPTION", e.Text)
	}
	// Whoever shares a calendar shows that the time is taken, not with what.
	l.put("CLASS:PRIVATE")
	if e.Cancelled {
		l.put("STATUS:CANCELLED")
		l.put("TRANSP:TRANSPARENT")
	} else {
		l.put("STATUS:CONFIRMED")
		l.put("TRANSP:OPAQUE")
		if e.Remind > 0 {
			l.put("BEGIN:VALARM")
			l.put("ACTION:DISPLAY")
			l.text("DESCRIPTION", e.Summary)
			l.put(fmt.Sprintf("TRIGGER:-PT%dM", e.Remind))
			l.put("END:VALARM")
		}
	}
	l.put("END:VEVENT")
}

// times writes start and end. The end is a time on the clock, which every
// program reads; where the clock shows that time twice and the second is meant,
// which no clock time can say, the length is written instead.
func (l *lines) times(zone *time.Location, e *Event) {
	from, _ := instant(e.Day, e.Start, zone)
	until := from.Add(time.Duration(e.Minutes) * time.Minute).In(zone)
	if universal(zone) {
		l.put("DTSTART:" + from.UTC().Format(utcForm))
		l.put("DTEND:" + until.UTC().Format(utcForm))
		return
	}
	tzid := ";TZID=" + parameter(zone.String()) + ":"
	l.put("DTSTART" + tzid + from.Format(clockForm))
	if back, there := reading(until); there && back.Equal(until) {
		l.put("DTEND" + tzid + until.Format(clockForm))
		return
	}
	l.put(fmt.Sprintf("DURATION:PT%dM", e.Minutes))
}

// organizer is asked for by RFC 5546 in what is published. Where the school
// gives out no address, a URI that leads nowhere stands in for it.
func (l *lines) organizer(school, mail string) {
	address := "invalid:nomail"
	if mail != "" {
		address = "mailto:" + mail
	}
	name := ""
	if clean(school) != "" {
		name = ";CN=" + parameter(school)
	}
	l.put("ORGANIZER" + name + ":" + address)
}

// A lines is the file so far.
type lines struct{ bytes.Buffer }

func clock(minute int) string { return fmt.Sprintf("%02d:%02d", minute/60, minute%60) }
