package web

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"io"
	"maps"
	"path"
	"slices"
	"strings"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
	"rankwright/roster"
	"rankwright/roster/table"
)

type importPage struct {
	Frame
	File    look.Field
	Columns string
}

func newImport() *importPage {
	p := &importPage{}
	p.Title, p.Lead = "Bring in a spreadsheet", "Choose the file you already have. Next you see, row by row, what would happen; nothing is written before you say so."
	p.Back, p.Width = &look.Link{Href: "/roster", Text: "Roster"}, "narrow"
	p.File = look.Field{Name: "file", Label: "The spreadsheet", Hint: "A .csv or .xlsx file of up to 10 MB.", Type: "file", Required: true,
		Accept: ".csv,.tsv,.txt,.xlsx,text/csv,application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"}
	return p
}

func importChoose(*Query) (Answer, error) { return Page("import", newImport()), nil }

// again asks for the file once more, with the reason.
func (p *importPage) again(say string) Answer {
	p.File.Error = say
	p.Errors = look.ErrorsOf(p.File)
	return Again("import", p)
}

type importPreviewPage struct {
	Frame
	Key, Headings, Seen string
	File                string
	Counts              []importCount
	Notes               []string
	Questions           []look.Field
	Reading             []look.Field
	ReadOpen            bool
	Columns             []importColumn
	ColumnsOpen         bool
	Doubtful            []importRow
	MoreDoubtful        int
	Waiting             int
	Refused             []importRow
	MoreRefused         int
	Changed             []importRow
	MoreChanged         int
	New                 []importRow
	MoreNew             int
	Remarked            []importRow
	Missing             []string
	MoreMissing         int
	Carried             []look.Field
	Good, Left          int
	CanApply            bool
	Kept                []importKept // choices that are not on the page as it is
}

type importKept struct{ Name, Value string }

type importCount struct {
	N    int
	Word string
}

type importColumn struct {
	Field   look.Field
	Heading string
	Samples string
}

type importRow struct {
	Line     int
	Name     string
	Born     string
	Belt     look.Belt
	Since    string
	Classes  int
	Changes  []importChange
	Faults   []importFault
	Remarks  []string
	Question *look.Field
}

type importChange struct{ Field, Before, After string }

type importFault struct{ Column, Say, Do string }

// importShown is how many rows of a kind the preview lists.
const importShown = 100

const importForgotten = "The file is no longer at hand: it is kept for half an hour and not over a restart. Nothing was brought in. Choose it once more."

