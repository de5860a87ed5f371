package web

import (
	"bytes"
	"slices"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/paper"
	"rankwright/internal/web/look"
	"rankwright/promote"
)

type certificatesPage struct {
	Frame
	View    app.GradingView
	Rows    []awardRow
	Later   []awardRow
	Held    bool
	Trouble []string
	Letter  bool
	May     bool // change how papers look
}

type awardRow struct {
	Name, Number, Label, Entry, Until string
	Belt                              look.Belt
}

func awardRowOf(a app.Award) awardRow {
	return awardRow{Name: a.Name, Number: a.Line.Certificate, Label: a.Line.Label, Entry: string(a.Line.Entry), Until: a.Line.FollowUp.Long(),
		Belt: look.Belt{Name: a.Line.RankName, Colour: a.Belt.Hex, Tip: a.Belt.Tip, TipColour: a.Belt.TipHex}}
}

func certificates(q *Query) (Answer, error) {
	v, err := q.grading()
	if err != nil {
		return nil, err
	}
	list, err := q.App().Awards(q.Context(), q.Who, v.ID, "")
	if err != nil {
		return nil, err
	}
	p := &certificatesPage{View: v}
	p.Title, p.Back = "Certificates", gradingBack(v.ID, v.Title)
	p.Letter, p.May = letterPaper(q), q.Who.Role.May(app.EditSchool)
	var now []app.Award
	for _, a := range list {
		if a.Line.FollowUp != 0 {
			p.Later = append(p.Later, awardRowOf(a))
		} else {
			p.Rows = append(p.Rows, awardRowOf(a))
			now = append(now, a)
		}
	}
	style, err := q.style()
	if err != nil {
		return nil, err
	}
	for _, f := range paper.Check(style.Certificates(q.School, now), style.Options()) {
		say, do := told(f)
		p.Trouble = append(p.Trouble, say+" "+do)
	}
	return Page("certificates", p), nil
}

func certificatesPDF(q *Query) (Answer, error) {
	id, entry := rankwright.GradingID(q.PathValue("id")), rankwright.EntryID(q.FormValue("entry"))
	list, err := q.App().Awards(q.Context(), q.Who, id, entry)
	if err != nil {
		return nil, err
	}
	if entry == "" {
		list = slices.DeleteFunc(list, func(a app.Award) bool { return a.Line.FollowUp != 0 })
	}
	if len(list) == 0 {
		return nil, rankwright.Faultf(rankwright.NotFound, "no_awards", "sign the grading first", "there are no certificates to print")
	}
	var b bytes.Buffer
	style, err := q.style()
	if err != nil {
		return nil, err
	}
	o := style.Options()
	o.Paper = paperOf(q).Paper
	if d, ok := paper.ParseDesign(q.FormValue("design")); ok {
		o.Design = d
	}
	if err := paper.WriteCertificates(&b, style.Certificates(q.School, list), o); err != nil {
		return nil, err
	}
	return File{Name: "certificates-" + list[0].Grading.Day.String() + ".pdf", Type: "application/pdf", Data: b.Bytes(), Show: true}, nil
}

func readingList(q *Query) (Answer, error) {
	v, err := q.grading()
	if err != nil {
		return nil, err
	}
	list, err := q.App().Awards(q.Context(), q.Who, v.ID, "")
	if err != nil {
		return nil, err
	}
	if len(list) == 0 {
		return nil, rankwright.Faultf(rankwright.NotFound, "no_awards", "sign the grading first", "there is nobody to read out")
	}
	t := paper.Table{Title: "To read out", Subtitle: v.Title + ", " + v.Day.Long(), Footer: q.School.Name,
		Note:    "Rank by rank from the lowest, the youngest first. Only those who were promoted stand here.",
		Columns: []paper.Column{{Head: "Rank", Share: 2}, {Head: "Name", Share: 5, Bold: true}, {Head: "How it is said", Share: 3}, {Head: "", Share: 2}}}
	said := slices.ContainsFunc(list, func(a app.Award) bool { return a.Said != "" })
	if !said {
		t.Columns = slices.Delete(t.Columns, 2, 3)
	}
	for _, a := range list {
		label := ""
		if promote.Commended(a.Line.Label) {
			label = a.Line.Label
		}
		row := []string{a.Line.RankName, a.Name, a.Said, label}
		if !said {
			row = slices.Delete(row, 2, 3)
		}
		t.Rows = append(t.Rows, row)
	}
	var b bytes.Buffer
	if err := paper.WriteTable(&b, t, paperOf(q)); err != nil {
		return nil, err
	}
	return File{Name: "reading-list-" + v.Day.String() + ".pdf", Type: "application/pdf", Data: b.Bytes(), Show: true}, nil
}
