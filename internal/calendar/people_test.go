package calendar_test

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"pgregory.net/rapid"

	"rankwright"
	"rankwright/internal/calendar"
)

func told(n int, given, day string, start int) calendar.Told {
	return calendar.Told{UID: calendar.UID("entry", fmt.Sprint(n)), Changed: made, Given: given, Day: rankwright.MustDay(day), Start: start, Minutes: 50, Where: "The Netloft, mat A"}
}

var notice = calendar.Notice{Bring: []string{"belt", "water", "the signed sheet"}, Early: 15, Remind: 90}

func TestBrothersAndSistersWhoComeTogetherShareOneEvent(t *testing.T) {
	events := calendar.Family([]calendar.Told{told(1, "Yusra", "2026-10-10", 600), told(2, "Samir", "2026-10-10", 600), told(3, "Leila", "2026-10-10", 660)}, notice)
	if len(events) != 2 || events[0].Summary != "Grading: Yusra and Samir" || events[1].Summary != "Grading: Leila" ||
		events[0].Text != "Please be there 15 minutes before.\nTo bring: belt; water; the signed sheet." || events[0].Sequence != 2 {
		t.Errorf("%+v", events)
	}
}

// A phone is what a calendar program holds: it takes of each UID the version
// with the highest sequence (RFC 5546 section 2.1.4), and shows what is not
// cancelled.
type phone map[string]readEvent

func (p phone) take(events []readEvent) {
	for _, e := range events {
		if was, ok := p[e.UID]; !ok || e.Sequence >= was.Sequence {
			p[e.UID] = e
		}
	}
}

func (p phone) shown() (out []string) {
	for _, e := range p {
		if e.Status != "CANCELLED" {
			out = append(out, e.Clock+" "+e.Summary)
		}
	}
	slices.Sort(out)
	return out
}

func TestHoweverTheTimesChangeThePhoneShowsWhatWasToldLast(t *testing.T) {
	r := newReader(t)
	london := zone(t, "Europe/London")
	names := []string{"Yusra", "Samir", "Leila", "Omar"}
	rapid.Check(t, func(g *rapid.T) {
		var list []calendar.Told
		p := phone{}
		now := made
		for range rapid.IntRange(1, 6).Draw(g, "versions") {
			now = now.Add(time.Hour)
			changed := false
			if len(list) < len(names) && (len(list) == 0 || rapid.Bool().Draw(g, "another child")) {
				x := told(len(list), names[len(list)], "2026-10-24", 600+60*rapid.IntRange(0, 2).Draw(g, "start"))
				x.Changed = now
				list, changed = append(list, x), true
			}
			for i := range list {
				x := &list[i]
				switch rapid.IntRange(0, 4).Draw(g, "what happens") {
				case 0: // another time, across the change of the clock
					x.Day, x.Start, x.Cancelled = x.Day+rankwright.Day(rapid.IntRange(-1, 1).Draw(g, "days")), 600+60*rapid.IntRange(0, 2).Draw(g, "start"), false
				case 1:
					if x.Cancelled {
						continue
					}
					x.Cancelled = true
				default:
					continue
				}
				x.Sequence, x.Changed, changed = x.Sequence+1, now, true
			}
			if !changed && rapid.Bool().Draw(g, "not fetched") {
				continue
			}
			f := calendar.File{Zone: london, School: "Otterlight", Events: calendar.Family(list, notice)}
			got := r.read(g, written(g, f))
			p.take(got.Events)
			type when struct {
				day   rankwright.Day
				start int
			}
			want := map[when][]string{}
			for _, x := range list {
				if !x.Cancelled {
					want[when{x.Day, x.Start}] = append(want[when{x.Day, x.Start}], x.Given)
				}
			}
			if (got.Method == "CANCEL") != (len(want) == 0) {
				g.Fatalf("the method is %s, and %d times stand", got.Method, len(want))
			}
			var lines []string
			for w, who := range want {
				s := strings.Join(who, " and ")
				if n := len(who); n > 2 {
					s = strings.Join(who[:n-1], ", ") + " and " + who[n-1]
				}
				lines = append(lines, fmt.Sprintf("%s %02d:%02d Grading: %s", w.day, w.start/60, w.start%60, s))
			}
			slices.SortFunc(lines, cmp.Compare)
			if shown := p.shown(); !slices.Equal(shown, lines) {
				g.Fatalf("the phone shows %q, and told was %q", shown, lines)
			}
		}
	})
}

func TestAnExaminersEventNamesNoChild(t *testing.T) {
	e := calendar.Examining(calendar.Event{UID: calendar.UID("g", "x", "s"), Changed: made, Day: rankwright.MustDay("2026-10-10"), Start: 600, Minutes: 50, Where: "The Netloft"}, "A")
	if e.Summary != "Examining on mat A" || e.Text != "" {
		t.Errorf("%+v", e)
	}
	e.Cancelled, e.Sequence = true, 1
	got := newReader(t).read(t, written(t, calendar.File{Zone: zone(t, "Europe/London"), Events: []calendar.Event{calendar.Examining(e, "A")}}))
	if got.Method != "CANCEL" || got.Events[0].Status != "CANCELLED" || got.Events[0].Sequence != 1 {
		t.Errorf("%+v", got)
	}
}

func TestAUIDIsTheSameEachTimeAndAnotherForOthers(t *testing.T) {
	again := calendar.UID(append([]string{"grading"}, "entry")...)
	if calendar.UID("ab", "c") == calendar.UID("a", "bc") || calendar.UID("grading", "entry") != again || strings.Contains(calendar.UID("household-7"), "household") {
		t.Error("UIDs meet, waver or tell whose they are")
	}
}

// FuzzWrite: whatever is typed, the file is one event in well-formed lines, and
// no text gets out of its line.
func FuzzWrite(f *testing.F) {
	for _, s := range []string{"", "Zoë, Đặng; \\n\r\nEND:VEVENT", "\xff\xfe", "a\u2028b\u0085c\x00d\ve", strings.Repeat("ياسمين 👩‍👩‍👧 ", 40), `\\;,:"`} {
		f.Add(s, s, s)
	}
	london, err := time.LoadLocation("Europe/London")
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, summary, where, school string) {
		e := calendar.Event{UID: "u", Changed: made, Day: rankwright.MustDay("2026-10-10"), Start: 600, Minutes: 50, Summary: summary, Where: where, Text: summary + where}
		b := written(t, calendar.File{Zone: london, Name: where, School: school, Events: []calendar.Event{e}})
		for word, n := range map[string]int{"\r\nBEGIN:": 4, "\r\nEND:": 5, "\r\nUID:": 1, "\r\nSUMMARY:": 1, "\r\nORGANIZER": 1, "\r\nSTATUS:": 1} {
			if bytes.Count(b, []byte(word)) != n {
				t.Errorf("%d times %q", bytes.Count(b, []byte(word)), word)
			}
		}
		if !utf8.Valid(b) || bytes.Count(b, []byte("\n")) != bytes.Count(b, []byte("\r\n")) || bytes.Count(b, []byte("\r")) != bytes.Count(b, []byte("\r\n")) {
			t.Error("a stray line end")
		}
	})
}
