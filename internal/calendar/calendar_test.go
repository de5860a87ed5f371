package calendar_test

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"rankwright"
	"rankwright/internal/calendar"
)

var made = time.Date(2026, 9, 14, 18, 30, 0, 0, time.UTC)

func event(day string, start, minutes int) calendar.Event {
	return calendar.Event{UID: calendar.UID("g1", "e1"), Changed: made, Day: rankwright.MustDay(day), Start: start, Minutes: minutes, Summary: "Grading: Yusra"}
}

// The zones that are tried, with the offset that their clock shows on some day,
// from the tz database's own tables (theory.html and the zone files, 2024).
var zones = []string{"Europe/London", "Europe/Dublin", "Europe/Lisbon", "America/New_York", "America/Sao_Paulo", "America/Santiago",
	"America/St_Johns", "Australia/Lord_Howe", "Australia/Sydney", "Pacific/Auckland", "Pacific/Chatham", "Asia/Kathmandu", "Asia/Kolkata",
	"Asia/Tokyo", "Africa/Casablanca", "Africa/Cairo", "Asia/Gaza", "Antarctica/Troll", "Pacific/Apia", "UTC"}

// Known instants, from the rules as the authorities publish them: EU Directive
// 2000/84/EC (last Sundays of March and October at 01:00 UTC), US Energy Policy
// Act of 2005 (second Sunday of March, first of November, 02:00), Lord Howe by
// New South Wales' Standard Time Act with half an hour, Nepal +05:45, Brazil
// without summer time since decree 9772 of 2019.
func TestTheClockOfTheSchoolMeansTheInstantThatItsLawSays(t *testing.T) {
	r := newReader(t)
	for _, c := range []struct {
		zone, day  string
		start      int
		utc, until string
	}{
		{"Europe/London", "2026-10-24", 17*60 + 30, "2026-10-24T16:30:00Z", "2026-10-24T17:20:00Z"},
		{"Europe/London", "2026-10-25", 17*60 + 30, "2026-10-25T17:30:00Z", "2026-10-25T18:20:00Z"},
		{"Europe/London", "2026-03-28", 9 * 60, "2026-03-28T09:00:00Z", "2026-03-28T09:50:00Z"},
		{"Europe/London", "2026-03-29", 9 * 60, "2026-03-29T08:00:00Z", "2026-03-29T08:50:00Z"},
		{"Europe/London", "2026-03-29", 30, "2026-03-29T00:30:00Z", "2026-03-29T01:20:00Z"},
		{"Europe/London", "2026-10-25", 60 + 30, "2026-10-25T00:30:00Z", "2026-10-25T01:20:00Z"},
		{"Europe/Dublin", "2026-12-05", 10 * 60, "2026-12-05T10:00:00Z", "2026-12-05T10:50:00Z"},
		{"America/New_York", "2026-11-01", 12 * 60, "2026-11-01T17:00:00Z", "2026-11-01T17:50:00Z"},
		{"America/New_York", "2026-10-31", 12 * 60, "2026-10-31T16:00:00Z", "2026-10-31T16:50:00Z"},
		{"Australia/Lord_Howe", "2026-04-04", 12 * 60, "2026-04-04T01:00:00Z", "2026-04-04T01:50:00Z"},
		{"Australia/Lord_Howe", "2026-04-05", 12 * 60, "2026-04-05T01:30:00Z", "2026-04-05T02:20:00Z"},
		{"Asia/Kathmandu", "2026-10-10", 12 * 60, "2026-10-10T06:15:00Z", "2026-10-10T07:05:00Z"},
		{"America/Sao_Paulo", "2026-12-12", 12 * 60, "2026-12-12T15:00:00Z", "2026-12-12T15:50:00Z"},
		{"UTC", "2026-12-12", 12 * 60, "2026-12-12T12:00:00Z", "2026-12-12T12:50:00Z"},
	} {
		got := r.read(t, written(t, calendar.File{Zone: zone(t, c.zone), Events: []calendar.Event{event(c.day, c.start, 50)}})).Events[0]
		if got.Start != c.utc || got.End != c.until {
			t.Errorf("%s, %s at minute %d: read as %s to %s, is %s to %s", c.zone, c.day, c.start, got.Start, got.End, c.utc, c.until)
		}
	}
}

// text draws what a person may type, without what is not kept: control
// characters and space at both ends.
func text(g *rapid.T, label string) string {
	piece := rapid.OneOf(rapid.SampledFrom([]string{",", ";", ":", `\`, `\n`, "\n", "\n\n", `"`, "'", "=", " ", "\t", "Zoë", "Đặng", "ياسمين", "خالد",
		"אביגיל", "王小明", "👩‍👩‍👧", "🥋", "e\u0301", "BEGIN:VEVENT", "\nEND:VCALENDAR", "O’Neill", "<b>", "%0A", "^n"}),
		rapid.StringOfN(rapid.RuneFrom([]rune("abc ,;:\\\"äßŁğ\u00a0\u200f\u202e\U0001F94B")), 1, 60, -1))
	s := strings.Join(rapid.SliceOfN(piece, 0, 6).Draw(g, label), "")
	return strings.TrimSpace(s)
}

