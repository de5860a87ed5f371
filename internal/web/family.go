package web

import (
	"slices"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
	"rankwright/internal/words"
	"rankwright/promote"
	"rankwright/syllabus"
)

// familyResult is a result in words that help: what went well, then what is
// next, and no comparison with anybody.
type familyResult struct {
	Given, Day, Rank     string
	Belt                 look.Belt
	Outcome              string // code
	Well, Again, Missing []string
	Until                string
	Commended, FollowUp  bool
	Cautions             *look.Caution
}

type familyPage struct {
	Frame
	familyResult
}

// outcomeFamily shows the head instructor the page that a family sees.
func outcomeFamily(q *Query) (Answer, error) {
	v, o, err := q.App().OneOutcome(q.Context(), q.Who, rankwright.EntryID(q.PathValue("entry")))
	if err != nil {
		return nil, err
	}
	p := &familyPage{familyResult: resultOf(words.In(words.English), q.School, v.Day, v.Syllabus, &o)}
	p.Title, p.Kicker, p.Width = o.Entry.Student.FullName(), v.Title, "narrow"
	p.Back = &look.Link{Href: "/entries/" + string(o.Entry.Entry.ID), Text: "Back to the outcome"}
	return Page("family", p), nil
}

func resultOf(say *words.Say, sc app.School, day rankwright.Day, s *syllabus.Syllabus, o *app.Outcome) familyResult {
	p := familyResult{Given: o.Entry.Student.GivenName, Day: say.Day(day), Rank: o.Rank.Name, Belt: belt(o.Rank), Outcome: o.Stands().String()}
	p.Well = o.Judge.Well(o.Case)
	if len(p.Well) > 6 {
		p.Well = p.Well[:6]
	}
	p.Commended = o.Stands() == syllabus.Promoted && o.Verdict.Outcome == syllabus.Promoted && promote.Commended(o.Verdict.Label)
	p.FollowUp = o.Verdict.FollowUp != 0 && o.Stands() == syllabus.Promoted
	switch o.Stands() {
	case syllabus.NotYet:
		p.Again = againWords(o, s)
		if o.Verdict.AgainUntil != 0 && len(p.Again) > 0 {
			p.Until = say.Day(o.Verdict.AgainUntil)
		}
		for _, sec := range s.Sections {
			if len(sec.Cautions) > 0 && slices.Contains(p.Again, sec.Name) || slices.ContainsFunc(o.Rank.Requirements, func(r syllabus.Requirement) bool {
				return r.Section == sec.ID && len(sec.Cautions) > 0 && slices.Contains(p.Again, r.Show)
			}) {
				p.Cautions = familyCautions(say, sc)
			}
		}
	case syllabus.Promoted:
		if p.FollowUp {
			p.Again, p.Until = againWords(o, s), say.Day(o.Verdict.FollowUp)
		}
	case syllabus.Held:
		for _, id := range o.Lacks() {
			p.Missing = append(p.Missing, s.Clearance(id).Name)
		}
	}
	return p
}
