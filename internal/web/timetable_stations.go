package web

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
	"rankwright/timetable"
)

type timesStationsPage struct {
	formPage
	At       string
	Notices  []look.Notice
	Sections []look.Field // which station a section stands at
	Rows     []timesStationCard
	Set      bool
}

// timesStationCard is one station to fill in.
type timesStationCard struct {
	No     int
	Name   string
	Sum    string
	Open   bool
	Fields []look.Field
}

// timesStationForm is a station as it stands in the form.
type timesStationForm struct {
	name, minutes, examiners, note string
	people                         []string
}

func timesStations(q *Query) (Answer, error) {
	t, err := q.times()
	if err != nil {
		return nil, err
	}
	rows, _ := t.StationsFor(t.Grading.Ranks)
	forms, at := make([]timesStationForm, len(rows)), map[rankwright.SectionID]int{}
	for i, r := range rows {
		forms[i] = timesStationForm{name: r.Name, note: r.Note, people: r.People}
		if r.Minutes > 0 {
			forms[i].minutes = itoa(r.Minutes)
		}
		if r.Examiners > 0 {
			forms[i].examiners = itoa(r.Examiners)
		}
		for _, id := range r.Sections {
			if r.Set || len(t.Stations) == 0 { // what is new in the syllabus is for the school to place
				at[id] = i
			}
		}
	}
	if len(t.Stations) > 0 {
		forms = slices.DeleteFunc(forms, func(f timesStationForm) bool {
			return !slices.ContainsFunc(t.Stations, func(s app.Station) bool { return s.Name == f.name })
		})
	}
	return Page("timetable-stations", timesStationsOf(t, forms, at)), nil
}

// timesStationsOf is the page with what stands in its form, and one station more.
func timesStationsOf(t *app.Timetable, forms []timesStationForm, at map[rankwright.SectionID]int) *timesStationsPage {
	p := &timesStationsPage{At: timesHref(t.Grading.ID), Set: len(t.Stations) > 0}
	p.Title, p.Kicker, p.Submit = "Stations", t.Grading.Title, "Save the stations"
	p.Back = &look.Link{Href: p.At + "/setup", Text: "Sessions and sittings"}
	p.Lead = "A squad is at each station once. Put sections together that are shown at one place, and say how long a squad is there, or let it be worked out."
	p.Styles = timesStyle()
	p.Notices = timesStationNotices(t)
	if len(forms) < timetable.MostStops {
		forms = append(forms, timesStationForm{})
	}
	stations := make([]look.Option, len(forms))
	for i, f := range forms {
		stations[i] = look.Option{Value: itoa(i), Text: itoa(i+1) + " " + cmp.Or(f.name, "(a new station)")}
	}
	for _, sec := range t.Grading.Syllabus.Sections {
		is, on := at[sec.ID]
		n := t.AskedAt(sec.ID)
		if n == 0 && !on {
			continue
		}
		f := look.Field{Name: "section." + string(sec.ID), Label: sec.Name, Kind: "select", Options: slices.Clone(stations),
			Hint: itoa(n) + " asked"}
		if len(sec.Cautions) > 0 {
			f.Hint += ", with cautions"
		}
		if on {
			f.Options[is].Selected = true
		} else {
			f.Options = append([]look.Option{{Text: "Choose a station", Selected: true}}, f.Options...)
		}
		p.Sections = append(p.Sections, f)
	}
	for i, f := range forms {
		p.Rows = append(p.Rows, timesStationCardOf(t, i, f, i == len(forms)-1 && f.name == "", at))
	}
	return p
}

func timesStationCardOf(t *app.Timetable, i int, f timesStationForm, blank bool, at map[rankwright.SectionID]int) timesStationCard {
	key := func(name string) string { return app.StationField(name, i) }
	c := timesStationCard{No: i + 1, Name: cmp.Or(f.name, "A new station")}
	people := look.Field{Name: key("people"), Label: "Who stands there", Hint: "None ticked is whoever is free.", Kind: "checks", Optional: true}
	var names []string
	for _, x := range t.Examiners {
		on := slices.Contains(f.people, x.Person)
		if on {
			names = append(names, x.Name)
		}
		people.Options = append(people.Options, look.Option{Value: x.Person, Text: x.Name, Selected: on})
	}
	c.Fields = []look.Field{
		{Name: key("name"), Label: "Name", Hint: "Left empty, it is that of its sections.", Value: f.name, MaxLength: 40, Size: "medium", Optional: true},
		{Name: key("minutes"), Label: "Minutes for each squad", Hint: "Left empty, they are worked out by how much is asked.", Value: f.minutes, Type: "number", InputMode: "numeric", Min: "1", Max: "240", Size: "short", Optional: true},
		{Name: key("examiners"), Label: "Examiners needed", Value: f.examiners, Type: "number", InputMode: "numeric", Min: "0", Max: "10", Size: "short", Optional: true},
		{Name: key("note"), Label: "Note for the run sheet", Hint: "Such as: the two crash mats, pads from the cupboard.", Value: f.note, MaxLength: 200, Optional: true},
	}
	if len(people.Options) > 0 {
		c.Fields = append(c.Fields, people)
	}
	if blank {
		c.Sum = "Fill it in, and choose it above for a section."
		return c
	}
	var shown []string
	for _, sec := range t.Grading.Syllabus.Sections {
		if is, on := at[sec.ID]; on && is == i && sec.Name != f.name {
			shown = append(shown, sec.Name)
		}
	}
	var parts []string
	if len(shown) > 0 {
		parts = append(parts, listed(shown))
	}
	if f.minutes == "" {
		parts = append(parts, "minutes worked out")
	} else {
		parts = append(parts, f.minutes+" minutes")
	}
	if n := number(f.examiners); n > 0 {
		parts = append(parts, plural(n, "examiner", "examiners"))
	}
	if len(names) > 0 {
		parts = append(parts, listed(names))
	}
	c.Sum = strings.Join(parts, ", ")
	return c
}

