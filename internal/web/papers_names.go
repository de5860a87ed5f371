package web

import (
	"bytes"
	"slices"
	"strconv"
	"strings"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/paper"
	"rankwright/internal/sheets"
	"rankwright/internal/web/look"
	"rankwright/promote"
	"rankwright/timetable"
)

var namesRoutes = []Route{
	{Pattern: "GET /gradings/{id}/paperwork/name-cards.pdf", Act: app.PrintPapers, Do: nameCards},
	{Pattern: "GET /gradings/{id}/paperwork/labels.pdf", Act: app.PrintPapers, Do: labels},
}

// namesAsked are the questions before cards and labels are printed.
type namesAsked struct {
	Sittings look.Field // whose
	Form     look.Field
	For      look.Field
	Sheet    look.Field
	Start    look.Field
	Edges    look.Field
	Own      []look.Field // the measures of a sheet of their own
}

const ownSheet = "own"

func (q *Query) namesAsked(v app.GradingView) namesAsked {
	a := namesAsked{
		Form: look.Field{Name: "form", Label: "Cards", Kind: "segments", Options: []look.Option{{Value: "flat", Text: "Flat, to pin on", Selected: true}, {Value: "folded", Text: "Folded, to stand"}}},
		For: look.Field{Name: "for", Label: "Labels", Kind: "radios", Options: []look.Option{
			{Value: "child", Text: "One for each child", Hint: "With the rank and the belt and shirt it gets: for the bag with the belt in it.", Selected: true},
			{Value: "family", Text: "One for each family", Hint: "With the children’s names: for the envelope."}}},
		Sheet: look.Field{Name: "sheet", Label: "Sheet of labels", Hint: "Across and down, and the size of one label: measure yours.", Kind: "select"},
		Start: look.Field{Name: "start", Label: "First free label", Hint: "Counted row by row, where some of a sheet are used up.", Type: "number", InputMode: "numeric", Min: "1", Max: "800", Value: "1", Size: "short"},
		Edges: look.Field{Name: "edges", Label: "Draw the edges, to try it out on plain paper", Kind: "check"},
	}
	letter := letterPaper(q)
	sheets := paper.LabelSheets()
	for i, s := range sheets {
		a.Sheet.Options = append(a.Sheet.Options, look.Option{Value: itoa(i), Text: s.Name()})
	}
	first := slices.IndexFunc(sheets, func(s paper.LabelSheet) bool { return (s.Paper == paper.Letter) == letter })
	a.Sheet.Options[max(0, first)].Selected = true
	a.Sheet.Options = append(a.Sheet.Options, look.Option{Value: ownSheet, Text: "Another, by the measures below"})
	for _, f := range [][3]string{{"across", "Labels across", "3"}, {"down", "Labels down", "7"}, {"wide", "Width of one in mm", "63.5"}, {"high", "Height of one in mm", "38.1"},
		{"left", "From the left edge to the first in mm", "7.2"}, {"top", "From the top edge to the first in mm", "15.1"}, {"gap_x", "Gap between two across in mm", "2.5"}, {"gap_y", "Gap between two down in mm", "0"}} {
		a.Own = append(a.Own, look.Field{Name: f[0], Label: f[1], Value: f[2], InputMode: "decimal", Size: "short", MaxLength: 10})
	}
	if t, err := q.App().Timetable(q.Context(), q.Who, v.ID); err == nil && t.Published != nil && len(t.Sittings) > 1 {
		a.Sittings = look.Field{Name: "sitting", Label: "For", Kind: "select", Options: []look.Option{{Value: "", Text: "Everybody who is entered"}}}
		for i := range t.Sittings {
			w := &t.Sittings[i]
			a.Sittings.Options = append(a.Sittings.Options, look.Option{Value: w.ID, Text: t.Session(w.Session).Day.Long() + ", " + timetable.Minute(w.Begins).String() + ", mat " + w.Mat})
		}
	}
	return a
}

// namedEntries are those for whom cards and labels are printed, in the order of
// the squads.
func namedEntries(q *Query) (v app.GradingView, list []app.EntryView, err error) {
	if v, err = q.grading(); err != nil {
		return v, nil, err
	}
	in := func(rankwright.EntryID) bool { return true }
	if s := q.FormValue("sitting"); s != "" {
		t, err := q.App().Timetable(q.Context(), q.Who, v.ID)
		if err != nil {
			return v, nil, err
		}
		if t.Published == nil {
			return v, nil, rankwright.Faultf(rankwright.Conflict, "not_published", "publish the timetable first, or print them for everybody", "nobody has a time yet")
		}
		in = func(id rankwright.EntryID) bool { return t.Published.At(id) == s }
	}
	for _, id := range v.Ranks {
		for _, e := range entriesOf(v, id) {
			if !e.Erased && in(e.Entry.ID) {
				list = append(list, e)
			}
		}
	}
	if len(list) == 0 {
		return v, nil, rankwright.Faultf(rankwright.NotFound, "no_entries", "enter students first", "there is nobody to print for")
	}
	return v, list, nil
}

