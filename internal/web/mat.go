package web

import (
	"fmt"
	"net/url"
	"slices"
	"strings"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/sheets"
	"rankwright/internal/web/look"
	"rankwright/syllabus"
)

var matRoutes = []Route{
	{Pattern: "GET /gradings/{id}/marks", Act: app.SeeMarks, Do: matChoose},
	{Pattern: "POST /gradings/{id}/marks", Act: app.GiveMarks, Kind: "json", Do: matTake},
	{Pattern: "GET /gradings/{id}/marks/{rank}", Act: app.SeeMarks, Do: matShow},
	{Pattern: "POST /gradings/{id}/marks/{rank}", Act: app.GiveMarks, Do: matSaveRow},
	{Pattern: "GET /worker.js", Open: true, Do: matWorker},
	{Pattern: "GET /gradings/{id}/arrivals", Act: app.CheckIn, Do: arrivalsShow},
	{Pattern: "POST /gradings/{id}/arrivals", Act: app.SettleClear, Do: arrivalsSave},
	{Pattern: "GET /gradings/{id}/before", Act: app.GiveBefore, Do: beforeShow},
	{Pattern: "POST /gradings/{id}/before", Act: app.GiveBefore, Do: beforeSave},
}

func matStyle() []string  { return []string{look.AssetPath() + "mat.css"} }
func matScript() []string { return []string{matPath() + "main.js"} }

func matBelt(k *syllabus.Rank) look.Belt {
	return look.Belt{Name: k.Name, Colour: k.Belt.Hex, Tip: k.Belt.Tip, TipColour: k.Belt.TipHex}
}

// matAway says that a candidate is not examined, and the word for it.
func matAway(presence string) (word string, away bool) {
	switch presence {
	case "absent", "unwell", "stopped":
		return presence, true
	}
	return "", false
}

// matOwn is what identifies the person's marks on the device.
type matOwn struct {
	Grading  rankwright.GradingID
	Rank     rankwright.RankID
	PersonID string // who is signed in
	Name     string
	As       rankwright.ExaminerID // whose marks are given; "" is nobody's
	Clock    int64
	May      bool
	Paired   bool   // by the code at the desk, not by a password
	Taken    string // states of the grading in which the person's marks are taken; "" where none are now
}

// matNews is a box of the bar for what comes by itself; the scripts fill it.
type matNews struct{ ID, Kind string }

// News are the boxes, the most urgent first: a stop that has not arrived, a
// page that is old, a grading that moved on, marks that were put back, a clock
// that is off.
func (matOwn) News() []matNews {
	return []matNews{{"halt", "stop"}, {"old", "attention"}, {"moved", "attention"}, {"back", "attention"}, {"clock", "attention"}}
}

// matTaken lists the states in which marks are taken, where this is one.
func matTaken(q *Query, state string) string {
	if !app.State(state).Allows(app.GiveMarks) || !q.Who.Role.May(app.GiveMarks) {
		return ""
	}
	var out []string
	for _, s := range app.States {
		if slices.Contains(s.Allows, app.GiveMarks) {
			out = append(out, string(s.State))
		}
	}
	return strings.Join(out, " ")
}

type matChoosePage struct {
	Frame
	matOwn
	Mixed []matMixed // squads of more than one rank
	Ranks []matRank
	None  look.Empty
}

type matMixed struct {
	No         int
	Name, Href string
	Belts      []look.Belt
	Children   int
	Given      int
	Asked      int
}

// with adds the squad's children of a rank.
func (m *matMixed) with(belt look.Belt, sh app.Sheet) {
	if sh.Entries = matOfSquad(sh.Entries, m.No); len(sh.Entries) == 0 {
		return
	}
	given, asked := matProgress(sh)
	m.Belts, m.Children = append(m.Belts, belt), m.Children+len(sh.Entries)
	m.Given, m.Asked = m.Given+given, m.Asked+asked
}

type matRank struct {
	Belt     look.Belt
	Squad    string // "" where the rank has one
	Href     string
	Children int
	Given    int
	Asked    int
	Note     string
}

