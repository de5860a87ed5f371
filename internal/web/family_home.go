package web

import (
	"bytes"
	"slices"
	"time"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/calendar"
	"rankwright/internal/web/look"
	"rankwright/internal/words"
)

type familyHomePage struct {
	familyFrame
	Todo     []familyTask
	Move     *familyMoveCard
	Children []familyCard
	Door     []look.Option // whose name is kept off the list on the door
	Calendar bool
	Open     bool
	Answers  int // of the school, on the page of questions
}

type familyTask struct {
	Href, Text, State string
	Done              bool
}

type familyCard struct {
	Given, ID         string
	Belt              look.Belt
	When, Where, Note string
	Guide             look.Link
	Asked, Practice   bool
	Result            bool
}

func familyHome(f *familyQuery) (Answer, error) {
	v, err := f.App().FamilyPage(f.Context(), f.who)
	if err != nil {
		return nil, err
	}
	var names []string
	for _, c := range v.Children {
		names = append(names, c.Student.GivenName)
	}
	title := f.say.It("home.title", words.Set{Name: "Names", Value: f.say.And(names)})
	if len(names) == 0 {
		title = v.Grading.Title
	}
	p := &familyHomePage{familyFrame: f.frame(title), Open: v.Open}
	p.Kicker = f.say.Apart(v.Grading.Title) + f.say.Comma() + f.say.Day(v.Grading.Day)
	switch {
	case !v.Open:
		p.Lead = f.say.It("home.not-open")
		return Page("family-home", p), nil
	case len(v.Children) == 0:
		p.Lead = f.say.It("home.nobody")
		return Page("family-home", p), nil
	}
	p.Todo, p.Move = f.todo(v), f.move(v)
	open := 0
	for _, x := range p.Todo {
		if !x.Done {
			open++
		}
	}
	switch {
	case open > 0:
		p.Lead = f.say.Many("home.open", open)
	case len(p.Todo) > 0:
		p.Lead = f.say.It("home.done")
	}
	for i := range v.Children {
		p.Children = append(p.Children, f.card(v, &v.Children[i]))
		p.Calendar = p.Calendar || v.Children[i].Told != nil && f.School.Zone != ""
	}
	p.Door = f.onTheDoor(v)
	for _, m := range v.Messages {
		if m.Sender == "school" {
			p.Answers++
		}
	}
	return Page("family-home", p), nil
}

// todo lists what the family is asked, and whether it is done.
func (f *familyQuery) todo(v *app.FamilyPage) (out []familyTask) {
	if m := f.move(v); m != nil {
		x := familyTask{Href: "/family#move", Text: f.say.It("move.title"), Done: m.Said != "", State: f.say.It("todo.done")}
		if !x.Done {
			x.State = f.say.It("todo.open")
		}
		out = append(out, x)
	}
	if asksTimes(v) {
		n, all := v.Family.Answered(), len(v.Sessions)
		x := familyTask{Href: "/family/times", Text: f.say.It("times.title"), Done: n >= all, State: f.say.It("todo.done")}
		if !x.Done {
			x.State = f.say.It("todo.open")
		}
		out = append(out, x)
	}
	open, all := 0, 0
	for _, c := range v.Children {
		for _, s := range c.Sheets {
			if all++; s.State == "" {
				open++
			}
		}
	}
	if all > 0 && v.MaySign {
		x := familyTask{Href: "/family/sign", Text: f.say.It("sign.title"), Done: open == 0, State: f.say.It("todo.done")}
		if open > 0 {
			x.State = f.say.Many("todo.sheets", open)
		}
		out = append(out, x)
	}
	return out
}

// familyMoveCard asks whether a time that was told may change.
type familyMoveCard struct {
	Key   string
	Lines []string
	Said  string // in words, "" where nothing was said
	Yes   bool   // can still be said
	No    bool
}

