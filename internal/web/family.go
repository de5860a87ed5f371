package web

import (
	"slices"

	"rankwright"
	"rankwright/decide"
	"rankwright/internal/web/look"
	"rankwright/promote"
	"rankwright/syllabus"
)

type familyPage struct {
	Frame
	Name, Given, Day, Rank string
	Belt                   look.Belt
	Outcome                string // code
	Well, Again, Missing   []string
	Until                  string
	Commended, FollowUp    bool
	Cautions               *look.Caution
}

// outcomeFamily is the page that a parent can be shown: what went well, what
// is next, no comparison with anybody.
func outcomeFamily(q *Query) (Answer, error) {
	v, o, err := q.App().OneOutcome(q.Context(), q.Who, rankwright.EntryID(q.PathValue("entry")))
	if err != nil {
		return nil, err
	}
	p := &familyPage{Name: o.Entry.Student.FullName(), Given: o.Entry.Student.GivenName, Day: v.Day.Long(), Rank: o.Rank.Name, Belt: belt(o.Rank), Outcome: o.Stands().String()}
	p.Title, p.Kicker, p.Width = p.Name, v.Title, "narrow"
	p.Back = &look.Link{Href: "/entries/" + string(o.Entry.Entry.ID), Text: "Back to the outcome"}
	p.Well = o.Judge.Well(o.Case)
	if len(p.Well) > 6 {
		p.Well = p.Well[:6]
	}
	p.Commended = o.Stands() == syllabus.Promoted && o.Verdict.Outcome == syllabus.Promoted && promote.Commended(o.Verdict.Label)
	p.FollowUp = o.Verdict.FollowUp != 0 && o.Stands() == syllabus.Promoted
	switch o.Stands() {
	case syllabus.NotYet:
		p.Again = againWords(&o, v.Syllabus)
		if o.Verdict.AgainUntil != 0 && len(p.Again) > 0 {
			p.Until = o.Verdict.AgainUntil.Long()
		}
		for _, s := range v.Syllabus.Sections {
			if len(s.Cautions) > 0 && slices.Contains(p.Again, s.Name) || slices.ContainsFunc(o.Rank.Requirements, func(r syllabus.Requirement) bool {
				return r.Section == s.ID && len(s.Cautions) > 0 && slices.Contains(p.Again, r.Show)
			}) {
				c := look.Cautions(q.School.Cautions, q.School.Safety)
				c.Title = "When practising falls or partner work"
				p.Cautions = &c
			}
		}
	case syllabus.Promoted:
		if p.FollowUp {
			p.Again, p.Until = againWords(&o, v.Syllabus), o.Verdict.FollowUp.Long()
		}
	case syllabus.Held:
		for _, r := range o.Verdict.Reasons {
			if r.Kind == decide.AboutClearance && !r.Met {
				p.Missing = append(p.Missing, r.Name)
			}
		}
	}
	return Page("family", p), nil
}
