package web

import (
	"net/url"
	"slices"
	"strings"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
	"rankwright/timetable"
)

type timesChangesPage struct {
	Frame
	At       string
	None     *look.Empty
	Notices  []look.Notice
	Rows     []timesChangeRow
	Panels   []string
	Publish  string // the button's words
	May      bool
	MayAsk   bool
	Repair   bool // times were told before
	New, Ask int
	Pages    string // where those are asked on their own pages, "" where nobody is to be
}

type timesChangeRow struct {
	Family, Key, Name string
	Lines             []string
	Needs             bool
	Said, Who         string
	Asked             bool // on the family's own page
	Note              string
}

func timesChanges(q *Query) (Answer, error) {
	t, err := q.times()
	if err != nil {
		return nil, err
	}
	p := &timesChangesPage{At: timesHref(t.Grading.ID), Repair: t.Published != nil}
	st := app.State(t.Grading.State)
	p.Title, p.Back, p.Kicker = "What would be told", timesBack(t), t.Grading.Title
	p.Styles = timesStyle()
	if t.Draft == nil {
		p.None = &look.Empty{Title: "Nothing is being worked on", Text: "What was told stands."}
		return Page("timetable-changes", p), nil
	}
	act := app.PublishTimes
	p.Publish = "Publish the timetable"
	if st == app.Timetabled {
		act = app.MovePublished
		p.Publish = "Take these changes"
	}
	p.MayAsk = q.Who.Role.May(app.TakeAnswers) && st.Allows(app.TakeAnswers)
	breaks, without, err := t.MayTake()
	if err != nil {
		return nil, err
	}
	p.May = q.Who.Role.May(act) && st.Allows(act) && len(breaks) == 0 && len(without) == 0
	people := map[string]string{}
	for _, x := range t.Examiners {
		people[x.Person] = x.Name
	}
	for _, c := range t.Changes() {
		p.Rows = append(p.Rows, timesChangeOf(t, &c))
		if c.Needs && c.Said != "yes" {
			p.Ask++
		}
		if c.Needs && c.Said == "" && !c.Asked && p.MayAsk {
			p.Pages = familiesHref(t.Grading.ID) + "/moves"
		}
	}
	p.Panels = timesPanelChanges(t)
	p.New = len(p.Rows)
	p.Lead = timesChangesLead(p)
	if len(breaks) > 0 {
		p.Notices = append(p.Notices, look.Notice{Kind: "attention", Title: "It cannot be published as it is.", Text: timesSome(breaks, 6), Do: "Put that right on the board, or let it be planned anew."})
	}
	if say := timesFewest(t); say != "" {
		p.Notices = append(p.Notices, look.Notice{Kind: "info", Title: say})
	}
	if w := len(t.WaitingNow()); w > 0 {
		p.Notices = append(p.Notices, look.Notice{Kind: "info", Title: plural(w, "child stays", "children stay") + " on the waiting list."})
	}
	if n := t.Unanswered(); n > 0 && !p.Repair {
		p.Notices = append(p.Notices, look.Notice{Kind: "info", Title: plural(n, "family has", "families have") + " not said what suits.", Text: "Their sessions are taken as possible if need be."})
	}
	return Page("timetable-changes", p), nil
}

// timesFewest says what is proven of how few families can be moved; "" where
// nobody is, or nothing is known.
func timesFewest(t *app.Timetable) string {
	moved, fewest, known := t.Moves()
	switch {
	case !known || moved == 0:
		return ""
	case moved <= fewest:
		return "No plan moves fewer than " + plural(fewest, "family", "families") + " and places as many: that is proven."
	case fewest == 0:
		return ""
	}
	return "This plan moves " + plural(moved, "family", "families") + "; whatever is planned, at least " + itoa(fewest) + " must move for as many to be placed."
}

func timesChangesLead(p *timesChangesPage) string {
	switch {
	case !p.Repair:
		return plural(len(p.Rows), "family is", "families are") + " told their time."
	case len(p.Rows) == 0 && len(p.Panels) == 0:
		return "Nothing changes for anybody."
	case len(p.Rows) == 0:
		return "Nothing changes for families; only panels change."
	case p.Ask > 0:
		return plural(len(p.Rows), "family is", "families are") + " concerned; " + itoa(p.Ask) + " must say yes first."
	}
	return plural(len(p.Rows), "family is", "families are") + " concerned, and everybody who had to said yes."
}

func timesChangeOf(t *app.Timetable, c *app.Change) timesChangeRow {
	r := timesChangeRow{Family: string(c.Family.ID), Key: c.Key, Name: c.Family.Name, Needs: c.Needs, Said: c.Said, Asked: c.Asked}
	for _, e := range c.Entries {
		to := "waits for a place"
		if e.To != nil {
			to = t.Session(e.To.Session).Name + ", " + timesAt(e.To)
		}
		line := e.Entry.Student.FullName() + ": "
		switch {
		case e.From == nil:
			line += to
		default:
			line += timesTold(t, e.From) + " → " + to
		}
		r.Lines = append(r.Lines, line)
		switch {
		case e.Lost:
			r.Note = "Their sitting is lost: tell them soon."
		case e.Out && e.From != nil:
			r.Note = "They said that they cannot come."
		}
	}
	return r
}

func timesTold(t *app.Timetable, x *app.PublishedTime) string {
	name := x.Day.Long()
	if w := t.Sitting(x.Sitting); w != nil {
		name = t.Session(w.Session).Name
	}
	return name + ", " + timetable.Minute(x.Begins).String() + ", mat " + x.Mat
}

