package web

import (
	"encoding/json"
	"errors"
	"net/http"
	"net/url"
	"strings"
	"unicode/utf8"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
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

const matNoteMost = 300

type matRowPage struct {
	Frame
	matOwn
	Belt    look.Belt
	Req     *syllabus.Requirement
	Scale   *syllabus.Scale
	Caution *look.Caution
	Notice  *look.Notice
	Waived  string
	Place   string
	Lines   []matLine
	Send    string
	Grid    string
	Last    string // the row before, "" for none
	Next    string // the row after
}

// matLine is one try of one student on the page of a row.
type matLine struct {
	Value, Note           look.Field
	Was, NoteWas          string
	WasName, NoteWasName  string
	entry                 rankwright.EntryID
	try                   int
	typedValue, typedNote string
}

func (l *matLine) changed() bool { return l.typedValue != l.Was || l.typedNote != l.NoteWas }

// matRowForm marks one requirement of all students in a plain form: without a
// script, or typed in from paper.
func matRowForm(q *Query, s matSheet) (Answer, error) {
	p, err := matRowPageOf(q, s)
	if err != nil {
		return nil, err
	}
	return Page("marks-row", p), nil
}

func matRowPageOf(q *Query, s matSheet) (*matRowPage, error) {
	id := rankwright.RequirementID(q.FormValue("row"))
	r := s.Rank.Requirement(id)
	if r == nil {
		return nil, rankwright.Faultf(rankwright.NotFound, "unknown_requirement", "go back to the grid", "%s is not asked for %s", id, s.Rank.Name)
	}
	i := scoring.NewIndex(s.Rank)[id]
	v := s.Grading
	p := &matRowPage{Belt: matBelt(s.Rank), Req: r, Scale: r.Scale, Notice: s.Notice, Waived: s.Waived[id], Send: matHref(v.ID, s.Rank.ID, nil)}
	p.matOwn = matOwn{Grading: v.ID, Rank: s.Rank.ID, May: s.May && s.Waived[id] == ""}
	p.Title, p.Width = r.Show, "narrow"
	p.Styles = matStyle()
	query := url.Values{}
	if s.As != nil && s.As.Person != q.Who.ID {
		query.Set("as", s.As.Person)
	}
	if s.As != nil {
		p.As = rankwright.ExaminerID(s.As.Person)
	}
	p.Grid = matHref(v.ID, s.Rank.ID, query)
	p.Back = &look.Link{Href: p.Grid, Text: "The whole grid"}
	p.Kicker = v.Title
	if x := v.Syllabus.Section(r.Section); x != nil {
		p.Kicker += ", " + x.Name
	}
	if matCautioned(v.Syllabus, s.Rank, r.Section) {
		c := look.Cautions(q.School.Cautions, q.School.Safety)
		p.Caution = &c
	}
	step := func(n int) string {
		if n < 0 || n >= len(s.Rank.Requirements) {
			return ""
		}
		query.Set("row", string(s.Rank.Requirements[n].ID))
		return matHref(v.ID, s.Rank.ID, query)
	}
	p.Last, p.Next = step(i-1), step(i+1)
	names := matNames(s.Entries)
	for j, e := range s.Entries {
		if _, away := matAway(e.Presence); away || matWaived(s.Sheet, e.Entry.ID, id) != "" {
			continue
		}
		c, note, _, _ := matValues(s, i, e)
		for try := 1; try <= len(c.Values); try++ {
			p.Lines = append(p.Lines, matLineOf(q, r, e.Entry.ID, names[j], c, try, note, p.May))
		}
	}
	return p, nil
}

func matLineOf(q *Query, r *syllabus.Requirement, e rankwright.EntryID, name string, c matCell, try int, note string, may bool) matLine {
	key := string(e) + "." + string(rune('0'+try))
	l := matLine{entry: e, try: try, Was: c.Values[try-1], WasName: "was." + key, NoteWasName: "note-was." + key, NoteWas: note}
	if len(c.Values) > 1 {
		name += ", try " + string(rune('0'+try))
		if try < len(c.Values) {
			l.NoteWas = ""
		}
	}
	l.typedValue, l.typedNote = l.Was, l.NoteWas
	if q.Method == http.MethodPost {
		// What the page had shown decides what was changed on it.
		l.Was, l.NoteWas = q.FormValue(l.WasName), q.FormValue(l.NoteWasName)
		l.typedValue = strings.TrimSpace(strings.ReplaceAll(q.FormValue("value."+key), ",", "."))
		l.typedNote = strings.TrimSpace(q.FormValue("note." + key))
	}
	l.Value = look.Field{Name: "value." + key, Label: name, Value: l.typedValue, Size: "short", InputMode: "numeric", Autocomplete: "off", Disabled: !may}
	if c.Expect != "" && r.Kind != syllabus.Tick {
		l.Value.Hint = "asked: " + c.Expect
		if r.AtMost {
			l.Value.Hint = "asked: at most " + c.Expect
		}
	}
	choose := func(options ...string) {
		l.Value.Kind, l.Value.InputMode = "segments", ""
		for i := 0; i < len(options); i += 2 {
			l.Value.Options = append(l.Value.Options, look.Option{Value: options[i], Text: options[i+1], Selected: options[i] == l.typedValue})
		}
	}
	switch r.Kind {
	case syllabus.Tick:
		choose("", "No mark", "1", "Shown", "0", "Not shown")
	case syllabus.Consent:
		choose("", "No mark", "yes", "Yes", "no", "No", "abstain", "Abstain")
	case syllabus.Leveled:
		options := []string{"", "No mark"}
		for _, x := range r.Scale.Levels {
			n := scoring.N(x.Value).String()
			options = append(options, n, n)
		}
		choose(options...)
	case syllabus.Timed:
		l.Value.InputMode = "decimal"
	}
	l.Note = look.Field{Name: "note." + key, Label: "Note for " + name, Optional: true, Value: l.typedNote, MaxLength: matNoteMost, Autocomplete: "off", Disabled: !may}
	return l
}

// matSaveRow takes the plain form of one row: each line that was changed is
// one mark.
func matSaveRow(q *Query) (Answer, error) {
	s, err := matOpen(q, q.FormValue("as"))
	if err != nil {
		return nil, err
	}
	p, err := matRowPageOf(q, s)
	if err != nil {
		return nil, err
	}
	var marks []scoring.Mark
	var lines []*matLine
	for i := range p.Lines {
		l := &p.Lines[i]
		if !l.changed() {
			continue
		}
		m := scoring.Mark{Entry: l.entry, Requirement: p.Req.ID, Examiner: p.As, Try: l.try, Note: l.typedNote}
		text := l.typedValue
		if text == "" {
			if text, m.Note = "x", ""; l.typedNote != "" {
				l.Note.Error = "A note goes with a mark. Choose a mark for it."
			}
		}
		if m.Value, err = scoring.ParseValue(p.Req, text); err != nil {
			say, do := told(err)
			l.Value.Error = strings.TrimSpace(say + " " + do)
		}
		if utf8.RuneCountInString(m.Note) > matNoteMost {
			l.Note.Error = "The note is too long. Write at most 300 characters."
		}
		marks, lines = append(marks, m), append(lines, l)
	}
	if p.sum(); p.Errors != nil {
		return Again("marks-row", p), nil
	}
	got, err := q.App().AddMarks(q.Context(), q.Who, s.Grading.ID, marks)
	if err != nil {
		return nil, err
	}
	for k, st := range got {
		if st.Refuse != "" {
			lines[k].Value.Error = sentence("This mark was refused: " + st.Refuse)
		} else { // sent again with the others, it must not be given twice
			lines[k].Was, lines[k].NoteWas = lines[k].typedValue, lines[k].typedNote
		}
	}
	if p.sum(); p.Errors != nil {
		return Again("marks-row", p), nil
	}
	if p.Next == "" {
		q.Flash("good", "That was the last row.")
		return To(p.Grid), nil
	}
	return To(p.Next), nil
}

func (p *matRowPage) sum() {
	var fields []look.Field
	for _, l := range p.Lines {
		fields = append(fields, l.Value, l.Note)
	}
	p.Errors = look.ErrorsOf(fields...)
}
