package web_test

import (
	"bytes"
	"encoding/json"
	"mime/multipart"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"rankwright/internal/app"
	"rankwright/roster"
)

// Invented children of the demo club.
const twelveStudents = `student_id,given_name,family_name,birth_date,ladder,rank,rank_since,classes_since_rank,guardian_name,guardian_email,guardian_phone,belt_size,notes
101,Ayotomi,Fasanwe,2021-02-14,youth,,2026-07-25,15,,fasanwe@example.org,,,
102,Inti,Quispaya,2020-11-30,youth,,2026-08-01,12,,quispaya@example.org,,,
103,Maélle,Vandestraete,2020-12-03,youth,,2026-08-22,14,,vandestraete@example.org,,,
105,Linh-Đan,Phùng,2019-10-10,youth,reed,2026-07-04,24,,phung@example.org,,,
107,Zofia,Krajewik,2018-02-28,youth,reed,2026-07-11,27,Ewa Krajewik,ewa@example.org,+44 1632 960107,220 cm,No photos
108,Igor,Krajewik,2016-02-29,youth,amber,2026-05-30,33,Ewa Krajewik,ewa@example.org,,240 cm,
109,Kwabena,Darkofi,2016-07-21,youth,amber,2026-06-13,30,,darkofi@example.org,,,
110,Hanae,Ishikure,2017-03-03,youth,amber,2026-02-28,46,,ishikure@example.org,,,
111,Naveed,Barakzoy,2015-09-19,youth,slate,2026-05-16,41,,barakzoy@example.org,,,
112,Eilidh,MacAskaig,2014-12-12,youth,slate,2026-05-23,36,,macaskaig@example.org,,,
114,Noam,Elbazi,2015-04-01,youth,copper,2026-04-18,47,,elbazi@example.org,,,
117,Mahinalani,Kealohi,2012-01-17,youth,plum,2026-02-14,66,,kealohi@example.org,,,
`

// upload sends a file as a browser does.
func (v *visitor) upload(path, name string, data []byte, form url.Values) reply {
	v.t.Helper()
	var b bytes.Buffer
	w := multipart.NewWriter(&b)
	for k, vs := range form {
		for _, x := range vs {
			if err := w.WriteField(k, x); err != nil {
				v.t.Fatal(err)
			}
		}
	}
	part, err := w.CreateFormFile("file", name)
	if err == nil {
		_, err = part.Write(data)
	}
	if err == nil {
		err = w.Close()
	}
	if err != nil {
		v.t.Fatal(err)
	}
	r, err := v.c.Post(v.site.URL+path, w.FormDataContentType(), &b)
	return v.read(r, err)
}

// page is a page as a browser reads it.
type page struct {
	root *html.Node
	form url.Values // what the form in question would send as it stands
}

// parsed reads the page and fails on what no page may have: an id twice, a
// reference to an id that is not there, text escaped twice.
func (r reply) parsed(t *testing.T) page {
	t.Helper()
	root, err := html.Parse(strings.NewReader(r.body))
	if err != nil {
		t.Fatal(err)
	}
	ids := map[string]bool{}
	var refs []string
	p := page{root: root, form: url.Values{}}
	for n := range root.Descendants() {
		if n.Type != html.ElementNode {
			continue
		}
		for _, a := range n.Attr {
			switch a.Key {
			case "id":
				if ids[a.Val] {
					t.Errorf("the id %q stands twice", a.Val)
				}
				ids[a.Val] = true
			case "for", "aria-describedby", "aria-labelledby":
				refs = append(refs, strings.Fields(a.Val)...)
			case "style", "onclick":
				t.Errorf("<%s> has a %s attribute", n.Data, a.Key)
			}
		}
	}
	for _, id := range refs {
		if !ids[id] {
			t.Errorf("the page refers to the id %q and has none", id)
		}
	}
	if m := regexp.MustCompile(`&amp;(amp|lt|gt|quot|#\d+);`).FindString(r.body); m != "" {
		t.Errorf("escaped twice: %s", m)
	}
	return p
}

func attr(n *html.Node, key string) (string, bool) {
	for _, a := range n.Attr {
		if a.Key == key {
			return a.Val, true
		}
	}
	return "", false
}

// formAt gathers what the form at an address would send.
func (p page) formAt(t *testing.T, action string) url.Values {
	t.Helper()
	out := url.Values{}
	found := false
	for n := range p.root.Descendants() {
		if a, _ := attr(n, "action"); n.Data != "form" || a != action {
			continue
		}
		found = true
		for f := range n.Descendants() {
			name, _ := attr(f, "name")
			value, _ := attr(f, "value")
			kind, _ := attr(f, "type")
			_, checked := attr(f, "checked")
			switch {
			case f.Data == "input" && (kind != "radio" && kind != "checkbox" || checked) && name != "":
				out.Add(name, value)
			case f.Data == "textarea" && f.FirstChild != nil:
				out.Add(name, f.FirstChild.Data)
			case f.Data == "select":
				for o := range f.Descendants() {
					if _, ok := attr(o, "selected"); ok {
						v, _ := attr(o, "value")
						out.Set(name, v)
					}
				}
				if _, ok := out[name]; !ok {
					out.Set(name, "")
				}
			}
		}
	}
	if !found {
		t.Fatalf("there is no form for %s", action)
	}
	return out
}

