package roster_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"strings"
	"testing"

	"rankwright"
	"rankwright/roster"
)

func TestTheFileThatIsWrittenIsTheContract(t *testing.T) {
	var b bytes.Buffer
	err := roster.WriteStudents(&b, []roster.Student{{ID: "17", GivenName: "Zofia", FamilyName: "Krajewik, jr", BirthDate: rankwright.MustDay("2018-02-28"),
		Household: "h-17", Ladder: "youth", Rank: "reed", RankSince: rankwright.MustDay("2026-07-11"), ClassesSinceRank: 27,
		Guardians: []roster.Guardian{{Name: "Ola", Phone: "+48 221"}, {Name: "Jan", Email: "jan@example.org"}}, Notes: "=HYPERLINK(\"x\")\nline two", Said: "ZO-fya"}})
	want := "student_id,given_name,family_name,birth_date,household,ladder,rank,rank_since,classes_since_rank,guardian_name,guardian_email,guardian_phone,belt_size,shirt_size,notes,said\n" +
		"17,Zofia,\"Krajewik, jr\",2018-02-28,h-17,youth,reed,2026-07-11,27,Ola; Jan,; jan@example.org,'+48 221; ,,,\"'=HYPERLINK(\"\"x\"\")\nline two\",ZO-fya\n"
	if err != nil || b.String() != want {
		t.Errorf("%v\n%s\nwant\n%s", err, b.String(), want)
	}
	p := planOf(nil, tableOf(t, b.String()), nil)
	got := p.Rows[0].Student
	if got.Said != "ZO-fya" {
		t.Errorf("the name is said %q", got.Said)
	}
	if len(got.Guardians) != 2 || got.Guardians[0] != (roster.Guardian{Name: "Ola", Phone: "+48 221"}) || got.Guardians[1] != (roster.Guardian{Name: "Jan", Email: "jan@example.org"}) {
		t.Errorf("guardians read back: %+v", got.Guardians)
	}
}

// TestNoCellIsAFormula uses the beginnings that OWASP's page on CSV injection
// names: = + - @, tab, carriage return, line feed and their full-width forms.
func TestNoCellIsAFormula(t *testing.T) {
	for _, start := range []string{"=", "+", "-", "@", "\t=", "\r=", "\n=", " =", "＝", "＋", "－", "＠", "'=", "''@"} {
		s := roster.Student{ID: "1", GivenName: start + "cmd|' /C calc'!A0", FamilyName: "'t Hooft", Notes: start + "1+1"}.Clean()
		var b bytes.Buffer
		if err := roster.WriteStudents(&b, []roster.Student{s}); err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(&b).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range []string{rows[1][1], rows[1][14]} {
			if !strings.HasPrefix(c, "'") {
				t.Errorf("%q is written as %q", start, c)
			}
		}
		if rows[1][2] != "'t Hooft" {
			t.Errorf("a name with an apostrophe is written as %q", rows[1][2])
		}
	}
}

func TestARecordIsHeldToTheSameRulesWhereverItComesFrom(t *testing.T) {
	good := roster.Student{ID: "1", GivenName: "Ana", BirthDate: rankwright.MustDay("2016-01-01"), RankSince: rankwright.MustDay("2026-01-01")}
	if fs := good.Validate(today); len(fs) > 0 {
		t.Error(fs)
	}
	bad := roster.Student{BirthDate: today + 1, RankSince: today + 2, ClassesSinceRank: -1, BeltSize: strings.Repeat("9", 31), Guardians: make([]roster.Guardian, 7)}
	want := `the student has no id; give each student an id of their own
the student has no name; write the student's name
a birth date of 11 October 2026 lies in the future; correct the birth date
the rank is said to be held since 12 October 2026, which lies in the future; correct the date
-1 classes since the rank cannot be; the number runs from 0 to 10000; correct the number of classes
the belt size has 31 characters, and at most 30 are kept; shorten it
there are 7 guardians, and at most 6 are kept; keep the ones to reach first`
	if got := bad.Validate(today).Error(); got != want {
		t.Errorf("got:\n%s\nwant:\n%s", got, want)
	}
}

func TestALargeSchoolIsPlannedWhole(t *testing.T) {
	var students []roster.Student
	for i := range 20000 {
		students = append(students, roster.Student{ID: rankwright.StudentID(fmt.Sprint("k", i)),
			GivenName: "Ana " + string(rune('a'+i%26)), FamilyName: "Roe" + strings.Repeat("o", i%30), BirthDate: rankwright.MustDay("2010-01-01") + rankwright.Day(i%3000), Ladder: "youth",
			Guardians: []roster.Guardian{{Email: "a@x.org"}}})
	}
	students, _ = roster.FillHouseholds(students)
	if hs := roster.Households(students); len(hs) != 1 || len(hs[0].Students) != 20000 {
		t.Fatalf("%d households", len(hs))
	}
	var b bytes.Buffer
	if err := roster.WriteStudents(&b, students); err != nil {
		t.Fatal(err)
	}
	p := planOf(students, tableOf(t, b.String()), nil)
	if p.Count(roster.Same) != 20000 {
		t.Errorf("%s", p.Summary())
	}
	var wide bytes.Buffer
	wide.WriteString("Name,DOB\n")
	for i := range 20000 {
		fmt.Fprintf(&wide, "Bo %c%c%c%c,2010-01-0%d\n", 'a'+i%26, 'a'+i/26%26, 'a'+i/676%26, 'a'+i/17576, 1+i%9)
	}
	p = planOf(students, tableOf(t, wide.String()), nil)
	if p.Count(roster.New) != 20000 {
		t.Errorf("%s", p.Summary())
	}
}