// matChoose lists the ranks that are examined; where there is one, it leads
// on to it.
func matChoose(q *Query) (Answer, error) {
	id := rankwright.GradingID(q.PathValue("id"))
	v, err := q.App().Grading(q.Context(), q.Who, id)
	if err != nil {
		return nil, err
	}
	if squad := number(q.FormValue("squad")); matIsMixed(v, squad) {
		return matTogether(q, v, squad)
	}
	p := &matChoosePage{matOwn: matOwn{Grading: id, PersonID: q.Who.ID, Name: q.Who.Name, Paired: q.Who.Device != "", Taken: matTaken(q, v.State)}}
	p.Title, p.Kicker, p.Lead = "Marks", v.Title, "Which rank do you mark?"
	p.Back = &look.Link{Href: "/gradings/" + url.PathEscape(string(id)), Text: v.Title}
	p.Styles, p.Scripts = matStyle(), matScript()
	panel := matPanelist(v, q.Who.ID)
	for _, squad := range matMixedSquads(v, panel) {
		p.Mixed = append(p.Mixed, matMixed{No: squad, Name: squadName(v, squad) + ", together", Href: matHref(id, "", url.Values{"squad": {itoa(squad)}})})
	}
	for _, k := range v.Syllabus.Ranks {
		if !slices.ContainsFunc(v.Entries, func(e app.EntryView) bool { return e.Rank == k.ID }) {
			continue
		}
		sh, err := q.App().Sheet(q.Context(), q.Who, id, k.ID)
		if err != nil {
			return nil, err
		}
		squads := matSquads(sh.Entries)
		if len(squads) == 0 {
			squads = []int{0}
		}
		everybody := sh.Entries
		for _, squad := range squads {
			one := matSheet{Sheet: sh, Squad: squad}
			one.Entries = matOfSquad(everybody, squad)
			r := matRank{Belt: matBelt(&k), Href: matHref(id, k.ID, one.query("")), Children: len(one.Entries)}
			if squad > 0 {
				r.Squad = "Squad " + itoa(squad)
			}
			r.Given, r.Asked = matProgress(one.Sheet)
			if panel != nil && !matMayExamine(v, panel, k.ID) {
				r.Note = "above the ranks that you examine"
			}
			p.Ranks = append(p.Ranks, r)
		}
		if panel == nil || matMayExamine(v, panel, k.ID) {
			for i := range p.Mixed {
				p.Mixed[i].with(matBelt(&k), sh)
			}
		}
	}
	if len(p.Ranks) == 1 {
		return To(p.Ranks[0].Href), nil
	}
	if len(p.Mixed) > 0 {
		p.Lead = "Which squad, or which rank, do you mark?"
	}
	p.None = look.Empty{Title: "Nobody is entered yet", Text: "Marks are given to the students of a grading.", Action: &look.Link{Href: p.Back.Href, Text: "Enter students"}}
	if len(p.Ranks) == 0 {
		p.Lead = ""
	}
	return Page("marks", p), nil
}

// matProgress counts the marks given and asked of those who are examined.
func matProgress(sh app.Sheet) (given, asked int) {
	for _, e := range sh.Entries {
		if _, away := matAway(e.Presence); away {
			continue
		}
		for i, r := range sh.Rank.Requirements {
			if r.Bonus || matWaived(sh, e.Entry.ID, r.ID) != "" {
				continue
			}
			asked++
			if len(sh.Cards[e.Entry.ID].Seen[i]) > 0 {
				given++
			}
		}
	}
	return given, asked
}

// matWaived is the reason for which a requirement is not asked of an entry.
func matWaived(sh app.Sheet, e rankwright.EntryID, r rankwright.RequirementID) string {
	if why := sh.Waived[r]; why != "" {
		return why
	}
	for _, w := range sh.Grading.Waivers {
		if w.Entry == e && w.Requirement == r {
			return w.Reason
		}
	}
	return ""
}

func matHref(id rankwright.GradingID, rank rankwright.RankID, query url.Values) string {
	u := "/gradings/" + url.PathEscape(string(id)) + "/marks"
	if rank != "" {
		u += "/" + url.PathEscape(string(rank))
	}
	if len(query) > 0 {
		u += "?" + query.Encode()
	}
	return u
}

func matPanelist(v app.GradingView, person string) *app.ExaminerView {
	for i := range v.Panel {
		if v.Panel[i].Person == person {
			return &v.Panel[i]
		}
	}
	return nil
}

func matMayExamine(v app.GradingView, x *app.ExaminerView, rank rankwright.RankID) bool {
	_, most := v.Syllabus.Rank(rankwright.RankID(x.HighestRank))
	_, place := v.Syllabus.Rank(rank)
	return most < 0 || place <= most
}

// matSquads lists the squads of a rank's entries, in order; none where all are
// in one.
func matSquads(entries []app.EntryView) []int {
	var out []int
	for _, e := range entries {
		if !slices.Contains(out, e.Squad) {
			out = append(out, e.Squad)
		}
	}
	if len(out) < 2 {
		return nil
	}
	slices.Sort(out)
	return out
}

// inSquads are entries in the order in which they stand side by side: squad by
// squad, on the screen as on paper, so that what is typed from a printed table
// meets its columns.
func inSquads(entries []app.EntryView) []app.EntryView {
	out := slices.Clone(entries)
	slices.SortStableFunc(out, func(x, y app.EntryView) int { return x.Squad - y.Squad })
	return out
}