func (s *site) people(t *testing.T) map[app.Role]app.Actor {
	return map[app.Role]app.Actor{
		app.Owner:      s.Owner,
		app.Instructor: s.Person("Anahera Ropatini", app.Instructor, ""),
		app.Examiner:   s.Person("Yusra Rahimbek", app.Examiner, ""),
		app.Assistant:  s.Person("Teuila Barretto-Sato", app.Assistant, ""),
	}
}

func TestEachRoleSeesItsPagesOfRosterAndSyllabus(t *testing.T) {
	s := newSite(t)
	v := s.Publish("otterlight.yaml")
	d, _, err := s.App.SaveDraft(s.Ctx(), s.Owner, v.Text+"# more\n")
	if err != nil {
		t.Fatal(err)
	}
	s.Import(twelveStudents)
	everybody := []app.Role{app.Owner, app.Instructor, app.Examiner, app.Assistant}
	teachers := []app.Role{app.Owner, app.Instructor}
	desk := []app.Role{app.Owner, app.Instructor, app.Assistant}
	pages := []struct {
		path string
		who  []app.Role
	}{
		{"/syllabus", everybody},
		{"/syllabus/version/" + v.ID, everybody},
		{"/syllabus/version/" + d.ID, everybody},
		{"/syllabus/version/" + v.ID + "/text", everybody},
		{"/syllabus/new", teachers},
		{"/syllabus/edit/youth", teachers},
		{"/syllabus/publish/youth", teachers},
		{"/roster", desk},
		{"/roster?q=kra", desk},
		{"/roster/import", desk},
		{"/roster/template.csv", desk},
		{"/roster/107", desk},
		{"/roster/107/export", teachers},
		{"/roster/107/erase", []app.Role{app.Owner}},
	}
	for role, who := range s.people(t) {
		visitor := s.as(t, who)
		for _, p := range pages {
			want := http.StatusForbidden
			if slices.Contains(p.who, role) {
				want = http.StatusOK
			}
			r := visitor.get(p.path)
			if r.status != want {
				t.Errorf("%s as %s gives %d, want %d", p.path, role, r.status, want)
			}
			if strings.HasPrefix(r.head.Get("Content-Type"), "text/html") {
				r.parsed(t)
			}
		}
	}
	if r := s.visit(t).get("/roster"); r.status != http.StatusSeeOther || r.to != "/sign-in?next=%2Froster" {
		t.Errorf("a stranger gets %d %s", r.status, r.to)
	}
}

func TestOnlyTheHeadInstructorErasesAndOnlyWithATick(t *testing.T) {
	s := newSite(t)
	s.Publish("otterlight.yaml")
	s.Import(twelveStudents)
	people := s.people(t)
	sure := url.Values{"sure": {"yes"}}
	for _, role := range []app.Role{app.Instructor, app.Examiner, app.Assistant} {
		s.as(t, people[role]).post("/roster/107/erase", sure).says(t, http.StatusForbidden)
	}
	owner := s.as(t, s.Owner)
	owner.get("/roster/107/erase").says(t, http.StatusOK, "What stays", "rank ledger", "Zofia Krajewik")
	r := owner.post("/roster/107/erase", nil)
	r.says(t, http.StatusUnprocessableEntity, "Nothing was erased")
	r.parsed(t)
	if r := owner.post("/roster/107/erase", sure); r.status != http.StatusSeeOther {
		t.Fatalf("erasing gives %d\n%s", r.status, r.body)
	}
	owner.get("/roster/107").says(t, http.StatusNotFound)
	if r := owner.get("/roster"); strings.Contains(r.body, "Zofia") {
		t.Error("an erased student is still listed")
	}
}

func TestARosterWithNobodyLeadsToTheSpreadsheet(t *testing.T) {
	s := newSite(t)
	r := s.as(t, s.Owner).get("/roster")
	r.says(t, http.StatusOK, "Nobody is on the roster yet", `href="/roster/import"`)
	r.parsed(t)
}

func TestANameIsFoundWithoutItsAccents(t *testing.T) {
	s := newSite(t)
	s.Publish("otterlight.yaml")
	s.Import(twelveStudents)
	r := s.as(t, s.Owner).get("/roster?q=" + url.QueryEscape("phung linh"))
	r.says(t, http.StatusOK, "1 of 12 students", "Linh-Đan Phùng", "Reed")
	if strings.Contains(r.body, "Zofia") {
		t.Error("somebody else was found too")
	}
	s.as(t, s.Owner).get("/roster?q=nobody").says(t, http.StatusOK, "0 of 12 students", "Nobody has that in their name")
}

