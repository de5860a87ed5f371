package web

import (
	"cmp"
	"slices"
	"strings"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/syllabus"
)

// matFewTogether is how many children of several ranks are marked in one grid
// though nobody made squads.
const matFewTogether = 12

// matMixedSquads lists the squads that have children of more than one rank that
// the examiner examines; nil is anybody.
func matMixedSquads(v app.GradingView, as *app.ExaminerView) (out []int) {
	if !squadsMade(v) && len(v.Entries) > matFewTogether {
		return nil
	}
	may, ranks := map[rankwright.RankID]bool{}, map[int]rankwright.RankID{} // of each squad the first
	for i := range v.Syllabus.Ranks {
		k := v.Syllabus.Ranks[i].ID
		may[k] = as == nil || matMayExamine(v, as, k)
	}
	for i := range v.Entries {
		e := &v.Entries[i]
		if !may[e.Rank] {
			continue
		}
		if first, there := ranks[e.Squad]; !there {
			ranks[e.Squad] = e.Rank
		} else if first != e.Rank && !slices.Contains(out, e.Squad) {
			out = append(out, e.Squad)
		}
	}
	slices.Sort(out)
	return out
}

// squadsMade says that somebody made squads: all are in the first one before.
func squadsMade(v app.GradingView) bool {
	return slices.ContainsFunc(v.Entries, func(e app.EntryView) bool { return e.Squad > 1 })
}

// squadName is what a squad is called: everybody, where nobody made squads.
func squadName(v app.GradingView, squad int) string {
	if !squadsMade(v) {
		return "Everybody"
	}
	return "Squad " + itoa(squad)
}

func matIsMixed(v app.GradingView, squad int) bool {
	return squad > 0 && len(matRanksOf(v, squad, nil)) > 1
}

// matRanksOf are the ranks of a squad's children that the examiner examines, the
// lowest first; nil is anybody.
func matRanksOf(v app.GradingView, squad int, as *app.ExaminerView) (out []*syllabus.Rank) {
	for i := range v.Syllabus.Ranks {
		k := &v.Syllabus.Ranks[i]
		if as != nil && !matMayExamine(v, as, k.ID) {
			continue
		}
		if slices.ContainsFunc(v.Entries, func(e app.EntryView) bool { return e.Squad == squad && e.Rank == k.ID }) {
			out = append(out, k)
		}
	}
	return out
}

// matTogether is the grid of a whole squad of several ranks. What is called for
// all stands in one row, whatever each rank calls it by; what one rank has to
// show leaves the columns of the others empty.
func matTogether(q *Query, v app.GradingView, squad int) (Answer, error) {
	var all []matSheet
	for _, k := range matRanksOf(v, squad, nil) {
		s, err := matOpenRank(q, k.ID, q.FormValue("as"))
		if err != nil {
			return nil, err
		}
		s.Squad, s.Table, s.Entries = squad, 0, slices.DeleteFunc(entriesOf(s.Grading, k.ID), func(e app.EntryView) bool { return e.Squad != squad })
		all = append(all, s)
	}
	// Of ranks that the examiner does not examine nothing can be tapped: they are left out.
	parts := slices.DeleteFunc(slices.Clone(all), func(s matSheet) bool { return !s.May })
	if len(parts) == 0 {
		parts = all
	}
	one := parts[0]
	p := matPage(q, one)
	p.What, p.Squad = squadName(v, squad), squad
	p.Title = p.What
	p.Sheet = "#" + itoa(squad) + "=" + v.SheetsNow()[app.SquadSheet(squad)]
	var entries []app.EntryView
	for i := range parts {
		s := &parts[i]
		p.Clock = max(p.Clock, s.Clock)
		entries = append(entries, s.Entries...)
		p.Belts = append(p.Belts, matBelt(s.Rank))
		given, asked := matProgress(s.Sheet)
		p.Given, p.Asked = p.Given+given, p.Asked+asked
		p.Rows = append(p.Rows, matRowForms(q.Who.ID, *s)...)
		p.Stations = matStationsWith(p.Stations, matStationsOf(*s))
		alone := matSheet{As: s.As}
		if len(s.Squads) > 0 {
			alone.Squad = squad
		}
		p.Beside = append(p.Beside, matSquad{Href: matHref(v.ID, s.Rank.ID, alone.query(q.Who.ID)), Text: s.Rank.Name})
	}
	p.Together = "By rank"
	for _, n := range matMixedSquads(v, one.As) {
		other := matSheet{As: one.As, Squad: n}
		p.Squads = append(p.Squads, matSquad{matHref(v.ID, "", other.query(q.Who.ID)), "Squad " + itoa(n), n == squad})
	}
	if len(p.Squads) < 2 {
		p.Squads = nil
	}
	if len(p.Stations) < 2 {
		p.Stations = nil
	}
	// Names and heads are those of the whole squad.
	names := matNames(entries)
	p.Columns = matColumns(entries, names)
	at := 0
	for i := range parts {
		s := &parts[i]
		to := at + len(s.Entries)
		s.columns, s.names = p.Columns[at:to], names[at:to]
		for j := range s.columns {
			s.columns[j].Belt = &p.Belts[i]
		}
		at = to
	}
	if p.May {
		p.Others = strings.Join(matOthers(q, v, one.As, matHref(v.ID, "", one.query(q.Who.ID))), " ")
	}
	p.sections(matJoin(q.Who.ID, parts))
	return Page("marks-grid", p), nil
}