// changes are days on or beside a change of a zone's clock, found by walking
// the days of some years and asking Go's tz database for noon's offset.
func changes(z *time.Location) []rankwright.Day {
	var days []rankwright.Day
	was := -1
	for d := rankwright.MustDay("2010-01-01"); d < rankwright.MustDay("2043-01-01"); d++ {
		y, m, n := d.Date()
		_, off := time.Date(y, m, n, 12, 0, 0, 0, z).Zone()
		if off != was {
			days = append(days, d)
		}
		was = off
	}
	return days
}

func TestEveryEventIsReadBackTheSameByAnIndependentReader(t *testing.T) {
	r := newReader(t)
	around := map[string][]rankwright.Day{}
	for _, z := range zones {
		around[z] = changes(zone(t, z))
	}
	none := 0
	rapid.Check(t, func(g *rapid.T) {
		name := rapid.SampledFrom(zones).Draw(g, "zone")
		z := zone(g, name)
		f := calendar.File{Zone: z, Name: text(g, "name"), School: text(g, "school"), Mail: rapid.SampledFrom([]string{"", "desk@otterlight.example"}).Draw(g, "mail")}
		for i := range rapid.IntRange(1, 4).Draw(g, "events") {
			day := rapid.SampledFrom(around[name]).Draw(g, "day") + rankwright.Day(rapid.IntRange(-2, 2).Draw(g, "beside"))
			e := calendar.Event{UID: calendar.UID(fmt.Sprint(i)), Sequence: rapid.IntRange(0, 40).Draw(g, "sequence"), Changed: made.Add(time.Duration(i) * time.Hour),
				Day: day, Start: rapid.IntRange(0, 1439).Draw(g, "start"), Minutes: rapid.IntRange(1, 400).Draw(g, "minutes"),
				Summary: text(g, "summary"), Where: text(g, "where"), Text: text(g, "text"),
				Cancelled: rapid.Bool().Draw(g, "cancelled"), Remind: rapid.IntRange(0, 90).Draw(g, "remind")}
			f.Events = append(f.Events, e)
		}
		var b bytes.Buffer
		var faults rankwright.Faults
		if err := calendar.Write(&b, f); errors.As(err, &faults) {
			// The only thing that may be refused: a time that the clock leaves
			// out. Go's own reading of it moves it to another time.
			for _, x := range faults {
				if x.Code != "no_such_time" {
					g.Fatalf("%v", x)
				}
			}
			skipped := 0
			for _, e := range f.Events {
				y, m, d := e.Day.Date()
				if at := time.Date(y, m, d, 0, e.Start, 0, 0, z); at.Hour()*60+at.Minute() != e.Start || at.Day() != d {
					skipped++
				}
			}
			if skipped != len(faults) {
				g.Fatalf("%d times are left out by the clock, and %d were refused: %v", skipped, len(faults), faults)
			}
			none++
			return
		}
		got := r.read(g, written(g, f))
		if len(got.Events) != len(f.Events) || got.Version != "2.0" || !strings.Contains(f.Name, `\`) && got.Name != f.Name {
			g.Fatalf("read: %+v", got)
		}
		if want := name != "UTC"; want != slices.Equal(got.Zones, []string{name}) {
			g.Fatalf("zones: %v", got.Zones)
		}
		for _, e := range f.Events {
			i := slices.IndexFunc(got.Events, func(x readEvent) bool { return x.UID == e.UID })
			if i < 0 {
				g.Fatalf("%s is lost", e.UID)
			}
			x := got.Events[i]
			y, m, d := e.Day.Date()
			at := time.Date(y, m, d, 0, e.Start, 0, 0, z)
			// Where the clock shows it twice, Go may mean the second.
			for _, shift := range []time.Duration{30, 60, 120, 180} {
				if earlier := at.Add(-shift * time.Minute); earlier.Hour()*60+earlier.Minute() == e.Start && earlier.Day() == d {
					at = earlier
				}
			}
			until := at.Add(time.Duration(e.Minutes) * time.Minute)
			want := readEvent{UID: e.UID, Sequence: e.Sequence, Status: "CONFIRMED", Stamp: e.Changed.Format(time.RFC3339),
				Clock: fmt.Sprintf("%s %02d:%02d", e.Day, e.Start/60, e.Start%60), Zone: name,
				Start: at.UTC().Format(time.RFC3339), End: until.UTC().Format(time.RFC3339),
				Summary: e.Summary, Where: e.Where, Text: e.Text, Organizer: "invalid:nomail",
				School: strings.NewReplacer("\n", " ", "\t", " ", `"`, "'", `\`, "/").Replace(f.School), Class: "PRIVATE", Remind: []int{e.Remind}, Duration: x.Duration}
			if name == "UTC" {
				want.Zone = ""
			}
			if f.Mail != "" {
				want.Organizer = "mailto:" + f.Mail
			}
			if e.Cancelled {
				want.Status = "CANCELLED"
			}
			if e.Cancelled || e.Remind == 0 {
				want.Remind = []int{}
			}
			if a, b := fmt.Sprintf("%q", fmt.Sprintf("%+v", x)), fmt.Sprintf("%q", fmt.Sprintf("%+v", want)); a != b {
				g.Fatalf("in %s\nread %s\nis   %s", name, a, b)
			}
		}
	})
	t.Logf("%d files held a time that the clock leaves out", none)
}