func (f *familyQuery) move(v *app.FamilyPage) *familyMoveCard {
	if v.Move == nil || !v.MayAnswer {
		return nil
	}
	x := &familyMoveCard{Key: v.Move.Key, Yes: v.Move.Said != "yes", No: v.Move.Said != "no"}
	switch v.Move.Said {
	case "yes":
		x.Said = f.say.It("move.said-yes")
	case "no":
		x.Said = f.say.It("move.said-no")
	}
	for _, e := range v.Move.Entries {
		from, to := f.say.It("move.none"), f.say.It("move.none")
		if e.From != nil {
			from = f.moment(e.From.Day, e.From.Begins, e.From.Mat)
		}
		if e.To != nil {
			if i := slices.IndexFunc(v.Sessions, func(s app.Session) bool { return s.ID == e.To.Session }); i >= 0 {
				to = f.moment(v.Sessions[i].Day, e.To.Begins, e.To.Mat)
			}
		}
		x.Lines = append(x.Lines, f.say.It("move.from-to", words.Set{Name: "Name", Value: e.Entry.Student.GivenName}, words.Set{Name: "From", Value: from}, words.Set{Name: "To", Value: to}))
	}
	return x
}

// moment is a day, a time and a mat.
func (f *familyQuery) moment(d rankwright.Day, begins int, mat string) string {
	return f.say.Day(d) + f.say.Comma() + f.say.Time(begins) + f.say.Comma() + f.say.It("home.mat", words.Set{Name: "Mat", Value: mat})
}

// familyMove keeps the family's yes or no to another time.
func familyMove(f *familyQuery) (Answer, error) {
	said := f.FormValue("said")
	if said != "yes" && said != "no" {
		return nil, rankwright.Faultf(rankwright.Invalid, "bad_said", "choose yes or no", "a change cannot be answered with %q", said)
	}
	if err := f.App().AnswerMove(f.Context(), f.who, f.FormValue("key"), said == "yes"); err != nil {
		return nil, err
	}
	f.Flash("good", f.say.It("move.thanks"))
	return To("/family"), nil
}

// asksTimes says whether there are sessions of which the family is still asked:
// once all of its children have a time there are none.
func asksTimes(v *app.FamilyPage) bool {
	if !v.MayAnswer || len(v.Sessions) == 0 {
		return false
	}
	for _, c := range v.Children {
		if c.Told == nil {
			return true
		}
	}
	return false
}

// next leads to what is still open, or home.
func (f *familyQuery) next() (Answer, error) {
	v, err := f.App().FamilyPage(f.Context(), f.who)
	if err != nil {
		return nil, err
	}
	for _, x := range f.todo(v) {
		if !x.Done && x.Href != f.URL.Path {
			return To(x.Href), nil
		}
	}
	return To("/family"), nil
}

func (f *familyQuery) card(v *app.FamilyPage, c *app.FamilyChild) familyCard {
	x := familyCard{Given: c.Student.GivenName, ID: string(c.Entry.ID), Belt: belt(c.Of), Result: c.Result != nil, Guide: f.guideLink(c)}
	over := app.State(v.Grading.State) == app.Closed || c.Until < f.App().Today()
	x.Asked, x.Practice = !over, !over
	if over {
		return x
	}
	x.When, x.Where = f.say.Day(c.Until), f.say.Apart(v.Grading.Place)
	if c.Told == nil {
		x.Note = f.say.It("home.time-follows")
		return x
	}
	x.When += f.say.Comma() + f.say.Time(c.Told.Begins)
	x.Where, x.Note = placeAndMat(f.say, v.Grading.Place, c.Told.Mat), f.say.It("home.early")
	return x
}

// familyCalendar gives out the family's times as a calendar file.
func familyCalendar(f *familyQuery) (Answer, error) {
	v, err := f.App().FamilyPage(f.Context(), f.who)
	if err != nil {
		return nil, err
	}
	if f.School.Zone == "" || len(v.Told) == 0 {
		return nil, rankwright.Faultf(rankwright.NotFound, "no_times", "wait until the school has told the time", "there is no time yet")
	}
	zone, err := time.LoadLocation(f.School.Zone)
	if err != nil {
		return nil, err
	}
	var entries []app.EntryView
	for _, c := range v.Children {
		entries = append(entries, c.EntryView)
	}
	told := calendarTimes(v.Told, entries, func(mat string) string { return placeAndMat(f.say, v.Grading.Place, mat) })
	var b bytes.Buffer
	err = calendar.Write(&b, calendar.File{Name: v.Grading.Title + ", " + f.School.Name, School: f.School.Name, Zone: zone,
		Events: calendar.Family(told, familyNotice(f.say))})
	if err != nil {
		return nil, err
	}
	return File{Name: "grading.ics", Type: "text/calendar; charset=utf-8", Data: b.Bytes()}, nil
}
