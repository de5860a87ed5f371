package app_test

import (
	"slices"
	"strings"
	"testing"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/timetable"
)

// Each squad is at every station once in the time of its sitting, falls before
// partner work, little ones with a break; and a station at which more is asked
// has no less time.
func TestASittingHasARoundOfItsStations(t *testing.T) {
	d := newTimes(t)
	d.row("2026-10-10", 9*60, 12*60, false, "A", "B")
	v := d.plan(false)
	rounds, breaks := 0, 0
	for i := range v.Sittings {
		w := &v.Sittings[i]
		x := v.Round(w)
		if len(x.Squads) == 0 {
			continue
		}
		if x.Rotation == nil {
			t.Errorf("no round at %s on mat %s", timetable.Minute(w.Begins), w.Mat)
			continue
		}
		rounds++
		if said := timetable.VerifyRotation(x.Circuit, x.Rotation); len(said) > 0 {
			t.Error(strings.Join(said, "\n"))
		}
		if int(x.Rotation.End) > w.Begins+w.Minutes {
			t.Errorf("the round ends at %s", x.Rotation.End)
		}
		place := func(id string) int {
			return slices.IndexFunc(x.Circuit.Stops, func(s timetable.Stop) bool { return string(s.ID) == id })
		}
		if place("BX") >= 0 || place("CN") >= 0 {
			t.Error("what counts extra, or a note, is a station")
		}
		if hands, theme := place("HA"), place("TH"); x.Circuit.Stops[hands].Minutes < x.Circuit.Stops[theme].Minutes {
			t.Error("one question has more time than the hands")
		}
		fell := map[int]timetable.Minute{}
		for _, visit := range x.Rotation.Visits {
			switch visit.Stop {
			case -1:
				breaks++
			case place("BF"):
				fell[visit.Squad] = visit.Until
			case place("PD"):
				if at, ok := fell[visit.Squad]; !ok || visit.From < at {
					t.Errorf("squad %d has partner work before its falls", visit.Squad+1)
				}
			}
		}
	}
	if rounds == 0 || breaks == 0 {
		t.Errorf("%d rounds with %d breaks prove little", rounds, breaks)
	}
	w := v.Sittings[slices.IndexFunc(v.Sittings, func(w app.Sitting) bool { return len(v.Round(&w).Squads) > 0 })]
	w.Minutes = 5
	if x := v.Round(&w); x.Rotation != nil || len(x.Stations) < 6 {
		t.Errorf("a round of %d stations in five minutes", len(x.Stations))
	}

	// What is waived for a whole rank takes no time: a section of it alone is no station.
	asked := v.Grading.Syllabus.Ranks
	for _, k := range asked {
		d.must(d.App.Waive(d.Ctx(), d.Owner, app.Waiver{Grading: d.g, Rank: k.ID, Requirement: theme(k.ID, v), Reason: "no theme this month"}))
	}
	v = d.look()
	for i := range v.Sittings {
		for _, s := range v.Round(&v.Sittings[i]).Stations {
			if s.Of[0].ID == "TH" {
				t.Fatal("a section of which nothing is asked is a station")
			}
		}
	}
}

// theme is the requirement of a rank's theme of the month.
func theme(rank rankwright.RankID, v *app.Timetable) rankwright.RequirementID {
	k, _ := v.Grading.Syllabus.Rank(rank)
	for _, r := range k.Requirements {
		if r.Section == "TH" {
			return r.ID
		}
	}
	return ""
}

// otterStations are all sections of the invented club at four stations.
func otterStations(tomek string) []app.Station {
	return []app.Station{
		{Name: "At the door", Sections: []rankwright.SectionID{"ET", "KB", "PR", "TH"}},
		{Name: "Hands and feet", Sections: []rankwright.SectionID{"SM", "HA", "KI"}, Minutes: 10, Examiners: 2, People: []string{tomek}},
		{Name: " The  crash mats ", Sections: []rankwright.SectionID{"GU", "BF"}, Note: "Two crash mats."},
		{Name: "In pairs", Sections: []rankwright.SectionID{"PD", "FI"}, Minutes: 8},
	}
}

// The round is of the stations that the school set, with their minutes; falls
// come before partner work all the same.
func TestASchoolSetsTheStationsOfTheRound(t *testing.T) {
	d := newTimes(t)
	d.row("2026-10-10", 9*60, 12*60, false, "A", "B")
	d.must(d.App.SetStations(d.Ctx(), d.Owner, d.g, otterStations(d.tomek.ID)))
	v := d.plan(false)
	if len(v.Stations) != 4 || v.Stations[2].Name != "The crash mats" || len(v.Unplaced()) != 0 {
		t.Fatalf("stations %+v, at none %v", v.Stations, v.Unplaced())
	}
	rounds := 0
	for i := range v.Sittings {
		x := v.Round(&v.Sittings[i])
		if len(x.Squads) == 0 {
			continue
		}
		rounds++
		if x.Rotation == nil || len(x.Stations) != 4 {
			t.Fatalf("%d stations, round %v", len(x.Stations), x.Rotation)
		}
		if said := timetable.VerifyRotation(x.Circuit, x.Rotation); len(said) > 0 {
			t.Error(strings.Join(said, "\n"))
		}
		if s := x.Circuit.Stops; s[1].Minutes != 10 || s[3].Minutes != 8 || s[0].Minutes < 2 || !slices.Equal(s[3].After, []timetable.StationID{s[2].ID}) {
			t.Errorf("stops %+v", s)
		}
	}
	if rounds == 0 {
		t.Error("nobody has a round")
	}
	// A new grading begins with them, as far as its syllabus has the sections.
	g, err := d.App.CreateGrading(d.Ctx(), d.Owner, app.NewGrading{Title: "Winter grading", Day: rankwright.MustDay("2026-12-12"), Ladder: "youth", Copy: d.g})
	d.must(err)
	again, err := d.App.Timetable(d.Ctx(), d.Owner, g.ID)
	d.must(err)
	if len(again.Stations) != 4 || again.Stations[1].Minutes != 10 || again.Stations[1].People[0] != d.tomek.ID {
		t.Errorf("taken over: %+v", again.Stations)
	}
	d.must(d.App.SetStations(d.Ctx(), d.Owner, d.g, nil))
	w := v.Sittings[slices.IndexFunc(v.Sittings, func(w app.Sitting) bool { return len(v.Round(&w).Squads) > 0 })]
	if v = d.look(); len(v.Round(&w).Stations) < 6 {
		t.Errorf("worked out again: %d stations", len(v.Round(&w).Stations))
	}
}

