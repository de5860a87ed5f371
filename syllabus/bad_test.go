package syllabus_test

import (
	"errors"
	"flag"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/txtar"

	"rankwright"
	"rankwright/syllabus"
)

var update = flag.Bool("update", false, "write what the bad files say into their want sections")

type badFile struct {
	name  string
	path  string
	ar    *txtar.Archive
	input []byte
}

// badFiles reads testdata/bad: each file holds a reason: line, a syllabus and
// the exact sentences that it is refused with. A line #repeat N "text" in the
// syllabus stands for N times that text.
func badFiles(t testing.TB) []badFile {
	t.Helper()
	paths, err := filepath.Glob("testdata/bad/*.txtar")
	if err != nil || len(paths) < 60 {
		t.Fatalf("only %d bad files: %v", len(paths), err)
	}
	var out []badFile
	for _, path := range paths {
		ar, err := txtar.ParseFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if len(ar.Files) != 2 || ar.Files[0].Name != "syllabus.yaml" || ar.Files[1].Name != "want" {
			t.Fatalf("%s should hold syllabus.yaml and want", path)
		}
		if reason, ok := strings.CutPrefix(string(ar.Comment), "reason: "); !ok || len(strings.TrimSpace(reason)) < 10 {
			t.Fatalf("%s gives no reason", path)
		}
		name := strings.TrimSuffix(filepath.Base(path), ".txtar")
		out = append(out, badFile{name, path, ar, repeated(t, ar.Files[0].Data)})
	}
	return out
}

func repeated(t testing.TB, data []byte) []byte {
	var b strings.Builder
	for line := range strings.Lines(string(data)) {
		rest, ok := strings.CutPrefix(line, "#repeat ")
		if !ok {
			b.WriteString(line)
			continue
		}
		n, text, _ := strings.Cut(strings.TrimSpace(rest), " ")
		times, err1 := strconv.Atoi(n)
		what, err2 := strconv.Unquote(text)
		if err1 != nil || err2 != nil {
			t.Fatalf("cannot repeat %q", line)
		}
		b.WriteString(strings.Repeat(what, times))
	}
	return []byte(b.String())
}

// Every sentence that a head instructor can meet is in a file, letter by
// letter, with the reason for it.
func TestABadFileIsRefusedInTheseWords(t *testing.T) {
	for _, bad := range badFiles(t) {
		t.Run(bad.name, func(t *testing.T) {
			s, err := syllabus.Parse("syllabus.yaml", bad.input)
			if err == nil {
				t.Fatalf("it was read: %+v", s)
			}
			got := err.Error() + "\n"
			want := &bad.ar.Files[1]
			if *update {
				want.Data = []byte(got)
				if err := os.WriteFile(bad.path, txtar.Format(bad.ar), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			if got != string(want.Data) {
				t.Errorf("got:\n%swant:\n%s", got, want.Data)
			}
		})
	}
}

// codesOf is every fault code that the reader of the file (not of the
// eligibility in it) can give.
var codesOf = []string{"bad_band", "bad_colour", "bad_credit", "bad_id", "bad_level", "bad_order", "bad_panel", "bad_text",
	"clash", "double_id", "double_key", "empty", "empty_list", "ends_before", "many_documents", "missing_key", "more",
	"no_value", "not_date", "not_days", "not_exact", "not_in_language", "not_keys", "not_number", "not_share",
	"not_text", "not_utf8", "not_whole", "not_yaml", "not_yes_no", "other_format", "out_of_range", "tab", "too_deep",
	"too_large", "too_long", "too_many", "unknown_id", "unknown_key", "unknown_word"}

func TestTheBadFilesCoverEveryCode(t *testing.T) {
	seen := map[string]bool{}
	for _, bad := range badFiles(t) {
		_, err := syllabus.Parse("syllabus.yaml", bad.input)
		var fs rankwright.Faults
		if !errors.As(err, &fs) {
			t.Fatalf("%s: %v", bad.name, err)
		}
		for _, f := range fs {
			seen[f.Code] = true
		}
	}
	for _, code := range codesOf {
		if !seen[code] {
			t.Errorf("no bad file for the code %q", code)
		}
	}
}
