package post

import (
	"bytes"
	"encoding/base64"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/mail"
	"net/textproto"
	"regexp"
	"slices"
	"strings"

	"rankwright"
)

// A Report is what a mail server says of a letter that it had taken (RFC 3464,
// Moore, Vaudreuil 2003).
type Report struct {
	// ID is the Message-ID of that letter without its angle brackets, "" where
	// the report does not say.
	ID         string
	Recipients []Recipient
}

// A Recipient is what became of the letter for one address.
type Recipient struct {
	// Address is the one that it was sent to, as far as the report says, else the
	// one at which it ended.
	Address string
	// Action is failed, delayed, delivered, relayed or expanded (RFC 3464 section
	// 2.3.3). Only failed is for good, also where its Status begins with a 4: the
	// server has given up.
	Action string
	// Status is three numbers with dots between (RFC 3463), or "".
	Status string
	// Diagnostic is the last server's own words, or "".
	Diagnostic string
}

const (
	mostReport   = 25 << 20 // octets that are read
	mostParts    = 200
	deepestParts = 10
)

// ReadReport reads a report from the file in which a mail program keeps a letter
// (.eml). The report may be the letter itself, or be sent on as a part of it.
func ReadReport(data []byte) (*Report, error) {
	if len(data) > mostReport {
		return nil, rankwright.Faultf(rankwright.TooLarge, "large_report", "is it another file that was meant?", "the file has more than %d MB", mostReport>>20)
	}
	f := &finder{}
	f.message(data, 0)
	if f.status == nil {
		return nil, rankwright.Faultf(rankwright.Invalid, "no_report", "save the mail server's own letter as a file (.eml), or note by hand that the letter came back",
			"the file is no report of a mail server about a letter that it could not deliver")
	}
	r := &Report{ID: f.id, Recipients: recipients(f.status)}
	if r.ID == "" {
		r.ID = f.answers
	}
	if len(r.Recipients) == 0 {
		return nil, rankwright.Faultf(rankwright.Invalid, "empty_report", "note by hand that the letter came back", "the mail server's report names nobody whom the letter did not reach")
	}
	return r, nil
}

// finder looks through the parts of a letter for a report and the letter that it
// is about.
type finder struct {
	parts   int
	status  []byte // the first report that was found
	id      string // of the letter beside it
	answers string // what the letter that holds the report says that it answers
	closed  bool   // that letter has ended; what follows is about another
}

// message looks through a whole letter.
func (f *finder) message(data []byte, depth int) {
	m, err := mail.ReadMessage(bytes.NewReader(data))
	if err != nil {
		return
	}
	f.part(textproto.MIMEHeader(m.Header), m.Body, depth)
	if f.status == nil || f.closed {
		return
	}
	f.closed = true
	for _, name := range []string{"In-Reply-To", "References"} {
		if ids := messageID.FindAllStringSubmatch(m.Header.Get(name), -1); len(ids) > 0 {
			f.answers = ids[len(ids)-1][1]
			return
		}
	}
}

func (f *finder) part(h textproto.MIMEHeader, body io.Reader, depth int) {
	if f.parts++; f.closed || f.parts > mostParts || depth > deepestParts {
		return
	}
	kind, params, _ := mime.ParseMediaType(h.Get("Content-Type")) // the kind is read also where a parameter is wrong
	if strings.HasPrefix(kind, "multipart/") {
		for r := multipart.NewReader(body, params["boundary"]); ; {
			p, err := r.NextRawPart()
			if err != nil {
				return
			}
			f.part(p.Header, p, depth+1)
		}
	}
	switch kind {
	case "message/delivery-status", "message/global-delivery-status":
		if data := plain(h, body); f.status == nil {
			f.status = data
		}
	case "text/rfc822-headers", "message/global-headers":
		f.letter(plain(h, body))
	case "message/rfc822", "message/global":
		data := plain(h, body)
		if f.status != nil {
			f.letter(data)
		} else {
			f.message(data, depth+1)
		}
	}
}

// letter takes the Message-ID of the letter that a report is about.
func (f *finder) letter(data []byte) {
	if f.status == nil || f.id != "" {
		return
	}
	for _, l := range fields(data, true) {
		if m := messageID.FindStringSubmatch(l.value); strings.EqualFold(l.name, "Message-ID") && m != nil {
			f.id = m[1]
			return
		}
	}
}

var messageID = regexp.MustCompile(`<([^<>\s]{1,250})>`)

// plain takes the encoding off a part. What is broken ends there.
func plain(h textproto.MIMEHeader, body io.Reader) []byte {
	switch strings.ToLower(strings.TrimSpace(h.Get("Content-Transfer-Encoding"))) {
	case "base64":
		body = base64.NewDecoder(base64.StdEncoding, body)
	case "quoted-printable":
		body = quotedprintable.NewReader(body)
	}
	data, _ := io.ReadAll(io.LimitReader(body, mostReport)) // the rest of a broken part is not needed
	return data
}

type field struct{ name, value string }

// fields reads lines of the form "name: value". A line that begins with space,
// or that has no name, goes on with the one before. A field with no name stands
// for an empty line; with head, the first of those ends it.
func fields(data []byte, head bool) (out []field) {
	for l := range strings.SplitSeq(strings.ReplaceAll(string(data), "\r\n", "\n"), "\n") {
		if strings.TrimSpace(l) == "" {
			if head && len(out) > 0 {
				return out
			}
			out = append(out, field{})
			continue
		}
		name, value, ok := strings.Cut(l, ":")
		last := len(out) - 1
		if l[0] == ' ' || l[0] == '\t' || !ok || name == "" || strings.ContainsAny(name, " \t;") {
			if last >= 0 && out[last].name != "" {
				out[last].value += " " + l
			}
			continue
		}
		out = append(out, field{name, value})
	}
	return out
}

var status = regexp.MustCompile(`^\s*([245]\.\d{1,3}\.\d{1,3})(\D|$)`)

// recipients reads the groups of a report, of which those with an address are
// about recipients (RFC 3464 section 2.1).
func recipients(data []byte) (out []Recipient) {
	var now Recipient
	original := ""
	end := func() {
		if original != "" {
			now.Address = original
		}
		if now.Address != "" && now.Action == "" && strings.HasPrefix(now.Status, "5") {
			now.Action = "failed"
		}
		if now.Address != "" && slices.Contains(actions, now.Action) && len(out) < mostParts {
			out = append(out, now)
		}
		now, original = Recipient{}, ""
	}
	for _, f := range fields(data, false) {
		value := line(f.value)
		_, typed, ok := strings.Cut(value, ";")
		if !ok {
			typed = value
		}
		typed = strings.TrimSpace(typed)
		switch strings.ToLower(f.name) {
		case "":
			end()
		case "final-recipient":
			now.Address = typed
		case "original-recipient":
			original = typed
		case "action":
			word, _, _ := strings.Cut(value, " ")
			now.Action = strings.ToLower(word)
		case "status":
			if m := status.FindStringSubmatch(value); m != nil {
				now.Status = m[1]
			}
		case "diagnostic-code":
			now.Diagnostic = typed
		}
	}
	end()
	return out
}

var actions = []string{"failed", "delayed", "delivered", "relayed", "expanded"}