// timesStationNotices say where the stations as they are do not fit the rest.
func timesStationNotices(t *app.Timetable) (out []look.Notice) {
	if missing := t.Unplaced(); len(missing) > 0 {
		var names []string
		for _, sec := range missing {
			names = append(names, sec.Name)
		}
		verb := "stands"
		if len(names) > 1 {
			verb = "stand"
		}
		out = append(out, look.Notice{Kind: "attention", Title: "Something asked has no station", Text: listed(names) + " " + verb + " at no station yet; until you choose one, each is a station by itself."})
	}
	if text := timesCrowded(t); text != "" {
		out = append(out, look.Notice{Kind: "attention", Title: "A full sitting would be too short", Text: text,
			Do: "Give stations fewer minutes, make a second station of the longest, let squads be larger, or give the sittings more time."})
	}
	if squads, need, panel := t.Understaffed(); need > 0 {
		out = append(out, look.Notice{Kind: "attention", Title: "More examiners are needed than sit on a panel",
			Text: fmt.Sprintf("With %s at work the stations need up to %s at once, and a sitting has %d.", plural(squads, "squad", "squads"), plural(need, "examiner", "examiners"), panel),
			Do:   "Ask for more examiners in the sittings, or for fewer at the stations."})
	}
	return out
}

// timesCrowded names the sittings that are too short for a round were they full.
func timesCrowded(t *app.Timetable) string {
	said, names := "", []string(nil)
	checked := map[string]int{}
	for i := range t.Sittings {
		w := &t.Sittings[i]
		key := fmt.Sprint(w.Minutes, w.Most, w.Squad, w.Ranks, w.Lost)
		need, seen := checked[key]
		if !seen {
			squads, n := t.Crowded(w)
			checked[key], need = n, n
			if n > 0 && said == "" {
				said = fmt.Sprintf("%s round all stations need %d minutes where everything is asked, and there are %d: ", sentence(plural(squads, "squad", "squads")), n, w.Minutes)
			}
		}
		if need > 0 {
			names = append(names, t.Session(w.Session).Name+", "+timesAt(w))
		}
	}
	if len(names) > 3 {
		names = append(names[:2:2], itoa(len(names)-2)+" more")
	}
	if said == "" {
		return ""
	}
	return strings.Replace(said, ".", "", 1) + listed(names) + "."
}

// timesStationsSave sets the stations, or lets them be worked out again.
func timesStationsSave(q *Query) (Answer, error) {
	t, err := q.times()
	if err != nil {
		return nil, err
	}
	id := t.Grading.ID
	if q.FormValue("do") == "work out" {
		if err := q.App().SetStations(q.Context(), q.Who, id, nil); err != nil {
			return nil, err
		}
		q.Flash("good", "Each section is a station again, with minutes by how much is asked there.")
		return To(timesHref(id) + "/stations"), nil
	}
	var forms []timesStationForm
	for i := range timetable.MostStops {
		key := func(name string) string { return app.StationField(name, i) }
		if !q.Form.Has(key("name")) {
			break
		}
		forms = append(forms, timesStationForm{strings.TrimSpace(q.FormValue(key("name"))), strings.TrimSpace(q.FormValue(key("minutes"))),
			strings.TrimSpace(q.FormValue(key("examiners"))), strings.TrimSpace(q.FormValue(key("note"))), q.Form[key("people")]})
	}
	at := map[rankwright.SectionID]int{}
	for _, sec := range t.Grading.Syllabus.Sections {
		if n, err := strconv.Atoi(q.FormValue("section." + string(sec.ID))); err == nil && 0 <= n && n < len(forms) {
			at[sec.ID] = n
		}
	}
	var list []app.Station
	var places []int
	var gone []string
	for i, f := range forms {
		s := app.Station{Name: f.name, Minutes: timesWhole(f.minutes), Examiners: timesWhole(f.examiners), People: f.people, Note: f.note}
		var names []string
		for _, sec := range t.Grading.Syllabus.Sections {
			if is, on := at[sec.ID]; on && is == i {
				s.Sections, names = append(s.Sections, sec.ID), append(names, sec.Name)
			}
		}
		switch {
		case len(s.Sections) == 0 && f.name != "":
			gone = append(gone, f.name)
			continue
		case len(s.Sections) == 0:
			continue
		case f.name == "":
			s.Name = listed(names)
		}
		list, places = append(list, s), append(places, i)
	}
	if err := q.App().SetStations(q.Context(), q.Who, id, list); err != nil {
		kind := rankwright.KindOf(err)
		if kind != rankwright.Invalid && kind != rankwright.Conflict {
			return nil, err
		}
		if len(forms) > 0 && forms[len(forms)-1].name == "" && !slices.Contains(places, len(forms)-1) {
			forms = forms[:len(forms)-1] // there is one more anyway
		}
		return timesStationsAgain(timesStationsOf(t, forms, at), places, err)
	}
	say := "The stations are saved."
	if len(gone) > 0 {
		say += " Nothing is shown at " + listed(gone) + ", so it is left out."
	}
	q.Flash("good", say)
	return To(timesHref(id) + "/stations"), nil
}

