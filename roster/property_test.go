package roster_test

import (
	"bytes"
	"encoding/csv"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode"

	"github.com/rogpeppe/go-internal/txtar"
	"golang.org/x/text/unicode/norm"
	"pgregory.net/rapid"

	"rankwright"
	"rankwright/roster"
	"rankwright/roster/table"
)

// text draws what people and programs put into cells, composed as table.Read
// composes it.
func text(label string, t *rapid.T) string {
	s := rapid.OneOf(
		rapid.SampledFrom([]string{"", "Ana", "O'Neil", "'t Hooft", "=1+1", "+44 7700", "-", "@x", "'=x", "''+1", "＝2", "Đan", "a,b", `"q"`, "x\ny", "\ttab", " sp ", "é", "?", "n/a", "a;b"}),
		rapid.StringN(0, 12, 40),
	).Draw(t, label)
	return norm.NFC.String(strings.Map(func(r rune) rune {
		if unicode.Is(unicode.Cf, r) || unicode.IsControl(r) && r != '\n' && r != '\t' {
			return -1
		}
		return r
	}, s))
}

// student draws a record as the roster keeps it.
func student(t *rapid.T, id string) roster.Student {
	day := func(label string) rankwright.Day {
		return rankwright.Day(rapid.IntRange(int(rankwright.MustDay("1950-01-01")), int(rankwright.MustDay("2023-01-01"))).Draw(t, label))
	}
	s := roster.Student{ID: rankwright.StudentID(id), GivenName: "G " + text("given", t), FamilyName: text("family", t), BirthDate: day("birth"),
		Household: rankwright.HouseholdID("h " + text("household", t)), Ladder: "youth",
		Rank:             rapid.SampledFrom([]rankwright.RankID{"", "reed", "amber", "indigo"}).Draw(t, "rank"),
		ClassesSinceRank: rapid.IntRange(0, 300).Draw(t, "classes"),
		BeltSize:         text("belt", t), ShirtSize: text("shirt", t), Notes: text("notes", t) + "\n" + text("notes", t)}
	if s.RankSince = day("since"); s.RankSince < s.BirthDate {
		s.RankSince = 0
	}
	for range rapid.IntRange(0, 3).Draw(t, "guardians") {
		s.Guardians = append(s.Guardians, roster.Guardian{Name: text("guardian", t), Email: text("email", t), Phone: text("phone", t)})
	}
	return s.Clean()
}

func read(t interface{ Fatal(...any) }, b []byte) roster.Table {
	res, err := table.Read(b, table.Options{File: "students.csv"})
	if err != nil {
		t.Fatal(err)
	}
	return res.Table
}

func TestWhatIsWrittenIsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var students []roster.Student
		for i := range rapid.IntRange(1, 4).Draw(t, "n") {
			s := student(t, "id"+string(rune('a'+i)))
			// Two guardians of one name or one address are one person.
			if len(s.Guardians) > 1 {
				s.Guardians = s.Guardians[:1]
			}
			students = append(students, s)
		}
		var b bytes.Buffer
		if err := roster.WriteStudents(&b, students); err != nil {
			t.Fatal(err)
		}
		tb := read(t, b.Bytes())
		answers := roster.Answers{}
		for _, r := range tb.Rows {
			answers["row "+strconv.Itoa(r.Line)] = "accept"
		}
		p := roster.Plan(nil, tb, roster.Recognise(tb), otterlight, answers, today)
		got, err := roster.Apply(p, nil, false)
		if err != nil {
			t.Fatalf("%v\n%s", err, b.String())
		}
		if !slices.EqualFunc(got, students, roster.Student.Equal) {
			t.Fatalf("wrote %+v\nread  %+v\n%s", students, got, b.String())
		}
		for _, r := range tb.Rows[1:] {
			for _, c := range r.Cells {
				if c.Text != "" && strings.ContainsAny(c.Text[:1], "=+-@\t\r") {
					t.Fatalf("a spreadsheet would run the cell %q", c.Text)
				}
			}
		}
	})
}

