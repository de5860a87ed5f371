package web

import (
	"bytes"
	"encoding/json"
	"html/template"
	"net/http"
	"net/url"
	"strings"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
	"rankwright/roster"
	"rankwright/syllabus"
)

var rosterRoutes = []Route{
	{Pattern: "GET /roster", Act: app.SeeRoster, Do: rosterList},
	{Pattern: "GET /roster/template.csv", Act: app.EditRoster, Do: rosterTemplate},
	{Pattern: "GET /roster/new", Act: app.EditRoster, Do: rosterOne},
	{Pattern: "POST /roster/new", Act: app.EditRoster, Do: rosterOne},
	{Pattern: "GET /roster/import", Act: app.EditRoster, Do: importChoose},
	{Pattern: "POST /roster/import", Act: app.EditRoster, Large: true, Do: importPreview},
	{Pattern: "POST /roster/import/confirm", Act: app.EditRoster, Large: true, Do: importConfirm},
	{Pattern: "GET /roster/{student}", Act: app.SeeRoster, Do: rosterStudent},
	{Pattern: "POST /roster/{student}/language", Act: app.EditRoster, Do: rosterLanguage},
	{Pattern: "GET /roster/{student}/sizes", Act: app.EditRoster, Do: rosterSizes},
	{Pattern: "POST /roster/{student}/sizes", Act: app.EditRoster, Do: rosterSizes},
	{Pattern: "GET /roster/{student}/export", Act: app.SeeOutcomes, Do: rosterExport},
	{Pattern: "GET /roster/{student}/erase", Act: app.EraseStudent, Do: rosterErase},
	{Pattern: "POST /roster/{student}/erase", Act: app.EraseStudent, Do: rosterErase},
}

func rosterHref(id rankwright.StudentID) string { return "/roster/" + url.PathEscape(string(id)) }

// rosterBelts finds the belt of a rank that a student holds.
type rosterBelts struct{ ladders []*syllabus.Syllabus }

func (q *Query) rosterBelts() (rosterBelts, error) {
	all, err := q.App().Current(q.Context(), q.Who)
	return rosterBelts{all}, err
}

func (b rosterBelts) ladder(id rankwright.LadderID) *syllabus.Syllabus {
	for _, s := range b.ladders {
		if s.Ladder == id || id == "" && len(b.ladders) == 1 {
			return s
		}
	}
	return nil
}

// of shows a rank; one that no syllabus knows is shown by its id.
func (b rosterBelts) of(ladder rankwright.LadderID, rank rankwright.RankID) look.Belt {
	if rank == "" {
		return belt(nil)
	}
	if s := b.ladder(ladder); s != nil {
		if k, _ := s.Rank(rank); k != nil {
			return belt(k)
		}
	}
	return look.Belt{Name: string(rank)}
}

func (b rosterBelts) next(ladder rankwright.LadderID, rank rankwright.RankID) *look.Belt {
	s := b.ladder(ladder)
	if s == nil {
		return nil
	}
	k := s.Next(rank)
	if k == nil {
		return nil
	}
	x := belt(k)
	return &x
}

type rosterPage struct {
	Frame
	Edit   bool
	Empty  *look.Empty
	Search string
	Count  string
	Rows   []rosterRow
	More   int
}

type rosterRow struct {
	Href, Name string
	Belt       look.Belt
	Since      string
	Classes    int
	With       string // who else is of the household
}

// rosterShown is how many students one page lists; a search finds the others.
const rosterShown = 500

func rosterList(q *Query) (Answer, error) {
	p := &rosterPage{Edit: q.Who.Role.May(app.EditRoster), Search: strings.TrimSpace(q.FormValue("q"))}
	p.Title = "Roster"
	students, err := q.App().Students(q.Context(), q.Who)
	if err != nil {
		return nil, err
	}
	belts, err := q.rosterBelts()
	if err != nil {
		return nil, err
	}
	if len(students) == 0 {
		p.Empty = &look.Empty{Title: "Nobody is on the roster yet", Text: "Bring in the spreadsheet that you already have, with its own headings. You see what would happen before anything does.", Action: &look.Link{Href: "/roster/import", Text: "Bring in a spreadsheet"}}
		if len(belts.ladders) == 0 {
			p.Empty.Text += " Writing the syllabus first lets every rank be recognised."
		}
		return Page("roster", p), nil
	}
	home := map[rankwright.HouseholdID][]roster.Student{}
	for _, s := range students {
		home[s.Household] = append(home[s.Household], s)
	}
	found := 0
	for _, s := range students {
		if !rosterMatches(s, p.Search) {
			continue
		}
		if found++; found > rosterShown {
			continue
		}
		row := rosterRow{Href: rosterHref(s.ID), Name: s.FullName(), Belt: belts.of(s.Ladder, s.Rank), Since: rosterDay(s.RankSince, "not on record"), Classes: s.ClassesSinceRank}
		var with []string
		for _, o := range home[s.Household] {
			if s.Household != "" && o.ID != s.ID {
				with = append(with, o.FullName())
			}
		}
		row.With = syllabusAnd(with)
		p.Rows = append(p.Rows, row)
	}
	p.More = found - len(p.Rows)
	p.Count = plural(len(students), "student", "students")
	if p.Search != "" {
		p.Count = itoa(found) + " of " + p.Count
	}
	return Page("roster", p), nil
}

