package web

import (
	"net/url"
	"slices"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
	"rankwright/scoring"
	"rankwright/syllabus"
)

type beforePage struct {
	Frame
	Ranks []beforeRank
	None  *look.Empty
}

type beforeRank struct {
	Belt look.Belt
	Rows []beforeRow
}

type beforeRow struct {
	Show, Href   string
	Must         bool
	Given, Asked int
}

func beforeHref(id rankwright.GradingID, query url.Values) string {
	u := "/gradings/" + url.PathEscape(string(id)) + "/before"
	if len(query) > 0 {
		u += "?" + query.Encode()
	}
	return u
}

// asksBefore says whether somebody is entered for a rank that asks for
// something before the day.
func asksBefore(v app.GradingView) bool {
	return slices.ContainsFunc(v.Entries, func(e app.EntryView) bool {
		k, _ := v.Syllabus.Rank(e.Rank)
		return k != nil && app.AsksBefore(k)
	})
}

// beforeShow lists what is seen before the day, and is the form of one row of
// it where the address names one.
func beforeShow(q *Query) (Answer, error) {
	v, err := q.grading()
	if err != nil {
		return nil, err
	}
	given, err := q.App().Before(q.Context(), q.Who, v.ID)
	if err != nil {
		return nil, err
	}
	if q.FormValue("row") != "" {
		p, err := beforeRowOf(q, v, given)
		if err != nil {
			return nil, err
		}
		return Page("marks-row", p), nil
	}
	p := &beforePage{}
	p.Title, p.Back, p.Styles = "Before the day", gradingBack(v.ID, v.Title), matStyle()
	p.Lead = "What is seen in class or at the door. It is marked from the planning on, and counts like any other mark."
	for _, id := range v.Ranks {
		k, _ := v.Syllabus.Rank(id)
		list := entriesOf(v, id)
		if k == nil || len(list) == 0 || !app.AsksBefore(k) {
			continue
		}
		r := beforeRank{Belt: matBelt(k)}
		for i := range k.Requirements {
			x := &k.Requirements[i]
			if !x.Before {
				continue
			}
			row := beforeRow{Show: x.Show, Must: x.Must, Href: beforeHref(v.ID, url.Values{"rank": {string(id)}, "row": {string(x.ID)}})}
			for _, e := range list {
				if v.Waived(&e, x.ID) {
					continue
				}
				row.Asked++
				if _, ok := given[e.Entry.ID][x.ID]; ok {
					row.Given++
				}
			}
			r.Rows = append(r.Rows, row)
		}
		p.Ranks = append(p.Ranks, r)
	}
	if len(p.Ranks) == 0 {
		p.None = &look.Empty{Title: "Nothing to mark", Text: "The syllabus asks nothing before the day of those who are entered.", Action: p.Back}
	}
	return Page("before", p), nil
}

// beforeRowOf is the form of one requirement of one rank. Nobody is left out
// because they are not here yet.
func beforeRowOf(q *Query, v app.GradingView, given map[rankwright.EntryID]map[rankwright.RequirementID]app.GivenBefore) (*matRowPage, error) {
	k, _ := v.Syllabus.Rank(rankwright.RankID(q.FormValue("rank")))
	var r *syllabus.Requirement
	if k != nil {
		r = k.Requirement(rankwright.RequirementID(q.FormValue("row")))
	}
	if r == nil || !r.Before {
		return nil, rankwright.Faultf(rankwright.NotFound, "unknown_requirement", "choose one from the page", "nothing of that name is seen before the day")
	}
	query := url.Values{"rank": {string(k.ID)}}
	p := &matRowPage{Belt: matBelt(k), Req: r, Scale: r.Scale, Send: beforeHref(v.ID, query), Grid: beforeHref(v.ID, nil), Type: matTyped(r)}
	st := app.State(v.State)
	p.matOwn = matOwn{Grading: v.ID, Rank: k.ID, May: st.Allows(app.GiveBefore)}
	if !p.May {
		p.Notice = &look.Notice{Kind: "info", Title: "No marks now", Text: "This grading is at “" + v.Status.Name + "”."}
	}
	p.Title, p.Width, p.Styles = r.Show, "narrow", matStyle()
	p.Kicker, p.Back = v.Title+", before the day", &look.Link{Href: p.Grid, Text: "Before the day"}
	at := slices.IndexFunc(k.Requirements, func(x syllabus.Requirement) bool { return x.ID == r.ID })
	step := func(by int) string {
		for n := at + by; n >= 0 && n < len(k.Requirements); n += by {
			if x := k.Requirements[n]; x.Before {
				return beforeHref(v.ID, url.Values{"rank": {string(k.ID)}, "row": {string(x.ID)}})
			}
		}
		return ""
	}
	p.Last, p.Next = step(-1), step(1)
	list := entriesOf(v, k.ID)
	names := matNames(list)
	for i, e := range list {
		if v.Waived(&e, r.ID) {
			continue
		}
		c, note := matCell{Values: []string{""}}, ""
		if g, ok := given[e.Entry.ID][r.ID]; ok {
			c.Values[0], note = g.Value.Format(r.Kind), g.Note
		}
		p.Lines = append(p.Lines, matLineOf(q, r, e.Entry.ID, names[i], c, 1, note, p.May))
	}
	p.open()
	return p, nil
}

func beforeSave(q *Query) (Answer, error) {
	v, err := q.grading()
	if err != nil {
		return nil, err
	}
	given, err := q.App().Before(q.Context(), q.Who, v.ID)
	if err != nil {
		return nil, err
	}
	p, err := beforeRowOf(q, v, given)
	if err != nil {
		return nil, err
	}
	ok, err := p.save(func(marks []scoring.Mark) ([]app.Answered, error) {
		return q.App().GiveBefore(q.Context(), q.Who, v.ID, marks)
	})
	switch {
	case err != nil:
		return nil, err
	case !ok:
		return Again("marks-row", p), nil
	case p.Next == "":
		q.Flash("good", "Saved.")
		return To(p.Grid), nil
	}
	return To(p.Next), nil
}
