package decide

import (
	"encoding/json"

	"rankwright"
	"rankwright/syllabus"
)

// Document is the form in which verdicts leave the program, as docs/formats.md
// has it. Its keys and their meaning are a contract.
type Document struct {
	Entries []EntryDocument `json:"entries"`
}

// EntryDocument is one entry's verdict. Points are cut to two decimals; the
// share is in percent, cut to two decimals.
type EntryDocument struct {
	Entry      rankwright.EntryID         `json:"entry"`
	Rank       rankwright.RankID          `json:"rank"`
	Outcome    string                     `json:"outcome"`
	Label      string                     `json:"label,omitempty"`
	Points     json.Number                `json:"points"`
	Of         json.Number                `json:"of"`
	Share      json.Number                `json:"share"`
	Base       json.Number                `json:"base"`
	Bonus      json.Number                `json:"bonus"`
	Reasons    []ReasonDocument           `json:"reasons"`
	SecondLook []LookDocument             `json:"second_look"`
	ToShow     []string                   `json:"to_show_again"`
	ShowUntil  rankwright.Day             `json:"show_again_until,omitzero"`
	FollowUp   rankwright.Day             `json:"follow_up_until,omitzero"`
	Missing    []rankwright.RequirementID `json:"missing,omitempty"`
}

// ReasonDocument is one condition.
type ReasonDocument struct {
	Rule    string           `json:"rule"`
	Name    string           `json:"name"`
	Asked   string           `json:"asked"`
	Shown   string           `json:"shown"`
	Met     bool             `json:"met"`
	Decides bool             `json:"decides"`
	Short   []ShortDocument  `json:"short,omitempty"`
	Parts   []ReasonDocument `json:"parts,omitempty"`
}

// ShortDocument is what fell short of a condition.
type ShortDocument struct {
	ID       string `json:"id"`
	Asked    string `json:"asked"`
	Shown    string `json:"shown"`
	Forgiven bool   `json:"forgiven,omitempty"`
}

// LookDocument is one reason to look again.
type LookDocument struct {
	Why         LookKey                  `json:"why"`
	Requirement rankwright.RequirementID `json:"requirement,omitempty"`
	Examiner    rankwright.ExaminerID    `json:"examiner,omitempty"`
	From        string                   `json:"from,omitempty"`
	To          string                   `json:"to,omitempty"`
	Would       string                   `json:"would_be,omitempty"`
	Ask         string                   `json:"ask,omitempty"`
}

func two(a rankwright.Amount) json.Number { return json.Number(a.Decimals(2)) }

// Document turns a verdict into the form in which it leaves the program.
func (v *Verdict) Document() EntryDocument {
	d := EntryDocument{Entry: v.Entry, Rank: v.Rank, Outcome: v.Outcome.String(), Label: v.Label,
		Points: two(v.Points), Of: two(v.Of), Base: two(v.Base), Bonus: two(v.Bonus),
		Share:   json.Number((rankwright.Amount(v.Share()) * (rankwright.One / 100)).Decimals(2)),
		Reasons: make([]ReasonDocument, 0, len(v.Reasons)), SecondLook: []LookDocument{}, ToShow: []string{},
		ShowUntil: v.AgainUntil, FollowUp: v.FollowUp, Missing: v.Missing}
	if v.Of == 0 {
		d.Share = "0.00"
	}
	for _, r := range v.Reasons {
		d.Reasons = append(d.Reasons, r.document())
	}
	for _, l := range v.SecondLook {
		x := LookDocument{Why: l.Key, Requirement: l.Requirement, Examiner: l.Examiner, Ask: l.Ask}
		switch l.Key {
		case OneMark:
			x.From, x.To, x.Would = l.From.String(), l.To.String(), l.Would.String()
		case MarksApart, NoLead:
			x.From, x.To = l.From.String(), l.To.String()
		case KeptEnded:
			x.From = l.From.String()
		}
		d.SecondLook = append(d.SecondLook, x)
	}
	if v.Whole && v.Outcome == syllabus.NotYet {
		d.ToShow = append(d.ToShow, "everything")
	}
	for _, id := range v.ShowAgainSections {
		d.ToShow = append(d.ToShow, string(id))
	}
	for _, id := range v.ShowAgain {
		d.ToShow = append(d.ToShow, string(id))
	}
	return d
}

func (r Reason) document() ReasonDocument {
	d := ReasonDocument{Rule: r.Rule, Name: r.Title(), Asked: r.AskedWords(), Shown: r.ShownWords(), Met: r.Met, Decides: r.Decides}
	for _, s := range r.Short {
		id := string(s.Requirement)
		if id == "" {
			id = string(s.Section)
		}
		d.Short = append(d.Short, ShortDocument{id, s.Asked.Words(), s.Shown.Words(), s.Forgiven})
	}
	for _, p := range r.Parts {
		d.Parts = append(d.Parts, p.document())
	}
	return d
}