// messyTable draws a table in which everything that can clash clashes.
func messyTable(t *rapid.T) []byte {
	pick := func(label string, of ...string) string { return rapid.SampledFrom(of).Draw(t, label) }
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	columns := [][]string{
		{"student_id", "", "", "1", "2", "s0001"}, {"given_name", "", "Ana", "Anna", "Zofia"}, {"family_name", "", "Roe", "Poe", "Roe Poe"},
		{"birth_date", "", "2016-01-01", "2016-01-02", "03/04/2016", "13/04/2016", "2030-01-01", "42038"},
		{"household", "", "", "mill", "quay"}, {"rank", "", "Reed", "amber belt", "none", "ambr"}, {"rank_since", "", "2026-01-01", "2010-01-01", "04/05/2026"},
		{"classes_since_rank", "", "3", "-1", "7"}, {"guardian_name", "", "Ola", "Ola; Jan", "Jan"}, {"guardian_email", "", "o@x.org", "; j@x.org", "o@x.org; o@x.org", "no"},
		{"guardian_phone", "", "600 123 123", "12"}, {"notes", "", "=x", "a\nb"},
	}
	columns = rapid.Permutation(columns).Draw(t, "columns")[:rapid.IntRange(2, len(columns)).Draw(t, "width")]
	row := func(f func(c []string) string) {
		var cells []string
		for _, c := range columns {
			cells = append(cells, f(c))
		}
		_ = w.Write(cells)
	}
	row(func(c []string) string { return c[0] })
	for range rapid.IntRange(0, 6).Draw(t, "rows") {
		row(func(c []string) string { return pick(c[0], c[1:]...) })
	}
	w.Flush()
	return b.Bytes()
}

// TestWhatWasTakenIsTheSameNextTime is the promise that importing twice does
// nothing: every row that was good is "same" in a second plan. The answer
// "new" is left out: it may make two students of one name and birth date, whom
// a file without ids rightly cannot tell apart.
func TestWhatWasTakenIsTheSameNextTime(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var current []roster.Student
		if rapid.Bool().Draw(t, "with a roster") {
			first := read(t, messyTable(t))
			var err error
			if current, err = roster.Apply(planOf(nil, first, nil), nil, true); err != nil {
				current = nil
			}
		}
		tb := read(t, messyTable(t))
		answers := roster.Answers{}
		if rapid.Bool().Draw(t, "answer") {
			answers["order birth_date"], answers["order rank_since"], answers["by_name"] = "dmy", "mdy", "yes"
			for l := 2; l < 20; l++ {
				answers["row "+strconv.Itoa(l)] = rapid.SampledFrom([]string{"", "accept", "skip"}).Draw(t, "row")
			}
		}
		p := planOf(current, tb, answers)
		after, err := roster.Apply(p, current, true)
		if err != nil {
			if len(p.Faults) == 0 {
				t.Fatal(err)
			}
			return
		}
		again := planOf(after, tb, answers)
		for i, r := range p.Rows {
			if r.Status.Good() && again.Rows[i].Status != roster.Same {
				t.Fatalf("line %d was %s and is %s: %v %v", r.Line, r.Status, again.Rows[i].Status, again.Rows[i].Changes, again.Rows[i].Faults)
			}
		}
		ids := map[rankwright.StudentID]bool{}
		for _, s := range after {
			if ids[s.ID] || s.ID == "" {
				t.Fatalf("the id %q is given twice", s.ID)
			}
			ids[s.ID] = true
			if fs := s.Validate(today); len(fs) > 0 {
				t.Fatalf("what was taken is not valid: %v", fs)
			}
		}
	})
}

func FuzzPlan(f *testing.F) {
	for _, name := range []string{"otterlight.csv", "alumnos.csv", "fall-roster.csv", "unicode-text.txt"} {
		b, err := os.ReadFile("testdata/" + name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b, "row 2", "accept")
	}
	files, _ := filepath.Glob("testdata/bad/*.txtar")
	for _, file := range files {
		ar, err := txtar.ParseFile(file)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(ar.Files[0].Data, "order birth_date", "dmy")
	}
	current := mustStudents(f, []byte(smallRoster))
	f.Fuzz(func(t *testing.T, b []byte, question, answer string) {
		res, err := table.Read(b, table.Options{File: "f"})
		if err != nil {
			return
		}
		p := planOf(current, res.Table, roster.Answers{question: answer})
		for _, r := range p.Rows {
			if (r.Status == roster.Doubtful || r.Status == roster.Refused) != (len(r.Faults) > 0) {
				t.Fatalf("a row is %s with the faults %v", r.Status, r.Faults)
			}
		}
		after, err := roster.Apply(p, current, true)
		if err != nil && len(p.Faults) == 0 {
			t.Fatal(err)
		}
		if err == nil && len(after) < len(current) {
			t.Fatal("an import removed a student")
		}
	})
}