func TestWhatIsNotATimeIsRefusedInASentence(t *testing.T) {
	london := zone(t, "Europe/London")
	ok := event("2026-10-10", 600, 50)
	for _, c := range []struct {
		name string
		file calendar.File
		want string
	}{
		{"no zone", calendar.File{Events: []calendar.Event{ok}}, "needs the zone"},
		{"the zone of this machine", calendar.File{Zone: time.Local, Events: []calendar.Event{ok}}, "needs the zone"},
		{"nothing", calendar.File{Zone: london}, "has no times"},
		{"a time that the clock leaves out", calendar.File{Zone: london, Events: []calendar.Event{event("2026-03-29", 90, 50)}},
			"01:30 does not exist on Sunday 29 March 2026 in Europe/London, where the clock is put forward over it; move the sitting by an hour"},
		// Samoa went over the date line and had no 30 December 2011 (tz database, australasia).
		{"a day that the clock leaves out", calendar.File{Zone: zone(t, "Pacific/Apia"), Events: []calendar.Event{event("2011-12-30", 600, 50)}},
			"10:00 does not exist on Friday 30 December 2011 in Pacific/Apia, where the clock is put forward over it; choose another day"},
		{"the same name twice", calendar.File{Zone: london, Events: []calendar.Event{ok, ok}}, "time 2 of the calendar file: it has the same UID as time 1"},
		{"a bad address", calendar.File{Zone: london, Mail: "a@b\r\nX:y", Events: []calendar.Event{ok}}, "is not a mail address"},
		{"a day that was forgotten", calendar.File{Zone: london, Events: []calendar.Event{{UID: "x", Changed: made, Minutes: 5}}}, "has no day"},
		{"a stamp that was forgotten", calendar.File{Zone: london, Events: []calendar.Event{{UID: "x", Day: ok.Day, Minutes: 5}}}, "when it was made"},
		{"no length", calendar.File{Zone: london, Events: []calendar.Event{{UID: "x", Changed: made, Day: ok.Day}}}, "is not a time of day"},
	} {
		var b bytes.Buffer
		err := calendar.Write(&b, c.file)
		if err == nil || !strings.Contains(err.Error(), c.want) || b.Len() > 0 {
			t.Errorf("%s: %v, and %d bytes were written", c.name, err, b.Len())
		}
	}
}

// Two changes a year by a rule are two parts with that rule, as every program
// reads them; the bytes are held here, since a person can check them by eye.
func TestTheZoneIsTwoRulesWhereItHasTwo(t *testing.T) {
	f := calendar.File{Name: "Grading", Zone: zone(t, "Europe/London"), School: "Otterlight, Pellmarrow Quay", Events: []calendar.Event{event("2026-10-25", 600, 50)}}
	want := strings.Join([]string{"BEGIN:VTIMEZONE", "TZID:Europe/London",
		"BEGIN:DAYLIGHT", "DTSTART:20250330T010000", "RRULE:FREQ=YEARLY;BYMONTH=3;BYDAY=-1SU", "TZOFFSETFROM:+0000", "TZOFFSETTO:+0100", "TZNAME:BST", "END:DAYLIGHT",
		"BEGIN:STANDARD", "DTSTART:20251026T020000", "RRULE:FREQ=YEARLY;BYMONTH=10;BYDAY=-1SU", "TZOFFSETFROM:+0100", "TZOFFSETTO:+0000", "TZNAME:GMT", "END:STANDARD",
		"END:VTIMEZONE", "BEGIN:VEVENT"}, "\r\n")
	got := string(written(t, f))
	if !strings.Contains(got, want) {
		t.Errorf("%s", got)
	}
	if !strings.Contains(got, `ORGANIZER;CN="Otterlight, Pellmarrow Quay":invalid:nomail`) {
		t.Errorf("%s", got)
	}
}
