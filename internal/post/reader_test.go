package post

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"mime"
	"net/mail"
	"strings"
	"testing"
	"time"

	"rankwright/internal/outside"
)

// readPart is a part of a letter as the independent reader shows it.
type readPart struct {
	Type, Name, How, Text string
	Older                 string // the name as programs look for it that know no other place
	Data                  string // in hexadecimal
}

// readAddress is an address as it shows it; Shown is the name read the newer way,
// which is wrong for long ones.
type readAddress struct {
	Name, Shown, Mail string
}

// readLetter is a letter as the independent reader shows it.
type readLetter struct {
	Names             []string
	Headers           map[string]string
	From, To, ReplyTo []readAddress
	Date              string
	Text              *readPart
	HTML              *readPart
	Files             []readPart
	Defects           []string
	Report            []map[string]string
	Error             string
}

// reader is Python's email package at work.
type reader struct{ *outside.Python }

// fatal is a test, of package testing or of rapid.
type fatal interface {
	Helper()
	Error(...any)
	Errorf(string, ...any)
	Fatal(...any)
	Fatalf(string, ...any)
}

// newReader starts it: a letter that only we have read proves nothing.
func newReader(t testing.TB) *reader {
	t.Helper()
	return &reader{outside.Start(t, "testdata/read.py", "python3")}
}

func (r *reader) read(t fatal, data []byte) *readLetter {
	t.Helper()
	var x readLetter
	r.Read(t, data, &x)
	if x.Error != "" {
		t.Fatalf("the independent reader refuses the letter: %s\n%s", x.Error, data)
	}
	return &x
}

// holds compares what two readers, Python's and Go's, find in a letter with what
// was written.
func (r *reader) holds(t fatal, data []byte, m *Message) {
	t.Helper()
	wellFormed(t, data)
	got := r.read(t, data)
	if len(got.Defects) > 0 {
		t.Errorf("the independent reader finds %v in\n%s", got.Defects, data)
	}
	address := func(name string, got []readAddress, want ...Address) {
		if len(got) != len(want) {
			t.Errorf("%s: %+v, should be %v", name, got, want)
			return
		}
		for i, a := range got {
			same(t, name, Address{a.Name, a.Mail}, want[i])
			if len(encoded(a.Name)) < 66 {
				same(t, name+", the newer way", a.Shown, want[i].Name)
			}
		}
	}
	address("From", got.From, m.From)
	address("To", got.To, m.To)
	if m.ReplyTo == (Address{}) {
		address("Reply-To", got.ReplyTo)
	} else {
		address("Reply-To", got.ReplyTo, m.ReplyTo)
	}
	same(t, "Subject", got.Headers["Subject"], line(m.Subject))
	same(t, "Message-ID", got.Headers["Message-ID"], "<"+m.ID+">")
	same(t, "Auto-Submitted", got.Headers["Auto-Submitted"], "auto-generated")
	want := []string{"Date", "From", "Reply-To", "To", "Message-ID", "Subject", "Auto-Submitted", "List-Unsubscribe", "List-Unsubscribe-Post", "Content-Language", "MIME-Version", "Content-Transfer-Encoding", "Content-Type"}
	drop := func(name string) { want = without(want, name) }
	if m.ReplyTo == (Address{}) {
		drop("Reply-To")
	}
	if m.Lang == "" {
		drop("Content-Language")
	} else {
		same(t, "Content-Language", got.Headers["Content-Language"], m.Lang)
	}
	if m.OptOut == "" {
		drop("List-Unsubscribe")
	} else {
		same(t, "List-Unsubscribe", got.Headers["List-Unsubscribe"], "<"+m.OptOut+">")
	}
	if !strings.HasPrefix(m.OptOut, "https:") {
		drop("List-Unsubscribe-Post")
	} else {
		same(t, "List-Unsubscribe-Post", got.Headers["List-Unsubscribe-Post"], "List-Unsubscribe=One-Click") // RFC 8058 section 3.1, word for word
	}
	if m.HTML != "" || len(m.Files) > 0 {
		drop("Content-Transfer-Encoding")
	}
	same(t, "the headers", got.Names, want)
	when, err := time.Parse("2006-01-02T15:04:05-07:00", got.Date)
	if err != nil || !when.Equal(m.Date.Truncate(time.Second)) {
		t.Errorf("the date is %s, and should be %s", got.Date, m.Date)
	}
	same(t, "the text", ended(t, got.Text.Text), ended(t, lines(m.Text)))
	if m.HTML == "" {
		if got.HTML != nil {
			t.Errorf("there is HTML: %+v", got.HTML)
		}
	} else if got.HTML == nil {
		t.Error("there is no HTML")
	} else {
		same(t, "the HTML", ended(t, got.HTML.Text), ended(t, lines(m.HTML)))
	}
	var files []File
	for _, f := range got.Files {
		data, err := hex.DecodeString(f.Data)
		if err != nil {
			t.Fatal(err)
		}
		if f.Type == "text/calendar" {
			data = []byte(f.Text)
		}
		same(t, "the name of a file, the older way", f.Older, f.Name)
		files = append(files, File{f.Name, f.Type, data})
	}
	var sent []File
	for _, f := range m.Files {
		kind, _, _ := mime.ParseMediaType(f.Type)
		sent = append(sent, File{f.Name, kind, f.Data})
	}
	same(t, "the files", files, sent)

	// And Go's own net/mail.
	g, err := mail.ReadMessage(bytes.NewReader(data))
	if err != nil {
		t.Fatalf("net/mail: %v\n%s", err, data)
	}
	subject, err := new(mime.WordDecoder).DecodeHeader(g.Header.Get("Subject"))
	if err != nil {
		t.Errorf("net/mail: %v", err)
	}
	same(t, "net/mail: the subject", subject, line(m.Subject))
	for _, a := range []struct {
		name string
		want Address
	}{{"From", m.From}, {"To", m.To}} {
		list, err := g.Header.AddressList(a.name)
		if err != nil || len(list) != 1 {
			t.Errorf("net/mail: %s: %v, %v", a.name, list, err)
			continue
		}
		same(t, "net/mail: the name in "+a.name, list[0].Name, a.want.Name)
		same(t, "net/mail: "+a.name, list[0].Address, strings.ReplaceAll(a.want.Mail, `"`, ""))
	}
	if d, err := g.Header.Date(); err != nil || !d.Equal(m.Date.Truncate(time.Second)) {
		t.Errorf("net/mail: the date is %v, %v", d, err)
	}
}

