package web

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"unicode/utf8"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
	"rankwright/scoring"
	"rankwright/syllabus"
)

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
	Short   string // of whom it fell short last time
	Type    string // what is typed
	Lines   []matLine
	Send    string
	Grid    string
	Last    string // the row before, "" for none
	Next    string // the row after
	Squad   int    // 0 is everybody
	Table   int    // of the printed score tables; 0 is none
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
	query := s.query(q.Who.ID)
	if p.Squad, p.Table = s.Squad, s.Table; s.As != nil {
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
	step := func(by int) string { // a row that nobody is asked for is passed over
		n := i + by
		for n >= 0 && n < len(s.Rank.Requirements) && s.Waived[s.Rank.Requirements[n].ID] != "" {
			n += by
		}
		if n < 0 || n >= len(s.Rank.Requirements) {
			return ""
		}
		query.Set("row", string(s.Rank.Requirements[n].ID))
		return matHref(v.ID, s.Rank.ID, query)
	}
	p.Last, p.Next = step(-1), step(1)
	names := matNames(s.Entries)
	s.names = names
	p.Short = matShort(s, func(x app.Short) bool {
		return slices.Contains(x.Requirements, id) || slices.Contains(x.Sections, r.Section)
	})
	for j, e := range s.Entries {
		if _, away := matAway(e.Presence); away || matWaived(s.Sheet, e.Entry.ID, id) != "" {
			continue
		}
		c, note, _, _ := matValues(s, i, e)
		for try := 1; try <= len(c.Values); try++ {
			p.Lines = append(p.Lines, matLineOf(q, r, e.Entry.ID, names[j], c, try, note, p.May))
		}
	}
	p.Type = matTyped(r)
	p.open()
	return p, nil
}

// open sets the focus to the first line that has no mark.
func (p *matRowPage) open() {
	if !p.May || len(p.Lines) == 0 {
		return
	}
	p.Scripts = []string{matPath() + "row.js"}
	if k := slices.IndexFunc(p.Lines, func(l matLine) bool { return l.typedValue == "" }); k >= 0 {
		p.Lines[k].Value.First = true
	}
}

// matTyped says what is typed into a row, in one line.
func matTyped(r *syllabus.Requirement) string {
	switch r.Kind {
	case syllabus.Tick:
		return "Type 1 for shown, 0 for not shown."
	case syllabus.Consent:
		return "Type y for yes, n for no, a for an abstention."
	case syllabus.Leveled:
		l := r.Scale.Levels
		return fmt.Sprintf("Type the level, %d to %d.", l[0].Value, l[len(l)-1].Value)
	case syllabus.Timed:
		return "Type seconds, such as 12.5."
	}
	if r.Of > 0 {
		return fmt.Sprintf("Type how many, 0 to %d.", r.Of)
	}
	return "Type how many."
}

// matSpelled is a value as it was typed, in the form in which marks are read:
// a comma is a point, and a vote may be its first letter.
func matSpelled(r *syllabus.Requirement, typed string) string {
	t := strings.TrimSpace(strings.ReplaceAll(typed, ",", "."))
	if r.Kind == syllabus.Consent {
		switch strings.ToLower(t) {
		case "y", "1":
			return "yes"
		case "n", "0":
			return "no"
		case "a":
			return "abstain"
		}
	}
	return t
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
		l.typedValue = matSpelled(r, q.FormValue("value."+key))
		l.typedNote = strings.TrimSpace(q.FormValue("note." + key))
	}
	l.Value = look.Field{Name: "value." + key, Label: name, Value: l.typedValue, Size: "short", InputMode: "numeric", Autocomplete: "off", Disabled: !may}
	if c.Expect != "" && r.Kind != syllabus.Tick {
		l.Value.Hint = "asked: " + c.Expect
		if r.AtMost {
			l.Value.Hint = "asked: at most " + c.Expect
		}
	}
	switch r.Kind {
	case syllabus.Consent:
		l.Value.InputMode = ""
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
	if ok, err := p.save(func(marks []scoring.Mark) ([]app.Answered, error) {
		return q.App().AddMarks(q.Context(), q.Who, s.Grading.ID, marks)
	}); err != nil {
		return nil, err
	} else if !ok {
		return Again("marks-row", p), nil
	}
	if p.Next == "" {
		q.Flash("good", "That was the last row.")
		return To(p.Grid), nil
	}
	return To(p.Next), nil
}

// save gives a mark for each line that was changed. It is false where
// something is wrong, which then stands beside its line.
func (p *matRowPage) save(give func([]scoring.Mark) ([]app.Answered, error)) (ok bool, err error) {
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
				l.Note.Error = "A note goes with a mark. Give a mark for it."
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
		return false, nil
	}
	got, err := give(marks)
	if err != nil {
		return false, err
	}
	for k, st := range got {
		if st.Refuse != "" {
			lines[k].Value.Error = sentence("This mark was refused: " + st.Refuse)
		} else { // sent again with the others, it must not be given twice
			lines[k].Was, lines[k].NoteWas = lines[k].typedValue, lines[k].typedNote
		}
	}
	p.sum()
	return p.Errors == nil, nil
}

// sum gathers the mistakes in the order in which the fields stand.
func (p *matRowPage) sum() {
	var fields, notes []look.Field
	for _, l := range p.Lines {
		fields, notes = append(fields, l.Value), append(notes, l.Note)
	}
	if p.Errors = look.ErrorsOf(append(fields, notes...)...); p.Errors == nil {
		return
	}
	p.Errors.Still = true // it is read out all the same, and whoever types goes on where the mistake is
	wrong := false
	first := func(f *look.Field) {
		f.First = f.Error != "" && !wrong
		wrong = wrong || f.First
	}
	for i := range p.Lines {
		first(&p.Lines[i].Value)
	}
	for i := range p.Lines {
		first(&p.Lines[i].Note)
	}
}

// Noted says that the notes are open from the beginning.
func (p *matRowPage) Noted() bool {
	return slices.ContainsFunc(p.Lines, func(l matLine) bool { return l.Note.Value != "" || l.Note.Error != "" })
}
