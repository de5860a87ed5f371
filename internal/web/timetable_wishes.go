package web

import (
	"net/http"
	"slices"
	"strings"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
)

type timesWishesPage struct {
	Frame
	At       string
	Sessions []timesWishSession
	Rows     []timesWishRow
	Answers  []timesWishAnswer
	Open     int
	Fixed    bool
	None     *look.Empty
}

type timesWishSession struct{ ID, Name, When string }

type timesWishRow struct {
	ID, Name, Children, Note string
	Cells                    []timesWishCell
	Done                     bool
}

type timesWishCell struct{ Session, Name, Suits, Key string }

type timesWishAnswer struct{ Value, Short, Text string }

// timesSuits are the answers in the order of the keys 1 to 4.
var timesSuits = []timesWishAnswer{
	{"best", "Best", "suits best"}, {"yes", "Yes", "suits"}, {"if_need_be", "If need be", "suits if need be"}, {"no", "No", "does not suit"},
}

func suitsWord(suits string) string {
	for _, a := range timesSuits {
		if a.Value == suits {
			return a.Text
		}
	}
	return "not asked yet"
}

func timesWishes(q *Query) (Answer, error) {
	t, err := q.times()
	if err != nil {
		return nil, err
	}
	p := &timesWishesPage{At: timesHref(t.Grading.ID), Answers: timesSuits, Fixed: !app.State(t.Grading.State).Allows(app.TakeAnswers)}
	p.Title, p.Back, p.Kicker, p.Width = "What suits whom", timesBack(t), t.Grading.Title, "wide"
	p.Styles, p.Scripts = timesStyle(), []string{matPath() + "timetable-wishes.js"}
	switch {
	case len(t.Sessions) == 0:
		p.None = &look.Empty{Title: "There are no sessions yet", Text: "Families are asked of each session whether it suits."}
		if q.Who.Role.May(app.PlanTimes) {
			p.None.Action = &look.Link{Href: p.At + "/setup", Text: "Make the first session"}
		}
		return Page("timetable-wishes", p), nil
	case len(t.Families) == 0:
		p.None = &look.Empty{Title: "Nobody is entered yet", Text: "Families are asked once their children are entered."}
		return Page("timetable-wishes", p), nil
	}
	for _, s := range t.Sessions {
		p.Sessions = append(p.Sessions, timesWishSession{s.ID, s.Name, timesWhen(&s)})
	}
	for i := range t.Families {
		f := &t.Families[i]
		r := timesWishRow{ID: string(f.ID), Name: f.Name, Note: f.Note, Done: f.Answered() == len(t.Sessions)}
		var names []string
		for _, e := range f.Entries {
			names = append(names, e.Student.GivenName)
		}
		r.Children = strings.Join(names, ", ")
		for _, s := range t.Sessions {
			r.Cells = append(r.Cells, timesWishCell{s.ID, s.Name, f.SuitsOf(s.ID), "s-" + itoa(i) + "-" + s.ID})
		}
		if !r.Done {
			p.Open++
		}
		p.Rows = append(p.Rows, r)
	}
	p.Lead = wishesLead(p.Open, len(t.Families))
	return Page("timetable-wishes", p), nil
}

func wishesLead(open, all int) string {
	if open == 0 {
		return "All " + plural(all, "family has", "families have") + " answered."
	}
	return plural(open, "family", "families") + " of " + itoa(all) + " still to ask."
}

// timesWishesSave takes one answer from the script, or the answers of one
// family from its form.
func timesWishesSave(q *Query) (Answer, error) {
	t, err := q.times()
	if err != nil {
		return nil, err
	}
	f := t.Family(rankwright.HouseholdID(q.FormValue("family")))
	if f == nil {
		return nil, rankwright.Faultf(rankwright.NotFound, "no_family", "load the page again", "this family has nobody entered in this grading any more")
	}
	for _, s := range t.Sessions {
		now, asked := q.Form["suits."+s.ID]
		if !asked || len(now) == 0 || now[0] == f.SuitsOf(s.ID) {
			continue
		}
		if err := q.App().SetAnswer(q.Context(), q.Who, t.Grading.ID, f.ID, s.ID, now[0]); err != nil {
			return nil, err
		}
	}
	if strings.HasPrefix(q.Header.Get("Accept"), "application/json") {
		if t, err = q.times(); err != nil {
			return nil, err
		}
		return JSON{Status: http.StatusOK, Data: map[string]any{"say": "Saved", "done": t.Family(f.ID) != nil && t.Family(f.ID).Answered() == len(t.Sessions)}}, nil
	}
	q.Flash("good", f.Name+" is saved.")
	at := slices.IndexFunc(t.Families, func(x app.Family) bool { return x.ID == f.ID })
	return To(timesHref(t.Grading.ID) + "/wishes#f-" + itoa(at)), nil
}