func TestStationsThatCannotBeAreRefusedInASentence(t *testing.T) {
	d := newTimes(t)
	s := d.row("2026-10-10", 9*60, 12*60, false, "A")
	for _, c := range []struct {
		name, field, say string
		spoil            func(list []app.Station) []app.Station
	}{
		{"at no station", "section.BF", "Falls stands at no station", func(l []app.Station) []app.Station { l[2].Sections = l[2].Sections[:1]; return l }},
		{"at two stations", "section.HA", `Hands stands at two stations, "Hands and feet" and "In pairs"`, func(l []app.Station) []app.Station {
			l[3].Sections = append(l[3].Sections, "HA")
			return l
		}},
		{"too long for the sitting", "minutes", "takes 40 minutes, and a squad of Reed needs 42 at its stations", func(l []app.Station) []app.Station { l[1].Minutes, l[3].Minutes = 20, 20; return l }},
		{"two of one name", "name.03", `two stations are called "hands and feet"`, func(l []app.Station) []app.Station { l[3].Name = "hands and feet"; return l }},
		{"without a name", "name.00", "station 1 has no name", func(l []app.Station) []app.Station { l[0].Name = " "; return l }},
		{"with nothing", "name.04", "nothing is shown at", func(l []app.Station) []app.Station { return append(l, app.Station{Name: "Tea"}) }},
		{"minutes below none", "minutes.02", "for -1 minutes", func(l []app.Station) []app.Station { l[2].Minutes = -1; return l }},
		{"a crowd of examiners", "examiners.00", "cannot need 11 examiners", func(l []app.Station) []app.Station { l[0].Examiners = 11; return l }},
		{"somebody of another grading", "people.01", "does not examine at this grading", func(l []app.Station) []app.Station { l[1].People = []string{d.desk.ID}; return l }},
		{"an unknown section", "sections", `no section "ZZ"`, func(l []app.Station) []app.Station { l[0].Sections = []rankwright.SectionID{"ZZ"}; return l }},
		{"a note as long as a page", "note.00", "is too long", func(l []app.Station) []app.Station { l[0].Note = strings.Repeat("x", 201); return l }},
		{"more than a round has", "stations", "31 stations", func([]app.Station) []app.Station { return make([]app.Station, 31) }},
	} {
		err := d.App.SetStations(d.Ctx(), d.Owner, d.g, c.spoil(otterStations(d.tomek.ID)))
		d.fails(c.field, err)
		if !strings.Contains(err.Error(), c.say) {
			t.Errorf("%s: %v, want %q", c.name, err, c.say)
		}
	}
	if v := d.look(); len(v.Stations) != 0 {
		t.Errorf("kept: %+v", v.Stations)
	}
	d.fails("not_allowed", d.App.SetStations(d.Ctx(), d.desk, d.g, nil))

	// The other way round: sittings that are too short for the stations.
	d.must(d.App.SetStations(d.Ctx(), d.Owner, d.g, otterStations(d.tomek.ID)))
	v := d.look()
	w := of(v, s.ID)[0]
	w.Minutes = 19
	d.fails("minutes", d.App.PutSitting(d.Ctx(), d.Owner, d.g, w))
	like := app.LikeUsual()
	_, err := d.App.AddSession(d.Ctx(), d.Owner, d.g, app.SittingsRow{Day: rankwright.MustDay("2026-10-11"), From: 540, Until: 600, Mats: []string{"A"}, Minutes: 15, Like: like})
	d.fails("minutes", err)
	// One squad gets round, and a full sitting of six would not: that is said, not refused.
	w = of(v, s.ID)[0]
	w.Minutes, w.Most, w.Squad = 40, 24, 4
	d.must(d.App.PutSitting(d.Ctx(), d.Owner, d.g, w))
	v = d.look()
	if squads, need := v.Crowded(v.Sitting(w.ID)); squads != 6 || need < 6*10 {
		t.Errorf("%d squads need %d minutes", squads, need)
	}
	other := of(v, s.ID)[1]
	other.Most, other.Squad = 4, 4
	if _, need := v.Crowded(&other); need != 0 {
		t.Errorf("one squad would need %d minutes", need)
	}
}
