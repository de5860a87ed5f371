package roster_test

import (
	"bytes"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"

	"rankwright/roster"
	"rankwright/roster/table"
)

func readSample(t testing.TB, name string) table.Result {
	t.Helper()
	b, err := os.ReadFile("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	res, err := table.Read(b, table.Options{File: name})
	if err != nil {
		t.Fatal(err)
	}
	return res
}

func planOf(current []roster.Student, tb roster.Table, answers roster.Answers) roster.ImportPlan {
	return roster.Plan(current, tb, roster.Recognise(tb), otterlight, answers, today)
}

func applied(t testing.TB, p roster.ImportPlan, current []roster.Student) []roster.Student {
	t.Helper()
	out, err := roster.Apply(p, current, false)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func find(students []roster.Student, name string) roster.Student {
	i := slices.IndexFunc(students, func(s roster.Student) bool { return s.FullName() == name })
	if i < 0 {
		return roster.Student{}
	}
	return students[i]
}

func TestTheContractFileIsReadWhole(t *testing.T) {
	p := planOf(nil, readSample(t, "otterlight.csv").Table, nil)
	students := applied(t, p, nil)
	if p.Summary() != "18 new" {
		t.Errorf("summary: %s", p.Summary())
	}
	z, i := find(students, "Zofia Krajewik"), find(students, "Igor Krajewik")
	if z.Household == "" || z.Household != i.Household {
		t.Errorf("brother and sister share an address and have households %q and %q", z.Household, i.Household)
	}
	if z.ID != "107" || z.BirthDate.String() != "2018-02-28" || z.Rank != "reed" || z.RankSince.String() != "2026-07-11" || z.ClassesSinceRank != 27 || z.Ladder != "youth" {
		t.Errorf("Zofia is %+v", z)
	}
	if n := find(students, "Naveed Barakzoy").Notes; !strings.Contains(n, ";\nside-wash") {
		t.Errorf("a note of two lines became %q", n)
	}
	if a := find(students, "Ayotomi Fasanwe"); a.Rank != "" || a.RankSince.String() != "2026-07-25" {
		t.Errorf("somebody without a rank keeps the start date: %+v", a)
	}
}

func TestASpanishTableOfWindowsIsUnderstood(t *testing.T) {
	res := readSample(t, "alumnos.csv")
	if res.Encoding != "windows-1252" || !res.EncodingAssumed || res.Separator != ';' || len(res.Choices) < 4 {
		t.Errorf("read as %s (assumed: %v) with %q and %d choices", res.Encoding, res.EncodingAssumed, res.Separator, len(res.Choices))
	}
	m := roster.Recognise(res.Table)
	if got := m.NotRead(); !slices.Equal(got, []string{"Color favorito"}) {
		t.Errorf("not read: %q", got)
	}
	p := planOf(nil, res.Table, nil)
	students := applied(t, p, nil)
	m2 := find(students, "Maélle Vandestraete")
	if m2.BirthDate.String() != "2020-12-03" || m2.Rank != "" || m2.Guardians[0].Name != "María Vandestraete" || m2.ShirtSize != "8" || m2.ID != "103" {
		t.Errorf("Maélle is %+v", m2)
	}
	if h := find(students, "Hanae Ishikure"); h.Rank != "amber" {
		t.Errorf("Ámbar was read as %q", h.Rank)
	}
	want := `column "Fecha de nacimiento" is read as day/month/year, because line 2 has 14/02/2021`
	if !slices.Contains(p.Notes, want) {
		t.Errorf("the order was not said; notes: %q", p.Notes)
	}
}

func TestAnAmericanTableWithATitleIsUnderstood(t *testing.T) {
	p := planOf(nil, readSample(t, "fall-roster.csv").Table, nil)
	students := applied(t, p, nil)
	if len(students) != 10 || p.Rows[0].Line != 4 {
		t.Fatalf("%d students, the first on line %d", len(students), p.Rows[0].Line)
	}
	z := find(students, "Zofia Krajewik")
	if z.BirthDate.String() != "2018-02-28" || z.Rank != "reed" || z.Guardians[0].Name != `Dr. A. "Bo" Krajewik` {
		t.Errorf("Zofia is %+v", z)
	}
}

func TestUnicodeTextWithTwoGuardiansIsUnderstood(t *testing.T) {
	res := readSample(t, "unicode-text.txt")
	if res.Encoding != "utf-16le" || res.EncodingAssumed || res.Separator != '\t' {
		t.Errorf("read as %s with %q", res.Encoding, res.Separator)
	}
	students := applied(t, planOf(nil, res.Table, nil), nil)
	z := find(students, "Zofia Krajewik")
	want := []roster.Guardian{{Name: "Ola Krajewik", Phone: "+44 7700 900107"}, {Name: "Jan Krajewik", Phone: "+44 7700 901107"}}
	if !slices.Equal(z.Guardians, want) {
		t.Errorf("guardians %+v", z.Guardians)
	}
}

func TestEverySampleImportedTwiceIsTheSame(t *testing.T) {
	for _, name := range []string{"otterlight.csv", "alumnos.csv", "fall-roster.csv", "unicode-text.txt"} {
		tb := readSample(t, name).Table
		first := planOf(nil, tb, nil)
		students := applied(t, first, nil)
		second := planOf(students, tb, nil)
		if second.Count(roster.Same) != len(second.Rows) || len(second.NotInFile) > 0 {
			t.Errorf("%s again: %s\n%v", name, second.Summary(), second.Problems())
		}
	}
}

// TestOneSchoolInFourTables imports the tables one after the other: they are
// about the same children, so nobody may come in twice.
func TestOneSchoolInFourTables(t *testing.T) {
	students := applied(t, planOf(nil, readSample(t, "otterlight.csv").Table, nil), nil)
	for _, name := range []string{"alumnos.csv", "fall-roster.csv", "unicode-text.txt"} {
		p := planOf(students, readSample(t, name).Table, nil)
		if p.Count(roster.New) > 0 || p.Count(roster.Refused) > 0 {
			t.Errorf("%s: %s\n%v", name, p.Summary(), p.Problems())
		}
	}
}

// TestADateCellOfAWorkbookIsTheDayThatWasTyped lets excelize write real date
// cells, whose day numbers it computes itself.
func TestADateCellOfAWorkbookIsTheDayThatWasTyped(t *testing.T) {
	f := excelize.NewFile()
	defer f.Close()
	born := time.Date(2018, 2, 28, 0, 0, 0, 0, time.UTC)
	for cell, v := range map[string]any{"A1": "Name", "B1": "DOB", "C1": "Phone", "A2": "Zofia Krajewik", "B2": born, "C2": 447700900107,
		"A3": "Igor Krajewik", "B3": "29/02/2016"} {
		if err := f.SetCellValue("Sheet1", cell, v); err != nil {
			t.Fatal(err)
		}
	}
	var b bytes.Buffer
	if err := f.Write(&b); err != nil {
		t.Fatal(err)
	}
	p := planOf(nil, tableOf(t, b.String()), nil)
	students := applied(t, p, nil)
	z, i := find(students, "Zofia Krajewik"), find(students, "Igor Krajewik")
	if z.BirthDate.String() != "2018-02-28" || i.BirthDate.String() != "2016-02-29" || z.Guardians[0].Phone != "447700900107" {
		t.Errorf("%+v\n%+v", z, i)
	}
	if want := `column "DOB" holds 1 day number of a spreadsheet: 43159 on line 2 is 28 February 2018`; !slices.Contains(p.Notes, want) {
		t.Errorf("notes: %q", p.Notes)
	}
}
