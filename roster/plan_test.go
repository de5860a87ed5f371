package roster_test

import (
	"encoding/json"
	"reflect"
	"slices"
	"strings"
	"testing"

	"rankwright"
	"rankwright/roster"
	"rankwright/roster/table"
)

const head = "student_id,given_name,family_name,birth_date,rank,rank_since,classes_since_rank,guardian_name,guardian_email\n"

const smallRoster = head +
	"17,Zofia,Krajewik,2018-02-28,reed,2026-07-11,27,Ola Krajewik,ola@example.org\n" +
	"18,Igor,Krajewik,2016-02-29,amber,2026-05-30,33,Ola Krajewik,ola@example.org\n"

func tableOf(t testing.TB, text string) roster.Table {
	t.Helper()
	res, err := table.Read([]byte(text), table.Options{File: "students.csv"})
	if err != nil {
		t.Fatal(err)
	}
	return res.Table
}

func TestARowThatChangesAStudentShowsEachFieldBeforeAndAfter(t *testing.T) {
	current := mustStudents(t, []byte(smallRoster))
	p := planOf(current, tableOf(t, head+"17,Zofia,Krajewik,2018-02-28,amber,2026-10-03,0,Jan Krajewik,jan@example.org\n"), nil)
	want := []roster.Change{
		{Field: roster.RankField, Before: "reed", After: "amber"},
		{Field: roster.RankSinceField, Before: "2026-07-11", After: "2026-10-03"},
		{Field: roster.ClassesField, Before: "27", After: "0"},
		{Field: roster.GuardianNameField, Before: "Ola Krajewik, ola@example.org", After: "Ola Krajewik, ola@example.org; Jan Krajewik, jan@example.org"},
	}
	if p.Rows[0].Status != roster.Changed || !slices.Equal(p.Rows[0].Changes, want) {
		t.Errorf("%s: %+v", p.Rows[0].Status, p.Rows[0].Changes)
	}
	if !slices.Equal(p.NotInFile, []rankwright.StudentID{"18"}) {
		t.Errorf("not in the file: %v", p.NotInFile)
	}
	after := applied(t, p, current)
	if len(after) != 2 || !after[1].Equal(current[1]) {
		t.Errorf("a student who is not in the file was touched: %+v", after)
	}
}

func TestAnEmptyCellChangesNothing(t *testing.T) {
	current := mustStudents(t, []byte(smallRoster))
	p := planOf(current, tableOf(t, head+"17,,,,,,,,\n18,Igor,,n/a,-,,,?,\n"), nil)
	if p.Count(roster.Same) != 2 {
		t.Errorf("%s %v", p.Summary(), p.Problems())
	}
}

func TestPlanTouchesNothingItIsGiven(t *testing.T) {
	current := mustStudents(t, []byte(smallRoster))
	before := mustStudents(t, []byte(smallRoster))
	tb := tableOf(t, head+"17,Zofia,Krajewik,2018-02-28,amber,2026-10-03,0,Ola Krajewik,new@example.org\n")
	m := roster.Recognise(tb)
	m.DateOrder = map[roster.Field]roster.Order{}
	p := roster.Plan(current, tb, m, otterlight, nil, today)
	applied(t, p, current)
	if !reflect.DeepEqual(current, before) || len(m.DateOrder) != 0 {
		t.Error("the roster or the mapping was changed in place")
	}
}

func TestOnlyGoodRowsAreTakenWhenAsked(t *testing.T) {
	tb := tableOf(t, head+"1,Zofia,Krajewik,2018-02-28,reed,2026-07-11,27,,\n2,Igor,Krajewik,2016-02-30,amber,2026-05-30,33,,\n3,Ana,Roe,2025-01-01,,,,,\n")
	p := planOf(nil, tb, nil)
	if p.Summary() != "1 new, 1 doubtful and 1 refused" {
		t.Errorf("summary: %s", p.Summary())
	}
	if _, err := roster.Apply(p, nil, false); err == nil || strings.Count(err.Error(), "\n") != 1 || rankwright.KindOf(err) != rankwright.Invalid {
		t.Errorf("the whole plan must be refused with both faults, got %v", err)
	}
	got, err := roster.Apply(p, nil, true)
	if err != nil || len(got) != 1 || got[0].ID != "1" {
		t.Errorf("got %+v, %v", got, err)
	}
}

