package web

import (
	"bytes"
	"strings"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/paper"
	"rankwright/internal/sheets"
	"rankwright/internal/web/look"
	"rankwright/internal/wording"
	"rankwright/internal/words"
)

// The letters about the results of a signed grading, on paper.
var letterRoutes = []Route{
	{Pattern: "GET /gradings/{id}/letters", Act: app.PrintLetters, Do: letterList},
	{Pattern: "GET /gradings/{id}/letters.pdf", Act: app.PrintLetters, Do: letterPrint},
}

func lettersHref(id rankwright.GradingID) string { return "/gradings/" + string(id) + "/letters" }

type lettersPage struct {
	Frame
	PDF     string
	First   look.Field
	Second  look.Field
	Letter  bool // the school prints on US Letter
	Rows    []lettersRow
	Trouble []string
	Words   string // where the words are put into the school's own; "" for who may not
}

// lettersRow is one family. What became of its children is not on this page.
type lettersRow struct {
	Name, Children, Lang, PDF string
	Shown                     bool
}

func letterList(q *Query) (Answer, error) {
	id := rankwright.GradingID(q.PathValue("id"))
	v, list, err := q.App().Letters(q.Context(), q.Who, id, app.LetterChoice{})
	if err != nil {
		return nil, err
	}
	p := &lettersPage{PDF: lettersHref(id) + ".pdf", Letter: letterPaper(q)}
	p.Title, p.Back = "Letters about results", gradingBack(id, v.Title)
	p.Kicker, p.Lead = v.Title+", "+v.Day.Long(), "A page for each child, those of brothers and sisters together. On no letter stands anything of another child."
	p.First = look.Field{Name: "lang", Label: "Language", Kind: "select", Size: "medium", Options: append([]look.Option{{Text: "Each family's own", Selected: true}}, languages("")...)}
	p.Second = look.Field{Name: "second", Label: "Once more in", Kind: "select", Size: "medium", Optional: true, Options: append([]look.Option{{Text: "No second language", Selected: true}}, languages("")...)}
	if q.Who.Role.May(app.EditWordings) {
		p.Words = wordingsHref
	}
	for i := range list {
		x := &list[i]
		if n := len(p.Rows); i > 0 && list[i-1].Household == x.Household {
			p.Rows[n-1].Children += ", " + x.Entry.Student.GivenName
			continue
		}
		p.Rows = append(p.Rows, lettersRow{Name: x.Family, Children: x.Entry.Student.GivenName, Lang: x.Lang.Name(), Shown: x.Shown, PDF: p.PDF + "?family=" + string(x.Household)})
	}
	for _, f := range paper.CheckLetters(lettersOf(q.School, list), letterPaperOf(q, list)) {
		say, do := told(f)
		p.Trouble = append(p.Trouble, say+" "+do)
	}
	return Page("letters", p), nil
}

func letterPrint(q *Query) (Answer, error) {
	_, list, err := q.App().Letters(q.Context(), q.Who, rankwright.GradingID(q.PathValue("id")), app.LetterChoice{Entry: rankwright.EntryID(q.FormValue("entry")),
		Household: rankwright.HouseholdID(q.FormValue("family")), Lang: words.Lang(q.FormValue("lang")), Second: words.Lang(q.FormValue("second"))})
	if err != nil {
		return nil, err
	}
	return lettersPDF(q, "letters", list)
}

// lettersPDF prints letters one after the other.
func lettersPDF(q *Query, name string, list []app.ResultLetter) (Answer, error) {
	var b bytes.Buffer
	if err := paper.WriteLetters(&b, lettersOf(q.School, list), letterPaperOf(q, list)); err != nil {
		return nil, err
	}
	return File{Name: name + "-" + list[0].Day.String() + ".pdf", Type: "application/pdf", Data: b.Bytes(), Show: true}, nil
}

// letterPaperOf is on which paper letters are printed, in the language of the
// first.
func letterPaperOf(q *Query, list []app.ResultLetter) paper.Options {
	o := paperOf(q)
	o.Lang = string(list[0].Lang)
	return o
}

func lettersOf(sc app.School, list []app.ResultLetter) (out []paper.FamilyLetter) {
	for i := range list {
		x := &list[i]
		say := words.In(x.Lang)
		l := paper.FamilyLetter{School: sc.Name, Place: sc.Place, Date: x.Date, Name: x.Entry.Student.FullName(), Rank: x.Rank.Name, Belt: sheets.Belt(x.Rank), Title: x.Words.Subject,
			CautionTitle: x.CautionTitle, Signed: x.Signed, Lang: string(x.Lang), RightToLeft: x.Lang.Right(),
			PageOf: func(page, of int) string {
				return say.It("letter.page", words.Set{Name: "Page", Value: page}, words.Set{Name: "Of", Value: of})
			}}
		for _, b := range x.Words.Blocks {
			pb := paper.LetterBlock{First: b.First, Items: b.Items}
			for _, line := range b.Lines {
				pb.Lines = append(pb.Lines, wording.Words(line))
			}
			l.Blocks = append(l.Blocks, pb)
		}
		if local := strings.TrimSpace(x.Local); local != "" {
			l.Cautions = append(l.Cautions, local)
		}
		l.Cautions = append(l.Cautions, x.Cautions...)
		out = append(out, l)
	}
	return out
}
