package roster_test

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/txtar"
	"github.com/xuri/excelize/v2"
	"golang.org/x/text/encoding/charmap"

	"rankwright"
	"rankwright/roster"
	"rankwright/roster/table"
)

var update = flag.Bool("update", false, "write what the bad files say into their want sections")

var today = rankwright.MustDay("2026-10-10")

// otterlight is the ladder of the invented club.
var otterlight = roster.School{Ladders: []roster.Ladder{{
	ID: "youth", Names: []string{"Youth"},
	Ranks: []roster.RankName{
		{ID: "reed", Names: []string{"Reed", "pale green", "verde claro"}},
		{ID: "amber", Names: []string{"Amber", "ámbar"}},
		{ID: "slate", Names: []string{"Slate", "grey-blue", "pizarra"}},
		{ID: "copper", Names: []string{"Copper", "cobre"}},
		{ID: "plum", Names: []string{"Plum", "ciruela"}},
		{ID: "indigo", Names: []string{"Indigo", "índigo"}},
	},
}}}

// TestBadFiles reads each file of testdata/bad and compares what a person is
// told with the want section, letter by letter.
func TestBadFiles(t *testing.T) {
	files, _ := filepath.Glob("testdata/bad/*.txtar")
	if len(files) < 30 {
		t.Fatalf("only %d bad files", len(files))
	}
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txtar"), func(t *testing.T) {
			ar, err := txtar.ParseFile(file)
			if err != nil {
				t.Fatal(err)
			}
			got := tell(t, ar)
			want := &ar.Files[len(ar.Files)-1]
			if want.Name != "want" {
				t.Fatal("the last section must be want")
			}
			if *update {
				want.Data = []byte(got)
				if err := os.WriteFile(file, txtar.Format(ar), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			if len(want.Data) == 0 || got != string(want.Data) {
				t.Errorf("got:\n%swant:\n%s", got, want.Data)
			}
		})
	}
}

// tell imports the first file of the archive and writes down every fault and
// question in order.
func tell(t *testing.T, ar *txtar.Archive) string {
	t.Helper()
	opts := table.Options{File: ar.Files[0].Name}
	data := ar.Files[0].Data
	remap := map[string]roster.Field{}
	reason := false
	for _, line := range strings.Split(strings.TrimSpace(string(ar.Comment)), "\n") {
		key, value, _ := strings.Cut(line, ": ")
		switch key {
		case "reason":
			reason = value != ""
		case "encoding":
			opts.Encoding = value
		case "sheet":
			opts.Sheet = value
		case "write":
			b, err := charmap.Windows1252.NewEncoder().Bytes(data)
			if err != nil || value != "windows-1252" {
				t.Fatal(value, err)
			}
			data = b
		case "as":
			data = workbook(t, data)
		case "map":
			h, f, _ := strings.Cut(value, "=")
			remap[h] = roster.Field(f)
		default:
			t.Fatalf("unknown line %q", line)
		}
	}
	if !reason {
		t.Fatal("the file gives no reason")
	}
	var current []roster.Student
	answers := roster.Answers{}
	for _, f := range ar.Files[1:] {
		switch f.Name {
		case "roster.csv":
			current = mustStudents(t, f.Data)
		case "answers":
			for _, l := range strings.Split(strings.TrimSpace(string(f.Data)), "\n") {
				k, v, _ := strings.Cut(l, "=")
				answers[k] = v
			}
		}
	}
	res, err := table.Read(data, opts)
	if err != nil {
		return err.Error() + "\n"
	}
	m := roster.Recognise(res.Table)
	for i, c := range m.Columns {
		if f, ok := remap[c.Heading]; ok {
			m = m.With(i, f)
		}
	}
	plan := roster.Plan(current, res.Table, m, otterlight, answers, today)
	var b strings.Builder
	ask := func(q roster.Question) {
		fmt.Fprintf(&b, "question %s\n  %s: %s\n", q.ID, q.Where, q.Ask)
		for _, c := range q.Choices {
			fmt.Fprintf(&b, "  (%s) %s\n", c.Value, c.Label)
		}
	}
	for _, f := range plan.Faults {
		fmt.Fprintln(&b, f)
	}
	for _, q := range plan.Questions {
		ask(q)
	}
	for _, r := range plan.Rows {
		for _, f := range r.Faults {
			fmt.Fprintln(&b, f)
		}
		if r.Question != nil {
			ask(*r.Question)
		}
	}
	return b.String()
}

// mustStudents reads a table that must be without fault into an empty roster.
func mustStudents(t testing.TB, b []byte) []roster.Student {
	t.Helper()
	res, err := table.Read(b, table.Options{File: "roster.csv"})
	if err != nil {
		t.Fatal(err)
	}
	plan := roster.Plan(nil, res.Table, roster.Recognise(res.Table), otterlight, nil, today)
	students, err := roster.Apply(plan, nil, false)
	if err != nil {
		t.Fatal(err)
	}
	return students
}

// workbook makes an XLSX file of comma-separated lines.
func workbook(t testing.TB, csv []byte) []byte {
	t.Helper()
	f := excelize.NewFile()
	defer f.Close()
	for i, line := range strings.Split(strings.TrimSpace(string(csv)), "\n") {
		for j, v := range strings.Split(line, ",") {
			cell, _ := excelize.CoordinatesToCellName(j+1, i+1)
			if err := f.SetCellStr("Sheet1", cell, v); err != nil {
				t.Fatal(err)
			}
		}
	}
	var b bytes.Buffer
	if err := f.Write(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}
