package web

import (
	"net/url"
	"slices"
	"strings"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
	"rankwright/timetable"
)

type timesSittingPage struct {
	Frame
	At, ID string
	Squads []timesSquad
	Panel  []look.Option
	Needs  string
	May    bool
	Round  *look.Round
	Short  string // why there is no round
	Stands []timesStand
	Sheet  string
}

// timesSitting shows one sitting: its squads, who examines, and each squad's
// way round the stations.
func timesSitting(q *Query) (Answer, error) {
	t, err := q.times()
	if err != nil {
		return nil, err
	}
	at := timesHref(t.Grading.ID)
	w := t.Sitting(q.FormValue("id"))
	if w == nil {
		if q.FormValue("id") == "" {
			return To(at), nil
		}
		return nil, rankwright.Faultf(rankwright.NotFound, "no_sitting", "go back to the timetable", "this sitting is not there any more")
	}
	in := t.Session(w.Session)
	p := &timesSittingPage{At: at, ID: w.ID, Needs: plural(w.Panel, "examiner is needed", "examiners are needed")}
	p.May = q.Who.Role.May(app.PlanTimes) && app.State(t.Grading.State).Allows(app.PlanTimes) && t.Current() != nil
	p.Title, p.Kicker, p.Back = in.Name+", "+timesAt(w), in.Day.Long(), timesBack(t)
	p.Styles = timesStyle()
	card := timesCardOf(t, w, at, map[rankwright.HouseholdID]string{})
	p.Squads = card.Squads
	p.Lead = plural(card.Count, "child", "children") + ", room for " + itoa(w.Most) + "."
	if card.Count == 0 {
		p.Lead = "Nobody stands here in the plan; there is room for " + itoa(w.Most) + ". Children are moved here on the timetable."
	}
	cur := t.Current()
	for _, x := range t.Examiners {
		var notes []string
		if slices.Contains(x.Away, w.Session) {
			notes = append(notes, "not there")
		}
		if k, _ := t.Grading.Syllabus.Rank(rankwright.RankID(x.HighestRank)); k != nil {
			notes = append(notes, "up to "+k.Name)
		}
		for _, f := range t.Families {
			if slices.Contains(x.Own, f.ID) && slices.ContainsFunc(f.Entries, func(e app.EntryView) bool { return cur.At(e.Entry.ID) == w.ID }) {
				notes = append(notes, "does not examine "+f.Name)
			}
		}
		for i := range t.Sittings {
			o := &t.Sittings[i]
			if o.ID != w.ID && t.Session(o.Session).Day == in.Day && o.Begins < w.Begins+w.Minutes && w.Begins < o.Begins+o.Minutes && slices.Contains(cur.Panel(o.ID), x.Person) {
				notes = append(notes, "at that time on mat "+o.Mat)
			}
		}
		p.Panel = append(p.Panel, look.Option{Value: x.Person, Text: x.Name, Hint: strings.Join(notes, "; "), Selected: slices.Contains(cur.Panel(w.ID), x.Person)})
	}
	if card.Open {
		p.Sheet = at + "/run-sheets.pdf?" + url.Values{"sitting": {w.ID}}.Encode()
		x := t.Round(w)
		if p.Round, p.Stands = timesRound(w, &x, p.Title), timesStandsOf(t, w, &x); p.Round == nil {
			p.Short = timesTooShort(w, &x)
		}
	}
	return Page("timetable-sitting", p), nil
}

// timesTooShort says why a sitting has no round, and what to do.
func timesTooShort(w *app.Sitting, x *app.Round) string {
	if x.Needs <= w.Minutes {
		return "The sitting has no round of its stations."
	}
	say := plural(len(x.Squads), "squad needs ", "squads need ") + plural(x.Needs, "minute", "minutes") + " for a round of all stations, and the sitting has " + itoa(w.Minutes) + ". "
	if slices.ContainsFunc(x.Stations, func(r app.StationRow) bool { return r.Set }) {
		return say + "Give the stations fewer minutes, or the sitting more."
	}
	return say + "Give the sitting more time, or put sections together at fewer stations."
}

func timesRound(w *app.Sitting, x *app.Round, label string) *look.Round {
	if x.Rotation == nil {
		return nil
	}
	var stations, squads []string
	for _, s := range x.Stations {
		stations = append(stations, s.Name)
	}
	for _, s := range x.Squads {
		squads = append(squads, "Squad "+itoa(s.No))
	}
	r := roundOf(label+", until "+timetable.Minute(w.Begins+w.Minutes).String(), x.Circuit, x.Rotation, stations, squads)
	return &r
}