func TestAPlanMadeBeforeSomebodyElseChangedTheRosterIsRefused(t *testing.T) {
	current := mustStudents(t, []byte(smallRoster))
	p := planOf(current, tableOf(t, head+"17,Zofia,Krajewik,2018-02-28,amber,2026-10-03,0,,\n19,Ana,Roe,2016-01-01,,,,,\n"), nil)
	current[0].ClassesSinceRank++
	if _, err := roster.Apply(p, current, true); rankwright.KindOf(err) != rankwright.Conflict {
		t.Errorf("changed in between: %v", err)
	}
	current[0].ClassesSinceRank--
	current = append(current, roster.Student{ID: "19", GivenName: "Noam"})
	if _, err := roster.Apply(p, current, true); rankwright.KindOf(err) != rankwright.Conflict {
		t.Errorf("the id was taken in between: %v", err)
	}
}

func TestADoubtfulRowFollowsItsAnswer(t *testing.T) {
	current := mustStudents(t, []byte(smallRoster))
	tb := tableOf(t, "Name,DOB\nSofia Krajewik,2018-02-28\n")
	for _, c := range []struct {
		answer string
		want   roster.Status
		id     rankwright.StudentID
	}{{"", roster.Doubtful, ""}, {"accept", roster.Doubtful, ""}, {"is 17", roster.Changed, "17"}, {"new", roster.New, "s0001"}, {"skip", roster.LeftOut, ""}, {"is 99", roster.Doubtful, ""}} {
		p := planOf(current, tb, roster.Answers{"row 2": c.answer})
		if r := p.Rows[0]; r.Status != c.want || c.id != "" && r.Student.ID != c.id {
			t.Errorf("answer %q: %s %s, want %s %s", c.answer, r.Status, r.Student.ID, c.want, c.id)
		}
	}
}

func TestAnAnsweredOrderIsKeptForNextTime(t *testing.T) {
	tb := tableOf(t, "Name,DOB\nZofia Krajewik,03/04/2017\n")
	first := planOf(nil, tb, roster.Answers{"order birth_date": "dmy"})
	if first.Rows[0].Student.BirthDate.String() != "2017-04-03" {
		t.Fatalf("read as %s", first.Rows[0].Student.BirthDate)
	}
	b, err := json.Marshal(first.Mapping)
	if err != nil {
		t.Fatal(err)
	}
	var saved roster.Mapping
	if err := json.Unmarshal(b, &saved); err != nil || !reflect.DeepEqual(saved, first.Mapping) {
		t.Fatalf("the mapping did not come back: %v\n%s", err, b)
	}
	next := tableOf(t, "dob,NAME\n05/06/2016,Igor Krajewik\n")
	m, found := roster.Choose(next, []roster.Mapping{{Fingerprint: "other"}, saved})
	p := roster.Plan(nil, next, m, otterlight, nil, today)
	if !found || len(p.Questions) > 0 || p.Rows[0].Student.BirthDate.String() != "2016-06-05" {
		t.Errorf("found %v, questions %v, row %+v", found, p.Questions, p.Rows[0])
	}
}

func TestNewIdsAvoidEveryIdEverUsed(t *testing.T) {
	school := otterlight
	school.UsedIDs = []rankwright.StudentID{"s0002"}
	current := []roster.Student{{ID: "s0001", GivenName: "Ana", FamilyName: "Roe", BirthDate: rankwright.MustDay("2016-01-01")}}
	tb := tableOf(t, "student_id,Name,DOB\ns0003,Zofia Krajewik,2018-02-28\n,Igor Krajewik,2016-02-29\n")
	p := roster.Plan(current, tb, roster.Recognise(tb), school, nil, today)
	if got := p.Rows[1].Student.ID; got != "s0004" {
		t.Errorf("the new id is %s", got)
	}
}

func TestTwinsInTheFileAreNotTakenForEachOther(t *testing.T) {
	text := "Name,DOB\nAna Maria Roe,2016-01-01\nAnna Roe,2016-01-01\n"
	current := applied(t, planOf(nil, tableOf(t, "Name,DOB\nAnna Roe,2016-01-01\n"), nil), nil)
	p := planOf(current, tableOf(t, text), roster.Answers{"names": "family_last"})
	if p.Summary() != "1 new and 1 same" {
		t.Errorf("%s\n%v", p.Summary(), p.Problems())
	}
}

