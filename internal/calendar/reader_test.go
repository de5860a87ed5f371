package calendar_test

import (
	"bytes"
	"strings"
	"sync"
	"testing"
	"time"
	"unicode/utf8"

	"rankwright/internal/calendar"
	"rankwright/internal/outside"
)

// A read is a file as Python's icalendar and dateutil read it.
type read struct {
	Error, Method, Version, Name string
	Zones                        []string
	Events                       []readEvent
}

type readEvent struct {
	UID                  string
	Sequence             int
	Status, Stamp, Clock string
	Zone, Start, End     string
	Summary, Where, Text string
	Organizer, School    string
	Class                string
	Remind               []int
	Duration             bool
}

// reader is one Python process that reads files independently of us. It lives
// as long as the test.
type reader struct{ *outside.Python }

// newReader starts it with Debian's Python, for which check.sh installs the
// packages.
func newReader(t *testing.T) *reader {
	t.Helper()
	return &reader{outside.Start(t, "testdata/read.py", "python3-icalendar and python3-dateutil")}
}

type fatal interface {
	Helper()
	Fatalf(string, ...any)
	Errorf(string, ...any)
}

func (r *reader) read(t fatal, data []byte) read {
	t.Helper()
	var x read
	r.Read(t, data, &x)
	if x.Error != "" {
		t.Fatalf("the independent reader refuses the file: %s\n%s", x.Error, data)
	}
	return x
}

// written writes a file and holds its bytes to RFC 5545 section 3.1: lines end
// in CRLF, none is longer than 75 octets, no character is cut, and there are no
// control characters.
func written(t fatal, f calendar.File) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := calendar.Write(&b, f); err != nil {
		t.Fatalf("%v", err)
	}
	s, ok := strings.CutSuffix(b.String(), "\r\n")
	if !ok {
		t.Errorf("the last line does not end")
	}
	for _, line := range strings.Split(s, "\r\n") {
		if len(line) > 75 || line == "" {
			t.Errorf("a line of %d octets: %q", len(line), line)
		}
		if !utf8.ValidString(line) {
			t.Errorf("a character is cut: %q", line)
		}
		if i := strings.IndexFunc(line, func(r rune) bool { return r < 0x20 && r != '\t' || r == 0x7f }); i >= 0 {
			t.Errorf("a control character in %q", line)
		}
	}
	return b.Bytes()
}

var zoneCache sync.Map

func zone(t fatal, name string) *time.Location {
	t.Helper()
	if z, ok := zoneCache.Load(name); ok {
		return z.(*time.Location)
	}
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatalf("%v", err)
	}
	zoneCache.Store(name, z)
	return z
}
