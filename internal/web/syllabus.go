package web

import (
	"errors"
	"io"
	"net/http"
	"net/url"
	"strings"
	"unicode/utf8"

	"rankwright"
	"rankwright/examples"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
	"rankwright/syllabus"
)

var syllabusRoutes = []Route{
	{Pattern: "GET /syllabus", Act: app.SeeSyllabus, Do: syllabusList},
	{Pattern: "GET /syllabus/new", Act: app.EditSyllabus, Do: syllabusNew},
	{Pattern: "POST /syllabus/new", Act: app.EditSyllabus, Large: true, Do: syllabusNew},
	{Pattern: "GET /syllabus/edit/{ladder}", Act: app.EditSyllabus, Do: syllabusEdit},
	{Pattern: "POST /syllabus/edit/{ladder}", Act: app.EditSyllabus, Large: true, Do: syllabusEdit},
	{Pattern: "GET /syllabus/publish/{ladder}", Act: app.EditSyllabus, Do: syllabusPublish},
	{Pattern: "POST /syllabus/publish/{ladder}", Act: app.EditSyllabus, Do: syllabusPublish},
	{Pattern: "GET /syllabus/version/{id}", Act: app.SeeSyllabus, Do: syllabusRead},
	{Pattern: "GET /syllabus/version/{id}/text", Act: app.SeeSyllabus, Do: syllabusText},
	{Pattern: "GET /syllabus/version/{id}/translations", Act: app.SeeSyllabus, Do: translations},
	{Pattern: "GET /syllabus/version/{id}/translations/{lang}", Act: app.EditSyllabus, Do: translationEdit},
	{Pattern: "POST /syllabus/version/{id}/translations/{lang}", Act: app.EditSyllabus, Large: true, Do: translationEdit},
	{Pattern: "GET /syllabus/version/{id}/translations/{lang}/file", Act: app.SeeSyllabus, Do: translationFile},
	{Pattern: "GET /syllabus/version/{id}/guide/{rank}", Act: app.SeeSyllabus, Do: syllabusGuide},
	{Pattern: "GET /syllabus/version/{id}/guide/{rank}/pdf", Act: app.SeeSyllabus, Do: syllabusGuidePDF},
	{Pattern: "GET /syllabus/version/{id}/guides", Act: app.SeeSyllabus, Do: syllabusGuidePDF},
}

// syllabusStarts are what a school without a file of its own can begin with.
var syllabusStarts = []syllabusStart{
	{"one-page.yaml", "One page, ticks only", "Two ranks, a few things to show, one total. Read it in two minutes and put your own ranks and words in."},
	{"otterlight.yaml", "The whole example of an invented club", "Six ranks with levels, times, counts and age bands: everything that can be said, to cut down to what you need."},
}

type syllabusStart struct{ File, Title, Text string }

type syllabusListPage struct {
	Frame
	Edit   bool
	Cards  []syllabusCard
	Starts []syllabusStart
}

type syllabusCard struct {
	Name, EditHref, PublishHref string
	Now                         *syllabusLine // the latest version
	Draft                       *syllabusLine
	Older                       []syllabusLine
	Counts                      string
	Belts                       []look.Belt
}

type syllabusLine struct{ Href, Text string }

func syllabusEditHref(l rankwright.LadderID) string {
	return "/syllabus/edit/" + url.PathEscape(string(l))
}
func syllabusPublishHref(l rankwright.LadderID) string {
	return "/syllabus/publish/" + url.PathEscape(string(l))
}

// syllabusVersion names a version and links to it.
func syllabusVersion(v *app.Version) *syllabusLine {
	if v == nil {
		return nil
	}
	l := &syllabusLine{Href: "/syllabus/version/" + url.PathEscape(v.ID)}
	if v.Published == 0 {
		l.Text = "Draft, saved on " + v.Saved.Time().Local().Format("2 January 2006")
	} else {
		l.Text = "Version " + itoa(v.Number) + ", published on " + v.Published.Time().Local().Format("2 January 2006")
	}
	return l
}

