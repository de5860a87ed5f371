package web

import (
	"bytes"
	"net/url"
	"strings"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/paper"
	"rankwright/internal/sheets"
	"rankwright/internal/web/look"
	"rankwright/syllabus"
)

var paperworkRoutes = []Route{
	{Pattern: "GET /gradings/{id}/paperwork", Act: app.PrintPapers, Do: paperworkShow},
	{Pattern: "GET /gradings/{id}/paperwork/run-sheet.pdf", Act: app.PrintPapers, Do: runSheet},
	{Pattern: "GET /gradings/{id}/paperwork/score-table.pdf", Act: app.PrintPapers, Do: scoreTable},
}

type paperworkPage struct {
	Frame
	Ranks  []paperworkRank
	None   *look.Empty
	TypeIn bool
	At     string
	Names  namesAsked
	Letter bool   // the sheets are for US Letter, else for A4
	Other  string // this page for the other paper
}

type paperworkRank struct {
	Belt     look.Belt
	Children string
	Run      string
	Tables   []paperworkTable
}

type paperworkTable struct {
	look.Link
	TypeIn string // the form of its first row
}

func paperworkShow(q *Query) (Answer, error) {
	v, err := q.grading()
	if err != nil {
		return nil, err
	}
	p := &paperworkPage{}
	p.Title, p.Back = "On paper", gradingBack(v.ID, v.Title)
	p.Styles = boardStyle()
	p.Lead = "Printed beforehand, so that the examination goes on without a device."
	at := "/gradings/" + url.PathEscape(string(v.ID)) + "/paperwork"
	p.Letter, p.Other = letterPaper(q), at+"?paper=letter"
	sheet := func(name string, id rankwright.RankID, part int) string {
		x := url.Values{"rank": {string(id)}}
		if part > 0 {
			x.Set("part", itoa(part))
		}
		x.Set("paper", map[bool]string{true: "letter", false: "a4"}[p.Letter])
		return at + "/" + name + "?" + x.Encode()
	}
	if p.Letter {
		p.Other = at + "?paper=a4"
	}
	p.At, p.Names = at, q.namesAsked(v)
	p.Styles = append(p.Styles, look.AssetPath()+"papers.css")
	for _, id := range v.Ranks {
		k, _ := v.Syllabus.Rank(id)
		list := entriesOf(v, id)
		if len(list) == 0 {
			continue
		}
		r := paperworkRank{Belt: matBelt(k), Children: plural(len(list), "student", "students"), Run: sheet("run-sheet.pdf", id, 0)}
		typeIn := q.Who.Role.May(app.GiveMarks) && app.State(v.State).Allows(app.GiveMarks) && len(k.Requirements) > 0
		p.TypeIn = p.TypeIn || typeIn
		for i := 0; i*sheets.PerTable < len(list); i++ {
			text := "Score table"
			if len(list) > sheets.PerTable {
				text += ", students " + itoa(i*sheets.PerTable+1) + "–" + itoa(min(len(list), (i+1)*sheets.PerTable))
			}
			t := paperworkTable{Link: look.Link{Href: sheet("score-table.pdf", id, i+1), Text: text}}
			if typeIn {
				t.TypeIn = matHref(v.ID, id, url.Values{"row": {string(k.Requirements[0].ID)}, "table": {itoa(i + 1)}})
			}
			r.Tables = append(r.Tables, t)
		}
		p.Ranks = append(p.Ranks, r)
	}
	if len(p.Ranks) == 0 {
		p.None = &look.Empty{Title: "Nobody is entered yet", Text: "The sheets hold the names of those who are entered."}
	}
	return Page("paperwork", p), nil
}

func entriesOf(v app.GradingView, rank rankwright.RankID) []app.EntryView {
	var out []app.EntryView
	for _, e := range v.Entries {
		if e.Rank == rank {
			out = append(out, e)
		}
	}
	return inSquads(out)
}

// paperRank finds the grading and the rank that a sheet is for.
func paperRank(q *Query) (v app.GradingView, k *syllabus.Rank, list []app.EntryView, err error) {
	if v, err = q.grading(); err != nil {
		return v, nil, nil, err
	}
	k, _ = v.Syllabus.Rank(rankwright.RankID(q.FormValue("rank")))
	if k == nil {
		return v, nil, nil, rankwright.Faultf(rankwright.NotFound, "unknown_rank", "choose one of the ranks of the grading", "the grading has no rank %q", q.FormValue("rank"))
	}
	if list = entriesOf(v, k.ID); len(list) == 0 {
		return v, nil, nil, rankwright.Faultf(rankwright.NotFound, "no_entries", "enter students first", "nobody is entered for %s", k.Name)
	}
	return v, k, list, nil
}

// handSheet are the head of a grading's sheets and the children of a rank on them.
func handSheet(q *Query, v app.GradingView, k *syllabus.Rank, list []app.EntryView) (sheets.Head, []sheets.Child) {
	h := sheets.Head{Title: v.Title, Day: v.Day, School: q.School.Name,
		Cautions: strings.TrimSpace(q.School.Cautions + " After a knock to the head: stop, tell the first aider and the parent, no return that day without a health professional's clearance. " + q.School.Safety)}
	var children []sheets.Child
	for i := range list {
		e := &list[i]
		c := sheets.Child{Given: e.Student.GivenName, Family: e.Student.FamilyName, Squad: e.Squad}
		for _, id := range k.Clearances {
			if x := v.Syllabus.Clearance(id); x != nil && !e.Clearances[id] {
				c.Missing = append(c.Missing, x.Name)
			}
		}
		for j := range k.Requirements {
			if v.Waived(e, k.Requirements[j].ID) {
				c.Waived = append(c.Waived, k.Requirements[j].ID)
			}
		}
		children = append(children, c)
	}
	return h, children
}

// runSheet is the list of a rank for whoever leads it round the stations.
func runSheet(q *Query) (Answer, error) {
	v, k, list, err := paperRank(q)
	if err != nil {
		return nil, err
	}
	h, children := handSheet(q, v, k, list)
	var b bytes.Buffer
	if err := paper.WriteTable(&b, sheets.Run(k, h, children), paperOf(q)); err != nil {
		return nil, err
	}
	return File{Name: "run-sheet-" + string(k.ID) + ".pdf", Type: "application/pdf", Data: b.Bytes(), Show: true}, nil
}

// scoreTable is a blank table of a rank: requirements down, students across.
// What was not yet there last time stands on it for those who may see marks.
func scoreTable(q *Query) (Answer, error) {
	v, k, list, err := paperRank(q)
	if err != nil {
		return nil, err
	}
	h, children := handSheet(q, v, k, list)
	if q.Who.Role.May(app.SeeMarks) {
		sh, err := q.App().Sheet(q.Context(), q.Who, v.ID, k.ID)
		if err != nil {
			return nil, err
		}
		for i := range list {
			x := sh.Short[list[i].Entry.ID]
			children[i].Close, children[i].CloseIn = x.Requirements, x.Sections
		}
	}
	tables := sheets.Scores(v.Syllabus, k, h, children)
	part := max(1, number(q.FormValue("part")))
	if part > len(tables) {
		return nil, rankwright.Faultf(rankwright.NotFound, "no_part", "choose one from the page", "there is no part %d of this table", part)
	}
	o := paperOf(q)
	o.Turn = paper.Landscape
	var b bytes.Buffer
	if err := paper.WriteTable(&b, tables[part-1], o); err != nil {
		return nil, err
	}
	return File{Name: "score-table-" + string(k.ID) + "-" + itoa(part) + ".pdf", Type: "application/pdf", Data: b.Bytes(), Show: true}, nil
}