// rosterMatches says whether each word that was typed is in the name, whatever
// its accents.
func rosterMatches(s roster.Student, typed string) bool {
	name := roster.Fold(s.FullName())
	for _, w := range strings.Fields(roster.Fold(typed)) {
		if !strings.Contains(name, w) {
			return false
		}
	}
	return true
}

// rosterDay writes a day, or a word where there is none.
func rosterDay(d rankwright.Day, none string) string {
	if d == 0 {
		return none
	}
	return syllabusDay(d)
}

// rosterTemplate is a table with the headings that need no mapping. The mark
// in front lets spreadsheet programs keep accents.
func rosterTemplate(*Query) (Answer, error) {
	b := bytes.NewBufferString("\ufeff")
	if err := roster.WriteStudents(b, nil); err != nil {
		return nil, err
	}
	return File{Name: "students.csv", Type: "text/csv; charset=utf-8", Data: b.Bytes()}, nil
}

type rosterStudentPage struct {
	Frame
	Sizes           string
	Belt            look.Belt
	Facts           []look.Fact
	Guardians       []rosterGuardian
	Siblings        []rosterRow
	Notes           string
	History         []rosterPromotion
	Entries         []rosterEntry
	Export, EraseAt string
	Language        *look.Field // of the household
	LanguageAt      string
}

type rosterGuardian struct{ Name, Email, Phone string }

// Mail and Tel are links to write and to call.
func (g rosterGuardian) Mail() string { return "mailto:" + url.PathEscape(g.Email) }

// Tel keeps what can be dialled.
func (g rosterGuardian) Tel() template.URL {
	return template.URL("tel:" + strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' || r == '+' {
			return r
		}
		return -1
	}, g.Phone)) // only digits and plus signs are left: nothing that could run
}

type rosterPromotion struct {
	Belt                     look.Belt
	Day, Certificate, Label  string
	VersionHref, GradingHref string
}

type rosterEntry struct {
	Href, Title, Day string
	Belt             look.Belt
	Outcome          *look.Outcome
	Stands           string
}

func rosterStudent(q *Query) (Answer, error) {
	v, err := q.App().Student(q.Context(), q.Who, rankwright.StudentID(q.PathValue("student")))
	if err != nil {
		return nil, err
	}
	belts, err := q.rosterBelts()
	if err != nil {
		return nil, err
	}
	p := &rosterStudentPage{Belt: belts.of(v.Ladder, v.Rank), Notes: v.Notes}
	p.Title, p.Back = v.FullName(), &look.Link{Href: "/roster", Text: "Roster"}
	p.Belt.Large = true
	add := func(term, text, note string) {
		if text != "" {
			p.Facts = append(p.Facts, look.Fact{Term: term, Text: text, Note: note})
		}
	}
	born := "not on record"
	if v.BirthDate != 0 {
		end := rankwright.LastDay
		if s := belts.ladder(v.Ladder); s != nil {
			end = s.Counting.MonthEnd
		}
		born = syllabusDay(v.BirthDate) + ", " + plural(rankwright.Age(v.BirthDate, q.App().Today(), end), "year", "years") + " old"
	}
	add("Born", born, "")
	since := "Rank held since"
	if v.Rank == "" {
		since = "Began on"
	}
	add(since, rosterDay(v.RankSince, "not on record"), "")
	add("Classes since then", itoa(v.ClassesSinceRank), "")
	if s := belts.ladder(v.Ladder); s != nil {
		add("Ladder", s.Name, "")
	}
	if next := belts.next(v.Ladder, v.Rank); next != nil {
		p.Facts = append(p.Facts, look.Fact{Term: "Next rank", Belt: next})
	}
	add("Belt size", v.BeltSize, "")
	add("Shirt size", v.ShirtSize, "")
	add("The name is said", v.Said, "")
	if q.Who.Role.May(app.EditRoster) {
		p.Sizes = rosterHref(v.ID) + "/sizes"
	}
	add("Number in the roster", string(v.ID), "")
	for _, g := range v.Guardians {
		p.Guardians = append(p.Guardians, rosterGuardian(g))
	}
	for _, s := range v.Siblings {
		p.Siblings = append(p.Siblings, rosterRow{Href: rosterHref(s.ID), Name: s.FullName(), Belt: belts.of(s.Ladder, s.Rank)})
	}
	for _, l := range v.Ledger {
		x := rosterPromotion{Belt: belts.of(v.Ladder, l.Rank), Day: syllabusDay(l.Day), Certificate: l.Certificate, Label: l.Label,
			VersionHref: "/syllabus/version/" + url.PathEscape(l.Version), GradingHref: "/gradings/" + url.PathEscape(string(l.Grading))}
		x.Belt.Name = l.RankName
		p.History = append(p.History, x)
	}
	for _, e := range v.Entries {
		x := rosterEntry{Href: "/gradings/" + url.PathEscape(string(e.Grading.ID)), Title: e.Grading.Title, Day: syllabusDay(e.Grading.Day), Belt: belts.of(v.Ladder, e.Rank), Stands: app.State(e.Grading.State).Row().Name}
		if e.Outcome != "" {
			x.Outcome = &look.Outcome{Code: e.Outcome}
		}
		p.Entries = append(p.Entries, x)
	}
	if q.Who.Role.May(app.SeeOutcomes) {
		p.Export = rosterHref(v.ID) + "/export"
	}
	if q.Who.Role.May(app.EditRoster) && q.Who.Role.May(app.SeeFamilies) {
		p.LanguageAt = rosterHref(v.ID) + "/language"
		if p.Language, err = q.languageField(app.HouseholdOf(v.Student)); err != nil {
			return nil, err
		}
	}
	if q.Who.Role.May(app.EraseStudent) {
		p.EraseAt = rosterHref(v.ID) + "/erase"
	}
	return Page("roster-student", p), nil
}

