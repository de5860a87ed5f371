package web

import (
	"errors"
	"html/template"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
	"rankwright/internal/words"
)

// letterPart is a letter about a result on a page.
type letterPart struct {
	Belt     look.Belt
	Date     string
	Lang     string
	Dir      string
	Heading  string // "" where the page's own heading says it
	Body     template.HTML
	Cautions *look.Caution
	Signed   string
}

func letterOn(sc app.School, x *app.ResultLetter) (p letterPart, err error) {
	p = letterPart{Belt: belt(x.Rank), Date: x.Date, Lang: string(x.Lang), Dir: x.Lang.Dir(), Signed: x.Signed}
	p.Body, err = x.Words.HTML()
	if len(x.Cautions) > 0 {
		p.Cautions = &look.Caution{Title: x.CautionTitle, Lines: x.Cautions, Local: x.Local}
		if x.Local != "" {
			p.Cautions.People = sc.Safety
		}
	}
	return p, err
}

type familyPage struct {
	Frame
	Letter *letterPart
	Open   string // what stands there while nothing is settled
}

// outcomeFamily shows the head instructor the letter that a family reads.
func outcomeFamily(q *Query) (Answer, error) {
	id := rankwright.EntryID(q.PathValue("entry"))
	v, x, err := q.App().LookAtLetter(q.Context(), q.Who, id, words.Lang(q.FormValue("lang")))
	p := &familyPage{}
	var f *rankwright.Fault
	switch {
	case errors.As(err, &f) && f.Code == "undecided":
		p.Open = words.In(words.English).It("result.open", words.Set{Name: "Name", Value: x.Entry.Student.GivenName})
	case err != nil:
		return nil, err
	default:
		l, err := letterOn(q.School, &x)
		if err != nil {
			return nil, err
		}
		l.Heading, p.Letter = x.Words.Subject, &l
	}
	p.Title, p.Kicker, p.Width = x.Entry.Student.FullName(), v.Title, "narrow"
	p.Styles = []string{look.AssetPath() + "wording.css"}
	p.Back = &look.Link{Href: "/entries/" + string(id), Text: "Back to the outcome"}
	return Page("family", p), nil
}

type familyResultPage struct {
	familyFrame
	Letter letterPart
	PDF    string
}

// familyResultShow is the letter about one child, once the head instructor lets
// the family see it.
func familyResultShow(f *familyQuery) (Answer, error) {
	id := f.PathValue("entry")
	list, err := f.App().FamilyLetters(f.Context(), f.who, rankwright.EntryID(id), f.say.Lang())
	if err != nil {
		return nil, err
	}
	x := &list[0]
	p := &familyResultPage{familyFrame: f.frame(x.Words.Subject), PDF: "/family/child/" + id + "/letter.pdf"}
	p.back(f)
	p.Styles = append(p.Styles, look.AssetPath()+"wording.css")
	p.Kicker = f.say.Apart(x.Grading)
	p.Letter, err = letterOn(f.School, x)
	return Page("family-result", p), err
}

// familyLetter is the same letter on paper.
func familyLetter(f *familyQuery) (Answer, error) {
	list, err := f.App().FamilyLetters(f.Context(), f.who, rankwright.EntryID(f.PathValue("entry")), f.say.Lang())
	if err != nil {
		return nil, err
	}
	return lettersPDF(f.Query, "letter", list)
}