func nameCards(q *Query) (Answer, error) {
	v, list, err := namedEntries(q)
	if err != nil {
		return nil, err
	}
	var people [][2]string
	for _, e := range list {
		people = append(people, [2]string{e.Student.GivenName, e.Student.FamilyName})
	}
	names := paper.CardNames(people)
	var cards []paper.Card
	for i, e := range list {
		k, _ := v.Syllabus.Rank(e.Rank)
		c := paper.Card{Name: names[i], Under: k.Name, Belt: sheets.Belt(k)}
		if e.Squad > 0 {
			c.Corner = "Squad " + itoa(e.Squad)
		}
		cards = append(cards, c)
	}
	form := paper.FlatCards
	if q.FormValue("form") == "folded" {
		form = paper.FoldedCards
	}
	var b bytes.Buffer
	if err := paper.WriteCards(&b, "Name cards, "+v.Title, cards, form, paperOf(q)); err != nil {
		return nil, err
	}
	return File{Name: "name-cards.pdf", Type: "application/pdf", Data: b.Bytes(), Show: true}, nil
}

func labels(q *Query) (Answer, error) {
	v, list, err := namedEntries(q)
	if err != nil {
		return nil, err
	}
	sheet, err := labelSheet(q)
	if err != nil {
		return nil, err
	}
	start, err := count(q, "start")
	if err != nil {
		return nil, err
	}
	var out []paper.Label
	if q.FormValue("for") == "family" {
		out = familyLabels(list)
	} else if out, err = childLabels(q, v, list); err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if err := paper.WriteLabels(&b, "Labels, "+v.Title, out, sheet, start, q.FormValue("edges") != "", paperOf(q)); err != nil {
		return nil, err
	}
	return File{Name: "labels.pdf", Type: "application/pdf", Data: b.Bytes(), Show: true}, nil
}

// familyLabels are for envelopes: the children of a household on one.
func familyLabels(list []app.EntryView) (out []paper.Label) {
	at := map[rankwright.HouseholdID]int{}
	for _, e := range list {
		i, ok := at[e.Student.Household]
		if !ok || e.Student.Household == "" {
			at[e.Student.Household] = len(out)
			out = append(out, paper.Label{Head: e.Student.FullName()})
			continue
		}
		out[i].Head += "\n" + e.Student.FullName()
	}
	for i := range out {
		out[i].Head, out[i].Lines = listed(strings.Split(out[i].Head, "\n")), nil
	}
	return out
}

func childLabels(q *Query, v app.GradingView, list []app.EntryView) (out []paper.Label, err error) {
	gets, err := q.App().Things(q.Context(), q.Who, v.ID)
	if err != nil {
		return nil, err
	}
	for _, e := range list {
		k, _ := v.Syllabus.Rank(e.Rank)
		l := paper.Label{Head: e.Student.FullName(), Lines: []string{k.Name}, Belt: sheets.Belt(k)}
		var things []string
		for _, x := range gets[e.Entry.ID] {
			if x.Kind == promote.Belt {
				things = append(things, x.Size+" cm")
			} else {
				things = append(things, "shirt "+x.Size)
			}
		}
		if len(things) > 0 {
			l.Lines = append(l.Lines, strings.Join(things, ", "))
		}
		out = append(out, l)
	}
	return out, nil
}

// labelSheet reads which sheet of labels it is.
func labelSheet(q *Query) (s paper.LabelSheet, err error) {
	sheets := paper.LabelSheets()
	if q.FormValue("sheet") != ownSheet {
		i, err := strconv.Atoi(q.FormValue("sheet"))
		if err != nil || i < 0 || i >= len(sheets) {
			return s, rankwright.Faultf(rankwright.Invalid, "no_sheet", "choose one of the list", "there is no such sheet of labels")
		}
		return sheets[i], nil
	}
	if letterPaper(q) {
		s.Paper = paper.Letter
	}
	if s.Across, err = count(q, "across"); err != nil {
		return s, err
	}
	if s.Down, err = count(q, "down"); err != nil {
		return s, err
	}
	for _, x := range []struct {
		name string
		to   *float64
	}{{"wide", &s.Wide}, {"high", &s.High}, {"left", &s.Left}, {"top", &s.Top}, {"gap_x", &s.GapX}, {"gap_y", &s.GapY}} {
		text := strings.ReplaceAll(strings.TrimSpace(q.FormValue(x.name)), ",", ".")
		if *x.to, err = strconv.ParseFloat(text, 64); err != nil {
			return s, rankwright.Faultf(rankwright.Invalid, "bad_measure", "write millimetres, such as 63.5", "%q is no length", q.FormValue(x.name))
		}
	}
	return s, nil
}
