package web

import (
	"fmt"
	"net/url"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
	"rankwright/roster"
	"rankwright/scoring"
	"rankwright/syllabus"
)

type matGridPage struct {
	Frame
	matOwn
	Notice   *look.Notice
	AsName   string
	Panel    []look.Option // whose marks an owner or instructor may type in
	Squad    int           // 0 is everybody
	Table    int           // of the printed score tables; 0 is none
	Squads   []matSquad    // none where the rank has one
	Beside   []matSquad    // the sheets of other ranks that are in the same squad
	Together string        // what Beside is
	Belt     look.Belt
	Stations []matStation // none where there is one
	Others   string       // addresses of the other sheets that the person may mark, with spaces between
	What     string       // what is marked: the rank, or the squad
	Belts    []look.Belt  // of a squad of several ranks
	Columns  []matColumn
	Sections []matSection
	Caution  look.Caution
	Halt     look.Caution // beside the stop of a child
	Sheet    string       // its name, and what news have to say of it, else the page is old
	Scales   []*syllabus.Scale
	Given    int
	Asked    int
	Send     string      // where a form without a script goes
	Rows     []look.Link // marking row by row, rank by rank
	Arrivals string      // "" where the person may not check in
	Quick    []string    // the short notes: the one that asks for a second look, and the school's own
	Modules  []string    // scripts that the first one asks for
}

// matSquad leads to the sheet of a squad.
type matSquad struct {
	Href, Text string
	Now        bool
}

// matStation are the sections of a station, with spaces between.
type matStation struct{ Name, Sections string }

type matColumn struct {
	matHead
	Entry   rankwright.EntryID
	Name    string
	Stopped bool       // for safety
	Belt    *look.Belt // where the columns are of several ranks
}

// Letters is how wide a name is, by its longest word: 5 to 12. What is longer
// is cut on a narrow screen, and shown whole when its head is tapped.
func (c matColumn) Letters() int {
	n := 5
	for _, word := range strings.Fields(c.Name) {
		letters := 0
		for _, r := range word {
			if !unicode.Is(unicode.Mn, r) { // a mark above or below has no width
				letters++
			}
		}
		n = max(n, letters)
	}
	return min(n, 12)
}

type matSection struct {
	ID      rankwright.SectionID
	Title   string
	Box     bool   // the cautions stand above it
	Caution bool   // the cautions go for it
	Short   string // of whom something here fell short last time
	Rows    []matRow
}

type matRow struct {
	*syllabus.Requirement
	Key    string // of the row among those of its page; the requirement's id, wherever that is one row's alone
	Scale  string
	Enough string
	Keep   string
	Notes  []string
	Short  string // of whom this fell short last time
	Waived string
	Ranks  []string // in a squad of several ranks, of which it is asked; none where of all
	Levels string   // values of the scale, with spaces between
	Watch  bool     // a stopwatch serves the row
	All    string   // what "all have shown it" gives: a value, or "asked"
	AllSay string
	Href   string
	Cells  []matGridCell
}

type matGridCell struct {
	matFace
	None   bool                     // the row is not asked of the column's rank
	Q      rankwright.RequirementID // where it is another one than the row's
	Label  string
	Still  bool // cannot be tapped
	Word   string
	Values string
	Expect string
	Others string // values, with spaces between
	Says   string // who gave them
	Note   string

	Corrected bool
}

func matShow(q *Query) (Answer, error) {
	s, err := matOpen(q, q.FormValue("as"))
	if err != nil {
		return nil, err
	}
	if q.FormValue("row") != "" {
		return matRowForm(q, s)
	}
	return Page("marks-grid", matGrid(q, s)), nil
}

