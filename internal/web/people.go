package web

import (
	"net/http"
	"slices"
	"strings"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
)

var peopleRoutes = []Route{
	{Pattern: "GET /people", Act: app.ManagePeople, Do: people},
	{Pattern: "POST /people", Act: app.ManagePeople, Do: people},
	{Pattern: "POST /people/{id}/link", Act: app.ManagePeople, Do: newLink},
	{Pattern: "POST /people/{id}/active", Act: app.ManagePeople, Do: setActive},
}

type peoplePage struct {
	formPage
	People []personRow
	Link   string // of an invitation just made
	For    string
	Here   bool // the link names this machine only
}

type personRow struct {
	ID, Name, Role, Highest string
	Joined, Active, Self    bool
}

func people(q *Query) (Answer, error) {
	p := &peoplePage{}
	p.Title, p.Lead = "People", "Who may sign in here. Each person gets a one-time link from you; no e-mail is needed."
	p.Submit = "Make a link"
	ranks, err := q.rankOptions("Any rank")
	if err != nil {
		return nil, err
	}
	for i := range ranks {
		ranks[i].Selected = ranks[i].Value == q.FormValue("highest")
	}
	p.Fields = []look.Field{
		{Name: "name", Label: "Name", Required: true, Autocomplete: "off", MaxLength: 80, Value: q.FormValue("name")},
		{Name: "role", Label: "What they do here", Kind: "radios", Required: true, Options: []look.Option{
			{Value: string(app.Examiner), Text: "Examiner", Hint: "Gives marks, and sees only their own.", Selected: q.FormValue("role") != "instructor" && q.FormValue("role") != "assistant" && q.FormValue("role") != "owner"},
			{Value: string(app.Instructor), Text: "Instructor", Hint: "Plans gradings, edits syllabus and roster, examines, sees outcomes.", Selected: q.FormValue("role") == "instructor"},
			{Value: string(app.Assistant), Text: "Assistant at the desk", Hint: "Roster, arrivals, signatures, certificates; no marks.", Selected: q.FormValue("role") == "assistant"},
			{Value: string(app.Owner), Text: "Head instructor", Hint: "Everything, as you.", Selected: q.FormValue("role") == "owner"},
		}},
		{Name: "highest", Label: "Highest rank they may examine", Kind: "select", Options: ranks},
	}
	if q.Method == http.MethodPost {
		secret, err := q.App().Invite(q.Context(), q.Who, q.FormValue("name"), app.Role(q.FormValue("role")), rankwright.RankID(q.FormValue("highest")))
		if err != nil {
			if !p.wrong(err) {
				return nil, err
			}
			return q.listed(p, true)
		}
		p.Link, p.For = q.address("/join/"+secret), q.FormValue("name")
		p.Here = strings.HasPrefix(q.Host, "127.") || strings.HasPrefix(q.Host, "localhost") || strings.HasPrefix(q.Host, "[::1]")
		for i := range p.Fields {
			p.Fields[i].Value = ""
		}
	}
	return q.listed(p, false)
}

func (q *Query) listed(p *peoplePage, again bool) (Answer, error) {
	list, err := q.App().People(q.Context(), q.Who)
	if err != nil {
		return nil, err
	}
	ranks, err := q.rankOptions("")
	if err != nil {
		return nil, err
	}
	named := map[string]string{}
	for _, r := range ranks {
		named[r.Value] = strings.ToLower(r.Text[:min(1, len(r.Text))]) + r.Text[min(1, len(r.Text)):]
	}
	for _, x := range list {
		p.People = append(p.People, personRow{x.ID, x.Name, roleName(app.Role(x.Role)), named[x.HighestRank], x.PasswordHash != "", x.Active, x.ID == q.Who.ID})
	}
	slices.SortStableFunc(p.People, func(a, b personRow) int {
		if a.Active != b.Active {
			if a.Active {
				return -1
			}
			return 1
		}
		return 0
	})
	if again {
		return Again("people", p), nil
	}
	return Page("people", p), nil
}

// address is the full address of a path, as devices in the hall reach it where
// that is known, else as this visitor reached the server.
func (q *Query) address(path string) string {
	if q.srv.reach != nil {
		if at := q.srv.reach(); len(at) > 0 {
			return strings.TrimSuffix(at[0], "/") + path
		}
	}
	scheme := "http://"
	if q.TLS != nil {
		scheme = "https://"
	}
	return scheme + q.Host + path
}

// rankOptions lists every rank of every published ladder.
func (q *Query) rankOptions(none string) ([]look.Option, error) {
	out := []look.Option{{Value: "", Text: none}}
	ladders, err := q.App().Ladders(q.Context(), q.Who)
	if err != nil {
		return nil, err
	}
	for _, l := range ladders {
		if l.Latest == nil {
			continue
		}
		_, s, err := q.App().Version(q.Context(), q.Who, l.Latest.ID)
		if err != nil {
			return nil, err
		}
		for _, k := range s.Ranks {
			out = append(out, look.Option{Value: string(k.ID), Text: "Up to " + k.Name})
		}
	}
	return out, nil
}

func newLink(q *Query) (Answer, error) {
	secret, err := q.App().Reinvite(q.Context(), q.Who, q.PathValue("id"))
	if err != nil {
		return nil, err
	}
	q.Flash("good", "Give them this link; it works once, within a week, and lets them choose a new password: "+q.address("/join/"+secret))
	return To("/people"), nil
}

func setActive(q *Query) (Answer, error) {
	active := q.FormValue("active") == "yes"
	if err := q.App().SetActive(q.Context(), q.Who, q.PathValue("id"), active); err != nil {
		return nil, err
	}
	if active {
		q.Flash("good", "They can sign in again.")
	} else {
		q.Flash("good", "They are kept out from now on; what they did stays.")
	}
	return To("/people"), nil
}
