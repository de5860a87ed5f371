package web

import (
	"encoding/json"
	"errors"
	"net/http"
	"strings"
	"unicode/utf8"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/scoring"
	"rankwright/syllabus"
)

// matBatch is version 1 of the form in which marks travel from a device.
type matBatch struct {
	V     int       `json:"v"`
	Marks []matMark `json:"marks"`
}

type matMark struct {
	ID          rankwright.MarkID        `json:"id"`
	Device      rankwright.DeviceID      `json:"device"`
	Seq         int64                    `json:"seq"`
	Clock       int64                    `json:"clock"`
	Entry       rankwright.EntryID       `json:"entry"`
	Requirement rankwright.RequirementID `json:"requirement"`
	Examiner    rankwright.ExaminerID    `json:"examiner"`
	Try         int                      `json:"try"`
	Value       string                   `json:"value"` // as in marks.csv
	At          int64                    `json:"at"`
	Note        string                   `json:"note"`
}

type matAnswers struct {
	V       int         `json:"v"`
	Answers []matAnswer `json:"answers"`
}

// matAnswer is "stored", "double" (it was there already) or "refused".
type matAnswer struct {
	ID     rankwright.MarkID `json:"id"`
	Status string            `json:"status"`
	Why    string            `json:"why,omitempty"`
}

// matMost is the largest whole number that a script holds exactly (2^53 - 1).
const matMost = 1<<53 - 1

// matTake answers each mark of a batch by itself.
func matTake(q *Query) (Answer, error) {
	var b matBatch
	if err := json.NewDecoder(q.Body).Decode(&b); err != nil {
		var large *http.MaxBytesError
		if errors.As(err, &large) {
			return nil, rankwright.Faultf(rankwright.TooLarge, "too_large", "send the marks in smaller batches", "the batch is larger than %d MB", large.Limit>>20)
		}
		f := rankwright.Faultf(rankwright.Invalid, "bad_batch", "load the page again; marks that are kept on the device stay there", "the batch of marks cannot be read")
		f.Err = err
		return nil, f
	}
	if b.V != 1 {
		return nil, rankwright.Faultf(rankwright.Invalid, "bad_version", "load the page again; marks that are kept on the device stay there", "marks travel in version 1 here, not %d", b.V)
	}
	id := rankwright.GradingID(q.PathValue("id"))
	v, err := q.App().Grading(q.Context(), q.Who, id)
	if err != nil {
		return nil, err
	}
	out := matAnswers{V: 1, Answers: make([]matAnswer, len(b.Marks))}
	asked := matAsked(v)
	var good []scoring.Mark
	var place []int
	for i, m := range b.Marks {
		out.Answers[i].ID = m.ID
		value, why := m.read(asked[m.Entry], q.Who)
		if why != "" {
			out.Answers[i].Status, out.Answers[i].Why = "refused", why
			continue
		}
		good = append(good, scoring.Mark{ID: m.ID, Device: m.Device, Seq: m.Seq, Clock: m.Clock, Entry: m.Entry, Requirement: m.Requirement,
			Examiner: m.Examiner, Try: m.Try, Value: value, At: m.At, Note: m.Note})
		place = append(place, i)
	}
	got, err := q.App().AddMarks(q.Context(), q.Who, id, good)
	if err != nil {
		return nil, err
	}
	for k, st := range got {
		a := &out.Answers[place[k]]
		switch {
		case st.Stored:
			a.Status = "stored"
		case st.Double:
			a.Status = "double"
		default:
			a.Status, a.Why = "refused", st.Refuse
		}
	}
	return JSON{Data: out}, nil
}

// matAsked finds the rank of each entry.
func matAsked(v app.GradingView) map[rankwright.EntryID]*syllabus.Rank {
	out := make(map[rankwright.EntryID]*syllabus.Rank, len(v.Entries))
	for _, e := range v.Entries {
		out[e.Entry.ID], _ = v.Syllabus.Rank(e.Rank)
	}
	return out
}

// read checks what is written in the mark; whether the grading takes it is
// the app's to say.
func (m *matMark) read(k *syllabus.Rank, who app.Actor) (v scoring.Value, why string) {
	switch {
	case m.ID == "" || len(m.ID) > 64 || m.Device == "" || len(m.Device) > 64 || m.Seq < 1 || m.Seq > matMost:
		return v, "the mark has no id, no device or no number"
	case m.Clock < 1 || m.Clock > matMost || m.At < 1 || m.At > matMost:
		return v, "the mark has no clock or no time that can be used"
	case m.Try < 0:
		return v, "there is no such try"
	case utf8.RuneCountInString(m.Note) > matNoteMost:
		return v, "the note is too long; write at most 300 characters"
	case who.Role == app.Examiner && m.Examiner != "" && string(m.Examiner) != who.ID:
		return v, "it was made by another examiner; it can be sent when they sign in on this device"
	case k == nil || k.Requirement(m.Requirement) == nil:
		return v, "" // the app says it in its own words
	}
	v, err := scoring.ParseValue(k.Requirement(m.Requirement), m.Value)
	if err != nil {
		say, do := told(err)
		return v, strings.TrimSpace(say + " " + do)
	}
	return v, ""
}
