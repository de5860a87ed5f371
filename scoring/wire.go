package scoring

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"rankwright"
)

// The form in which marks travel, version 1:
//
//	{"v":1,"marks":[{"id":"m1","device":"d1","seq":1,"clock":4,"entry":"e1","requirement":"kick",
//	  "examiner":"p2","try":1,"value":"2","at":1760000000000,"note":""}]}
//
// The value is as in marks.csv: a number with at most three decimals, yes, no,
// abstain, or x for not seen. A vote is written as 1 or 0, since the mark
// alone does not say that it is one. Examiner, try and note may be left out.
const (
	WireVersion = 1
	// WireMarks is how many marks a batch may hold, WireBytes how long it may be.
	WireMarks = 2000
	WireBytes = 2 << 20
	wireID    = 64        // bytes of an id
	wireNote  = 300       // characters of a note
	wireMost  = 1<<53 - 1 // the largest whole number that JavaScript holds exactly
	wireTries = 20
)

type wireMark struct {
	ID          rankwright.MarkID        `json:"id"`
	Device      rankwright.DeviceID      `json:"device"`
	Seq         int64                    `json:"seq"`
	Clock       int64                    `json:"clock"`
	Entry       rankwright.EntryID       `json:"entry"`
	Requirement rankwright.RequirementID `json:"requirement"`
	Examiner    rankwright.ExaminerID    `json:"examiner"`
	Try         int                      `json:"try"`
	Value       string                   `json:"value"`
	At          int64                    `json:"at"`
	Note        string                   `json:"note"`
}

// Encode writes marks as they travel. The same marks give the same bytes.
func Encode(marks []Mark) ([]byte, error) {
	batch := struct {
		V     int        `json:"v"`
		Marks []wireMark `json:"marks"`
	}{WireVersion, make([]wireMark, len(marks))}
	for i, m := range marks {
		batch.Marks[i] = wireMark{m.ID, m.Device, m.Seq, m.Clock, m.Entry, m.Requirement, m.Examiner, max(1, m.Try), m.Value.String(), m.At, m.Note}
	}
	return json.Marshal(batch)
}

// Decode reads what Encode wrote. A key that is not known, is written twice or
// in other letters, a number that is out of range, or anything after the end
// is refused, and then no mark is returned. Whether a requirement can have
// the value is not looked at here.
func Decode(data []byte) ([]Mark, error) {
	if len(data) > WireBytes {
		return nil, rankwright.Faultf(rankwright.TooLarge, "too_large", "send the marks in smaller batches", "the batch has %d bytes; at most %d are read", len(data), WireBytes)
	}
	if !utf8.Valid(data) {
		return nil, refused("bad_batch", "it is not UTF-8")
	}
	d := &wire{dec: json.NewDecoder(bytes.NewReader(data))}
	d.dec.UseNumber()
	version, marks := int64(0), []Mark(nil)
	err := d.object(map[string]func() error{
		"v":     func() error { return d.number(&version, 1, wireMost) },
		"marks": func() (err error) { marks, err = d.marks(); return err },
	}, "v", "marks")
	if err == nil && version != WireVersion {
		return nil, refused("bad_version", fmt.Sprintf("marks travel in version %d here, not %d", WireVersion, version))
	}
	if err == nil {
		if _, after := d.dec.Token(); after != io.EOF {
			err = refused("bad_batch", "something follows its end")
		}
	}
	if err != nil {
		return nil, err
	}
	return marks, nil
}

func refused(code, why string) error {
	return rankwright.Faultf(rankwright.Invalid, code, "load the page again; marks that are kept on the device stay there", "the batch of marks cannot be read: %s", why)
}

// wire reads a batch token by token, since encoding/json lets keys stand twice
// and in other letters.
type wire struct {
	dec  *json.Decoder
	mark int // which mark is read, from 1
}

func (d *wire) refuse(why string, args ...any) error {
	why = fmt.Sprintf(why, args...)
	if d.mark > 0 {
		why = fmt.Sprintf("mark %d: %s", d.mark, why)
	}
	return refused("bad_batch", why)
}

func (d *wire) token() (json.Token, error) {
	t, err := d.dec.Token()
	if err != nil {
		return nil, d.refuse("it is not JSON, or it ends too soon")
	}
	return t, nil
}

