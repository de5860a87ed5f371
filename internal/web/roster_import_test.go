package web_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"golang.org/x/text/encoding/charmap"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/roster"
)

// autumnList is what a Spanish spreadsheet program on Windows saves: semicolons,
// Windows-1252, dates whose order nothing shows. Invented people.
const autumnList = "Alumno;Nacimiento;Cinturón;Desde;Clases;Correo\n" +
	"Peña Núñez, José;03/04/2017;Reed;05/06/2026;12;jose@example.org\n" +
	"Muñoz, Begoña;11/12/2016;pale green;01/02/2026;20;begona(at)example.org\n" +
	"Fasanwe, Ayotomi;2021-02-14;;;16;fasanwe@example.org\n" +
	"Sáez, Uxue;07/08/2018;Amber;09/10/2025;plenty;uxue@example.org\n"

func windows1252(t *testing.T, s string) []byte {
	t.Helper()
	b, err := charmap.Windows1252.NewEncoder().String(s)
	if err != nil {
		t.Fatal(err)
	}
	return []byte(b)
}

func (s *site) student(t *testing.T, name string) (roster.Student, bool) {
	t.Helper()
	all, err := s.App.Students(s.Ctx(), s.Owner)
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range all {
		if x.FullName() == name {
			return x, true
		}
	}
	return roster.Student{}, false
}

func (s *site) count(t *testing.T) int {
	t.Helper()
	all, err := s.App.Students(s.Ctx(), s.Owner)
	if err != nil {
		t.Fatal(err)
	}
	return len(all)
}

func TestAForeignSpreadsheetComesInAfterItsQuestionsAreAnswered(t *testing.T) {
	s := newSite(t)
	s.Publish("otterlight.yaml")
	s.Import(twelveStudents)
	v := s.as(t, s.Person("Teuila Barretto-Sato", app.Assistant, ""))

	r := v.upload("/roster/import", `C:\Listas\otoño.csv`, windows1252(t, autumnList), nil)
	r.says(t, http.StatusOK, "Western European (Windows)", "Peña", "semicolon", "otoño.csv",
		"03/04/2017 is 3 April 2017", "03/04/2017 is 4 March 2017", "What “Cinturón” means")
	if strings.Contains(r.body, "Listas") {
		t.Error("the folder on somebody’s computer is shown")
	}
	form := r.parsed(t).formAt(t, "/roster/import")

	form.Set("answer:order birth_date", "dmy")
	form.Set("answer:order rank_since", "dmy")
	r = v.post("/roster/import", form)
	r.says(t, http.StatusOK,
		"Row 5, column “Clases”, Uxue Sáez", "is not a whole number of classes",
		"begona(at)example.org", "does not look like an e-mail address",
		"Ayotomi Fasanwe", "Classes since rank: 15", "<strong>16</strong>",
		"José Peña Núñez", "3 April 2017")
	form = r.parsed(t).formAt(t, "/roster/import")
	if got := form.Get("answer:order birth_date"); got != "dmy" {
		t.Fatalf("the answer about dates is now %q", got)
	}
	if n := s.count(t); n != 12 {
		t.Fatalf("a preview wrote: %d students", n)
	}

	// A wrong choice of letters is seen, and taken back.
	form.Set("encoding", "macintosh")
	r = v.post("/roster/import", form)
	r.says(t, http.StatusOK, "PeÒa")
	form = r.parsed(t).formAt(t, "/roster/import")
	form.Set("encoding", "utf-8")
	r = v.post("/roster/import", form)
	r.says(t, http.StatusUnprocessableEntity, "cannot be read in this way", "Choose another encoding.")
	form = r.parsed(t).formAt(t, "/roster/import")
	if form.Get("encoding") != "utf-8" || form.Get("key") == "" {
		t.Fatalf("the form lost its choices: %v", form)
	}
	form.Set("encoding", "")
	r = v.post("/roster/import", form)
	form = r.parsed(t).formAt(t, "/roster/import")

	form.Set("answer:row 3", "accept")
	r = v.post("/roster/import", form)
	r.says(t, http.StatusOK, "Row 3, Begoña Muñoz: take the row as it stands", "Bring in the 3 good rows and leave 1 aside")
	form = r.parsed(t).formAt(t, "/roster/import")

	// What was not shown is not brought in.
	other := url.Values{}
	for k, x := range form {
		other[k] = x
	}
	other.Set("answer:row 3", "skip")
	v.post("/roster/import/confirm", other).says(t, http.StatusUnprocessableEntity, "Nothing was written yet", "Bring in the 2 good rows")
	if n := s.count(t); n != 12 {
		t.Fatalf("%d students after a plan that nobody saw", n)
	}

	if r := v.post("/roster/import/confirm", form); r.status != http.StatusSeeOther || r.to != "/roster" {
		t.Fatalf("%d %s\n%s", r.status, r.to, r.body)
	}
	v.get("/roster").says(t, http.StatusOK, "2 students are new on the roster, 1 was changed. 1 row was left aside")
	jose, ok := s.student(t, "José Peña Núñez")
	if !ok || jose.BirthDate != rankwright.MustDay("2017-04-03") || jose.RankSince != rankwright.MustDay("2026-06-05") || jose.Rank != "reed" || jose.ClassesSinceRank != 12 {
		t.Errorf("José came in as %+v", jose)
	}
	if a, _ := s.student(t, "Ayotomi Fasanwe"); a.ClassesSinceRank != 16 || a.ID != "101" {
		t.Errorf("Ayotomi is now %+v", a)
	}
	if _, ok := s.student(t, "Uxue Sáez"); ok {
		t.Error("a refused row came in")
	}

	// The next file with these headings is read as this one was.
	r = v.upload("/roster/import", "winter.csv", windows1252(t, strings.Replace(autumnList, ";12;", ";19;", 1)), nil)
	r.says(t, http.StatusOK, "as they were last time", "Classes since rank: 12", "<strong>19</strong>")
	if strings.Contains(r.body, "Which day is meant") {
		t.Error("the order of dates is asked again")
	}
	form = r.parsed(t).formAt(t, "/roster/import")
	form.Set("answer:order birth_date", "mdy")
	v.post("/roster/import", form).says(t, http.StatusOK, "4 March 2017")
}

