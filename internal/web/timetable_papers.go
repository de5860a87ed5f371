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
	x := t.Round(w)
	for _, sq := range x.Squads {
		out := paper.SheetSquad{Name: "Squad " + itoa(sq.No)}
		for _, e := range sq.Entries {
			k, _ := t.Grading.Syllabus.Rank(e.Rank)
			out.Children = append(out.Children, paper.SheetChild{Name: e.Student.FullName(), Rank: k.Name, Belt: paper.Belt{Base: k.Belt.Hex, Tip: k.Belt.TipHex}})
		}
		s.Squads = append(s.Squads, out)
	}
	for i := range x.Stations {
		row := &x.Stations[i]
		st := paper.SheetStation{Name: row.Name, Examiners: timesStands(t, w, row), Note: row.Note}
		if x.Circuit != nil {
			st.Minutes = plural(x.Circuit.Stops[i].Minutes, "minute", "minutes")
		}
		if c := row.Cautions(); len(c) > 0 {
			st.Caution = "Cautions: " + cautionNames(c) + "."
		}
		s.Stations = append(s.Stations, st)
	}
	if x.Rotation != nil {
		for _, v := range x.Rotation.Visits {
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
// an initial. Nobody who waits is on it, and nobody whose family wants no name
// there: an initial or a number in its place would be found out in a small
// squad, and the family knows its time.
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
			if !e.Erased && t.Published.At(e.Entry.ID) == w.ID && !t.OffDoor[e.Entry.ID] {
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
		text := "List for the door, " + s.Day.Long()
		n := 0
		for _, x := range t.Published.Placements {
			if w := t.Sitting(x.Sitting); w != nil && t.OffDoor[x.Entry] && t.Session(w.Session).Day == s.Day {
				n++
			}
		}
		if n > 0 {
			text += " (" + plural(n, "name is", "names are") + " kept off it)"
		}
		out = append(out, look.Link{Href: at + "/door-list.pdf?session=" + s.ID, Text: text})
	}
	return out
}