func (d *wire) delim(want json.Delim) error {
	t, err := d.token()
	if err == nil && t != want {
		err = d.refuse("there should be %s, not %v", want, t)
	}
	return err
}

// object reads an object of the given keys; those named last must be there.
func (d *wire) object(keys map[string]func() error, needed ...string) error {
	if err := d.delim('{'); err != nil {
		return err
	}
	var seen []string
	for d.dec.More() {
		t, err := d.token()
		if err != nil {
			return err
		}
		key, _ := t.(string)
		read := keys[key]
		if read == nil {
			return d.refuse("there is no key %q", key)
		}
		if slices.Contains(seen, key) {
			return d.refuse("the key %q stands there twice", key)
		}
		seen = append(seen, key)
		if err := read(); err != nil {
			return err
		}
	}
	for _, key := range needed {
		if !slices.Contains(seen, key) {
			return d.refuse("the key %q is missing", key)
		}
	}
	return d.delim('}')
}

func (d *wire) marks() ([]Mark, error) {
	if err := d.delim('['); err != nil {
		return nil, err
	}
	out := []Mark{}
	for d.dec.More() {
		if len(out) == WireMarks {
			return nil, rankwright.Faultf(rankwright.TooLarge, "too_many_marks", "send them in smaller batches", "a batch may hold at most %d marks", WireMarks)
		}
		d.mark++
		m := Mark{Try: 1}
		try := int64(1)
		err := d.object(map[string]func() error{
			"id":          func() error { return text(d, &m.ID, 1, wireID) },
			"device":      func() error { return text(d, &m.Device, 1, wireID) },
			"seq":         func() error { return d.number(&m.Seq, 1, wireMost) },
			"clock":       func() error { return d.number(&m.Clock, 1, wireMost) },
			"entry":       func() error { return text(d, &m.Entry, 1, wireID) },
			"requirement": func() error { return text(d, &m.Requirement, 1, wireID) },
			"examiner":    func() error { return text(d, &m.Examiner, 0, wireID) },
			"try":         func() error { return d.number(&try, 1, wireTries) },
			"value":       func() error { return d.value(&m.Value) },
			"at":          func() error { return d.number(&m.At, 0, wireMost) },
			"note":        func() error { return d.note(&m.Note) },
		}, "id", "device", "seq", "clock", "entry", "requirement", "value", "at")
		if err != nil {
			return nil, err
		}
		m.Try = int(try)
		out = append(out, m)
	}
	d.mark = 0
	return out, d.delim(']')
}

func text[T ~string](d *wire, to *T, least, most int) error {
	t, err := d.token()
	if err != nil {
		return err
	}
	s, ok := t.(string)
	if !ok || len(s) < least || len(s) > most || strings.ContainsFunc(s, func(r rune) bool { return r < ' ' || r == 0x7f || r == utf8.RuneError }) {
		return d.refuse("an id should be text of %d to %d bytes on one line", least, most)
	}
	*to = T(s)
	return nil
}

func (d *wire) note(to *string) error {
	t, err := d.token()
	if err != nil {
		return err
	}
	s, ok := t.(string)
	if !ok || utf8.RuneCountInString(s) > wireNote {
		return d.refuse("a note is text of at most %d characters", wireNote)
	}
	*to = s
	return nil
}

func (d *wire) number(to *int64, least, most int64) error {
	t, err := d.token()
	if err != nil {
		return err
	}
	n, _ := t.(json.Number)
	v, err := strconv.ParseInt(string(n), 10, 64)
	if err != nil || v < least || v > most {
		return d.refuse("there should be a whole number from %d to %d, not %v", least, most, t)
	}
	*to = v
	return nil
}

func (d *wire) value(to *Value) error {
	t, err := d.token()
	if err != nil {
		return err
	}
	s, ok := t.(string)
	switch s {
	case "x":
		*to = Value{}
	case "abstain":
		*to = Value{Sort: Abstain}
	case "yes":
		*to = N(1)
	case "no":
		*to = N(0)
	default:
		a, err := rankwright.ParseAmount(s)
		if !ok || err != nil || s[0] == '+' || s[0] == '-' {
			return d.refuse("a value is a number such as 2 or 12.5, yes, no, abstain or x, not %v", t)
		}
		*to = Value{Sort: Number, Num: a}
	}
	return nil
}
