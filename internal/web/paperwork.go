package web

import (
	"bytes"
	"net/url"
	"slices"
	"strings"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/paper"
	"rankwright/internal/web/look"
	"rankwright/syllabus"
)

var paperworkRoutes = []Route{
	{Pattern: "GET /gradings/{id}/paperwork", Act: app.PrintPapers, Do: paperworkShow},
	{Pattern: "GET /gradings/{id}/paperwork/run-sheet.pdf", Act: app.PrintPapers, Do: runSheet},
	{Pattern: "GET /gradings/{id}/paperwork/score-table.pdf", Act: app.PrintPapers, Do: scoreTable},
}

// perTable is how many students stand side by side on a score table: more,
// and a name is cut into pieces.
const perTable = 8

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
	Tables   []look.Link
	TypeIn   string // the form of the first row
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
		for i := 0; i*perTable < len(list); i++ {
			text := "Score table"
			if len(list) > perTable {
				text += ", students " + itoa(i*perTable+1) + "–" + itoa(min(len(list), (i+1)*perTable))
			}
			r.Tables = append(r.Tables, look.Link{Href: sheet("score-table.pdf", id, i+1), Text: text})
		}
		if q.Who.Role.May(app.GiveMarks) && app.State(v.State).Allows(app.GiveMarks) && len(k.Requirements) > 0 {
			r.TypeIn = matHref(v.ID, id, url.Values{"row": {string(k.Requirements[0].ID)}})
			p.TypeIn = true
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
	slices.SortStableFunc(out, func(x, y app.EntryView) int { return x.Squad - y.Squad })
	return out
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

// penHigh is how high a row is that is written into, in millimetres.
const penHigh = 11

func paperBelt(k *syllabus.Rank) paper.Belt { return paper.Belt{Base: k.Belt.Hex, Tip: k.Belt.TipHex} }

// legend says what is written into the table of a rank, and what its levels
// mean.
func legend(k *syllabus.Rank) []string {
	var out []string
	var scales []*syllabus.Scale
	tick, must := false, false
	for i := range k.Requirements {
		r := &k.Requirements[i]
		tick, must = tick || r.Kind == syllabus.Tick, must || r.Must
		if r.Scale != nil && r.Kind == syllabus.Leveled && !slices.Contains(scales, r.Scale) {
			scales = append(scales, r.Scale)
		}
	}
	if tick {
		out = append(out, "1 shown, 0 not shown; leave a box empty where nothing was seen.")
	}
	for _, s := range scales {
		name := "Levels"
		if len(scales) > 1 && s.Name != "" {
			name = "Levels, " + s.Name
		}
		var levels []string
		for _, l := range s.Levels {
			levels = append(levels, itoa(l.Value)+" "+l.Words)
		}
		out = append(out, name+": "+strings.Join(levels, "; ")+".")
	}
	if must {
		out = append(out, "Must: no total makes up for it.")
	}
	return out
}

// runSheet is the list of a rank for whoever leads it round the stations.
func runSheet(q *Query) (Answer, error) {
	v, k, list, err := paperRank(q)
	if err != nil {
		return nil, err
	}
	t := paper.Table{Form: &paper.Form{RowHeight: penHigh + 3, Belt: paperBelt(k)}, Title: "Run sheet: " + k.Name, Subtitle: v.Title + ", " + v.Day.Long(), Footer: q.School.Name + " – " + v.Title,
		Note:    strings.TrimSpace(q.School.Cautions + " After a knock to the head: stop, tell the first aider and the parent, no return that day without a health professional's clearance. " + q.School.Safety),
		Columns: []paper.Column{{Head: "Squad", Share: 1.8}, {Head: "Name", Share: 4, Bold: true}, {Head: "Here", Share: 1.4}, {Head: "Still missing", Share: 3.4}, {Head: "Notes", Share: 6}}}
	for _, e := range list {
		var missing []string
		for _, c := range k.Clearances {
			if x := v.Syllabus.Clearance(c); x != nil && !e.Clearances[c] {
				missing = append(missing, x.Name)
			}
		}
		t.Rows = append(t.Rows, []string{itoa(e.Squad), e.Student.FullName(), "", strings.Join(missing, "\n"), ""})
	}
	var b bytes.Buffer
	if err := paper.WriteTable(&b, t, paperOf(q)); err != nil {
		return nil, err
	}
	return File{Name: "run-sheet-" + string(k.ID) + ".pdf", Type: "application/pdf", Data: b.Bytes(), Show: true}, nil
}

// scoreTable is a blank table of a rank: requirements down, students across.
func scoreTable(q *Query) (Answer, error) {
	v, k, list, err := paperRank(q)
	if err != nil {
		return nil, err
	}
	part := max(1, number(q.FormValue("part")))
	if (part-1)*perTable >= len(list) {
		return nil, rankwright.Faultf(rankwright.NotFound, "no_part", "choose one from the page", "there is no part %d of this table", part)
	}
	list = list[(part-1)*perTable : min(len(list), part*perTable)]
	form := &paper.Form{RowHeight: penHigh, Belt: paperBelt(k), Legend: legend(k), Bands: map[int]string{}, Tall: map[int]float64{}}
	t := paper.Table{Form: form, Title: "Score table: " + k.Name, Subtitle: v.Title + ", " + v.Day.Long() + ".  Examiner: ______________________________",
		Footer: q.School.Name + " – " + v.Title, Columns: []paper.Column{{Head: "Requirement", Share: 4.6}, {Head: "Mark", Share: 1.5}}}
	for _, e := range list {
		t.Columns = append(t.Columns, paper.Column{Head: shortName(e.Student.GivenName, e.Student.FamilyName), Share: 1.5})
	}
	var section rankwright.SectionID
	for i := range k.Requirements {
		r := &k.Requirements[i]
		row := []string{r.Show, markWords(r)}
		if r.Must {
			row[0] += " (must)"
		}
		if r.Section != section {
			section = r.Section
			if x := v.Syllabus.Section(section); x != nil {
				form.Bands[i] = x.Name
			}
		}
		if r.Tries > 1 {
			row[1] += ", " + itoa(r.Tries) + " tries"
			form.Tall[i] = penHigh * float64(r.Tries)
		}
		for _, e := range list {
			cell := ""
			if waivedFor(v, e, r.ID) {
				cell = "not asked"
			}
			row = append(row, cell)
		}
		t.Rows = append(t.Rows, row)
	}
	form.Tall[len(t.Rows)] = 2.5 * penHigh
	t.Rows = append(t.Rows, append([]string{"Notes", ""}, make([]string, len(list))...))
	o := paperOf(q)
	o.Turn = paper.Landscape
	var b bytes.Buffer
	if err := paper.WriteTable(&b, t, o); err != nil {
		return nil, err
	}
	return File{Name: "score-table-" + string(k.ID) + "-" + itoa(part) + ".pdf", Type: "application/pdf", Data: b.Bytes(), Show: true}, nil
}

// shortName is a name for the head of a narrow column.
func shortName(given, family string) string {
	for _, r := range family {
		return given + " " + string(r) + "."
	}
	return given
}

// markWords says how a requirement is marked, as short as it can be told.
func markWords(r *syllabus.Requirement) string {
	switch r.Kind {
	case syllabus.Tick:
		return "1 or 0"
	case syllabus.Leveled:
		l := r.Scale.Levels
		return itoa(l[0].Value) + " to " + itoa(l[len(l)-1].Value)
	case syllabus.Steps, syllabus.Recall:
		return "of " + itoa(r.Of)
	case syllabus.Timed:
		return "seconds"
	case syllabus.Consent:
		return "yes / no"
	}
	if r.Of > 0 {
		return "of " + itoa(r.Of)
	}
	return "how many"
}

func waivedFor(v app.GradingView, e app.EntryView, id rankwright.RequirementID) bool {
	return v.Waived(&e, id)
}