// timesWhole reads a number that may be left out; what is none is refused.
func timesWhole(text string) int {
	if text == "" {
		return 0
	}
	n, err := strconv.Atoi(text)
	if err != nil {
		return -1
	}
	return n
}

// timesStationsAgain shows the form with what was wrong. places are where in it
// the stations stand that were handed on.
func timesStationsAgain(p *timesStationsPage, places []int, err error) (Answer, error) {
	if f, ok := err.(*rankwright.Fault); ok {
		if name, no, cut := strings.Cut(f.Where.Name, "."); cut && name != "section" {
			if i := number(no); i < len(places) {
				again := *f
				again.Where.Name = app.StationField(name, places[i])
				err = &again
			}
		}
	}
	p.Fields = p.Sections
	for _, r := range p.Rows {
		p.Fields = append(p.Fields, r.Fields...)
	}
	if !p.wrong(err) {
		return nil, err
	}
	left := p.Fields
	p.Sections, left = left[:len(p.Sections)], left[len(p.Sections):]
	for i := range p.Rows {
		n := len(p.Rows[i].Fields)
		p.Rows[i].Fields, left = left[:n], left[n:]
		p.Rows[i].Open = slices.ContainsFunc(p.Rows[i].Fields, func(f look.Field) bool { return f.Error != "" })
	}
	return Again("timetable-stations", p), nil
}

// timesStands names who stands at a station in a sitting: those the school put
// there, as far as they are on its panel.
func timesStands(t *app.Timetable, w *app.Sitting, row *app.StationRow) (out []string) {
	panel := t.Current().Panel(w.ID)
	for _, x := range t.Examiners {
		if slices.Contains(row.People, x.Person) && slices.Contains(panel, x.Person) {
			out = append(out, x.Name)
		}
	}
	return out
}

// timesStand is a station on the page of a sitting.
type timesStand struct {
	Name, Minutes, Who, Note string
}

// timesStandsOf lists the stations of a sitting's round with who stands where,
// nothing where the school said nothing of them.
func timesStandsOf(t *app.Timetable, w *app.Sitting, x *app.Round) (out []timesStand) {
	said := false
	for i := range x.Stations {
		row := &x.Stations[i]
		who := timesStands(t, w, row)
		s := timesStand{Name: row.Name, Who: cmp.Or(listed(who), "whoever is free"), Note: row.Note}
		if x.Circuit != nil {
			s.Minutes = plural(x.Circuit.Stops[i].Minutes, "minute", "minutes")
		}
		if len(row.People) > len(who) {
			var away []string
			for _, e := range t.Examiners {
				if slices.Contains(row.People, e.Person) && !slices.Contains(who, e.Name) {
					away = append(away, e.Name)
				}
			}
			if len(away) > 0 {
				s.Note = strings.TrimSpace(listed(away) + " would stand there, and is not on this panel. " + s.Note)
				if len(away) > 1 {
					s.Note = strings.Replace(s.Note, "and is not", "and are not", 1)
				}
			}
		}
		if row.Examiners > len(who) {
			s.Who += " (" + plural(row.Examiners, "is needed", "are needed") + ")"
		}
		said = said || row.Set
		out = append(out, s)
	}
	if !said {
		return nil
	}
	return out
}

// timesStationsSum is how the stations stand, in one line.
func timesStationsSum(t *app.Timetable) string {
	if len(t.Stations) == 0 {
		return "Each section of the syllabus is a station, with minutes by how much is asked there."
	}
	var names []string
	for _, s := range t.Stations {
		names = append(names, s.Name)
	}
	return plural(len(names), "station", "stations") + ": " + listed(names) + "."
}