func TestAStudentsPageHasFactsSiblingsAndGuardians(t *testing.T) {
	s := newSite(t)
	s.Publish("otterlight.yaml")
	s.Import(twelveStudents)
	r := s.as(t, s.Owner).get("/roster/108")
	// Born on 29 February 2016: ten birthdays by 1 October 2026.
	r.says(t, http.StatusOK, "29 February 2016, 10 years old", "30 May 2026", "Zofia Krajewik", "Ewa Krajewik", "mailto:ewa@example.org", "Slate", "240 cm")
	r.parsed(t)
	if r := s.as(t, s.Person("Teuila Barretto-Sato", app.Assistant, "")).get("/roster/108"); strings.Contains(r.body, "/export") || strings.Contains(r.body, "/erase") {
		t.Error("an assistant is offered what an assistant may not do")
	}
}

func TestTheExportOfOneStudentHoldsThatStudentOnly(t *testing.T) {
	s := newSite(t)
	s.Publish("otterlight.yaml")
	s.Import(twelveStudents)
	r := s.as(t, s.Owner).get("/roster/108/export")
	if !strings.HasPrefix(r.head.Get("Content-Disposition"), "attachment") {
		t.Errorf("it is not a download: %s", r.head.Get("Content-Disposition"))
	}
	var got struct{ Student roster.Student }
	if err := json.Unmarshal([]byte(r.body), &got); err != nil {
		t.Fatal(err)
	}
	if got.Student.ID != "108" || len(got.Student.Guardians) != 1 || strings.Contains(r.body, "Zofia") {
		t.Errorf("the export is %s", r.body)
	}
}

func TestANameWithMarkupIsShownAsText(t *testing.T) {
	s := newSite(t)
	s.Publish("otterlight.yaml")
	v := s.as(t, s.Owner)
	csv := "student_id,given_name,family_name,birth_date,notes\n" +
		`7,<script>alert(1)</script>,"O'Hara & ""Sons""",2016-05-05,<img src=x onerror=alert(2)>` + "\n"
	r := v.upload("/roster/import", `<b>"list".csv`, []byte(csv), nil)
	r.says(t, http.StatusOK, "&lt;script&gt;")
	form := r.parsed(t).formAt(t, "/roster/import")
	if strings.Contains(r.body, "<script>") || strings.Contains(r.body, "<b>") {
		t.Fatal("the preview runs what stands in a cell")
	}
	if r := v.post("/roster/import/confirm", form); r.status != http.StatusSeeOther {
		t.Fatalf("%d\n%s", r.status, r.body)
	}
	for _, path := range []string{"/roster", "/roster/7", "/roster/7/erase", "/roster?q=" + url.QueryEscape("<script>")} {
		r := v.get(path)
		r.says(t, http.StatusOK, "&lt;script&gt;")
		r.parsed(t)
		if strings.Contains(r.body, "<script>") || strings.Contains(r.body, "<img src=x") {
			t.Errorf("%s runs what stands in a cell", path)
		}
	}
}

func TestTheTemplateIsReadBackWithoutAQuestion(t *testing.T) {
	s := newSite(t)
	s.Publish("otterlight.yaml")
	v := s.as(t, s.Owner)
	r := v.get("/roster/template.csv")
	head := strings.TrimSpace(strings.TrimPrefix(r.body, "\ufeff"))
	if head != strings.Join(roster.Headings(), ",") {
		t.Fatalf("the headings are %s", head)
	}
	filled := "\ufeff" + head + "\n1,Inti,Quispaya,2020-11-30,,youth,,2026-08-01,12,,,,,,\n"
	v.upload("/roster/import", "students.csv", []byte(filled), nil).says(t, http.StatusOK, "Inti Quispaya", "Bring in 1 row")
}

func TestAStudentsPageHasThePromotionsAndWhoMaySeesTheOutcome(t *testing.T) {
	f := newFilled(t)
	r := f.as(t, f.people[app.Instructor]).get("/roster/a4")
	r.says(t, http.StatusOK, "Summer grading", "3 October 2026", "Promoted", "Amber", "/syllabus/version/"+f.version)
	r.parsed(t)
	r = f.as(t, f.people[app.Assistant]).get("/roster/a4")
	r.says(t, http.StatusOK, "Summer grading", "Closed")
	if strings.Contains(r.body, "badge-good") {
		t.Error("an assistant sees outcomes")
	}
	f.as(t, f.Owner).get("/roster/a1/erase").says(t, http.StatusOK, "Still entered in a grading", "Autumn grading")
	if r := f.as(t, f.Owner).get("/roster/a4/export"); !strings.Contains(r.body, `"Override": "promoted"`) || !strings.Contains(r.body, `"Verdict": {`) {
		t.Errorf("the export lacks the decision in words:\n%s", r.body)
	}
}
