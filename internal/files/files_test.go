package files_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/txtar"

	"rankwright"
	"rankwright/decide"
	"rankwright/internal/files"
	"rankwright/syllabus"
)

var update = flag.Bool("update", false, "write what the files of testdata give into their want sections")

func small(t testing.TB) *syllabus.Syllabus {
	t.Helper()
	data, err := os.ReadFile("testdata/small.yaml")
	if err != nil {
		t.Fatal(err)
	}
	s, err := syllabus.Parse("small.yaml", data)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// read reads the tables of an archive and judges the entries.
func read(s *syllabus.Syllabus, tables map[string][]byte) (string, error) {
	es, err := files.ReadEntries("entries.csv", bytes.NewReader(tables["entries.csv"]), s)
	if err != nil {
		return "", err
	}
	if data, ok := tables["marks.csv"]; ok {
		if err := es.ReadMarks("marks.csv", bytes.NewReader(data)); err != nil {
			return "", err
		}
	}
	if data, ok := tables["clearances.csv"]; ok {
		if err := es.ReadClearances("clearances.csv", bytes.NewReader(data), s); err != nil {
			return "", err
		}
	}
	var b strings.Builder
	for _, e := range es.List {
		fmt.Fprintf(&b, "%s %s age %d lead %q presence %d waived %v retries %d met %v\n", e.ID, e.Rank.ID, e.Age, e.Lead, e.Presence, e.Waived, e.Retries, e.Met)
		for _, m := range e.Marks {
			fmt.Fprintf(&b, "  %s by %s: %v try %d at %d id %q device %q seq %d note %q\n", m.Requirement, m.Examiner, m.Value, m.Try, m.At, m.ID, m.Device, m.Seq, m.Note)
		}
	}
	_, err = files.Decide(es, s, rankwright.MustDay("2026-10-10"), func(v *decide.Verdict) error {
		doc, err := json.Marshal(v.Document())
		if err != nil || !json.Valid(doc) {
			panic(err)
		}
		return nil
	})
	return b.String(), err
}

// archives runs each file of a folder: a reason: line, tables and a want
// section, which is compared letter by letter.
func archives(t *testing.T, pattern string, least int, run func(*testing.T, map[string][]byte) string) {
	t.Helper()
	paths, err := filepath.Glob(pattern)
	if err != nil || len(paths) < least {
		t.Fatalf("only %d files: %v", len(paths), err)
	}
	for _, path := range paths {
		t.Run(strings.TrimSuffix(filepath.Base(path), ".txtar"), func(t *testing.T) {
			ar, err := txtar.ParseFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if reason, ok := strings.CutPrefix(string(ar.Comment), "reason: "); !ok || len(strings.TrimSpace(reason)) < 10 {
				t.Fatal("no reason is given")
			}
			want := &ar.Files[len(ar.Files)-1]
			if want.Name != "want" {
				t.Fatal("the last section must be want")
			}
			got := run(t, tablesOf(ar))
			if *update {
				want.Data = []byte(got)
				if err := os.WriteFile(path, txtar.Format(ar), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			if len(want.Data) == 0 || got != string(want.Data) {
				t.Errorf("got:\n%swant:\n%s", got, want.Data)
			}
		})
	}
}

func tablesOf(ar *txtar.Archive) map[string][]byte {
	out := map[string][]byte{}
	for _, f := range ar.Files[:len(ar.Files)-1] {
		out[f.Name] = f.Data
	}
	return out
}

func TestABadTableIsRefusedInTheseWords(t *testing.T) {
	s := small(t)
	archives(t, "testdata/bad/*.txtar", 20, func(t *testing.T, tables map[string][]byte) string {
		got, err := read(s, tables)
		if err == nil {
			t.Fatalf("it was read:\n%s", got)
		}
		return err.Error() + "\n"
	})
}

func TestAGoodTableIsReadAsItIsMeant(t *testing.T) {
	s := small(t)
	archives(t, "testdata/good/*.txtar", 6, func(t *testing.T, tables map[string][]byte) string {
		got, err := read(s, tables)
		if err != nil {
			t.Fatal(err)
		}
		return got
	})
}

var codes = []string{"bad_age", "bad_number", "bad_text", "bad_time", "bad_value", "double_column", "double_id", "empty", "missing",
	"missing_column", "more", "not_csv", "not_utf8", "not_yes_no", "out_of_range", "unknown_id", "unknown_rank", "unknown_word"}

func TestTheBadTablesCoverEveryCode(t *testing.T) {
	s := small(t)
	paths, _ := filepath.Glob("testdata/bad/*.txtar")
	var seen []string
	for _, path := range paths {
		ar, err := txtar.ParseFile(path)
		if err != nil {
			t.Fatal(err)
		}
		_, err = read(s, tablesOf(ar))
		for _, f := range faultsOf(t, err) {
			seen = append(seen, f.Code)
		}
	}
	for _, c := range codes {
		if !slices.Contains(seen, c) {
			t.Errorf("no bad table for the code %q", c)
		}
	}
}

// faultsOf lists the faults that an error is made of.
func faultsOf(t testing.TB, err error) rankwright.Faults {
	t.Helper()
	var fs rankwright.Faults
	var f *rankwright.Fault
	switch {
	case errors.As(err, &fs):
	case errors.As(err, &f):
		fs = rankwright.Faults{f}
	default:
		t.Fatalf("not a fault: %v", err)
	}
	return fs
}

// The order of the columns, a byte order mark, line ends, quotes, blank lines,
// capitals in headings and columns of other programs change nothing.
func TestTheSameTableInOtherClothes(t *testing.T) {
	s := small(t)
	plain := map[string][]byte{
		"entries.csv":    []byte("entry,rank,age_on_day,lead\nana,yellow,7,e1\nben,orange,9,e2\n"),
		"marks.csv":      []byte("entry,requirement,examiner,value,at\nana,fall,e1,1,2026-10-10T10:05:00Z\nana,run,e1,19.25,\nben,vote,e2,yes,\n"),
		"clearances.csv": []byte("entry,clearance,met,at\nana,signature,yes,2026-10-01\nana,signature,no,2026-10-02\nben,homework,yes,\nben,signature,1,\n"),
	}
	want, err := read(s, plain)
	if err != nil {
		t.Fatal(err)
	}
	for name, change := range map[string]func(string) string{
		"a byte order mark":   func(x string) string { return "\ufeff" + x },
		"CRLF":                func(x string) string { return strings.ReplaceAll(x, "\n", "\r\n") },
		"no line end at last": func(x string) string { return strings.TrimSuffix(x, "\n") },
		"blank lines":         func(x string) string { return "\n" + strings.ReplaceAll(x, "\n", "\n\n  \n") },
		"rows of commas":      func(x string) string { return x + ",,,,\n" },
		"quoted cells":        func(x string) string { return rows(x, func(c []string) []string { return quoted(c) }) },
		"spaces around":       func(x string) string { return strings.ReplaceAll(x, ",", " , ") },
		"columns turned": func(x string) string {
			return rows(x, func(c []string) []string { slices.Reverse(c); return c })
		},
		"more columns": func(x string) string {
			return rows(x, func(c []string) []string { return append([]string{"belt size"}, append(c, `"a, b"`)...) })
		},
		"capital headings": func(x string) string { i := strings.Index(x, "\n"); return strings.ToUpper(x[:i]) + x[i:] },
	} {
		t.Run(name, func(t *testing.T) {
			other := map[string][]byte{}
			for file, data := range plain {
				other[file] = []byte(change(string(data)))
			}
			got, err := read(s, other)
			if err != nil || got != want {
				t.Errorf("%v\n%s\nwant\n%s", err, got, want)
			}
		})
	}
}

func rows(table string, turn func([]string) []string) string {
	var b strings.Builder
	for line := range strings.SplitSeq(strings.TrimSuffix(table, "\n"), "\n") {
		b.WriteString(strings.Join(turn(strings.Split(line, ",")), ",") + "\n")
	}
	return b.String()
}

func quoted(cells []string) []string {
	for i := range cells {
		cells[i] = `"` + cells[i] + `"`
	}
	return cells
}

func FuzzTables(f *testing.F) {
	for _, pattern := range []string{"testdata/bad/*.txtar", "testdata/good/*.txtar"} {
		paths, _ := filepath.Glob(pattern)
		if len(paths) == 0 {
			f.Fatal("no seeds")
		}
		for _, path := range paths {
			ar, err := txtar.ParseFile(path)
			if err != nil {
				f.Fatal(err)
			}
			tables := tablesOf(ar)
			f.Add(tables["entries.csv"], tables["marks.csv"], tables["clearances.csv"])
		}
	}
	s := small(f)
	f.Fuzz(func(t *testing.T, entries, marks, clearances []byte) {
		tables := map[string][]byte{"entries.csv": entries, "marks.csv": marks, "clearances.csv": clearances}
		got, err := read(s, tables)
		if err == nil {
			if again, err := read(s, tables); err != nil || again != got {
				t.Fatalf("read otherwise the second time: %v", err)
			}
			return
		}
		fs := faultsOf(t, err)
		if len(fs) == 0 || len(fs) > 102 {
			t.Fatalf("%d faults", len(fs))
		}
		for _, fault := range fs {
			data, ok := tables[fault.Where.File]
			lines := 1 + bytes.Count(data, []byte("\n"))
			if !ok || fault.Where.Line < 1 || fault.Where.Line > lines {
				t.Fatalf("%v lies outside the table of %d lines", fault, lines)
			}
			if fault.Code == "" || fault.Say == "" || fault.Do == "" {
				t.Fatalf("fault without code, sentence or advice: %#v", fault)
			}
		}
	})
}
