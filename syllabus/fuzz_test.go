package syllabus_test

import (
	"errors"
	"os"
	"strings"
	"testing"

	"rankwright"
	"rankwright/syllabus"
)

// FuzzParse holds Parse to its promise on any bytes: it comes back, with a
// syllabus that can be looked at or with faults that lie in the file.
func FuzzParse(f *testing.F) {
	for _, bad := range badFiles(f) {
		if len(bad.input) < 1<<14 {
			f.Add(bad.input)
		}
	}
	for _, path := range []string{"../examples/one-page.yaml", "../examples/otterlight.yaml", "../examples/regulations/bjj-ibjjf.yaml"} {
		data, err := os.ReadFile(path)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Add([]byte(maximal))
	f.Fuzz(func(t *testing.T, data []byte) { holdsParse(t, data) })
}

func holdsParse(t *testing.T, data []byte) {
	t.Helper()
	s, err := syllabus.Parse("f", data)
	if err == nil {
		if len(s.Ranks) == 0 || s.Ladder == "" || s.Name == "" {
			t.Fatalf("read, but without ranks or a name")
		}
		for _, k := range s.Ranks {
			if k.ID == "" || len(k.Pass.Conditions) == 0 || len(k.Pass.Results) < 2 {
				t.Fatalf("rank %+v", k)
			}
			last := k.Pass.Results[len(k.Pass.Results)-1]
			if last.Outcome != syllabus.NotYet || len(last.When) > 0 {
				t.Fatalf("the last result of %q does not always hold", k.ID)
			}
			for _, q := range k.Requirements {
				if q.ID == "" || q.Points < 0 || s.Section(q.Section) == nil || (q.Kind == syllabus.Leveled) != (q.Scale != nil) {
					t.Fatalf("requirement %+v", q)
				}
			}
		}
		for _, r := range syllabus.Lint(s) {
			if r.Line < 1 || r.Say == "" {
				t.Fatalf("remark %+v", r)
			}
		}
		return
	}
	if s != nil {
		t.Fatal("a syllabus with faults")
	}
	var fs rankwright.Faults
	if !errors.As(err, &fs) || len(fs) == 0 || len(fs) > 201 {
		t.Fatalf("not a list of faults: %v", err)
	}
	text := strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(string(data))
	lines := 1 + strings.Count(text, "\n")
	for i, fault := range fs {
		w := fault.Where
		if w.File != "f" || w.Line < 1 || w.Line > lines || w.Column < 1 {
			t.Fatalf("%v lies outside the file of %d lines", fault, lines)
		}
		if fault.Code == "" || fault.Say == "" || fault.Do == "" || fault.Kind != rankwright.Invalid {
			t.Fatalf("fault without code, sentence or advice: %#v", fault)
		}
		if i > 0 && w.Line < fs[i-1].Where.Line {
			t.Fatalf("%v comes after line %d", fault, fs[i-1].Where.Line)
		}
	}
}

// Input made to keep a parser busy or to exhaust its stack is refused, or
// read, like any other; the test would run out of time otherwise.
func TestHostileFilesAreReadInReasonableTime(t *testing.T) {
	fill := func(s string) []byte { return []byte(strings.Repeat(s, syllabus.MaxBytes/4/len(s))) }
	for _, s := range []string{"[", "{", "- ", "? ", "a: ", "!a ", "&a ", "*a ", "'", "\"", "\\", "|", ">", ",", ":", ": ", "#",
		"a: b\n", "- a\n", "-\n", "a:\n", "[\n", "a: [b]\n", "a: {b: c}\n", "---\n", "...\n", "%a\n", "a: |\n b\n", "a: >\n b\n", "a: \"b\n", "a: 'b\n",
		"\t", "\n", "\r", "a\n", "a \n", "? a\n", "!a b\n", "<<: a\n", "a: &a b\n", "\x00", "\xff", "ä", "a: b: c\n", "a: # b\n", "# a\n", "  \n", "]\n", "}\n", "a: 1\n b: 2\n"} {
		holdsParse(t, fill(s))
	}
	group := strings.Repeat(" b: c\n", 990)
	long := strings.Repeat("a: b, ", 680)
	for _, s := range []string{"a:\n" + group, "- a: b\n" + strings.Repeat("  - c\n", 990), "- {" + long + "}\n", "- [" + long + "]\n",
		"- " + strings.Repeat("a: ", 1300) + "\n", "- \"" + strings.Repeat("\\u0041", 600) + "\"\n", " - " + strings.Repeat("[{", 12) + strings.Repeat("}]", 12) + "\n"} {
		holdsParse(t, fill(s))
	}
	deep := &strings.Builder{}
	for i := 0; deep.Len() < syllabus.MaxBytes/4; i++ {
		deep.WriteString(strings.Repeat(" ", i) + "a:\n")
	}
	holdsParse(t, []byte(deep.String()))
}