// ended makes CRLF, in which lines end on the way, one sign, and takes off the
// line end that a mail program may add or drop at the very end.
func ended(t fatal, s string) string {
	s = strings.ReplaceAll(s, "\r\n", "\n")
	if strings.Contains(s, "\r") {
		t.Errorf("a line ends in CR: %q", s)
	}
	return strings.TrimSuffix(s, "\n")
}

func without(list []string, name string) []string {
	var out []string
	for _, x := range list {
		if x != name {
			out = append(out, x)
		}
	}
	return out
}

func same(t fatal, what string, got, want any) {
	t.Helper()
	g, _ := json.Marshal(got)
	w, _ := json.Marshal(want)
	if !bytes.Equal(g, w) {
		t.Errorf("%s: %s, should be %s", what, g, w)
	}
}

// wellFormed holds the bytes of a letter to RFC 5322 section 2: ASCII, lines end
// in CRLF, headers have at most 76 characters a line where they can (998 would be allowed) and
// none of their lines is empty.
func wellFormed(t fatal, data []byte) {
	t.Helper()
	s := string(data)
	head, _, ok := strings.Cut(s, "\r\n\r\n")
	if !ok {
		t.Fatalf("there is no end of the headers in %q", s)
	}
	if strings.ContainsAny(strings.ReplaceAll(s, "\r\n", ""), "\r\n") {
		t.Errorf("a line does not end in CRLF: %q", s)
	}
	for l := range strings.SplitSeq(s, "\r\n") {
		if len(l) > 998 {
			t.Errorf("a line of %d octets", len(l))
		}
		if i := strings.IndexFunc(l, func(r rune) bool { return r < ' ' && r != '\t' || r > '~' }); i >= 0 {
			t.Errorf("a sign that is not ASCII, or not seen, in %q", l)
		}
	}
	for l := range strings.SplitSeq(head, "\r\n") {
		if len(l) > 76 && strings.Contains(strings.TrimLeft(l, " "), " ") && !strings.HasPrefix(l, "Message-ID") && !strings.HasPrefix(l, "Content-") {
			t.Errorf("a header's line of %d characters could be folded: %q", len(l), l)
		}
		if strings.TrimSpace(l) == "" {
			t.Errorf("an empty line among the headers")
		}
	}
}
