package syllabus_test

import (
	"maps"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"rankwright/syllabus"
)

// frame is the file in which the short examples of the manual stand: each
// replaces the parts of it that it writes itself.
const frame = `rankwright: syllabus 1
ladder: juniors
name: Juniors
age_bands: {A: 5-7, B: 8-10}
scales:
  MOVE: {enough: 2, levels: {0: stops, 1: right idea, 2: holds, 3: holds on call}}
lists:
  mat_rules: [ask, shoes off, stop words]
credits:
  reach: {100%: 3, 50%: 1}
  within: {100%: 3, 150%: 1}
sections:
  basics: Basics
  falls: Falls
clearances:
  signature: Guardian's signature
pass: {total: 70%}
ranks:
  - id: white
    asks:
      - {id: bow, section: basics, show: Bows, kind: tick, points: 2}
`

func blocks(t *testing.T, path string) []string {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, m := range regexp.MustCompile("(?s)```yaml\n(.*?)```").FindAllStringSubmatch(string(data), -1) {
		out = append(out, m[1])
	}
	return out
}

// parts splits a file into its top-level keys.
func parts(text string) (keys []string, part map[string]string) {
	part = map[string]string{}
	for line := range strings.Lines(text) {
		if line[0] != ' ' && line[0] != '#' && strings.TrimSpace(line) != "" {
			key, _, _ := strings.Cut(line, ":")
			keys = append(keys, key)
		}
		if len(keys) > 0 {
			part[keys[len(keys)-1]] += line
		}
	}
	return keys, part
}

func TestEveryExampleOfTheManualIsSound(t *testing.T) {
	examples := blocks(t, "../docs/syllabus.md")
	if len(examples) < 12 {
		t.Fatalf("only %d examples", len(examples))
	}
	onePage, err := os.ReadFile("../examples/one-page.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if examples[0] != string(onePage) {
		t.Error("the manual begins with another file than examples/one-page.yaml")
	}
	for _, example := range examples {
		text := example
		if strings.HasPrefix(example, "- ") {
			text = "ranks:\n  - id: white\n    asks:\n      " + strings.ReplaceAll(strings.TrimSuffix(example, "\n"), "\n", "\n      ") + "\n"
		}
		if !strings.Contains(text, "rankwright: syllabus 1") {
			keys, all := parts(frame)
			_, own := parts(text)
			maps.Copy(all, own)
			for k := range own {
				if !slices.Contains(keys, k) {
					keys = append(keys, k)
				}
			}
			text = ""
			for _, k := range keys {
				text += all[k]
			}
		}
		if _, err := syllabus.Parse("example.yaml", []byte(text)); err != nil {
			t.Errorf("%v\n%s", err, text)
		}
	}
}

// The manual has a word for every key; those of eligibility have a page of
// their own.
func TestTheManualNamesEveryKey(t *testing.T) {
	manual := ""
	for _, path := range []string{"../docs/syllabus.md", "../docs/eligibility.md"} {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		manual += string(data)
	}
	groups(schemaDocument(t), func(keys []string) {
		for _, k := range keys {
			if !regexp.MustCompile("`" + k + "[`:]|[{ ]" + k + ":").MatchString(manual) {
				t.Errorf("the manual does not name the key %q", k)
			}
		}
	})
}