func matGrid(q *Query, s matSheet) *matGridPage {
	v := s.Grading
	p := matPage(q, s)
	p.Rank, p.Belt, p.What, p.Send = s.Rank.ID, matBelt(s.Rank), s.Rank.Name, matHref(v.ID, s.Rank.ID, nil)
	p.Title = s.Rank.Name
	if !slices.ContainsFunc(v.Entries, func(e app.EntryView) bool { return e.Rank != s.Rank.ID }) {
		p.Back = &look.Link{Href: "/gradings/" + url.PathEscape(string(v.ID)), Text: v.Title}
	}
	p.Squad, p.Table = s.Squad, s.Table
	for _, n := range s.Squads {
		one := matSheet{As: s.As, Squad: n}
		p.Squads = append(p.Squads, matSquad{matHref(v.ID, s.Rank.ID, one.query(q.Who.ID)), "Squad " + itoa(n), n == s.Squad})
	}
	if len(p.Squads) > 0 {
		all := matSheet{As: s.As}
		p.Squads = append(p.Squads, matSquad{matHref(v.ID, s.Rank.ID, all.query(q.Who.ID)), "Everybody", s.Squad == 0 && s.Table == 0})
	}
	p.besides(q, s)
	p.Sheet = string(s.Rank.ID) + "=" + v.SheetsNow()[s.Rank.ID]
	s.names = matNames(s.Entries)
	s.columns = matColumns(s.Entries, s.names)
	p.Columns = s.columns
	if st := matStationsOf(s); len(st) > 1 {
		p.Stations = st
	}
	if p.May {
		p.Others = strings.Join(matOthers(q, v, s.As, matHref(v.ID, s.Rank.ID, s.query(q.Who.ID))), " ")
	}
	p.Given, p.Asked = matProgress(s.Sheet)
	p.sections(matSections(q.Who.ID, s))
	p.Rows = matRowForms(q.Who.ID, s)
	return p
}

// matPage is what every grid has, of one rank or of several, by one of its
// sheets.
func matPage(q *Query, s matSheet) *matGridPage {
	v := s.Grading
	p := &matGridPage{Notice: s.Notice}
	p.matOwn = matOwn{Grading: v.ID, PersonID: q.Who.ID, Name: q.Who.Name, Clock: s.Clock, May: s.may(), Paired: q.Who.Device != "", Taken: matTaken(q, v.State)}
	p.Kicker, p.Width = v.Title, "wide"
	p.Nav = []look.NavItem{} // on the mat the way back is enough
	p.Back = &look.Link{Href: matHref(v.ID, "", nil), Text: "All ranks"}
	if p.Styles = matStyle(); p.May {
		p.Scripts, p.Modules, p.Quick = matScript(), matModules(), []string{scoring.SecondLook}
		for line := range strings.Lines(q.School.Notes) {
			if line = strings.TrimSpace(line); line != "" && !slices.Contains(p.Quick, line) {
				p.Quick = append(p.Quick, line)
			}
		}
	}
	if s.As != nil {
		p.As, p.AsName = rankwright.ExaminerID(s.As.Person), s.As.Name
	}
	if q.Who.Role != app.Examiner && (len(v.Panel) > 1 || s.As == nil) {
		for _, x := range v.Panel {
			p.Panel = append(p.Panel, look.Option{Value: x.Person, Text: x.Name, Selected: string(p.As) == x.Person})
		}
	}
	if q.Who.Role.May(app.CheckIn) {
		p.Arrivals = "/gradings/" + url.PathEscape(string(v.ID)) + "/arrivals"
	}
	p.Caution = look.Cautions(q.School.Cautions, q.School.Safety)
	p.Halt = look.Caution{Title: "After a stop", Local: q.School.Cautions, People: q.School.Safety, Lines: stopLines}
	return p
}

// matRowForms leads to the plain forms of a sheet.
func matRowForms(person string, s matSheet) []look.Link {
	if len(s.Rank.Requirements) == 0 {
		return nil
	}
	query := s.query(person)
	query.Set("row", string(s.Rank.Requirements[0].ID))
	return []look.Link{{Href: matHref(s.Grading.ID, s.Rank.ID, query), Text: s.Rank.Name}}
}

// matStationsOf are the stations of a sheet.
func matStationsOf(s matSheet) (out []matStation) {
	for _, st := range s.Stations {
		x := matStation{Name: st.Name}
		for _, sec := range st.Of {
			x.Sections = strings.TrimSpace(x.Sections + " " + string(sec.ID))
		}
		out = append(out, x)
	}
	return out
}

