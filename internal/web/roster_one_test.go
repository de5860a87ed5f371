package web_test

import (
	"maps"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"rankwright"
	"rankwright/internal/app"
)

func TestOneStudentIsAddedWithoutASpreadsheet(t *testing.T) {
	s := newSite(t)
	s.Publish("otterlight.yaml")
	s.Import(twelveStudents)
	v := s.as(t, s.Person("Teuila Barretto-Sato", app.Assistant, ""))
	v.get("/roster").says(t, http.StatusOK, `href="/roster/new"`)
	v.get("/roster/new").says(t, http.StatusOK, `value="youth/amber"`, "no rank yet")
	typed := url.Values{"given_name": {"Wren"}, "family_name": {"Okpara, Jr"}, "birth_date": {"2017-05-09"}, "rank": {"youth/reed"}, "rank_since": {"2026-03-14"},
		"classes_since_rank": {"21"}, "guardian_name": {"Ada Okpara"}, "guardian_email": {"ada@example.org"}, "belt_size": {"220"}}
	with := func(field, value string) url.Values {
		other := maps.Clone(typed)
		other.Set(field, value)
		return other
	}
	for _, c := range []struct {
		what, field, value, says string
	}{
		{"without a given name", "given_name", " ", "Given name is missing."},
		{"without a birth date", "birth_date", "", "Born is missing."},
		{"born on no day", "birth_date", "2017-02-30", "birth_date-error"},
		{"of a rank that is not there", "rank", "youth/mauve", "rank-error"},
		{"of a ladder that is not there", "rank", "nobody/", "rank-error"},
		{"with half a class", "classes_since_rank", "2.5", "classes_since_rank-error"},
	} {
		t.Run(c.what, func(t *testing.T) {
			r := v.post("/roster/new", with(c.field, c.value))
			if r.status != http.StatusUnprocessableEntity || !strings.Contains(r.body, c.says) {
				t.Errorf("%d, without %q:\n%s", r.status, c.says, r.body)
			}
			if c.field != "given_name" && !strings.Contains(r.body, `value="Wren"`) {
				t.Error("what was typed is lost")
			}
		})
	}
	if n := s.count(t); n != 12 {
		t.Fatalf("%d students before the yes", n)
	}
	// What may be right all the same is asked about.
	r := v.post("/roster/new", with("guardian_email", "ada(at)example.org"))
	r.says(t, http.StatusOK, "“guardian e-mail”", "does not look like an e-mail address", "answer:row 2", "Leave this student out")
	for _, s := range []string{"Row 2", "he row", "Column", "guardian_email”"} {
		if strings.Contains(r.body, s) {
			t.Errorf("%q is said of a student who was typed in", s)
		}
	}
	asked := r.parsed(t).formAt(t, "/roster/import")
	asked.Set("answer:row 2", "accept")
	v.post("/roster/import", asked).says(t, http.StatusOK, "Wren Okpara, Jr: add this student as typed", "Add this student")
	r = v.post("/roster/new", typed)
	r.says(t, http.StatusOK, "Wren Okpara, Jr", "9 May 2017", "Who is new", "Add this student")
	for _, s := range []string{"not in this file", "How the file is read", "another file"} {
		if strings.Contains(r.body, s) {
			t.Errorf("%q is said of a student who was typed in", s)
		}
	}
	if n := s.count(t); n != 12 {
		t.Fatalf("%d students before the yes", n)
	}
	if r := v.post("/roster/import/confirm", r.parsed(t).formAt(t, "/roster/import")); r.status != http.StatusSeeOther {
		t.Fatalf("%d\n%s", r.status, r.body)
	}
	wren, ok := s.student(t, "Wren Okpara, Jr")
	if !ok || wren.ID == "" || wren.Household == "" || wren.Rank != "reed" || wren.RankSince != rankwright.MustDay("2026-03-14") || wren.ClassesSinceRank != 21 || wren.Guardians[0].Email != "ada@example.org" {
		t.Errorf("Wren came in as %+v", wren)
	}
	// A brother of the same guardian, who has no rank, is of the same household.
	r = v.post("/roster/new", url.Values{"given_name": {"Idris"}, "family_name": {"Okpara"}, "birth_date": {"2019-11-30"}, "rank": {"youth/"}, "guardian_name": {"Ada Okpara"}, "guardian_email": {"ada@example.org"}})
	if r := v.post("/roster/import/confirm", r.parsed(t).formAt(t, "/roster/import")); r.status != http.StatusSeeOther {
		t.Fatalf("%d\n%s", r.status, r.body)
	}
	if idris, ok := s.student(t, "Idris Okpara"); !ok || idris.Household != wren.Household || idris.Rank != "" || idris.ID == wren.ID {
		t.Errorf("Idris came in as %+v", idris)
	}
	// Whoever is there already is not added a second time without a word.
	v.post("/roster/new", typed).says(t, http.StatusOK, "Nothing has happened yet")
	if n := s.count(t); n != 14 {
		t.Errorf("%d students, want 14", n)
	}
	if r := s.as(t, s.Person("Kaito Barretto-Sato", app.Examiner, "")).get("/roster/new"); r.status != http.StatusForbidden {
		t.Errorf("an examiner is answered with %d", r.status)
	}
}
