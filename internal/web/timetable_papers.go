package web

import (
	"bytes"
	"slices"
	"strings"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/paper"
	"rankwright/internal/web/look"
	"rankwright/syllabus"
	"rankwright/timetable"
)

// rotateNodes bounds the search for a sitting's rotation: a page waits for it.
const rotateNodes = 20_000

// timesSheets prints the run sheets of the sittings that take place, or of one.
func timesSheets(q *Query) (Answer, error) {
	t, err := q.times()
	if err != nil {
		return nil, err
	}
	var sheets []paper.SittingSheet
	for i := range t.Sittings {
		w := &t.Sittings[i]
		if only := q.FormValue("sitting"); only != "" && only != w.ID {
			continue
		}
		if s := sheetOf(t, w, q.School); len(s.Squads) > 0 {
			sheets = append(sheets, s)
		}
	}
	var b bytes.Buffer
	if err := paper.WriteSittingSheets(&b, sheets, paperOf(q)); err != nil {
		return nil, err
	}
	return File{Name: "run-sheets.pdf", Type: "application/pdf", Data: b.Bytes(), Show: true}, nil
}

// stationsOf are the sections that are examined in a sitting, in the order of
// the syllabus.
func stationsOf(t *app.Timetable, ranks []rankwright.RankID) (out []syllabus.Section) {
	for _, sec := range t.Grading.Syllabus.Sections {
		if slices.ContainsFunc(ranks, func(id rankwright.RankID) bool {
			k, _ := t.Grading.Syllabus.Rank(id)
			return slices.ContainsFunc(k.Requirements, func(r syllabus.Requirement) bool { return r.Section == sec.ID && !r.Bonus && !r.Before })
		}) {
			out = append(out, sec)
		}
	}
	return out
}

// roundOfSitting is the way of the squads of a sitting round its stations,
// with as many minutes at each as there is time for. Falls come before partner
// work. It is nil where the time is too short for a round.
func roundOfSitting(w *app.Sitting, stations []syllabus.Section, squads []bool) (*timetable.Circuit, *timetable.Rotation) {
	if len(stations) == 0 || len(squads) == 0 {
		return nil, nil
	}
	for minutes := w.Minutes / max(len(stations), len(squads)); minutes > 0; minutes-- {
		c := &timetable.Circuit{Start: timetable.Minute(w.Begins)}
		var falls []timetable.StationID
		for _, s := range stations {
			if slices.Contains(s.Cautions, syllabus.Falls) {
				falls = append(falls, timetable.StationID(s.ID))
			}
		}
		for _, s := range stations {
			stop := timetable.Stop{ID: timetable.StationID(s.ID), Minutes: minutes}
			if slices.Contains(s.Cautions, syllabus.Partner) && !slices.Contains(falls, stop.ID) {
				stop.After = falls
			}
			c.Stops = append(c.Stops, stop)
		}
		for _, little := range squads {
			c.Squads = append(c.Squads, timetable.CircuitSquad{Little: little})
		}
		r, err := timetable.Rotate(c, rotateNodes)
		if err == nil && int(r.End) <= w.Begins+w.Minutes {
			return c, r
		}
	}
	return nil, nil
}

// sittingIn is a sitting as the plan that stands fills it.
type sittingIn struct {
	squads   []sittingSquad
	stations []syllabus.Section
	circuit  *timetable.Circuit // nil where the time is too short for a round
	rotation *timetable.Rotation
}

type sittingSquad struct {
	no      int
	entries []*app.EntryView
}

func sittingOf(t *app.Timetable, w *app.Sitting) (x sittingIn) {
	cur := t.Current()
	var ranks []rankwright.RankID
	for i := range t.Grading.Entries {
		e := &t.Grading.Entries[i]
		if e.Erased || cur.At(e.Entry.ID) != w.ID {
			continue
		}
		if !slices.Contains(ranks, e.Rank) {
			ranks = append(ranks, e.Rank)
		}
		no := cur.Squad(e.Entry.ID)
		at := slices.IndexFunc(x.squads, func(q sittingSquad) bool { return q.no == no })
		if at < 0 {
			at = len(x.squads)
			x.squads = append(x.squads, sittingSquad{no: no})
		}
		x.squads[at].entries = append(x.squads[at].entries, e)
	}
	slices.SortFunc(x.squads, func(a, b sittingSquad) int { return a.no - b.no })
	x.stations = stationsOf(t, ranks)
	little := make([]bool, len(x.squads))
	for i, q := range x.squads {
		little[i] = slices.ContainsFunc(q.entries, func(e *app.EntryView) bool { return e.Age >= 0 && e.Age <= timetable.DefaultRules().LittleAge })
	}
	x.circuit, x.rotation = roundOfSitting(w, x.stations, little)
	return x
}