// timesPanelChanges lists who examines where that did not, and the other way.
func timesPanelChanges(t *app.Timetable) (out []string) {
	if t.Published == nil {
		return nil
	}
	for _, x := range t.Examiners {
		for i := range t.Sittings {
			w := &t.Sittings[i]
			was, is := slices.Contains(t.Published.Panel(w.ID), x.Person), slices.Contains(t.Draft.Panel(w.ID), x.Person)
			name := t.Session(w.Session).Name + ", " + timesAt(w)
			switch {
			case is && !was:
				out = append(out, x.Name+" examines: "+name)
			case was && !is:
				out = append(out, x.Name+" no longer examines: "+name)
			}
		}
	}
	return out
}

// timesAnswer writes down what a family said to another time.
func timesAnswer(q *Query) (Answer, error) {
	id := rankwright.GradingID(q.PathValue("id"))
	yes := q.FormValue("said") == "yes"
	if err := q.App().SetMoveAnswer(q.Context(), q.Who, id, rankwright.HouseholdID(q.FormValue("family")), q.FormValue("change"), yes); err != nil {
		return nil, err
	}
	if yes {
		q.Flash("good", "Their yes is written down, with your name and the time.")
	} else {
		q.Flash("attention", "Their no is written down. Repair the timetable again: they will keep their time.")
	}
	return To(timesHref(id) + "/changes"), nil
}

func timesDrop(q *Query) (Answer, error) {
	id := rankwright.GradingID(q.PathValue("id"))
	if err := q.App().DropDraft(q.Context(), q.Who, id); err != nil {
		return nil, err
	}
	q.Flash("good", "The draft is dropped. What was told stands.")
	return To(timesHref(id)), nil
}

func timesPublish(q *Query) (Answer, error) {
	id := rankwright.GradingID(q.PathValue("id"))
	if err := q.App().PublishTimetable(q.Context(), q.Who, id); err != nil {
		return nil, err
	}
	q.Flash("good", "Published. Families and examiners can be told these times.")
	return To(timesHref(id)), nil
}

type timesExaminersPage struct {
	Frame
	At   string
	None *look.Empty
	Rows []timesExaminerRow
}

type timesExaminerRow struct {
	ID, Name, Rank string
	There          []look.Option
	Mats           []look.Option
	Most, Row      int
	Own            []look.Option
	Sittings       int
	Calendar       string
}

func timesExaminers(q *Query) (Answer, error) {
	t, err := q.times()
	if err != nil {
		return nil, err
	}
	p := &timesExaminersPage{At: timesHref(t.Grading.ID)}
	p.Title, p.Back, p.Kicker = "When examiners are there", timesBack(t), t.Grading.Title
	p.Lead = "And whom they never examine: their own children, and whoever else you name."
	p.Styles = timesStyle()
	if len(t.Examiners) == 0 {
		p.None = &look.Empty{Title: "Nobody examines yet", Text: "Choose the examiners of this grading first.", Action: &look.Link{Href: "/gradings/" + url.PathEscape(string(t.Grading.ID)) + "/panel", Text: "Who examines"}}
	}
	for _, x := range t.Examiners {
		r := timesExaminerRow{ID: x.Person, Name: x.Name, Most: x.Most, Row: x.Row}
		if k, _ := t.Grading.Syllabus.Rank(rankwright.RankID(x.HighestRank)); k != nil {
			r.Rank = "up to " + k.Name
		}
		for _, s := range t.Sessions {
			r.There = append(r.There, look.Option{Value: s.ID, Text: s.Name, Hint: timesWhen(&s), Selected: !slices.Contains(x.Away, s.ID)})
		}
		for _, m := range t.Mats() {
			r.Mats = append(r.Mats, look.Option{Value: m, Text: "Mat " + m, Selected: slices.Contains(x.Mats, m)})
		}
		for _, f := range t.Families {
			var names []string
			for _, e := range f.Entries {
				names = append(names, e.Student.GivenName)
			}
			r.Own = append(r.Own, look.Option{Value: string(f.ID), Text: f.Name, Hint: strings.Join(names, ", "), Selected: slices.Contains(x.Own, f.ID)})
		}
		for i := range t.Sittings {
			if slices.Contains(t.Current().Panel(t.Sittings[i].ID), x.Person) {
				r.Sittings++
			}
		}
		if slices.ContainsFunc(t.Told, func(x app.PublishedTime) bool { return x.Person == r.ID }) {
			r.Calendar = p.At + "/calendar.ics?" + url.Values{"person": {x.Person}}.Encode()
		}
		p.Rows = append(p.Rows, r)
	}
	return Page("timetable-examiners", p), nil
}

func timesExaminerSave(q *Query) (Answer, error) {
	t, err := q.times()
	if err != nil {
		return nil, err
	}
	l := app.ExaminerLimits{Most: number(q.FormValue("most")), Row: number(q.FormValue("row")), Mats: q.Form["mats"]}
	for _, s := range t.Sessions {
		if !slices.Contains(q.Form["there"], s.ID) {
			l.Away = append(l.Away, s.ID)
		}
	}
	for _, h := range q.Form["own"] {
		l.Own = append(l.Own, rankwright.HouseholdID(h))
	}
	if err := q.App().SetExaminerLimits(q.Context(), q.Who, t.Grading.ID, q.FormValue("person"), l); err != nil {
		return nil, err
	}
	q.Flash("good", "Saved.")
	return To(timesHref(t.Grading.ID) + "/examiners#" + q.FormValue("person")), nil
}
