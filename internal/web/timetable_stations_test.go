package web_test

import (
	"net/url"
	"slices"
	"strings"
	"testing"

	"rankwright"
	"rankwright/internal/app"
)

// The form begins with one station a section; sections are put together by
// choosing, without a script, and what is wrong comes back with what was typed.
func TestStationsAreSetInAForm(t *testing.T) {
	s, g := newTimes(t)
	like := app.LikeUsual()
	like.Panel, like.Mixed, like.Least, like.Most, like.Squad = 1, 3, 1, 20, 4
	_, err := s.App.AddSession(t.Context(), s.Owner, g, app.SittingsRow{Day: rankwright.MustDay("2026-10-10"), From: 540, Until: 720, Mats: []string{"A", "B"}, Minutes: 40, Like: like})
	if err != nil {
		t.Fatal(err)
	}
	v := s.as(t, s.Owner)
	at := "/gradings/" + string(g) + "/timetable"
	v.get(at+"/setup").says(t, 200, "Each section of the syllabus is a station", at+"/stations")
	page := v.get(at + "/stations")
	page.says(t, 200, `name="section.BF"`, `name="name.10"`, "6 Kicks</option>", "4 asked, with cautions")
	if strings.Contains(page.body, `name="section.BX"`) || strings.Contains(page.body, "Work them out") {
		t.Error("extras ask for a station, or there is something to take back")
	}
	s.as(t, s.Person("Perpetua Okwuosah", app.Assistant, "")).get(at+"/stations").says(t, 403, "you may not plan the timetable")

	names := []string{"Etiquette", "Kit and belt", "Promise", "Stance and movement", "Hands", "Kicks", "Falls", "Getting up", "Partner work", "Fitness", "Theme of the month", ""}
	sections := []string{"ET", "KB", "PR", "SM", "HA", "KI", "BF", "GU", "PD", "FI", "TH"}
	form := url.Values{}
	for i, n := range names {
		for _, k := range []string{"name", "minutes", "examiners", "note"} {
			form.Set(app.StationField(k, i), "")
		}
		form.Set(app.StationField("name", i), n)
	}
	for i, id := range sections {
		form.Set("section."+id, []string{"0", "0", "0", "4", "4", "4", "6", "6", "8", "8", "0"}[i])
	}
	form.Set("minutes.06", "12")
	form.Set("examiners.04", "2")
	form.Set("note.06", "The two crash mats.")
	form.Set("minutes.08", "soon")
	v.post(at+"/stations", form).says(t, 422, `cannot be at the station &#34;Partner work&#34;`, `value="soon"`, `value="The two crash mats."`, `aria-invalid="true"`)
	form.Set("minutes.08", "")
	form.Set("section.HA", "")
	v.post(at+"/stations", form).says(t, 422, "Hands stands at no station", "Choose the station at which it is shown", "Choose a station")
	form.Set("section.HA", "4")
	form.Set("minutes.04", "40")
	v.post(at+"/stations", form).says(t, 422, "takes 40 minutes, and a squad of", "Give the stations fewer minutes")
	form.Set("minutes.04", "")
	if r := v.post(at+"/stations", form); r.status != 303 {
		t.Fatalf("%d %s", r.status, r.body)
	}
	page = v.get(at + "/stations")
	page.says(t, 200, "The stations are saved. Nothing is shown at Kit and belt, Promise", "Getting up, 12 minutes", "Work them out from the syllabus again",
		"A full sitting would be too short", "5 squads round all stations need", "More examiners are needed")
	tt, err := s.App.Timetable(t.Context(), s.Owner, g)
	if err != nil || len(tt.Stations) != 4 || tt.Stations[2].Minutes != 12 || !slices.Equal(tt.Stations[1].Sections, []rankwright.SectionID{"SM", "HA", "KI"}) {
		t.Fatalf("%+v %v", tt.Stations, err)
	}
	v.get(at+"/setup").says(t, 200, "4 stations: Etiquette, Hands, Falls and Partner work.")

	// The sitting, and its run sheet.
	tomek := tt.Examiners[slices.IndexFunc(tt.Examiners, func(x app.ExaminerTimes) bool { return x.Name == "Tomek Wielgosek" })].Person
	tt.Stations[1].People = []string{tomek}
	if err := s.App.SetStations(t.Context(), s.Owner, g, tt.Stations); err != nil {
		t.Fatal(err)
	}
	s.planned(t, v, at, g)
	if tt, err = s.App.Timetable(t.Context(), s.Owner, g); err != nil {
		t.Fatal(err)
	}
	on, off := 0, 0
	for _, w := range tt.Sittings {
		if len(tt.Draft.Panel(w.ID)) == 0 {
			continue
		}
		r := v.get(at + "/sitting?id=" + w.ID)
		r.says(t, 200, "At the stations", "The two crash mats.", "12 minutes")
		if slices.Contains(tt.Draft.Panel(w.ID), tomek) {
			on++
			r.says(t, 200, `Tomek Wielgosek (2 are needed)`)
		} else {
			off++
			r.says(t, 200, "Tomek Wielgosek would stand there, and is not on this panel.")
		}
	}
	if on+off == 0 {
		t.Error("nobody examines")
	}
	if r := v.get(at + "/run-sheets.pdf"); r.status != 200 || !strings.HasPrefix(r.body, "%PDF-") {
		t.Errorf("run sheets: %d", r.status)
	}
	if r := v.post(at+"/stations", url.Values{"do": {"work out"}}); r.status != 303 {
		t.Fatalf("%d %s", r.status, r.body)
	}
	v.get(at+"/setup").says(t, 200, "Each section of the syllabus is a station")
}
