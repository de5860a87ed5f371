package web

import (
	"net/url"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
)

var whatIfRoutes = []Route{
	{Pattern: "GET /syllabus/what-if/{ladder}", Act: app.EditSyllabus, Do: whatIf},
}

type whatIfPage struct {
	Frame
	Empty    *look.Empty
	Gradings []whatIfGrading
	Ladder   string
	Changed  int
}

type whatIfGrading struct {
	Title, Day, Judged string
	NotMarked          []string
	Left               string
	Rows               []whatIfRow
}

type whatIfRow struct {
	ID, Name   string
	Belt       look.Belt
	Was, Would look.Outcome
}

func whatIfHref(ladder rankwright.LadderID) string {
	return "/syllabus/what-if/" + url.PathEscape(string(ladder))
}

func whatIf(q *Query) (Answer, error) {
	ladder := q.PathValue("ladder")
	w, err := q.App().TryDraft(q.Context(), q.Who, rankwright.LadderID(ladder))
	if err != nil {
		return nil, err
	}
	p := &whatIfPage{Ladder: ladder}
	p.Title = "What the draft would have changed"
	p.Lead = "Every signed grading, judged again by the draft as it stands. Nothing is changed by looking."
	p.Back = &look.Link{Href: "/syllabus/edit/" + url.PathEscape(ladder), Text: "The draft"}
	for _, g := range w.Gradings {
		x := whatIfGrading{Title: g.Grading.Title, Day: g.Grading.Day.Long(), Judged: plural(g.Judged, "entry judged again", "entries judged again"), NotMarked: g.NotMarked}
		if g.Left > 0 {
			x.Left = plural(g.Left, "entry is for a rank that the draft does not have.", "entries are for ranks that the draft does not have.")
		}
		for _, e := range g.Changed {
			p.Changed++
			x.Rows = append(x.Rows, whatIfRow{string(e.Entry.Entry.ID), e.Entry.Student.FullName(), belt(e.Rank),
				look.Outcome{Code: e.Was.String(), Note: e.WasLabel}, look.Outcome{Code: e.Would.String(), Note: e.IsLabel}})
		}
		p.Gradings = append(p.Gradings, x)
	}
	if len(p.Gradings) == 0 {
		p.Empty = &look.Empty{Title: "No signed grading yet", Text: "Once a grading of this ladder is signed, a draft can be tried on it here before it is published."}
	}
	return Page("what-if", p), nil
}