func syllabusList(q *Query) (Answer, error) {
	p := &syllabusListPage{Edit: q.Who.Role.May(app.EditSyllabus), Starts: syllabusStarts}
	p.Title, p.Lead = "Syllabus", "What each rank of a ladder must show, and by which rule that is enough."
	ladders, err := q.App().Ladders(q.Context(), q.Who)
	if err != nil {
		return nil, err
	}
	current, err := q.App().Current(q.Context(), q.Who)
	if err != nil {
		return nil, err
	}
	for i, l := range ladders {
		s := current[i]
		c := syllabusCard{Name: l.Name, EditHref: syllabusEditHref(l.Ladder), PublishHref: syllabusPublishHref(l.Ladder), Now: syllabusVersion(l.Latest), Draft: syllabusVersion(l.Draft), Counts: syllabusCounts(s)}
		for j := range s.Ranks {
			c.Belts = append(c.Belts, belt(&s.Ranks[j]))
		}
		for j := 1; j < len(l.Versions); j++ {
			c.Older = append(c.Older, *syllabusVersion(&l.Versions[j]))
		}
		p.Cards = append(p.Cards, c)
	}
	if len(ladders) == 0 {
		p.Lead = "No syllabus yet. Choose a beginning; you can change every word before anything is published."
		if !p.Edit {
			p.Lead = "No syllabus yet. An instructor or the head instructor writes it here."
		}
	}
	return Page("syllabus", p), nil
}

func syllabusCounts(s *syllabus.Syllabus) string {
	n := 0
	for i := range s.Ranks {
		n += len(s.Ranks[i].Requirements)
	}
	return plural(len(s.Ranks), "rank", "ranks") + ", " + plural(n, "requirement", "requirements")
}

type syllabusNewPage struct {
	Frame
	Starts []syllabusStart
	File   look.Field
	Text   look.Field
}

// syllabusNew takes an example, a file or a pasted text as a draft.
func syllabusNew(q *Query) (Answer, error) {
	p := &syllabusNewPage{Starts: syllabusStarts}
	p.Title, p.Lead = "A new syllabus", "Choose a beginning. It becomes a draft; nothing counts until you publish it."
	p.Back = &look.Link{Href: "/syllabus", Text: "Syllabus"}
	p.File = look.Field{Name: "file", Label: "A syllabus file", Hint: "A text file whose name ends in .yaml or .yml, one ladder a file.", Type: "file", Accept: ".yaml,.yml,.txt,text/plain", Required: true}
	p.Text = look.Field{Name: "text", Label: "Text", Hint: "The same text as in a file.", Kind: "textarea", Rows: 12, Required: true}
	if q.Method == http.MethodGet {
		return Page("syllabus-new", p), nil
	}
	if q.MultipartForm != nil {
		defer q.MultipartForm.RemoveAll()
	}
	text := q.FormValue("text")
	switch q.FormValue("start") {
	case "example":
		b, err := examples.Files.ReadFile(q.FormValue("example"))
		if err != nil {
			return nil, rankwright.Faultf(rankwright.NotFound, "no_example", "choose one of the two examples", "there is no such example")
		}
		text = string(b)
	case "file":
		f, _, err := q.FormFile("file")
		if err != nil {
			p.File.Error = "No file was chosen. Choose a syllabus file first."
			p.Errors = look.ErrorsOf(p.File)
			return Again("syllabus-new", p), nil
		}
		defer f.Close()
		b, err := io.ReadAll(f)
		if err != nil {
			return nil, err
		}
		text = string(b)
	}
	if strings.TrimSpace(text) == "" {
		if q.FormValue("start") == "file" {
			p.File.Error = "The file is empty. Choose another one."
		} else {
			p.Text.Error = "There is no text yet. Paste it here, or choose one of the other beginnings."
		}
		p.Errors = look.ErrorsOf(p.File, p.Text)
		return Again("syllabus-new", p), nil
	}
	return q.saveSyllabus(text, "")
}

type syllabusEditPage struct {
	Frame
	Action  string
	Text    string
	Base    string // what stood when the page was opened
	Rows    int
	Faults  []syllabusNote
	More    int // faults that are not shown
	Remarks []syllabusNote
	Read    *syllabusLine
	WhatIf  string // where the draft is tried on earlier gradings
}

// syllabusNote is a fault or a remark at a line of the text.
type syllabusNote struct {
	Line         int
	Text         string // of the line
	Say, Do      string
	Spot, Before string
}

func (q *Query) syllabusLadder(id rankwright.LadderID) (*app.LadderView, error) {
	ladders, err := q.App().Ladders(q.Context(), q.Who)
	if err != nil {
		return nil, err
	}
	for i := range ladders {
		if ladders[i].Ladder == id {
			return &ladders[i], nil
		}
	}
	return nil, nil
}

// syllabusStand is by what one sees that a ladder's text has changed.
func syllabusStand(l *app.LadderView) string {
	switch {
	case l == nil:
		return ""
	case l.Draft != nil:
		return l.Draft.Hash
	}
	return l.Latest.Hash
}

