package web

import (
	"bytes"
	"encoding/csv"
	"slices"
	"strings"

	"rankwright/internal/app"
	"rankwright/internal/web/look"
	"rankwright/roster"
)

// One says whether a preview is of a student who was typed in: then nothing is
// said of files and rows.
func (p *importPreviewPage) One() bool { return p.File == oneFile }

// said is an answer in the words that fit: a student who was typed in is no row.
func (p *importPreviewPage) said(answer string) string {
	if p.One() {
		return strings.NewReplacer("take the row as it stands", "add this student as typed", "the row", "this student").Replace(answer)
	}
	return answer
}

// oneFile stands where the name of a file would, for a student who was typed in.
const oneFile = "one student, typed in"

// oneFields are asked of one student, in this order. Both names of the rank are
// one choice.
var oneFields = []struct {
	field roster.Field
	label string
	hint  string
	kind  string
	must  bool
}{
	{roster.GivenNameField, "Given name", "", "", true},
	{roster.FamilyNameField, "Family name", "", "", false},
	{roster.BirthDateField, "Born", "", "date", true},
	{roster.RankField, "Rank now", "", "select", true},
	{roster.RankSinceField, "Rank held since", "Left empty where there is no rank yet.", "date", false},
	{roster.ClassesField, "Classes since then", "", "number", false},
	{roster.GuardianNameField, "Guardian", "", "", false},
	{roster.GuardianEmailField, "Guardian’s e-mail", "Children with the same guardian are of one household.", "email", false},
	{roster.GuardianPhoneField, "Guardian’s telephone", "", "tel", false},
	{roster.BeltSizeField, "Belt length", "In centimetres, such as 220.", "", false},
	{roster.ShirtSizeField, "Shirt size", "", "", false},
}

type rosterOnePage struct {
	Frame
	Fields []look.Field
}

// rosterOne asks for one student. What was typed goes the way of a spreadsheet
// with one row: read by the same rules, looked at before anything is written.
func rosterOne(q *Query) (Answer, error) {
	p := &rosterOnePage{}
	p.Title, p.Lead = "Add one student", "Next you see what would happen; nothing is written before you say so."
	p.Back, p.Width = &look.Link{Href: "/roster", Text: "Roster"}, "narrow"
	belts, err := q.rosterBelts()
	if err != nil {
		return nil, err
	}
	for _, f := range oneFields {
		if f.kind == "select" && len(belts.ladders) == 0 {
			continue // ranks come with the first syllabus
		}
		x := look.Field{Name: string(f.field), Label: f.label, Hint: f.hint, Type: f.kind, Value: strings.TrimSpace(q.FormValue(string(f.field))), Required: f.must, Optional: !f.must, Size: "medium"}
		if f.kind == "number" {
			x.Min = "0"
		}
		if f.kind == "select" {
			x.Kind, x.Type, x.Options = "select", "", oneRanks(belts, x.Value)
		}
		p.Fields = append(p.Fields, x)
	}
	if q.Method != "POST" {
		return Page("roster-one", p), nil
	}
	for i, f := range p.Fields {
		if f.Required && f.Value == "" {
			p.Fields[i].Error = f.Label + " is missing. Fill it in."
		}
	}
	if p.Errors = look.ErrorsOf(p.Fields...); p.Errors != nil {
		return Again("roster-one", p), nil
	}
	im, err := oneImport(p.Fields)
	if err != nil {
		return nil, err
	}
	v, err := q.App().PreviewImport(q.Context(), q.Who, im)
	if err != nil {
		return nil, err
	}
	p.faults(v)
	if p.Errors != nil || p.Flash != nil {
		return Again("roster-one", p), nil
	}
	preview, err := q.importPreviewOf(im, q.srv.uploads.put(q.Who.ID, im))
	if err != nil {
		return nil, err
	}
	return Page("import-preview", preview), nil
}

// oneRanks are the ranks of every ladder, each with those who have none yet in
// front.
func oneRanks(belts rosterBelts, chosen string) (out []look.Option) {
	add := func(value, text string) {
		out = append(out, look.Option{Value: value, Text: text, Selected: value == chosen})
	}
	for _, s := range belts.ladders {
		before := ""
		if len(belts.ladders) > 1 {
			before = s.Name + ": "
		}
		add(string(s.Ladder)+"/", before+"no rank yet")
		for _, k := range s.Ranks {
			add(string(s.Ladder)+"/"+string(k.ID), before+k.Name)
		}
	}
	return out
}

// oneImport is the spreadsheet with one row that says what was typed, under
// headings that people read.
func oneImport(fields []look.Field) (im app.Import, err error) {
	var head, row []string
	for _, f := range fields {
		if f.Name == string(roster.RankField) {
			ladder, rank, _ := strings.Cut(f.Value, "/")
			head, row = append(head, roster.LadderField.Label()), append(row, ladder)
			f.Value = rank
		}
		head, row = append(head, roster.Field(f.Name).Label()), append(row, f.Value)
	}
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	err = w.WriteAll([][]string{head, row})
	im = app.Import{File: oneFile, Data: b.Bytes()}
	im.Options.Encoding, im.Options.Separator = "utf-8", ','
	return im, err
}

// faults puts what cannot be read beside the field where it was typed; what is
// of no field stands above.
func (p *rosterOnePage) faults(v app.Preview) {
	list := v.Plan.Faults
	for _, r := range v.Plan.Rows {
		if r.Status == roster.Refused {
			list = append(list, r.Faults...)
		}
	}
	for _, f := range list {
		say, _ := told(f) // what to do is said of spreadsheets
		field := f.Where.Name
		if field == roster.LadderField.Label() {
			field = roster.RankField.Label()
		}
		if i := slices.IndexFunc(p.Fields, func(x look.Field) bool { return roster.Field(x.Name).Label() == field }); i >= 0 {
			p.Fields[i].Error = say + " Correct it here."
		} else {
			p.Flash = &look.Notice{Kind: "stop", Title: "This cannot be read", Text: say, Do: "Correct it below."}
		}
	}
	p.Errors = look.ErrorsOf(p.Fields...)
}
