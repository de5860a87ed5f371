// Package post writes letters as e-mail, hands them to the school's own mail
// server, and reads what comes back when one could not be delivered.
//
// A letter is written by the standards: RFC 5322 (Resnick 2008) for the
// headers, RFC 2045 to 2047 (Freed, Borenstein, Moore 1996) for texts in every
// script and for files, RFC 8058 (Levine, Herkula 2017) for the one-click
// opt-out, RFC 3834 (Moore 2004) so that no machine answers it. The same letter
// gives the same bytes: date and Message-ID are handed in, and the boundaries
// between parts are made of the Message-ID.
//
// The package knows neither the base nor the pages. What is sent, when, and
// whether it was sent already is the outbox of internal/app.
//
// The parts are put together with the standard library; go-mail 0.8.1, which
// speaks to the server (see Server), draws the boundaries of a letter with both
// HTML and a file by chance, and writes names of files in a way that RFC 2047
// section 5 forbids.
package post

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"io"
	"maps"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/textproto"
	"net/url"
	"slices"
	"strings"
	"time"

	"rankwright"
)

// A Message is one letter to one address.
type Message struct {
	// ID is the Message-ID without its angle brackets, such as
	// 7f3a.1@school.example. It names the letter for ever, also when it is
	// sent a second time; a bounce names it.
	ID string
	// Date is when it was written.
	Date time.Time
	From Address
	// ReplyTo is where answers go; the zero value leaves them to From.
	ReplyTo Address
	To      Address
	Subject string
	// Text is plain text, its lines ending in LF or CRLF.
	Text string
	// HTML says the same as Text, or is "". It is sent as it stands: whoever
	// hands it in has escaped it.
	HTML string
	// Lang is the language of both (BCP 47), or "".
	Lang  string
	Files []File
	// OptOut is the address (https) at which one click ends letters of this
	// kind, or "".
	OptOut string
}

// An Address is a name for people, in any script, or "", and a mail address.
type Address struct {
	Name, Mail string
}

// A File is sent with a letter.
type File struct {
	// Name is what the reader's program saves it as, such as times.ics.
	Name string
	// Type is its media type, such as text/calendar; method=PUBLISH.
	Type string
	Data []byte
}

const (
	mostSubject = 200      // characters
	mostName    = 120      // characters, of a person or a file
	mostSize    = 12 << 20 // octets of a whole letter: common servers take 20 MB or more, common practice, no published source
)

// Bytes writes the letter as it is sent, or all the Faults in the way.
func (m *Message) Bytes() ([]byte, error) {
	h, faults := m.headers()
	faults = append(faults, m.fileFaults()...)
	if err := faults.Err(); err != nil {
		return nil, err
	}
	var b bytes.Buffer
	for _, x := range h {
		b.WriteString(fold(x.name, x.value))
	}
	if err := m.body(&b); err != nil {
		return nil, err
	}
	if !bytes.HasSuffix(b.Bytes(), []byte("\r\n")) {
		b.WriteString("\r\n") // whoever carries it would
	}
	if b.Len() > mostSize {
		return nil, rankwright.Faultf(rankwright.TooLarge, "letter_too_large", "send fewer or smaller files",
			"the letter has %d MB, and many mail servers take no more than %d", b.Len()>>20, mostSize>>20)
	}
	return b.Bytes(), nil
}

type header struct{ name, value string }

func (m *Message) headers() (out []header, faults rankwright.Faults) {
	wrong := func(code, do, say string, args ...any) {
		faults = append(faults, rankwright.Faultf(rankwright.Invalid, code, do, say, args...))
	}
	put := func(name, value string) { out = append(out, header{name, value}) }
	address := func(name string, a Address) {
		s, err := a.header()
		if err != nil {
			faults = append(faults, err)
		}
		put(name, s)
	}
	if y := m.Date.Year(); m.Date.IsZero() || y < 1970 || y > 9999 {
		wrong("no_date", "hand in when the letter was written", "the letter has no date, or one out of range")
	}
	put("Date", m.Date.Format("Mon, 02 Jan 2006 15:04:05 -0700"))
	address("From", m.From)
	if m.ReplyTo != (Address{}) {
		address("Reply-To", m.ReplyTo)
	}
	address("To", m.To)
	if !goodID(m.ID) {
		wrong("bad_message_id", "make it of letters, digits and dots on both sides of an @", "%q cannot be the Message-ID of a letter", m.ID)
	}
	put("Message-ID", "<"+m.ID+">")
	subject := line(m.Subject)
	switch n := len([]rune(subject)); {
	case n == 0:
		wrong("no_subject", "write what the letter is about", "the letter has no subject")
	case n > mostSubject:
		wrong("long_subject", "write a shorter one", "the subject has %d characters, and at most %d fit", n, mostSubject)
	}
	put("Subject", unstructured(subject))
	put("Auto-Submitted", "auto-generated")
	if m.OptOut != "" {
		switch u, err := url.Parse(m.OptOut); {
		case err != nil || u.Host == "" || u.Scheme != "https" && u.Scheme != "http" || !visible(m.OptOut) || strings.ContainsAny(m.OptOut, "<>,") || len(m.OptOut) > 900:
			wrong("bad_opt_out", "hand in a whole address, beginning with https://", "%q is no address at which a family could end these letters", m.OptOut)
		default:
			put("List-Unsubscribe", "<"+m.OptOut+">")
			if u.Scheme == "https" { // RFC 8058 section 3.1: one click is for https alone
				put("List-Unsubscribe-Post", "List-Unsubscribe=One-Click")
			}
		}
	}
	if m.Lang != "" { // RFC 3282
		if !visible(m.Lang) || strings.Trim(strings.ToLower(m.Lang), "abcdefghijklmnopqrstuvwxyz0123456789-") != "" || len(m.Lang) > 35 {
			wrong("bad_language", "hand in a tag such as es", "%q is no language", m.Lang)
		}
		put("Content-Language", m.Lang)
	}
	put("MIME-Version", "1.0")
	return out, faults
}