func newSyllabusEdit(text string) *syllabusEditPage {
	p := &syllabusEditPage{Text: text, Action: "/syllabus/new", Rows: min(36, max(16, strings.Count(text, "\n")+2))}
	p.Title, p.Back = "A new syllabus", &look.Link{Href: "/syllabus", Text: "Syllabus"}
	return p
}

func (p *syllabusEditPage) of(l *app.LadderView) {
	p.Title, p.Action = l.Name, syllabusEditHref(l.Ladder)
	p.Kicker, p.Read = "Draft", syllabusVersion(l.Draft)
	if l.Draft != nil && l.Latest != nil {
		p.WhatIf = whatIfHref(l.Ladder)
	}
	if l.Draft == nil {
		p.Kicker, p.Read = "From version "+itoa(l.Latest.Number), syllabusVersion(l.Latest)
	}
}

// syllabusEdit shows the draft of a ladder, or its latest version where there
// is none, and saves what was written as the draft.
func syllabusEdit(q *Query) (Answer, error) {
	id := rankwright.LadderID(q.PathValue("ladder"))
	l, err := q.syllabusLadder(id)
	if err != nil {
		return nil, err
	}
	if l == nil {
		return nil, rankwright.Faultf(rankwright.NotFound, "no_ladder", "go back to the syllabus and choose one", "there is no ladder %q", id)
	}
	if q.Method == http.MethodPost {
		return q.saveSyllabus(q.FormValue("text"), id)
	}
	text := ""
	if l.Draft != nil {
		text = l.Draft.Text
	} else {
		text = l.Latest.Text
	}
	p := newSyllabusEdit(text)
	p.of(l)
	p.Base = syllabusStand(l)
	if s, err := syllabus.Parse("", []byte(text)); err == nil {
		for _, r := range syllabus.Lint(s) {
			p.Remarks = append(p.Remarks, syllabusNote{Line: r.Line, Text: syllabusLineText(text, r.Line), Say: sentence(r.Say)})
		}
	}
	return Page("syllabus-edit", p), nil
}

// shownFaults is how many faults are listed at once; mending the first ones
// often mends others.
const shownFaults = 25

// saveSyllabus keeps a text as a draft: of the given ladder, or of the one it
// names where that is "". A text with faults comes back with them.
func (q *Query) saveSyllabus(text string, ladder rankwright.LadderID) (Answer, error) {
	if utf8.ValidString(text) {
		text = strings.ReplaceAll(strings.TrimPrefix(text, "\ufeff"), "\r\n", "\n")
	}
	p := newSyllabusEdit(text)
	p.Base = q.FormValue("base")
	s, err := syllabus.Parse("", []byte(text))
	at := ladder
	if at == "" && err == nil {
		at = s.Ladder
	}
	l, lerr := q.syllabusLadder(at)
	if lerr != nil {
		return nil, lerr
	}
	if ladder != "" && l != nil {
		p.of(l)
	}
	var faults rankwright.Faults
	if errors.As(err, &faults) {
		return p.faulty(faults), nil
	}
	if err != nil {
		return nil, err
	}
	if ladder != "" && s.Ladder != ladder {
		p.Flash = &look.Notice{Kind: "stop", Title: "Nothing was saved", Text: "The text names the ladder “" + string(s.Ladder) + "”, and this page is about “" + string(ladder) + "”.",
			Do: "Write ladder: " + string(ladder) + " again, or bring the text in as a new syllabus.", Links: []look.Link{{Href: "/syllabus/new", Text: "A new syllabus"}}}
		return Again("syllabus-edit", p), nil
	}
	same := l != nil && (l.Draft != nil && l.Draft.Text == text || l.Draft == nil && l.Latest.Text == text)
	if stand := syllabusStand(l); stand != p.Base && !same {
		p.Flash = &look.Notice{Kind: "attention", Title: "Nothing was saved yet", Text: "Since you opened this page, somebody saved another text of this ladder.",
			Do: "Save again to put your text in its place, or look at the other one first."}
		if ladder == "" {
			p.Flash.Text = "There is a ladder “" + string(s.Ladder) + "” already: " + l.Name + "."
			p.Flash.Do = "Save to make this text its draft, in the place of any draft it has now. Or change the ladder’s id in the text to begin another ladder."
		}
		p.Flash.Links = []look.Link{{Href: syllabusEditHref(l.Ladder), Text: "Open the text that is there now"}}
		p.Base = stand
		return Again("syllabus-edit", p), nil
	}
	if same && l.Draft == nil {
		q.Flash("info", "Nothing has changed: this is the text of version "+itoa(l.Latest.Number)+".")
		return To(syllabusEditHref(s.Ladder)), nil
	}
	_, remarks, err := q.App().SaveDraft(q.Context(), q.Who, text)
	if errors.As(err, &faults) {
		return p.faulty(faults), nil
	}
	if err != nil {
		return nil, err
	}
	if q.FormValue("then") == "publish" {
		return To(syllabusPublishHref(s.Ladder)), nil
	}
	say := "The draft is saved. "
	if len(remarks) > 0 {
		say += "Below are " + plural(len(remarks), "remark", "remarks") + " worth reading. "
	}
	q.Flash("good", say+"Families and gradings see nothing of it until you publish it.")
	return To(syllabusEditHref(s.Ladder)), nil
}

