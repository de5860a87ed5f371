package web

import (
	"rankwright/internal/app"
	"rankwright/internal/web/look"
)

var ledgerRoutes = []Route{
	{Pattern: "GET /ledger", Act: app.SeeLedger, Do: ledger},
	{Pattern: "GET /audit", Act: app.SeeAudit, Do: audit},
}

type ledgerPage struct {
	Frame
	Empty *look.Empty
	Rows  []ledgerRow
}

type ledgerRow struct {
	awardRow
	Day, Signer, Ladder, Student string
}

func ledger(q *Query) (Answer, error) {
	p := &ledgerPage{}
	p.Title, p.Lead = "Rank ledger", "Every promotion, for ever. Nothing here is changed or taken out."
	list, err := q.App().Ledger(q.Context(), q.Who)
	if err != nil {
		return nil, err
	}
	for _, a := range list {
		p.Rows = append(p.Rows, ledgerRow{awardRowOf(a), a.Line.Day.Long(), a.Line.Signer, a.Ladder, string(a.Line.Student)})
	}
	if len(list) == 0 {
		p.Empty = &look.Empty{Title: "No promotion yet", Text: "The first ones come here when a grading is signed.", Action: &look.Link{Href: "/gradings", Text: "Go to the gradings"}}
	}
	return Page("ledger", p), nil
}

type auditPage struct {
	Frame
	Rows []auditRow
	More int64
}

type auditRow struct {
	No                             int64
	At, Person, Act, About, Detail string
	Allowed                        bool
}

func audit(q *Query) (Answer, error) {
	p := &auditPage{}
	p.Title, p.Lead, p.Width = "Audit", "Who did what and when, refusals included. Each line is sealed by the one before it.", "wide"
	lines, err := q.App().Audit(q.Context(), q.Who, int64(number(q.FormValue("before"))), 100)
	if err != nil {
		return nil, err
	}
	people, err := q.App().People(q.Context(), q.Who)
	if err != nil {
		return nil, err
	}
	names := map[string]string{"command-line": "command line"}
	for _, x := range people {
		names[x.ID] = x.Name
	}
	for _, l := range lines {
		name := names[l.Person]
		if name == "" {
			name = l.Person
		}
		p.Rows = append(p.Rows, auditRow{l.No, when(int64(l.At)), name, l.Act, l.Subject, l.Detail, l.Allowed})
		p.More = l.No
	}
	if len(lines) < 100 || p.More <= 1 {
		p.More = 0
	}
	return Page("audit", p), nil
}