func (m *Message) fileFaults() (faults rankwright.Faults) {
	for _, f := range m.Files {
		switch kind, _, err := mime.ParseMediaType(f.Type); {
		case line(f.Name) == "" || line(f.Name) != f.Name || strings.ContainsAny(f.Name, `/\":*?<>|`) || len([]rune(f.Name)) > mostName:
			faults = append(faults, rankwright.Faultf(rankwright.Invalid, "bad_file_name", "give it a short name of letters, digits, spaces, dots and dashes", "%q cannot be the name of a file in a letter", f.Name))
		case err != nil || !strings.Contains(kind, "/") || !visible(strings.ReplaceAll(f.Type, " ", "")) || strings.HasPrefix(kind, "multipart/") || strings.HasPrefix(kind, "message/"):
			faults = append(faults, rankwright.Faultf(rankwright.Invalid, "bad_file_type", "hand in its media type, such as application/pdf", "%q cannot be the kind of the file %s", f.Type, f.Name))
		}
	}
	return faults
}

// A place takes the headers of a part and gives where its content is written.
type place func(textproto.MIMEHeader) (io.Writer, error)

// body writes the text alone, or text and HTML as two ways to read the same
// (multipart/alternative), and round them the files where there are any
// (multipart/mixed).
func (m *Message) body(w *bytes.Buffer) error {
	top := func(h textproto.MIMEHeader) (io.Writer, error) {
		for _, name := range slices.Sorted(maps.Keys(h)) {
			w.WriteString(name + ": " + h.Get(name) + "\r\n")
		}
		w.WriteString("\r\n")
		return w, nil
	}
	if len(m.Files) == 0 {
		return m.words(top)
	}
	parts, err := m.several("mixed", top)
	if err != nil {
		return err
	}
	if err := m.words(parts.CreatePart); err != nil {
		return err
	}
	for _, f := range m.Files {
		if err := f.write(parts.CreatePart); err != nil {
			return err
		}
	}
	return parts.Close()
}

// words writes the text, and the HTML beside it where there is one.
func (m *Message) words(at place) error {
	if m.HTML == "" {
		return printable(at, "text/plain; charset=utf-8", m.Text)
	}
	parts, err := m.several("alternative", at)
	if err != nil {
		return err
	}
	if err := printable(parts.CreatePart, "text/plain; charset=utf-8", m.Text); err != nil {
		return err
	}
	if err := printable(parts.CreatePart, "text/html; charset=utf-8", m.HTML); err != nil {
		return err
	}
	return parts.Close()
}

// several begins a part that is made of parts.
func (m *Message) several(kind string, at place) (*multipart.Writer, error) {
	// "=_" stands in no text in quoted-printable and in no file in base64 (RFC
	// 2045 section 6.7), so a boundary that begins with it cannot be met there.
	sum := sha256.Sum256([]byte(kind + " " + m.ID))
	boundary := "=_" + hex.EncodeToString(sum[:12])
	w, err := at(textproto.MIMEHeader{"Content-Type": {"multipart/" + kind + `; boundary="` + boundary + `"`}})
	if err != nil {
		return nil, err
	}
	parts := multipart.NewWriter(w)
	return parts, parts.SetBoundary(boundary)
}

// printable writes a text in quoted-printable: its lines are short and ASCII on
// the way, whatever they are for the reader.
func printable(at place, kind, text string) error {
	w, err := at(textproto.MIMEHeader{"Content-Type": {kind}, "Content-Transfer-Encoding": {"quoted-printable"}})
	if err != nil {
		return err
	}
	q := quotedprintable.NewWriter(w)
	if _, err := io.WriteString(q, lines(text)); err != nil {
		return err
	}
	return q.Close()
}

func (f *File) write(at place) error {
	kind, params, err := mime.ParseMediaType(f.Type)
	if err != nil {
		return err
	}
	// Twice, and as RFC 2231 has it: some programs read the one, some the other.
	params["name"] = f.Name
	w, err := at(textproto.MIMEHeader{
		"Content-Type":              {mime.FormatMediaType(kind, params)},
		"Content-Disposition":       {mime.FormatMediaType("attachment", map[string]string{"filename": f.Name})},
		"Content-Transfer-Encoding": {"base64"},
	})
	if err != nil {
		return err
	}
	for data := range slices.Chunk(f.Data, 57) { // 76 characters a line, RFC 2045 section 6.8
		if _, err := io.WriteString(w, base64.StdEncoding.EncodeToString(data)+"\r\n"); err != nil {
			return err
		}
	}
	return nil
}