// matOfSquad are the entries of a squad; 0 is everybody.
func matOfSquad(entries []app.EntryView, squad int) []app.EntryView {
	if squad == 0 {
		return entries
	}
	var out []app.EntryView
	for _, e := range entries {
		if e.Squad == squad {
			out = append(out, e)
		}
	}
	return out
}

// matSheet is a sheet with whose marks are given on it. Its entries are those
// of the squad.
type matSheet struct {
	app.Sheet
	Squad  int               // 0 is everybody
	Table  int               // of the printed score tables, whose children these are; 0 is none
	Squads []int             // where the rank has more than one
	As     *app.ExaminerView // nil is nobody
	May    bool
	Notice *look.Notice // why no marks can be given

	columns []matColumn // of its entries, as a page shows them
	names   []string
}

// matOpen reads the sheet of the page's rank.
func matOpen(q *Query, as string) (matSheet, error) {
	return matOpenRank(q, rankwright.RankID(q.PathValue("rank")), as)
}

// matOpenRank reads the sheet of a rank, and settles whose marks these are: the
// person's own, or those of another examiner whose paper an owner or instructor
// types in.
func matOpenRank(q *Query, rank rankwright.RankID, as string) (s matSheet, err error) {
	id := rankwright.GradingID(q.PathValue("id"))
	if s.Sheet, err = q.App().Sheet(q.Context(), q.Who, id, rank); err != nil {
		return s, err
	}
	s.Squads, s.Entries = matSquads(s.Entries), inSquads(s.Entries)
	if n := number(q.FormValue("squad")); slices.Contains(s.Squads, n) {
		s.Squad, s.Entries = n, matOfSquad(s.Entries, n)
	} else if n := number(q.FormValue("table")); n > 0 && (n-1)*sheets.PerTable < len(s.Entries) {
		s.Table, s.Entries = n, s.Entries[(n-1)*sheets.PerTable:min(n*sheets.PerTable, len(s.Entries))]
	}
	v := s.Grading
	if as == "" || q.Who.Role == app.Examiner {
		as = q.Who.ID
	}
	s.As = matPanelist(v, as)
	switch {
	case !app.State(v.State).Allows(app.GiveMarks):
		s.Notice = &look.Notice{Kind: "info", Title: "No marks now", Text: fmt.Sprintf("This grading is at “%s”. Marks are given while it is “%s” or “%s”.", v.Status.Name, app.OnTheMat.Row().Name, app.Deciding.Row().Name)}
		if app.AsksBefore(s.Rank) && q.Who.Role.May(app.GiveBefore) && app.State(v.State).Allows(app.GiveBefore) {
			s.Notice.Do = "What is seen before the day is marked already now, under “Before the day” on the page of the grading."
		}
	case s.As == nil && q.Who.Role == app.Examiner:
		s.Notice = &look.Notice{Kind: "attention", Title: "You are not on this panel", Text: "Only an examiner of this grading gives marks.", Do: "Ask the head instructor to add you to its examiners."}
	case s.As == nil && len(v.Panel) == 0:
		s.Notice = &look.Notice{Kind: "attention", Title: "Nobody examines yet", Text: "This grading has no examiners.", Do: "Choose them on the page of the grading first."}
	case s.As == nil:
		s.Notice = &look.Notice{Kind: "info", Title: "Whose marks?", Text: "You are not on the panel of this grading.", Do: "To type marks in from paper, choose below whose they are."}
	case !matMayExamine(v, s.As, rank):
		s.Notice = &look.Notice{Kind: "attention", Title: "Above the ranks of this examiner", Text: fmt.Sprintf("%s examines up to %s.", s.As.Name, matRankName(v.Syllabus, s.As.HighestRank)), Do: "Somebody else on the panel marks this rank."}
	default:
		s.May = true
	}
	return s, nil
}

// may says that marks can be given on the sheet.
func (s *matSheet) may() bool { return s.May && len(s.Entries) > 0 }

// query is what an address says of the sheet: its squad, and whose marks they
// are where they are not the person's own.
func (s *matSheet) query(person string) url.Values {
	out := url.Values{}
	if s.As != nil && s.As.Person != person {
		out.Set("as", s.As.Person)
	}
	if s.Squad > 0 {
		out.Set("squad", itoa(s.Squad))
	}
	if s.Table > 0 {
		out.Set("table", itoa(s.Table))
	}
	return out
}

func matRankName(s *syllabus.Syllabus, id string) string {
	if k, _ := s.Rank(rankwright.RankID(id)); k != nil {
		return k.Name
	}
	return id
}