// matSections are the rows of a sheet under the names of their sections.
func matSections(person string, s matSheet) (out []matSection) {
	for i := range s.Rank.Requirements {
		r := &s.Rank.Requirements[i]
		if n := len(out); n == 0 || out[n-1].ID != r.Section {
			sec := matSection{ID: r.Section, Title: string(r.Section), Caution: matCautioned(s.Grading.Syllabus, s.Rank, r.Section)}
			if x := s.Grading.Syllabus.Section(r.Section); x != nil {
				sec.Title = x.Name
			}
			sec.Short = matShort(s, func(x app.Short) bool { return slices.Contains(x.Sections, r.Section) })
			out = append(out, sec)
		}
		sec := &out[len(out)-1]
		sec.Rows = append(sec.Rows, matRowOf(person, s, i))
	}
	return out
}

// sections takes the rows in, with the cautions above the first of those that
// they go for, and the scales that they need.
func (p *matGridPage) sections(list []matSection) {
	p.Sections = list
	boxed := false
	for i := range list {
		if list[i].Caution && !boxed {
			list[i].Box, boxed = true, true
		}
		for _, r := range list[i].Rows {
			if r.Kind == syllabus.Leveled && !slices.Contains(p.Scales, r.Requirement.Scale) {
				p.Scales = append(p.Scales, r.Requirement.Scale)
			}
		}
	}
}

// besides leads to the other ranks of a squad, where squads of more than one
// rank move round the stations together.
func (p *matGridPage) besides(q *Query, s matSheet) {
	squad := s.Squad
	if squad == 0 && len(s.Squads) == 0 && len(s.Entries) > 0 {
		squad = s.Entries[0].Squad
	}
	if squad == 0 || !squadsMade(s.Grading) || s.As == nil {
		return
	}
	p.Together = "Also in squad " + itoa(squad)
	for i := range s.Grading.Syllabus.Ranks {
		k := &s.Grading.Syllabus.Ranks[i]
		list := entriesOf(s.Grading, k.ID)
		if k.ID == s.Rank.ID || !matMayExamine(s.Grading, s.As, k.ID) || len(matOfSquad(list, squad)) == 0 {
			continue
		}
		one := matSheet{As: s.As}
		if len(matSquads(list)) > 0 {
			one.Squad = squad
		}
		p.Beside = append(p.Beside, matSquad{Href: matHref(s.Grading.ID, k.ID, one.query(q.Who.ID)), Text: k.Name})
	}
	if slices.Contains(matMixedSquads(s.Grading, s.As), squad) {
		whole := matSheet{As: s.As, Squad: squad}
		p.Beside = append(p.Beside, matSquad{Href: matHref(s.Grading.ID, "", whole.query(q.Who.ID)), Text: "All together"})
	}
}

// matMostOthers bounds how many sheets a device keeps besides the one it opened.
const matMostOthers = 12

// matOthers are the addresses of all sheets of the grading but one that the
// person may mark, for a device that keeps them before it needs them: the
// choice of ranks, squads of several ranks, and each rank squad by squad.
func matOthers(q *Query, v app.GradingView, as *app.ExaminerView, own string) []string {
	out := []string{matHref(v.ID, "", nil)}
	add := func(rank rankwright.RankID, squad int) {
		one := matSheet{As: as, Squad: squad}
		if at := matHref(v.ID, rank, one.query(q.Who.ID)); at != own && len(out) < matMostOthers {
			out = append(out, at)
		}
	}
	for _, squad := range matMixedSquads(v, as) {
		add("", squad)
	}
	for i := range v.Syllabus.Ranks {
		k := &v.Syllabus.Ranks[i]
		list := entriesOf(v, k.ID)
		if len(list) == 0 || !matMayExamine(v, as, k.ID) {
			continue
		}
		for _, squad := range append([]int{0}, matSquads(list)...) {
			add(k.ID, squad)
		}
	}
	return out
}

// matShort names those to look at closely.
func matShort(s matSheet, is func(app.Short) bool) string {
	var out []string
	for i, e := range s.Entries {
		if x, there := s.Short[e.Entry.ID]; there && is(x) {
			out = append(out, s.names[i])
		}
	}
	return strings.Join(out, ", ")
}

