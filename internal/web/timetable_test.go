package web_test

import (
	"strings"
	"testing"

	"rankwright"
	"rankwright/internal/app"
)

// newTimes is a grading with eight children of seven families entered and
// three examiners, and nothing timetabled yet.
func newTimes(t *testing.T) (*site, rankwright.GradingID) {
	t.Helper()
	s := newSite(t)
	s.Publish("otterlight.yaml")
	s.Import(`student_id,given_name,family_name,birth_date,household,ladder,rank,rank_since,classes_since_rank
a1,Ayotomi,Fasanwe,2021-02-14,h1,youth,,2026-07-25,15
a2,Inti,Quispaya,2020-11-30,h2,youth,,2026-08-01,12
a3,Zofia,Krajewik,2018-02-28,h4,youth,Reed,2026-07-11,27
a4,Igor,Krajewik,2016-02-29,h4,youth,Amber,2026-05-30,33
a5,Linh-Đan,Phùng,2019-10-10,h5,youth,Reed,2026-07-04,24
a6,Kwabena,Darkofi,2016-07-21,h6,youth,Amber,2026-06-13,30
a7,Hanae,Ishikure,2017-03-03,h7,youth,Amber,2026-02-28,46
a8,Naveed,Barakzoy,2015-09-19,h8,youth,Slate,2026-05-16,41
`)
	g, err := s.App.CreateGrading(t.Context(), s.Owner, app.NewGrading{Title: "Autumn grading", Day: rankwright.MustDay("2026-10-10"), Ladder: "youth"})
	for _, err := range []error{err,
		s.App.SetPanel(t.Context(), s.Owner, g.ID, []string{s.Owner.ID, s.Person("Tomek Wielgosek", app.Instructor, "").ID, s.Person("Anahera Ropatini", app.Instructor, "").ID}, s.Owner.ID),
		s.App.Enter(t.Context(), s.Owner, g.ID, []rankwright.StudentID{"a1", "a2", "a3", "a4", "a5", "a6", "a7", "a8"})} {
		if err != nil {
			t.Fatal(err)
		}
	}
	return s, g.ID
}

// planned lets the timetable be worked out, by the form.
func (s *site) planned(t *testing.T, v *visitor, at string, g rankwright.GradingID) {
	t.Helper()
	if r := v.post(at+"/plan", nil); r.status != 303 {
		t.Fatalf("%d %s", r.status, r.body)
	}
	if err := s.App.AwaitPlan(t.Context(), g); err != nil {
		t.Fatal(err)
	}
	v.get(at+"/progress").says(t, 200, `"running":false`)
}

// Without a script the same is done by forms: every child is a link to a page
// that moves it.
func TestTheBoardOfTheTimetableWorksWithoutScripts(t *testing.T) {
	s, g := newTimes(t)
	like := app.LikeUsual()
	like.Panel, like.Mixed, like.Least = 1, 3, 1
	_, err := s.App.AddSession(t.Context(), s.Owner, g, app.SittingsRow{Day: rankwright.MustDay("2026-10-10"), From: 540, Until: 720, Mats: []string{"A", "B"}, Minutes: 40, Like: like})
	if err != nil {
		t.Fatal(err)
	}
	v := s.as(t, s.Owner)
	at := "/gradings/" + string(g) + "/timetable"
	s.planned(t, v, at, g)
	r := v.get(at)
	r.says(t, 200, "Everybody has a sitting", "Zofia Krajewik")
	tt, err := s.App.Timetable(t.Context(), s.Owner, g)
	if err != nil {
		t.Fatal(err)
	}
	e := ""
	for _, x := range tt.Grading.Entries {
		if x.Student.GivenName == "Zofia" {
			e = string(x.Entry.ID)
		}
	}
	v.get(at+"/child?whole=yes&entry="+e).says(t, 200, "The whole family moves together.", "Move here", "Lock in this sitting")
	to := ""
	for _, w := range tt.Sittings {
		if w.ID != tt.Draft.At(rankwright.EntryID(e)) {
			to = w.ID
		}
	}
	if r := v.post(at+"/move", map[string][]string{"entry": {e}, "to": {to}}); r.status != 303 && r.status != 409 {
		t.Fatalf("%d %s", r.status, r.body)
	}
	v.post(at+"/move", map[string][]string{"entry": {e}, "to": {""}})
	v.get(at).says(t, 200, "1 child has no sitting.", "Waiting list", "Why, and what would help")
	v.get(at+"/child?entry="+e).says(t, 200, "There is no sitting for Zofia yet.", "Why")
	v.post(at+"/move", map[string][]string{"entry": {"e-404"}, "to": {to}}).says(t, 404, "not entered in this grading any more")
	v.post(at+"/session", map[string][]string{"session": {"t-404"}, "do": {"remove"}}).says(t, 404, "not there any more")
	v.post(at+"/setup", map[string][]string{"day": {"2026-10-10"}, "from": {"9:00"}, "until": {"9:20"}, "mats": {"C"}, "minutes": {"40"}, "most": {"7"}}).
		says(t, 422, "there is no room for a sitting of 40 minutes", `value="7"`)
}