func sheetOf(t *app.Timetable, w *app.Sitting, sc app.School) paper.SittingSheet {
	cur := t.Current()
	day := t.Session(w.Session).Day
	s := paper.SittingSheet{Title: "Run sheet", When: day.Long() + ", " + timetable.Minute(w.Begins).String() + " to " + timetable.Minute(w.Begins+w.Minutes).String() + ", mat " + w.Mat,
		School: sc.Name, Footer: sc.Name + " – " + t.Grading.Title,
		Cautions: strings.TrimSpace(sc.Cautions + " Mats without gaps, room to fall, an adult at every station. Stop on a knock to the head: tell the first aider and the parent; no return that day without a health professional's clearance. " + sc.Safety)}
	var panel []string
	for _, x := range t.Examiners {
		if slices.Contains(cur.Panel(w.ID), x.Person) {
			panel = append(panel, x.Name)
		}
	}
	if len(panel) > 0 {
		s.School += ". Examined by " + listed(panel) + "."
	}
	if t.Draft != nil {
		s.Title = "Run sheet (draft)"
	}
	x := sittingOf(t, w)
	for _, sq := range x.squads {
		out := paper.SheetSquad{Name: "Squad " + itoa(sq.no)}
		for _, e := range sq.entries {
			k, _ := t.Grading.Syllabus.Rank(e.Rank)
			out.Children = append(out.Children, paper.SheetChild{Name: e.Student.FullName(), Rank: k.Name, Belt: paper.Belt{Base: k.Belt.Hex, Tip: k.Belt.TipHex}})
		}
		s.Squads = append(s.Squads, out)
	}
	for i, sec := range x.stations {
		st := paper.SheetStation{Name: sec.Name}
		if x.circuit != nil {
			st.Minutes = plural(x.circuit.Stops[i].Minutes, "minute", "minutes")
		}
		if len(sec.Cautions) > 0 {
			st.Caution = "Cautions: " + cautionNames(sec.Cautions) + "."
		}
		s.Stations = append(s.Stations, st)
	}
	if x.rotation != nil {
		for _, v := range x.rotation.Visits {
			sq := &s.Squads[v.Squad]
			sq.Visits = append(sq.Visits, paper.SheetVisit{From: int(v.From), Until: int(v.Until), Station: v.Stop})
		}
	}
	return s
}

func cautionNames(list []syllabus.Caution) string {
	var out []string
	for _, c := range list {
		switch c {
		case syllabus.Falls:
			out = append(out, "falls, chin tucked and head off the mat")
		case syllabus.Partner:
			out = append(out, "partner work, even sizes and a stop word")
		case syllabus.Contact:
			out = append(out, "contact, pads away from faces")
		case syllabus.Fitness:
			out = append(out, "effort, each at their own pace")
		}
	}
	return listed(out)
}

// timesDoor prints the list on the door of a day: times, and given names with
// an initial; nobody who waits is on it.
func timesDoor(q *Query) (Answer, error) {
	t, err := q.times()
	if err != nil {
		return nil, err
	}
	day := t.Grading.Day
	if s := t.Session(q.FormValue("session")); s != nil {
		day = s.Day
	}
	d := paper.DoorList{Title: "Times", When: day.Long(), School: q.School.Name, Footer: t.Grading.Title,
		Note: "Please come to the desk fifteen minutes before. If you do not find your name, the desk will help."}
	if t.Grading.Place != "" {
		d.School += ", " + t.Grading.Place
	}
	if t.Published == nil {
		return nil, rankwright.Faultf(rankwright.Conflict, "not_published", "publish the timetable first", "the times are not told yet, and a draft does not hang on a door")
	}
	for i := range t.Sittings {
		w := &t.Sittings[i]
		if t.Session(w.Session).Day != day {
			continue
		}
		x := paper.DoorSitting{Time: timetable.Minute(w.Begins).String(), Where: "mat " + w.Mat}
		for _, e := range t.Grading.Entries {
			if !e.Erased && t.Published.At(e.Entry.ID) == w.ID {
				x.Names = append(x.Names, paper.DoorName(e.Student.GivenName, e.Student.FamilyName))
			}
		}
		slices.Sort(x.Names)
		if len(x.Names) > 0 {
			d.Sittings = append(d.Sittings, x)
		}
	}
	var b bytes.Buffer
	if err := paper.WriteDoorList(&b, d, paperOf(q)); err != nil {
		return nil, err
	}
	return File{Name: "door-list.pdf", Type: "application/pdf", Data: b.Bytes(), Show: true}, nil
}

// timesPapers are the links to what is printed of the timetable.
func timesPapers(t *app.Timetable, at string) (out []look.Link) {
	if t.Current() == nil {
		return nil
	}
	out = append(out, look.Link{Href: at + "/run-sheets.pdf", Text: "Run sheets, one a sitting"})
	if t.Published == nil {
		return out
	}
	var days []rankwright.Day
	for _, s := range t.Sessions {
		if slices.Contains(days, s.Day) || !slices.ContainsFunc(t.Sittings, func(w app.Sitting) bool {
			return w.Session == s.ID && slices.ContainsFunc(t.Published.Placements, func(p app.Placement) bool { return p.Sitting == w.ID })
		}) {
			continue
		}
		days = append(days, s.Day)
		out = append(out, look.Link{Href: at + "/door-list.pdf?session=" + s.ID, Text: "List for the door, " + s.Day.Long()})
	}
	return out
}