// importOf gathers the file and every choice that the form carries.
func (q *Query) importOf() (im app.Import, key string, answer Answer, err error) {
	if q.MultipartForm != nil {
		defer q.MultipartForm.RemoveAll()
	}
	key = q.FormValue("key")
	if key == "" {
		f, head, err := q.FormFile("file")
		if err != nil {
			return im, "", newImport().again("No file was chosen. Choose the spreadsheet first."), nil
		}
		defer f.Close()
		data, err := io.ReadAll(io.LimitReader(f, table.MaxBytes+1))
		if err != nil {
			return im, "", nil, err
		}
		im = app.Import{File: path.Base(strings.ReplaceAll(head.Filename, `\`, "/")), Data: data}
		return im, q.srv.uploads.put(q.Who.ID, im), nil, nil
	}
	im, ok := q.srv.uploads.get(q.Who.ID, key)
	if !ok {
		return im, "", newImport().again(importForgotten), nil
	}
	im.Options.Encoding, im.Options.Sheet = q.FormValue("encoding"), q.FormValue("sheet")
	for _, s := range importSeparators {
		if s.value != "" && s.value == q.FormValue("separator") {
			im.Options.Separator = s.char
		}
	}
	im.Headings = q.FormValue("headings")
	for i := range table.MaxColumns {
		v, ok := q.Form["col-"+itoa(i)]
		if !ok {
			break
		}
		im.Columns = append(im.Columns, roster.Field(v[0]))
	}
	im.Answers = roster.Answers{}
	for name, v := range q.Form {
		if id, ok := strings.CutPrefix(name, "answer:"); ok && v[0] != "" {
			im.Answers[id] = v[0]
		}
	}
	return im, key, nil, nil
}

var importSeparators = []struct {
	value string
	char  rune
	name  string
}{{"comma", ',', "comma"}, {"semicolon", ';', "semicolon"}, {"tab", '\t', "tab"}, {"bar", '|', "upright bar"}}

func importPreview(q *Query) (Answer, error) {
	im, key, answer, err := q.importOf()
	if answer != nil || err != nil {
		return answer, err
	}
	p, err := q.importPreviewOf(im, key)
	if err != nil {
		var f *rankwright.Fault
		if !errors.As(err, &f) || f.Kind == rankwright.Internal {
			return nil, err
		}
		say, do := told(err)
		if q.FormValue("key") == "" {
			q.srv.uploads.drop(key)
			return newImport().again(say + " " + do), nil
		}
		return q.importUnreadable(im, key, say, do), nil
	}
	if p.Flash != nil {
		return Again("import-preview", p), nil
	}
	return Page("import-preview", p), nil
}

// importUnreadable keeps the choices of a file that cannot be read as it was asked.
func (q *Query) importUnreadable(im app.Import, key, say, do string) Answer {
	p := &importPreviewPage{Key: key, File: im.File, ReadOpen: true, Reading: importReading(im, table.Result{Format: table.CSV})}
	p.head()
	for _, name := range slices.Sorted(maps.Keys(q.Form)) {
		if strings.HasPrefix(name, "col-") || strings.HasPrefix(name, "answer:") || name == "headings" {
			p.Kept = append(p.Kept, importKept{name, q.Form.Get(name)})
		}
	}
	p.Lead = "Nothing was written. Change how the file is read, and look again."
	p.Flash = &look.Notice{Kind: "stop", Title: "The file cannot be read in this way", Text: say, Do: do}
	return Again("import-preview", p)
}

func (p *importPreviewPage) head() {
	p.Title, p.Kicker = "Before anything is written", p.File
	p.Back = &look.Link{Href: "/roster/import", Text: "Choose another file"}
}

// importPreviewOf plans an import and lays it out.
func (q *Query) importPreviewOf(im app.Import, key string) (*importPreviewPage, error) {
	v, err := q.App().PreviewImport(q.Context(), q.Who, im)
	if err != nil {
		return nil, err
	}
	belts, err := q.rosterBelts()
	if err != nil {
		return nil, err
	}
	head, body := v.Read.Table.Head()
	p := &importPreviewPage{Key: key, File: im.File, Headings: roster.Fingerprint(head), Seen: importMark(v.Plan)}
	p.head()
	p.Lead = "Nothing has happened yet. Look through this; at the end you bring it in or leave it."
	if p.One() {
		p.Title, p.Kicker, p.Back = "Add one student", "", &look.Link{Href: "/roster/new", Text: "Type it anew"}
	} else {
		p.ReadOpen = v.Read.EncodingAssumed
		p.Reading = importReading(im, v.Read)
		p.Columns, p.ColumnsOpen = importColumns(v, head, body), len(v.Plan.Faults) > 0
	}
	if v.Recalled && !p.One() {
		p.Notes = append(p.Notes, "The columns are read as they were last time for these headings.")
	}
	for _, n := range v.Plan.Notes {
		if p.One() {
			break
		}
		p.Notes = append(p.Notes, sentence(n))
	}
	if len(v.Plan.Faults) > 0 {
		p.Flash = &look.Notice{Kind: "stop", Title: "The table cannot be read yet"}
		for _, f := range v.Plan.Faults {
			say, do := told(f)
			p.Flash.Text += say + " " + do + " "
		}
		p.Flash.Do = "Choose what each column means, below, and look again."
	}
	asked := map[string]bool{}
	p.dateOrders(im, v, asked)
	for i, question := range v.Plan.Questions {
		p.Questions = append(p.Questions, p.question(question, "question-"+itoa(i), im.Answers, asked))
	}
	for s := roster.New; s <= roster.LeftOut; s++ {
		if n := v.Plan.Count(s); n > 0 {
			p.Counts = append(p.Counts, importCount{n, importStatus(s, n)})
		}
	}
	p.rows(v, belts, im.Answers, asked)
	if err := p.missing(q, v); err != nil {
		return nil, err
	}
	p.carry(im.Answers, asked, v)
	p.Good = v.Plan.Count(roster.New) + v.Plan.Count(roster.Changed)
	p.Left = v.Plan.Count(roster.Doubtful) + v.Plan.Count(roster.Refused)
	p.CanApply = p.Good > 0 && len(v.Plan.Faults) == 0
	return p, nil
}

func importStatus(s roster.Status, n int) string {
	switch s {
	case roster.New:
		return "new"
	case roster.Changed:
		return "changed"
	case roster.Same:
		return "the same as now"
	case roster.Doubtful:
		if n == 1 {
			return "needs your answer"
		}
		return "need your answer"
	case roster.Refused:
		return "cannot be read"
	}
	return "left out by you"
}

// importMark tells one plan from another, so that nothing is brought in that
// was not shown.
func importMark(p roster.ImportPlan) string {
	b, err := json.Marshal(p)
	if err != nil {
		return ""
	}
	sum := sha256.Sum256(b)
	return base64.RawURLEncoding.EncodeToString(sum[:15])
}

func importReading(im app.Import, r table.Result) []look.Field {
	var out []look.Field
	choose := func(name, label, found, chosen string, options []look.Option) {
		first := "Find out by itself"
		if found != "" {
			first = "As found: " + found
		}
		f := look.Field{Name: name, Label: label, Kind: "select", Options: []look.Option{{Text: first, Selected: chosen == ""}}}
		for _, o := range options {
			o.Selected = o.Value == chosen
			f.Options = append(f.Options, o)
		}
		out = append(out, f)
	}
	if len(r.Sheets) > 1 {
		var os []look.Option
		for _, s := range r.Sheets {
			os = append(os, look.Option{Value: s, Text: s})
		}
		choose("sheet", "Sheet", r.Sheet, im.Options.Sheet, os)
	}
	if r.Format != table.CSV {
		return out
	}
	words := map[string]string{}
	for _, c := range r.Choices {
		words[c.Name] = strings.Join(c.Words, ", ")
	}
	found := ""
	var os []look.Option
	for _, e := range table.Encodings() {
		o := look.Option{Value: e.Name, Text: e.Label}
		if w := words[e.Name]; w != "" {
			o.Text += ": " + w
		}
		if e.Name == r.Encoding && im.Options.Encoding == "" {
			found = o.Text
		}
		os = append(os, o)
	}
	choose("encoding", "Letters (the encoding)", found, im.Options.Encoding, os)
	found, os = "", nil
	chosen := ""
	for _, s := range importSeparators {
		os = append(os, look.Option{Value: s.value, Text: s.name})
		if s.char == r.Separator && im.Options.Separator == 0 {
			found = s.name
		}
		if s.char == im.Options.Separator {
			chosen = s.value
		}
	}
	choose("separator", "What stands between the columns", found, chosen, os)
	return out
}

func importColumns(v app.Preview, head roster.Row, body []roster.Row) []importColumn {
	var out []importColumn
	for i, c := range v.Mapping.Columns {
		x := importColumn{Heading: strings.Join(strings.Fields(c.Heading), " ")}
		if x.Heading == "" {
			x.Heading = "Column " + itoa(i+1) + ", without a heading"
		}
		var seen []string
		for _, r := range body {
			if s := strings.Join(strings.Fields(r.Text(i)), " "); s != "" && !slices.Contains(seen, s) {
				if seen = append(seen, s); len(seen) == 3 {
					break
				}
			}
		}
		x.Samples = strings.Join(seen, " · ")
		x.Field = look.Field{Name: "col-" + itoa(i), Label: "What “" + x.Heading + "” means", Kind: "select", Options: []look.Option{{Text: "Not read", Selected: c.Field == roster.Ignored}}}
		for _, f := range roster.Fields() {
			x.Field.Options = append(x.Field.Options, look.Option{Value: string(f), Text: syllabusCapital(f.Label()), Selected: c.Field == f})
		}
		out = append(out, x)
	}
	return out
}

// dateOrders lets a person change an order of dates that was found, recalled
// or answered.
func (p *importPreviewPage) dateOrders(im app.Import, v app.Preview, asked map[string]bool) {
	for _, f := range []roster.Field{roster.BirthDateField, roster.RankSinceField} {
		o := v.Plan.Mapping.DateOrder[f]
		id := "order " + string(f)
		if o == roster.UnknownOrder || slices.ContainsFunc(v.Plan.Questions, func(q roster.Question) bool { return q.ID == id }) {
			continue
		}
		asked[id] = true
		first := "Find out by itself"
		if im.Answers[id] == "" {
			first = "As found: " + o.Label()
		}
		x := look.Field{Name: "answer:" + id, ID: "order-" + string(f), Label: syllabusCapital(f.Label()) + ": order of day, month, year", Kind: "select", Options: []look.Option{{Text: first, Selected: im.Answers[id] == ""}}}
		for _, order := range []roster.Order{roster.DayFirst, roster.MonthFirst, roster.YearFirst} {
			x.Options = append(x.Options, look.Option{Value: string(order), Text: order.Label(), Selected: im.Answers[id] == string(order)})
		}
		p.Reading = append(p.Reading, x)
	}
}

func (p *importPreviewPage) question(question roster.Question, id string, answers roster.Answers, asked map[string]bool) look.Field {
	asked[question.ID] = true
	f := look.Field{Name: "answer:" + question.ID, ID: id, Label: question.Ask, Kind: "radios"}
	if n := question.Where.Name; n != "" {
		f.Hint = "Column “" + n + "”"
	}
	for _, c := range question.Choices {
		f.Options = append(f.Options, look.Option{Value: c.Value, Text: syllabusCapital(p.said(c.Label)), Selected: answers[question.ID] == c.Value})
	}
	return f
}

// carry keeps answers that are not asked about any more, each with a way to
// take it back.
func (p *importPreviewPage) carry(answers roster.Answers, asked map[string]bool, v app.Preview) {
	var ids []string
	for id := range answers {
		if !asked[id] {
			ids = append(ids, id)
		}
	}
	slices.Sort(ids)
	names := map[string]string{}
	for _, r := range v.Plan.Rows {
		names["row "+itoa(r.Line)] = r.Student.FullName()
	}
	words := map[string]string{"skip": "leave the row out", "accept": "take the row as it stands", "new": "somebody new", "yes": "yes", "no": "no",
		string(roster.FamilyLast): "the last word is the family name", string(roster.FamilyTwo): "the last two words are the family name", string(roster.FamilyFirst): "the first word is the family name"}
	for i, id := range ids {
		what := words[answers[id]]
		if student, ok := strings.CutPrefix(answers[id], "is "); ok {
			what = "this is number " + student + " of the roster"
		}
		if what == "" {
			continue
		}
		what = p.said(what)
		label := syllabusCapital(id)
		switch n := names[id]; {
		case n != "" && p.One():
			label = n
		case n != "":
			label += ", " + n
		}
		p.Carried = append(p.Carried, look.Field{Name: "answer:" + id, ID: "carried-" + itoa(i), Kind: "check", Value: answers[id], Checked: true, Label: label + ": " + what})
	}
}

// importConfirm brings in what the preview showed, and only that.
func importConfirm(q *Query) (Answer, error) {
	im, key, answer, err := q.importOf()
	if answer != nil || err != nil {
		return answer, err
	}
	p, err := q.importPreviewOf(im, key)
	if err != nil {
		return importPreview(q)
	}
	if p.Seen != q.FormValue("seen") {
		p.Flash = &look.Notice{Kind: "attention", Title: "Nothing was written yet", Text: "A choice on this page, or the roster itself, changed after you looked.", Do: "This is what would happen now. Look once more, then bring it in."}
		return Again("import-preview", p), nil
	}
	done, err := q.App().ApplyImport(q.Context(), q.Who, im, p.Left > 0)
	if err != nil {
		if rankwright.KindOf(err) == rankwright.Internal {
			return nil, err
		}
		say, do := told(err)
		p.Flash = &look.Notice{Kind: "stop", Title: "Nothing was written", Text: say, Do: do}
		return Again("import-preview", p), nil
	}
	q.srv.uploads.drop(key)
	text := syllabusCapital(plural(done.Plan.Count(roster.New), "student is", "students are")) + " new on the roster"
	if n := done.Plan.Count(roster.Changed); n > 0 || !p.One() {
		text += ", " + plural(n, "was", "were") + " changed"
	}
	text += "."
	if p.Left > 0 {
		text += " " + plural(p.Left, "row was", "rows were") + " left aside; mend them in the spreadsheet and bring it in again."
	}
	q.Flash("good", text)
	return To("/roster"), nil
}