// rosterSizes asks for what belt, shirt and the reading of the name need.
func rosterSizes(q *Query) (Answer, error) {
	id := rankwright.StudentID(q.PathValue("student"))
	v, err := q.App().Student(q.Context(), q.Who, id)
	if err != nil {
		return nil, err
	}
	x := app.Sizes{Said: v.Said, BeltSize: v.BeltSize, ShirtSize: v.ShirtSize}
	p := &formPage{Submit: "Save"}
	p.Title, p.Width, p.Back = "Sizes and how the name is said", "narrow", &look.Link{Href: rosterHref(id), Text: v.FullName()}
	if q.Method == http.MethodPost {
		x = app.Sizes{Said: q.FormValue("said"), BeltSize: q.FormValue("belt"), ShirtSize: q.FormValue("shirt")}
		err = q.App().SetSizes(q.Context(), q.Who, id, x)
		if err == nil {
			q.Flash("good", "Saved.")
			return To(rosterHref(id)), nil
		}
	}
	p.Fields = []look.Field{
		{Name: "said", Label: "How the name is said", Hint: "For whoever reads it out, such as SHEE-oh-fra.", Value: x.Said, Optional: true, MaxLength: 100},
		{Name: "belt", Label: "Belt length", Hint: "In centimetres, such as 220. A number of your maker counts once it is told under Belts and shirts.", Value: x.BeltSize, Optional: true, MaxLength: 30, Size: "short"},
		{Name: "shirt", Label: "Shirt size", Value: x.ShirtSize, Optional: true, MaxLength: 30, Size: "short"},
	}
	if err != nil {
		if p.wrong(err) {
			return Again("form", p), nil
		}
		return nil, err
	}
	return Page("form", p), nil
}

// rosterExport gives out everything that is kept about one student.
func rosterExport(q *Query) (Answer, error) {
	e, err := q.App().ExportStudent(q.Context(), q.Who, rankwright.StudentID(q.PathValue("student")))
	if err != nil {
		return nil, err
	}
	b, err := json.MarshalIndent(e, "", "  ")
	if err != nil {
		return nil, err
	}
	return File{Name: "student.json", Type: "application/json", Data: append(b, '\n')}, nil
}

type rosterErasePage struct {
	Frame
	Action, Leave, Export string
	Open                  []rosterEntry // gradings that are not signed yet
	Sure                  look.Field
}

// rosterErase says what goes and what stays, and erases.
func rosterErase(q *Query) (Answer, error) {
	id := rankwright.StudentID(q.PathValue("student"))
	v, err := q.App().Student(q.Context(), q.Who, id)
	if err != nil {
		return nil, err
	}
	p := &rosterErasePage{Action: rosterHref(id) + "/erase", Leave: rosterHref(id), Export: rosterHref(id) + "/export"}
	p.Title, p.Width, p.Back = "Erase "+v.FullName()+"?", "narrow", &look.Link{Href: rosterHref(id), Text: v.FullName()}
	p.Sure = look.Field{Name: "sure", Kind: "check", Value: "yes", Required: true, Label: "This is the right student, and nobody needs the record any more"}
	for _, e := range v.Entries {
		if app.State(e.Grading.State) != app.Closed {
			p.Open = append(p.Open, rosterEntry{Href: "/gradings/" + url.PathEscape(string(e.Grading.ID)), Title: e.Grading.Title, Day: syllabusDay(e.Grading.Day)})
		}
	}
	if q.Method == http.MethodGet {
		return Page("roster-erase", p), nil
	}
	if q.FormValue("sure") != "yes" {
		p.Sure.Error = "Nothing was erased. Tick this box first, if you are sure."
		p.Errors = look.ErrorsOf(p.Sure)
		return Again("roster-erase", p), nil
	}
	if err := q.App().EraseStudent(q.Context(), q.Who, id); err != nil {
		return nil, err
	}
	q.Flash("good", "The student’s personal data is erased.")
	return To("/roster"), nil
}
