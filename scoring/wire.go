package scoring

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"

	"rankwright"
)

// The form in which marks travel, version 1:
//
//	{"v":1,"sent":1760000000100,"marks":[{"id":"m1","device":"d1","seq":1,"clock":4,"entry":"e1",
//	  "requirement":"kick","examiner":"p2","try":1,"value":"2","at":1760000000000,"note":""}]}
//
// The value is as in marks.csv: a number with at most three decimals, yes, no,
// abstain, or x for not seen. A vote is written as 1 or 0, since the mark
// alone does not say that it is one. Examiner, try, note and sent, which is what
// the device takes the time to be, may be left out.
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

// Sent is a mark as it came, by itself.
type Sent struct {
	// Mark is what could be read: all of it, or where Why is not "" at least
	// what stood before the fault, of the id, the device and the number also
	// what stood after it.
	Mark
	// Why says in a sentence why the mark cannot be read.
	Why string
}

// ReadBatch reads a batch of marks: what is no batch is refused whole, a mark
// in it that cannot be read is refused by itself and the others are read. A
// key that is not known, is written twice or in other letters, or a number
// that is out of range is such a fault. sent is what the device takes the time
// to be, in milliseconds since 1970 UTC, 0 where it does not say. Whether a
// requirement can have the value is not looked at here.
func ReadBatch(data []byte) (marks []Sent, sent int64, err error) {
	switch {
	case len(data) > WireBytes:
		return nil, 0, rankwright.Faultf(rankwright.TooLarge, "too_large", "send the marks in smaller batches", "the batch has %d bytes; at most %d are read", len(data), WireBytes)
	case !utf8.Valid(data):
		return nil, 0, refused("bad_batch", "it is not UTF-8")
	case !json.Valid(data):
		why := "it is not JSON, or it ends too soon"
		var first json.RawMessage
		if json.NewDecoder(bytes.NewReader(data)).Decode(&first) == nil {
			why = "something follows its end"
		}
		return nil, 0, refused("bad_batch", why)
	}
	var version, stamp, list part
	why := object(trim(data), []key{{"v", &version, true}, {"sent", &stamp, false}, {"marks", &list, true}})
	if version != nil {
		v, bad := number(version, 1, wireMost)
		if bad == "" && v != WireVersion { // what else it may have is not ours to judge
			return nil, 0, refused("bad_version", fmt.Sprintf("marks travel in version %d here, not %d", WireVersion, v))
		}
		if why == "" && bad != "" {
			why = "v: " + bad
		}
	}
	if why == "" && stamp != nil {
		if sent, why = number(stamp, 0, wireMost); why != "" {
			why = "sent: " + why
		}
	}
	if why == "" && list[0] != '[' {
		why = "marks: there should be [, not " + short(list)
	}
	if why != "" {
		return nil, 0, refused("bad_batch", why)
	}
	marks = []Sent{}
	for rest := next(list[1:]); rest[0] != ']'; rest = next(rest) {
		if len(marks) == WireMarks {
			return nil, 0, rankwright.Faultf(rankwright.TooLarge, "too_many_marks", "send them in smaller batches", "a batch may hold at most %d marks", WireMarks)
		}
		var one part
		one, rest = value(rest)
		marks = append(marks, readMark(one))
	}
	return marks, sent, nil
}

// Decode is ReadBatch where one mark that cannot be read refuses all.
func Decode(data []byte) ([]Mark, error) {
	batch, _, err := ReadBatch(data)
	if err != nil {
		return nil, err
	}
	marks := make([]Mark, len(batch))
	for i, m := range batch {
		if m.Why != "" {
			return nil, refused("bad_batch", fmt.Sprintf("mark %d: %s", i+1, m.Why))
		}
		marks[i] = m.Mark
	}
	return marks, nil
}

func refused(code, why string) error {
	return rankwright.Faultf(rankwright.Invalid, code, "load the page again; marks that are kept on the device stay there", "the batch of marks cannot be read: %s", why)
}

func readMark(p part) Sent {
	var id, device, seq, clock, entry, requirement, examiner, try, val, at, note part
	m := Sent{Mark: Mark{Try: 1}}
	m.Why = object(p, []key{{"id", &id, true}, {"device", &device, true}, {"seq", &seq, true}, {"clock", &clock, true}, {"entry", &entry, true},
		{"requirement", &requirement, true}, {"examiner", &examiner, false}, {"try", &try, false}, {"value", &val, true}, {"at", &at, true}, {"note", &note, false}})
	text(&m, "id", id, &m.ID, 1)
	text(&m, "device", device, &m.Device, 1)
	whole(&m, "seq", seq, &m.Seq, 1)
	whole(&m, "clock", clock, &m.Clock, 1)
	text(&m, "entry", entry, &m.Entry, 1)
	text(&m, "requirement", requirement, &m.Requirement, 1)
	text(&m, "examiner", examiner, &m.Examiner, 0)
	if try != nil {
		n, why := number(try, 1, wireTries)
		m.Try = int(n)
		m.fault("try", why)
	}
	whole(&m, "at", at, &m.At, 0)
	if val != nil {
		v, why := readValue(val)
		m.Value = v
		m.fault("value", why)
	}
	if note != nil {
		s, ok := str(note)
		if !ok || utf8.RuneCountInString(s) > wireNote {
			m.fault("note", fmt.Sprintf("it should be text of at most %d characters", wireNote))
		} else {
			m.Note = s
		}
	}
	return m
}

// fault keeps the first fault of a mark.
func (m *Sent) fault(key, why string) {
	if why != "" && m.Why == "" {
		m.Why = key + ": " + why
	}
}

func text[T ~string](m *Sent, key string, p part, to *T, least int) {
	if p == nil {
		return
	}
	s, ok := str(p)
	if !ok || len(s) < least || len(s) > wireID || strings.ContainsFunc(s, func(r rune) bool { return r < ' ' || r == 0x7f || r == utf8.RuneError }) {
		m.fault(key, fmt.Sprintf("it should be text of %d to %d bytes on one line", least, wireID))
		return
	}
	*to = T(s)
}

func whole(m *Sent, key string, p part, to *int64, least int64) {
	if p == nil {
		return
	}
	n, why := number(p, least, wireMost)
	*to = n
	m.fault(key, why)
}

func number(p part, least, most int64) (int64, string) {
	n, err := strconv.ParseInt(string(p), 10, 64)
	if err != nil || n < least || n > most {
		return 0, fmt.Sprintf("it should be a whole number from %d to %d, not %s", least, most, short(p))
	}
	return n, ""
}

func readValue(p part) (Value, string) {
	s, ok := str(p)
	switch s {
	case "x":
		return Value{}, ""
	case "abstain":
		return Value{Sort: Abstain}, ""
	case "yes":
		return N(1), ""
	case "no":
		return N(0), ""
	}
	a, err := rankwright.ParseAmount(s)
	if !ok || err != nil || s[0] == '+' || s[0] == '-' {
		return Value{}, fmt.Sprintf("it should be a number such as \"2\" or \"12.5\", yes, no, abstain or x, not %s", short(p))
	}
	return Value{Sort: Number, Num: a}, ""
}