func TestAColumnCanBeGivenAnotherMeaning(t *testing.T) {
	s := newSite(t)
	s.Publish("otterlight.yaml")
	v := s.as(t, s.Owner)
	r := v.upload("/roster/import", "list.csv", []byte("Kid;DOB;Colour\nInti Quispaya;2020-11-30;Reed\n"), nil)
	r.says(t, http.StatusUnprocessableEntity, "No column holds a student", "Choose what each column means")
	form := r.parsed(t).formAt(t, "/roster/import")
	form.Set("col-0", "full_name")
	form.Set("col-2", "rank")
	r = v.post("/roster/import", form)
	r.says(t, http.StatusOK, "Inti Quispaya", "30 November 2020")
	form = r.parsed(t).formAt(t, "/roster/import")
	if form.Get("col-0") != "full_name" || form.Get("col-1") != "birth_date" || form.Get("col-2") != "rank" {
		t.Fatalf("the columns are now %v", form)
	}
	// Both as the birth date is a mistake that keeps what was chosen.
	form.Set("col-2", "birth_date")
	r = v.post("/roster/import", form)
	r.says(t, http.StatusUnprocessableEntity, "are both to be read as birth date")
	if got := r.parsed(t).formAt(t, "/roster/import").Get("col-2"); got != "birth_date" {
		t.Fatalf("the choice became %q", got)
	}
}

func TestAFileThatCannotBeReadIsAskedForAgain(t *testing.T) {
	s := newSite(t)
	v := s.as(t, s.Owner)
	for _, x := range []struct {
		name string
		data string
		say  string
	}{
		{"picture.csv", "\x89PNG\r\n", "This is a picture, not a table."},
		{"empty.csv", "", "The file is empty."},
		{"old.xls", "\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "workbook of the old .xls kind"},
	} {
		r := v.upload("/roster/import", x.name, []byte(x.data), nil)
		r.says(t, http.StatusUnprocessableEntity, x.say, `type="file"`)
		r.parsed(t)
	}
	v.post("/roster/import", nil).says(t, http.StatusUnprocessableEntity, "No file was chosen")
}

func TestAFileIsAtHandForItsOwnPersonOnly(t *testing.T) {
	s := newSite(t)
	s.Publish("otterlight.yaml")
	r := s.as(t, s.Owner).upload("/roster/import", "list.csv", []byte("Name;DOB\nInti Quispaya;2020-11-30\n"), nil)
	form := r.parsed(t).formAt(t, "/roster/import")
	other := s.as(t, s.Person("Teuila Barretto-Sato", app.Assistant, ""))
	for _, path := range []string{"/roster/import", "/roster/import/confirm"} {
		r := other.post(path, form)
		r.says(t, http.StatusUnprocessableEntity, "no longer at hand", "Choose it once more")
		if strings.Contains(r.body, "Quispaya") {
			t.Error("somebody sees another person’s file")
		}
	}
	if n := s.count(t); n != 0 {
		t.Errorf("%d students", n)
	}
}
