package calendar_test

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"
	"unicode/utf8"

	"rankwright/internal/calendar"
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
type reader struct {
	in  io.WriteCloser
	out *bufio.Reader
}

// newReader starts it with Debian's Python, for which check.sh installs the
// packages. Where they are absent the test fails, for a check that does not run
// proves nothing.
func newReader(t *testing.T) *reader {
	t.Helper()
	cmd := exec.Command("/usr/bin/python3", "testdata/read.py")
	var errs bytes.Buffer
	cmd.Stderr = &errs
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatalf("%v: install the Debian packages python3-icalendar and python3-dateutil", err)
	}
	t.Cleanup(func() {
		in.Close()
		if err := cmd.Wait(); err != nil {
			t.Errorf("the independent reader: %v\n%s", err, errs.String())
		}
	})
	return &reader{in, bufio.NewReader(out)}
}

type fatal interface {
	Helper()
	Fatalf(string, ...any)
	Errorf(string, ...any)
}

func (r *reader) read(t fatal, data []byte) read {
	t.Helper()
	var x read
	if _, err := fmt.Fprintf(r.in, "%d\n%s", len(data), data); err != nil {
		t.Fatalf("the independent reader is gone: %v; are the Debian packages python3-icalendar and python3-dateutil there?", err)
	}
	line, err := r.out.ReadBytes('\n')
	if err != nil {
		t.Fatalf("the independent reader is gone: %v; are the Debian packages python3-icalendar and python3-dateutil there?", err)
	}
	if err := json.Unmarshal(line, &x); err != nil {
		t.Fatalf("%v in %s", err, line)
	}
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