func TestARowThatRepeatsAnotherIsSaidTo(t *testing.T) {
	p := planOf(nil, tableOf(t, head+"1,Zofia,Krajewik,2018-02-28,,,,,\n1,Zofia,Krajewik,2018-02-28,,,,,\n"), nil)
	if r := p.Rows[1]; r.Status != roster.Same || !slices.Equal(r.Remarks, []string{"repeats line 2"}) {
		t.Errorf("%+v", r)
	}
	if got := applied(t, p, nil); len(got) != 1 {
		t.Errorf("%d students", len(got))
	}
}

func TestWithSeveralLaddersTheRankOrThePersonDecides(t *testing.T) {
	school := roster.School{Ladders: []roster.Ladder{
		{ID: "little", Names: []string{"Little ones"}, Ranks: []roster.RankName{{ID: "wren", Names: []string{"Wren"}}, {ID: "l-amber", Names: []string{"Amber"}}}},
		{ID: "youth", Names: []string{"Youth"}, Ranks: []roster.RankName{{ID: "reed", Names: []string{"Reed"}}, {ID: "amber", Names: []string{"Amber"}}}},
	}}
	tb := tableOf(t, "Name,DOB,Belt\nZofia Krajewik,2018-02-28,wren belt\nIgor Krajewik,2016-02-29,Amber\n")
	p := roster.Plan(nil, tb, roster.Recognise(tb), school, nil, today)
	if p.Rows[0].Student.Ladder != "little" || p.Rows[1].Status != roster.Doubtful || len(p.Questions) != 1 {
		t.Errorf("%+v\n%v", p.Rows, p.Questions)
	}
	p = roster.Plan(nil, tb, roster.Recognise(tb), school, roster.Answers{"ladder": "youth"}, today)
	if p.Rows[1].Student.Rank != "amber" || p.Rows[1].Status != roster.New {
		t.Errorf("after the answer: %+v", p.Rows[1])
	}
}

func TestHeadingsAreKnownInBothLanguagesHoweverTheyAreWritten(t *testing.T) {
	for heading, want := range map[string]roster.Field{
		"GIVEN NAME": "given_name", "given_name": "given_name", "Nombre(s) de pila": "given_name", "Apellidos": "family_name", "Last-Name": "family_name",
		"D.O.B.": "birth_date", "Fecha de Nacimiento (dd/mm/aaaa)": "birth_date", "Cinturón": "rank", "Belt colour": "rank", "belt": "rank",
		"Belt size": "belt_size", "T-shirt size": "shirt_size", "Parent's e-mail": "guardian_email", "Correo Electrónico": "guardian_email",
		"Teléfono móvil": "guardian_phone", "Mother": "guardian_name", "Último examen": "rank_since", "Start date": "rank_since",
		"Clases desde el último examen": "classes_since_rank", "Student ID": "student_id", "Nº": "student_id", "Observaciones": "notes",
		"Name": "full_name", "Alumno/a": "full_name", "Unidad familiar": "household", "Programme": "ladder", "Favourite colour": "",
	} {
		m := roster.Recognise(roster.Table{Rows: []roster.Row{{Line: 1, Cells: []roster.Cell{{Text: heading}}}}})
		if got := m.Columns[0].Field; got != want {
			t.Errorf("%q means %q, want %q", heading, got, want)
		}
	}
}

func TestNameBesideAFamilyNameIsTheGivenName(t *testing.T) {
	m := roster.Recognise(tableOf(t, "Name;Surname;Started\nAna;Roe;2026-01-01\n"))
	var got []roster.Field
	for _, c := range m.Columns {
		got = append(got, c.Field)
	}
	if !slices.Equal(got, []roster.Field{roster.GivenNameField, roster.FamilyNameField, roster.RankSinceField}) {
		t.Errorf("%q", got)
	}
}

func TestASynonymMeansOneFieldOnly(t *testing.T) {
	seen := map[string]roster.Field{}
	for f, words := range roster.Synonyms {
		for _, w := range strings.Split(words, ",") {
			w = strings.Join(strings.Fields(w), " ")
			if roster.Fold(w) != w {
				t.Errorf("%q of %s is not folded and can never match", w, f)
			}
			if g, ok := seen[w]; ok && g != f {
				t.Errorf("%q means both %s and %s", w, f, g)
			}
			seen[w] = f
		}
	}
}
