package web_test

import (
	"bytes"
	"encoding/json"
	"os/exec"
	"slices"
	"strings"
	"testing"

	"rankwright"
	"rankwright/roster"
)

// rowsByPython are the rows of a table as Python's csv module reads them, which
// shares nothing with us.
func rowsByPython(t *testing.T, data string) (rows [][]string) {
	t.Helper()
	cmd := exec.Command("/usr/bin/python3", "-c", `import csv, io, json, sys
print(json.dumps(list(csv.reader(io.TextIOWrapper(sys.stdin.buffer, "utf-8-sig", newline=""), strict=True))))`)
	cmd.Stdin = strings.NewReader(data)
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%v: install the Debian package python3, which reads tables independently of us", err)
	}
	if err := json.Unmarshal(out, &rows); err != nil {
		t.Fatal(err)
	}
	return rows
}

// Names and notes with all that a table is made of come out as they went in.
func TestTablesAreReadByAnotherReader(t *testing.T) {
	st := roster.Student{ID: "s1", GivenName: "Linh-Đan \"Lin\"", FamilyName: "Ó Néill, junior", BirthDate: rankwright.MustDay("2018-02-28"), Household: "h;1",
		Ladder: "youth", Rank: "reed", RankSince: rankwright.MustDay("2026-07-04"), ClassesSinceRank: 12, Notes: "allergic to nuts\nsays so himself", Said: "ლინ",
		Guardians: []roster.Guardian{{Name: "Ewa", Email: "ewa@example.org"}, {Name: "Mai", Phone: "+48 1"}}}
	var b bytes.Buffer
	if err := roster.WriteStudents(&b, []roster.Student{st}); err != nil {
		t.Fatal(err)
	}
	rows := rowsByPython(t, b.String())
	if len(rows) != 2 || !slices.Equal(rows[0], roster.Headings()) {
		t.Fatalf("%q", rows)
	}
	// An apostrophe stands before what a spreadsheet program would take for a formula.
	want := []string{"s1", st.GivenName, st.FamilyName, "2018-02-28", "h;1", "youth", "reed", "2026-07-04", "12", "Ewa; Mai", "ewa@example.org; ", "; +48 1", "", "", st.Notes, "ლინ"}
	if !slices.Equal(rows[1], want) {
		t.Errorf("read as\n%q, want\n%q", rows[1], want)
	}
	st.GivenName = "=1+1"
	b.Reset()
	if err := roster.WriteStudents(&b, []roster.Student{st}); err != nil {
		t.Fatal(err)
	}
	if rows := rowsByPython(t, b.String()); rows[1][1] != "'=1+1" {
		t.Errorf("a formula is read as %q", rows[1][1])
	}
}