// matCautioned says whether something in a section of the rank asks for the
// usual cautions.
func matCautioned(s *syllabus.Syllabus, k *syllabus.Rank, id rankwright.SectionID) bool {
	if x := s.Section(id); x != nil && len(x.Cautions) > 0 {
		return true
	}
	return slices.ContainsFunc(k.Requirements, func(r syllabus.Requirement) bool { return r.Section == id && len(r.Cautions) > 0 })
}

// matColumns heads the columns.
func matColumns(entries []app.EntryView, names []string) []matColumn {
	presences := make([]string, len(entries))
	for i, e := range entries {
		presences[i] = e.Presence
	}
	out := make([]matColumn, len(entries))
	for i, h := range matHeads(presences) {
		out[i] = matColumn{matHead: h, Entry: entries[i].Entry.ID, Name: names[i], Stopped: presences[i] == "stopped"}
	}
	return out
}

// matHead is how a column stands by who is here.
type matHead struct {
	Word string // "absent" and so on, or "not here yet"
	Away bool   // is not examined
	In   bool   // counts in "all have shown it"
}

// matHeads heads the columns of a sheet. Where nobody of them has been checked
// in, everybody who is expected counts as there; a stop checks nobody in. The
// page's script does the same (heads in stops.js); both are held to
// mat/test/heads.json.
func matHeads(presences []string) []matHead {
	checked := slices.ContainsFunc(presences, func(p string) bool { return p != "expected" && p != "stopped" })
	out := make([]matHead, len(presences))
	for i, p := range presences {
		h := &out[i]
		if h.Word, h.Away = matAway(p); checked && p == "expected" {
			h.Word = "not here yet"
		}
		h.In = h.Word == ""
	}
	return out
}

// matNames are the given names, with as much of the family name as is needed
// to tell two apart.
func matNames(entries []app.EntryView) []string {
	given, initial := map[string]int{}, map[string]int{}
	short := func(s roster.Student) string {
		r, _ := utf8.DecodeRuneInString(s.FamilyName)
		if s.FamilyName == "" {
			return s.GivenName
		}
		return s.GivenName + " " + string(r) + "."
	}
	for _, e := range entries {
		given[e.Student.GivenName]++
		initial[short(e.Student)]++
	}
	out := make([]string, len(entries))
	for i, e := range entries {
		switch n := e.Student.GivenName; {
		case n != "" && given[n] == 1:
			out[i] = n
		case initial[short(e.Student)] == 1:
			out[i] = short(e.Student)
		default:
			out[i] = strings.TrimSpace(n + " " + e.Student.FamilyName)
		}
	}
	return out
}

func matRowOf(person string, s matSheet, i int) matRow {
	r := &s.Rank.Requirements[i]
	row := matRow{Requirement: r, Key: string(r.ID), Keep: matKeeps[r.Keep], Waived: s.Waived[r.ID]}
	query := s.query(person)
	query.Set("row", string(r.ID))
	row.Href = matHref(s.Grading.ID, s.Rank.ID, query)
	if r.Scale != nil {
		row.Scale, row.Enough = r.Scale.ID, fmt.Sprint(r.Scale.Enough)
		for _, l := range r.Scale.Levels {
			row.Levels = strings.TrimSpace(fmt.Sprint(row.Levels, " ", l.Value))
		}
	}
	row.Short = matShort(s, func(x app.Short) bool { return slices.Contains(x.Requirements, r.ID) })
	if r.Bonus {
		row.Notes = append(row.Notes, "extra")
	}
	if r.Themed && s.Grading.Theme != "" {
		row.Notes = append(row.Notes, "theme: "+s.Grading.Theme)
	}
	if r.Before {
		row.Notes = append(row.Notes, "before the day")
	}
	if r.ForRelease {
		row.Notes = append(row.Notes, "needed before results go out")
	}
	row.Watch = s.may() && row.Waived == "" && r.Kind == syllabus.Timed
	same := ""
	for j, e := range s.Entries {
		c := matCellOf(s, i, j, e)
		if j == 0 {
			same = c.Expect
		} else if c.Expect != same {
			same = ""
		}
		row.Cells = append(row.Cells, c)
	}
	switch {
	case !s.may() || row.Waived != "" || r.Bonus || r.Tries > 1:
	case r.Kind == syllabus.Tick:
		row.All, row.AllSay = "1", "All shown"
	case r.Kind == syllabus.Leveled:
		row.All, row.AllSay = "asked", "All as asked"
		if same != "" {
			row.AllSay = "All at level " + same
		}
	case (r.Kind == syllabus.Steps || r.Kind == syllabus.Recall || r.Kind == syllabus.Count) && r.Of > 0:
		row.All = fmt.Sprint(r.Of)
		row.AllSay = "All " + row.All + " of " + row.All
	}
	return row
}