// faulty gives the text back with what is wrong with it.
func (p *syllabusEditPage) faulty(faults rankwright.Faults) Answer {
	for _, f := range faults[:min(len(faults), shownFaults)] {
		p.Faults = append(p.Faults, syllabusNote{Line: f.Where.Line, Text: syllabusLineText(p.Text, f.Where.Line), Say: sentence(f.Say), Do: sentence(f.Do)})
	}
	p.More = len(faults) - len(p.Faults)
	p.Flash = &look.Notice{Kind: "stop", Title: "Nothing was saved", Text: plural(len(faults), "place in the text needs", "places in the text need") + " another look.", Do: "Your text is below, as you left it. Mend it there and save again."}
	p.Text = strings.ToValidUTF8(p.Text, "\ufffd")
	return Again("syllabus-edit", p)
}

func syllabusLineText(text string, line int) string {
	lines := strings.Split(text, "\n")
	if line < 1 || line > len(lines) {
		return ""
	}
	r := []rune(strings.ToValidUTF8(strings.TrimSpace(lines[line-1]), "\ufffd"))
	if len(r) > 160 {
		return string(r[:157]) + "…"
	}
	return string(r)
}

type syllabusPublishPage struct {
	Frame
	Action, Edit, Hash string
	Number             int
	Facts              []look.Fact
	Changes            []string
	Remarks            []syllabusNote
	Belts              []look.Belt
	Read               *syllabusLine
	WhatIf             string
}

// syllabusPublish says what publishing means, and publishes.
func syllabusPublish(q *Query) (Answer, error) {
	id := rankwright.LadderID(q.PathValue("ladder"))
	l, err := q.syllabusLadder(id)
	if err != nil {
		return nil, err
	}
	if l == nil || l.Draft == nil {
		return nil, rankwright.Faultf(rankwright.NotFound, "no_draft", "change the syllabus and save it first", "there is no draft of the ladder %q to publish", id)
	}
	s, err := syllabus.Parse("", []byte(l.Draft.Text))
	if err != nil {
		return nil, err
	}
	p := &syllabusPublishPage{Action: syllabusPublishHref(id), Edit: syllabusEditHref(id), Hash: l.Draft.Hash, Number: 1, Read: syllabusVersion(l.Draft)}
	if l.Latest != nil {
		p.WhatIf = whatIfHref(id)
	}
	if l.Latest != nil {
		p.Number = l.Latest.Number + 1
		if old, err := syllabus.Parse("", []byte(l.Latest.Text)); err == nil {
			p.Changes = syllabusChanges(old, s)
		}
	}
	p.Title, p.Kicker = "Publish version "+itoa(p.Number)+"?", s.Name
	p.Back = &look.Link{Href: p.Edit, Text: "Back to the draft"}
	p.Facts = syllabusFacts(s)
	for i := range s.Ranks {
		p.Belts = append(p.Belts, belt(&s.Ranks[i]))
	}
	for _, r := range syllabus.Lint(s) {
		p.Remarks = append(p.Remarks, syllabusNote{Line: r.Line, Text: syllabusLineText(l.Draft.Text, r.Line), Say: sentence(r.Say)})
	}
	if q.Method == http.MethodGet {
		return Page("syllabus-publish", p), nil
	}
	if q.FormValue("hash") != l.Draft.Hash {
		p.Flash = &look.Notice{Kind: "attention", Title: "Not published yet", Text: "The draft was changed after you opened this page.", Do: "This is the draft as it is now. Look once more, then publish."}
		return Again("syllabus-publish", p), nil
	}
	v, err := q.App().Publish(q.Context(), q.Who, id)
	if err != nil {
		if rankwright.KindOf(err) != rankwright.Conflict {
			return nil, err
		}
		say, do := told(err)
		p.Flash = &look.Notice{Kind: "stop", Title: "Not published", Text: say, Do: do}
		return Again("syllabus-publish", p), nil
	}
	q.Flash("good", "Version "+itoa(v.Number)+" is published. The next grading you begin will use it.")
	return To(syllabusVersion(&v).Href), nil
}