// matStationsWith adds the stations of one more rank; one that is there already
// gets its sections.
func matStationsWith(out, more []matStation) []matStation {
	for _, st := range more {
		i := slices.IndexFunc(out, func(x matStation) bool { return x.Name == st.Name })
		if i < 0 {
			out = append(out, st)
			continue
		}
		for sec := range strings.FieldsSeq(st.Sections) {
			if !slices.Contains(strings.Fields(out[i].Sections), sec) {
				out[i].Sections += " " + sec
			}
		}
	}
	return out
}

// matJoin makes one list of those of several ranks, whose columns stand side by
// side. Sections come in the order of the syllabus. In a section the rows of
// each rank keep their order, and what is asked of two in the same words, in the
// same way of marking, is one row; what only a later rank shows stands before
// its next shared row, or else behind the others.
func matJoin(person string, parts []matSheet) (out []matSection) {
	width, from := 0, 0
	keys := map[string]bool{}
	for _, s := range parts {
		width += len(s.Entries)
	}
	for _, s := range parts {
		after := map[rankwright.SectionID]int{} // where the rank's next row may stand
		for _, sec := range matSections(person, s) {
			i := slices.IndexFunc(out, func(x matSection) bool { return x.ID == sec.ID })
			if i < 0 {
				i = len(out)
				out = append(out, matSection{ID: sec.ID, Title: sec.Title})
			}
			to := &out[i]
			to.Caution = to.Caution || sec.Caution
			to.Short = matBoth(to.Short, sec.Short)
			next := after[sec.ID]
			var alone []matRow
			for _, row := range sec.Rows {
				k := slices.IndexFunc(to.Rows[next:], func(x matRow) bool { return x.sameAs(&row) })
				if k < 0 {
					own := row
					own.Cells = slices.Repeat([]matGridCell{{None: true}}, width)
					own.Ranks = []string{s.Rank.Name}
					if keys[own.Key] { // another rank asks for something else by this id
						own.Key += "@" + string(s.Rank.ID)
					}
					keys[own.Key] = true
					own.join(&row, from)
					alone = append(alone, own)
					continue
				}
				to.Rows = slices.Insert(to.Rows, next+k, alone...)
				next, alone = next+k+len(alone)+1, nil
				had := &to.Rows[next-1]
				had.Short = matBoth(had.Short, row.Short)
				had.join(&row, from)
				had.Ranks = append(had.Ranks, s.Rank.Name)
			}
			to.Rows = append(to.Rows, alone...)
			after[sec.ID] = len(to.Rows)
			if len(alone) == 0 {
				after[sec.ID] = next
			}
		}
		from += len(s.Entries)
	}
	for i := range out {
		for j := range out[i].Rows {
			if r := &out[i].Rows[j]; len(r.Ranks) == len(parts) {
				r.Ranks = nil
			}
		}
	}
	place := func(id rankwright.SectionID) int {
		return slices.IndexFunc(parts[0].Grading.Syllabus.Sections, func(x syllabus.Section) bool { return x.ID == id })
	}
	slices.SortStableFunc(out, func(x, y matSection) int { return cmp.Compare(place(x.ID), place(y.ID)) })
	return out
}

// join takes in the same row of another rank, whose columns begin there.
func (r *matRow) join(x *matRow, from int) {
	if r.AllSay != x.AllSay {
		r.AllSay = "All as asked" // the levels of the ranks differ
	}
	for j, c := range x.Cells {
		if string(x.ID) != r.Key {
			c.Q = x.ID
		}
		r.Cells[from+j] = c
	}
}

// sameAs says that two rows are one call, and look the same.
func (r *matRow) sameAs(x *matRow) bool {
	return syllabus.SameCall(r.Requirement, x.Requirement) && r.Waived == x.Waived && slices.Equal(r.Notes, x.Notes) && r.All == x.All && r.Watch == x.Watch
}

// matBoth are two lists of names as one.
func matBoth(a, b string) string {
	return strings.Join(slices.DeleteFunc([]string{a, b}, func(s string) bool { return s == "" }), ", ")
}