func matCellOf(s matSheet, i, j int, e app.EntryView) matGridCell {
	r := &s.Rank.Requirements[i]
	col := s.columns[j]
	out := matGridCell{Still: !s.may()}
	if why := matWaived(s.Sheet, e.Entry.ID, r.ID); why != "" {
		out.Still, out.matFace = true, matFace{State: "none", Say: "waived: " + why}
		out.matFace.Word = "waived"
	} else {
		c, notes, says, corrected := matValues(s, i, e)
		out.matFace, out.Corrected = matFaceOf(c), corrected
		out.Values, out.Expect = strings.Join(c.Values, "|"), c.Expect
		out.Others, out.Says, out.Note = strings.Join(c.Others, " "), says, notes
	}
	if col.Away {
		out.Still = true
		if out.State == "none" {
			out.matFace = matFace{State: "none", Word: col.Word, Say: col.Word}
		}
	}
	out.Word = out.matFace.Word
	out.Label = fmt.Sprintf("%s, %s: %s", col.Name, r.Show, out.Say)
	if out.Corrected {
		out.Label += ", corrected"
	}
	if out.Note != "" {
		out.Label += ", with a note"
	}
	return out
}

// matValues tells one cell's marks: those of the examiner whose sheet it is,
// and those of the others. Votes of others stand
// there when all are in.
func matValues(s matSheet, i int, e app.EntryView) (c matCell, note, says string, corrected bool) {
	r := &s.Rank.Requirements[i]
	c = matCell{Kind: r.Kind.String(), Keep: matKeeps[r.Keep], AtMost: r.AtMost, Must: r.Must, Values: make([]string, max(1, r.Tries)), Others: []string{}}
	c.Expect = matExpect(s.Grading.Syllabus, r, e.Age)
	by := map[rankwright.ExaminerID]*matCell{}
	var order []rankwright.ExaminerID
	for _, m := range s.Cards[e.Entry.ID].Seen[i] {
		v := m.Value.Format(r.Kind)
		if s.As != nil && string(m.Examiner) == s.As.Person {
			if m.Try >= 1 && m.Try <= len(c.Values) {
				c.Values[m.Try-1] = v
			}
			note, corrected = m.Note, corrected || m.Corrected
			continue
		}
		if by[m.Examiner] == nil {
			by[m.Examiner] = &matCell{Keep: c.Keep, AtMost: c.AtMost}
			order = append(order, m.Examiner)
		}
		by[m.Examiner].Values = append(by[m.Examiner].Values, v)
	}
	for _, x := range s.Sealed[e.Entry.ID] {
		if x.Requirement == r.ID {
			return c, note, votesWords(x), corrected
		}
	}
	var lines []string
	for _, x := range order {
		v := by[x].kept()
		c.Others = append(c.Others, v)
		name := string(x)
		if pl := matPanelist(s.Grading, name); pl != nil {
			name = pl.Name
		}
		lines = append(lines, name+": "+v)
	}
	return c, note, strings.Join(lines, "; "), corrected
}

// votesWords says how many votes are in that are not shown yet.
func votesWords(x app.Votes) string {
	return fmt.Sprintf("%d of %d votes are in; they are shown when all are", x.In, x.Need)
}

// matExpect is what is asked of somebody of that age, "" where nothing is.
func matExpect(s *syllabus.Syllabus, r *syllabus.Requirement, age int) string {
	x := r.Expected(s.Band(age))
	if r.Kind == syllabus.Consent || x == 0 && r.Kind != syllabus.Leveled {
		return ""
	}
	return scoring.Value{Sort: scoring.Number, Num: x}.String()
}
