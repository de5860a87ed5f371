package syllabus_test

import (
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"rankwright/syllabus"
)

// sound is a syllabus about which there is nothing to remark.
const sound = `rankwright: syllabus 1
ladder: juniors
name: Juniors
age_bands: {A: 5-7, B: 8-10}
scales:
  MOVE: {levels: {0: stops, 1: right idea, 2: holds}}
sections:
  basics: Basics
  falls: Falls
requirements:
  fall: {section: falls, show: Falls backwards, kind: tick, points: 4, must: yes}
pass:
  conditions:
    musts: {musts: all}
    sections: {sections: 50%}
  results:
    - {outcome: promoted, when: [musts, sections]}
    - {outcome: not yet, label: part, when: [musts]}
ranks:
  - id: yellow
    name: Yellow
    belt: yellow
    asks:
      - fall
      - {id: guard, section: basics, show: Stands in guard, kind: level, scale: MOVE, points: 4}
  - id: orange
    name: Orange
    belt: orange
    asks:
      - fall
      - {id: guard, section: basics, show: Stands in guard, kind: level, scale: MOVE, points: 4, expect: 2}
`

func TestLintRemarksOnWhatIsOdd(t *testing.T) {
	guard := "show: Stands in guard, kind: level, scale: MOVE, points: 4}"
	for _, c := range []struct {
		name     string
		from, to string
		want     string // "" where there is nothing to remark
	}{
		{"nothing is odd in a sound syllabus", "", "", ""},
		{"a section of three points hangs on one mark", "points: 4, must", "points: 3, must",
			"20: at Yellow one mark can decide a section: Falls (3 points)\n26: at Orange one mark can decide a section: Falls (3 points)"},
		{"but not where no condition looks at it", "sections: 50%", "sections: {at_least: 50%, except: [falls]}", ""},
		{"a cap above what can be earned", "    belt: yellow\n", "    belt: yellow\n    bonus_cap: 2\n", "20: Yellow caps bonus at 2, but only 0 can be earned"},
		{"a rank with no must", "points: 4, must: yes", "points: 4",
			"20: Yellow has no must: a fall with the head off the mat usually is one\n26: Orange has no must: a fall with the head off the mat usually is one"},
		{"a requirement worth nothing", "      - fall\n      - {id: guard", "      - fall\n      - {id: bow, section: basics, show: Bows, kind: tick, points: 0}\n      - {id: guard", "25: bow at Yellow is worth no points"},
		{"an expectation that everybody shows", guard, strings.Replace(guard, "}", ", expect: 0}", 1), "25: guard at Yellow expects 0, which everybody shows"},
		{"an expectation that falls", "expect: 2}", "expect: 1}", "31: guard expects less of Orange than of Yellow below it"},
		{"the same words twice", "show: Stands in guard", "show: Falls backwards", "25: guard at Yellow has the same words as fall"},
		{"an examiner's rank that is not on the ladder", guard, strings.Replace(guard, "}", ", examiner: dan1}", 1), "25: guard at Yellow asks for an examiner of rank dan1, which is not on this ladder"},
		{"a panel's rank that is not on the ladder", "    belt: yellow\n", "    belt: yellow\n    panel: {size: 3, rank: dan1}\n", "20: the panel of Yellow asks for examiners of rank dan1, which is not on this ladder"},
		{"one rank without a colour among others", "    belt: yellow\n", "", "20: Yellow has no belt colour, and others have"},
		{"two ranks of one name", "name: Orange", "name: yellow", "26: ranks yellow and orange have the same name, yellow"},
		{"a shared requirement that nobody uses", "requirements:\n", "requirements:\n  bow: {section: basics, show: Bows, kind: tick, points: 1}\n", "11: requirement bow is used by no rank"},
		{"a scale that nobody uses", "scales:\n", "scales:\n  HIT: {levels: {0: misses, 1: hits}}\n", "6: scale HIT is used by no rank"},
		{"a list that nobody uses", "scales:\n", "lists: {rules: [ask]}\nscales:\n", "5: list rules is used by no rank"},
		{"a credit table that nobody uses", "scales:\n", "credits: {reach: {100%: 2}}\nscales:\n", "5: credit table reach is used by no rank"},
		{"a condition that no result looks at", "when: [musts, sections]}", "when: [musts]}",
			"20: no result of Yellow looks at the condition \"sections\"\n20: result 2 of Yellow is never reached: whoever meets its conditions meets those of result 1\n" +
				"26: no result of Orange looks at the condition \"sections\"\n26: result 2 of Orange is never reached: whoever meets its conditions meets those of result 1"},
		{"a condition that looks at nothing", "sections: 50%", "sections: {at_least: 50%, except: [falls, basics]}",
			"20: the condition \"sections\" looks at nothing that Yellow asks for, so it always holds\n26: the condition \"sections\" looks at nothing that Orange asks for, so it always holds"},
		{"ages between two bands", "B: 8-10", "B: 9-10", "4: no age band holds the ages between A and B; the strictest expectation is asked of them"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if !strings.Contains(sound, c.from) {
				t.Fatalf("%q is not in the sound syllabus", c.from)
			}
			s, err := syllabus.Parse("s.yaml", []byte(strings.Replace(sound, c.from, c.to, 1)))
			if err != nil {
				t.Fatal(err)
			}
			var got []string
			for _, r := range syllabus.Lint(s) {
				got = append(got, fmt.Sprintf("%d: %s", r.Line, r.Say))
			}
			if strings.Join(got, "\n") != c.want {
				t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), c.want)
			}
		})
	}
}

// exampleFiles lists every syllabus file that comes with the program.
func exampleFiles(t testing.TB) []string {
	t.Helper()
	var out []string
	for _, pattern := range []string{"../examples/*.yaml", "../examples/regulations/*.yaml", "../examples/rules/*.yaml"} {
		paths, err := filepath.Glob(pattern)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, paths...)
	}
	if len(out) < 10 {
		t.Fatalf("only %d example files", len(out))
	}
	return out
}

// Reading is a pure function of the bytes: the same file gives the same
// syllabus, the same faults and the same remarks, however often it is read.
func TestTheSameFileReadsTheSame(t *testing.T) {
	for _, path := range exampleFiles(t) {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		before := slices.Clone(data)
		a, err := syllabus.Parse(path, data)
		if err != nil {
			t.Fatal(err)
		}
		for range 5 {
			b, err := syllabus.Parse(path, data)
			if err != nil || !reflect.DeepEqual(a, b) || !slices.Equal(syllabus.Lint(a), syllabus.Lint(b)) {
				t.Fatalf("%s reads otherwise the second time: %v", path, err)
			}
		}
		if !slices.Equal(before, data) {
			t.Errorf("%s was changed in memory", path)
		}
		for _, end := range []string{"\r\n", "\r"} {
			other, err := syllabus.Parse(path, []byte("\ufeff"+strings.ReplaceAll(string(data), "\n", end)))
			if err != nil || !reflect.DeepEqual(a, other) {
				t.Errorf("%s reads otherwise with line ends %q and a byte order mark: %v", path, end, err)
			}
		}
	}
	for _, bad := range badFiles(t) {
		_, a := syllabus.Parse("f", bad.input)
		for range 3 {
			if _, b := syllabus.Parse("f", bad.input); a.Error() != b.Error() {
				t.Errorf("%s is refused otherwise the second time", bad.name)
			}
		}
	}
}