func TestTimesArePublishedAsCalendarFilesAndMovedAtTheDoor(t *testing.T) {
	s, g := newTimes(t)
	like := app.LikeUsual()
	like.Panel, like.Mixed, like.Least = 1, 3, 1
	_, err := s.App.AddSession(t.Context(), s.Owner, g, app.SittingsRow{Day: rankwright.MustDay("2026-10-10"), From: 540, Until: 720, Mats: []string{"A", "B"}, Minutes: 40, Like: like})
	if err != nil {
		t.Fatal(err)
	}
	desk := s.as(t, s.Person("Perpetua Okwuosah", app.Assistant, ""))
	v := s.as(t, s.Owner)
	at := "/gradings/" + string(g) + "/timetable"
	s.planned(t, v, at, g)
	desk.post(at+"/publish", nil).says(t, 403, "you may not publish the timetable")
	if r := v.post(at+"/publish", nil); r.status != 303 {
		t.Fatalf("%d %s", r.status, r.body)
	}
	tt, err := s.App.Timetable(t.Context(), s.Owner, g)
	if err != nil {
		t.Fatal(err)
	}
	var zofia, igor *app.PublishedTime
	person := ""
	for i, x := range tt.Told {
		if e, _ := tt.Entry(x.Entry); e != nil && e.Student.GivenName == "Zofia" {
			zofia = &tt.Told[i]
		} else if e != nil && e.Student.GivenName == "Igor" {
			igor = &tt.Told[i]
		}
		if x.Person != "" {
			person = x.Person
		}
	}
	child := at + "/calendar.ics?entry=" + string(zofia.Entry)
	desk.get(child).says(t, 409, "needs the time zone of the school")
	v.post("/school", map[string][]string{"school": {"Otterlight"}, "zone": {"Netloft/Harbour"}}).says(t, 422, "There is no time zone")
	if r := v.post("/school", map[string][]string{"school": {"Otterlight"}, "zone": {"Europe/London"}}); r.status != 303 {
		t.Fatalf("%d %s", r.status, r.body)
	}
	r := desk.get(child)
	r.says(t, 200, "BEGIN:VCALENDAR", "TZID:Europe/London", "Zofia", "Igor")
	for _, no := range []string{"Krajewik", "Amber", "Slate"} {
		if strings.Contains(r.body, no) {
			t.Errorf("the calendar learns %q", no)
		}
	}
	if zofia.Begins == igor.Begins && strings.Count(r.body, "BEGIN:VEVENT") != 1 {
		t.Error("brother and sister who come at one time are two entries")
	}
	desk.get(at+"/calendar.ics?person="+person).says(t, 200, "Examining on mat")
	desk.get(at+"/calendar.ics?entry=e-404").says(t, 404, "not entered in this grading")

	desk.get(at).says(t, 200, "Run sheets, one a sitting", "List for the door, Saturday 10 October 2026")
	for _, path := range []string{"/run-sheets.pdf", "/run-sheets.pdf?paper=letter&sitting=" + zofia.Sitting, "/door-list.pdf"} {
		if r := desk.get(at + path); r.status != 200 || !strings.HasPrefix(r.body, "%PDF-") {
			t.Errorf("%s: %d", path, r.status)
		}
	}
	desk.get(at+"/run-sheets.pdf?sitting=w-404").says(t, 422, "There is no sitting to print.")

	// On the day the desk moves Naveed to another sitting.
	s.At("2026-10-10")
	if err := s.App.Move(t.Context(), s.Owner, g, app.OnTheMat); err != nil {
		t.Fatal(err)
	}
	today, err := s.App.TodaySittings(t.Context(), s.Owner, g)
	if err != nil {
		t.Fatal(err)
	}
	e := zofia.Entry
	page := desk.get("/gradings/" + string(g) + "/arrivals")
	page.says(t, 200, "Move to another sitting of today", "What was marked stays.")
	to := today.Room[e][0]
	r = desk.post("/gradings/"+string(g)+"/arrivals", map[string][]string{"entry": {string(e)}, "sitting": {to.ID}, "sitting-was": {today.At[e]}})
	if r.status != 303 {
		t.Fatalf("%d %s", r.status, r.body)
	}
	if tt, err = s.App.Timetable(t.Context(), s.Owner, g); err != nil || tt.Published.At(e) != to.ID || tt.ToldOf(e).Sequence != 1 {
		t.Errorf("not moved: %+v %v", tt.ToldOf(e), err)
	}

	// Igor is withdrawn: his family's file takes his time back, and keeps his
	// sister's.
	if err := s.App.Withdraw(t.Context(), s.Owner, igor.Entry); err != nil {
		t.Fatal(err)
	}
	link := "/calendar.ics?entry=" + string(igor.Entry)
	desk.get(at).says(t, 200, "Times taken back", link)
	r = desk.get(at + link)
	r.says(t, 200, "UID:"+igor.UID, "STATUS:CANCELLED", "This time is taken back.", "UID:"+zofia.UID, "Grading: Zofia")
	if strings.Contains(r.body, "Igor") {
		t.Error("the file names a child who is no longer entered")
	}
}
