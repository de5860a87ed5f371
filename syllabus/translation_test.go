package syllabus_test

import (
	"encoding/json"
	"errors"
	"os"
	"reflect"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"pgregory.net/rapid"

	"rankwright"
	"rankwright/syllabus"
)

func readFile(t testing.TB, path string) []byte {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func parsed(t testing.TB, path string) *syllabus.Syllabus {
	t.Helper()
	s, err := syllabus.Parse(path, readFile(t, path))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func translation(t testing.TB, text string) *syllabus.Translation {
	t.Helper()
	tr, err := syllabus.ParseTranslation("t", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return tr
}

const smallTranslation = `rankwright: translation 1
ladder: youth
language: es
sections:
  KI: {from: Kicks, to: Patadas}
  HA: {from: Hands, to: ""}
scales:
  MOVE:
    name: {from: Moving, to: Moverse}
    levels:
      2: {from: guard and balance hold on most steps, to: guardia y equilibrio aguantan}
themes:
  10: {from: noticing, to: darse cuenta}
ranks:
  reed:
    name: {from: Reed, to: Junco}
    colour: {from: pale green, to: verde claro}
  amber:
    asks:
      AM-KB1: {from: Kit check, to: Revisión del equipo}
  copper:
    asks:
      CO-KB1: {from: Kit check, to: Equipo}
parts:
  - {from: chin, to: barbilla}
`

func TestTextsAreReadInAnotherLanguageAndTheRestStays(t *testing.T) {
	s := parsed(t, "../examples/otterlight.yaml")
	es := s.In(translation(t, smallTranslation))
	show := func(rank rankwright.RankID, id rankwright.RequirementID) *syllabus.Requirement {
		k, _ := es.Rank(rank)
		return k.Requirement(id)
	}
	reed, _ := es.Rank("reed")
	for _, tt := range []struct{ got, want string }{
		{es.Section("KI").Name, "Patadas"}, {es.Section("HA").Name, "Hands"}, {es.Section("BF").Name, "Falls"},
		{es.Themes[10], "darse cuenta"}, {es.Themes[9], "trying again"}, {reed.Name, "Junco"}, {reed.Belt.Colour, "verde claro"},
		{show("amber", "AM-KB1").Show, "Revisión del equipo"},
		{show("slate", "SL-KB1").Show, "Revisión del equipo"}, // the same words, without an entry of its own
		{show("copper", "CO-KB1").Show, "Equipo"},             // its own entry
		{show("reed", "RE-BF2").Parts[0], "barbilla"}, {show("reed", "RE-BF2").Parts[1], "arms"},
		{show("reed", "RE-SM1").Scale.Levels[2].Words, "guardia y equilibrio aguantan"}, {show("reed", "RE-SM1").Scale.Name, "Moverse"},
	} {
		if tt.got != tt.want {
			t.Errorf("got %q, want %q", tt.got, tt.want)
		}
	}
	if s.Section("KI").Name != "Kicks" || s.Themes[10] != "noticing" || s.Ranks[0].Requirements[0].Show == "" {
		t.Error("the syllabus itself has changed")
	}
	if s.In() != s {
		t.Error("without a translation there is no need of a copy")
	}
}

// The first translation that knows a text decides, so that a later file can
// take a wrong word back, and an older one serves where it is silent.
func TestALaterTranslationStandsBeforeAnEarlierOne(t *testing.T) {
	s := parsed(t, "../examples/otterlight.yaml")
	later := translation(t, "rankwright: translation 1\nladder: youth\nlanguage: es\nsections:\n  KI: {from: Kicks, to: \"\"}\n  HA: {from: Hands, to: Manos}\n")
	es := s.In(later, translation(t, smallTranslation))
	if es.Section("KI").Name != "Kicks" || es.Section("HA").Name != "Manos" || es.Themes[10] != "darse cuenta" {
		t.Errorf("%q, %q, %q", es.Section("KI").Name, es.Section("HA").Name, es.Themes[10])
	}
}

func TestLintSaysWhatIsMissingAndWhatIsStale(t *testing.T) {
	s := parsed(t, "../examples/otterlight.yaml")
	tr := translation(t, `rankwright: translation 1
ladder: youth
language: es
sections:
  KI: {from: Kick, to: Patada}
  KII: {from: Kicking, to: Patear}
parts:
  - {from: a lost line, to: una línea perdida}
`)
	var got []string
	for _, r := range tr.Lint(s) {
		got = append(got, r.Say)
	}
	all := len(s.Texts())
	want := []string{
		itoa(all-1) + " of " + itoa(all) + " texts are not translated; the first is name, \"Otterlight youth ladder\"",
		`sections/KI has changed since it was translated: it says "Kicks" now, so the original is shown`,
		"the syllabus has no sections/KII any more; did you mean sections/KI?",
		`no requirement of the syllabus has the part "a lost line" any more`,
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got:\n%s\nwant:\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	if s.In(tr).Section("KI").Name != "Kicks" {
		t.Error("a stale translation is shown")
	}
}

func itoa(n int) string { b, _ := json.Marshal(n); return string(b) }

// The file that is handed out can be read as it is, lacks every text, and once
// each has its words lacks none; it comes back with what was known.
func TestTheFileToFillInHoldsEveryTextOnce(t *testing.T) {
	for _, path := range exampleFiles(t) {
		s := parsed(t, path)
		empty := translation(t, string(s.Untranslated("es")))
		if m := empty.Compare(s); len(m.Untranslated) != len(s.Texts()) || len(m.Stale)+len(m.Unknown) > 0 {
			t.Errorf("%s: %d of %d are missing, %d stale, %d unknown", path, len(m.Untranslated), len(s.Texts()), len(m.Stale), len(m.Unknown))
		}
		for i := range empty.Entries {
			empty.Entries[i].To = "«" + empty.Entries[i].From + "»"
		}
		full := translation(t, string(s.Untranslated("es", empty)))
		if m := full.Compare(s); len(m.Untranslated)+len(m.Stale)+len(m.Unknown) > 0 || len(full.Lint(s)) > 0 {
			t.Errorf("%s: %+v", path, m)
		}
		for _, x := range s.In(full).Texts() {
			if !strings.HasPrefix(x.Text, "«") {
				t.Errorf("%s: %s is still %q", path, x.ID, x.Text)
			}
		}
	}
}

// bare is a syllabus without its texts: what is left is what is asked and by
// which rules.
func bare(s *syllabus.Syllabus) *syllabus.Syllabus {
	var blank syllabus.Translation
	for _, x := range s.Texts() {
		blank.Entries = append(blank.Entries, syllabus.Entry{ID: x.ID, From: x.Text, To: "x"})
	}
	return s.In(&blank)
}

// Whatever a translation says, what is asked and decided stays as it was.
func TestATranslationChangesTextsAlone(t *testing.T) {
	s := parsed(t, "../examples/otterlight.yaml")
	texts := s.Texts()
	rules := bare(s)
	rapid.Check(t, func(t *rapid.T) {
		var tr syllabus.Translation
		for range rapid.IntRange(1, 12).Draw(t, "entries") {
			x := rapid.SampledFrom(texts).Draw(t, "text")
			tr.Entries = append(tr.Entries, syllabus.Entry{ID: x.ID, From: rapid.SampledFrom([]string{x.Text, "other"}).Draw(t, "from"), To: rapid.String().Draw(t, "to")})
		}
		other := s.In(&tr)
		if !reflect.DeepEqual(bare(other), rules) {
			t.Fatal("something other than a text has changed")
		}
		if !reflect.DeepEqual(s.Texts(), texts) {
			t.Fatal("the syllabus itself has changed")
		}
	})
}

func TestABadTranslationIsRefusedInTheseWords(t *testing.T) {
	const head = "rankwright: translation 1\nladder: youth\nlanguage: es\n"
	for name, tt := range map[string]struct{ text, want string }{
		"nothing":                 {"", "f:1:1: the file is empty; start from one of the example files"},
		"a syllabus":              {"rankwright: syllabus 1\nladder: y\nlanguage: es\n", `f:1:13: this program reads "translation 1", not "syllabus 1"; write rankwright: translation 1`},
		"no language":             {"rankwright: translation 1\nladder: y\n", `f:1:1: the translation has no "language"; add language: and its tag, such as language: es`},
		"a language in words":     {"rankwright: translation 1\nladder: y\nlanguage: Spanish\n", `f:3:11: "Spanish" is not the tag of a language; write its tag, such as es, fr or pt-BR`},
		"a key that is none":      {head + "section:\n  KI: {from: Kicks, to: P}\n", `f:4:1: the translation has no key "section"; did you mean "sections"?`},
		"a text without its own":  {head + "sections:\n  KI: {to: Patadas}\n", `f:5:7: sections/KI has no "from"; add from: and the text as the syllabus has it`},
		"a text that is no pair":  {head + "sections:\n  KI: Patadas\n", `f:5:7: sections/KI should be a group of keys, not "Patadas"; write keys such as from, to`},
		"an empty original":       {head + "sections:\n  KI: {from: \"\", to: P}\n", "f:5:14: the \"from\" of sections/KI is empty; write from: and the text as the syllabus has it"},
		"an id with a space":      {head + "ranks:\n  Red belt:\n    name: {from: R, to: R}\n", `f:5:3: an id of ranks "Red belt" cannot be used as an id; use letters, digits, - and _ only, such as "Red-belt"`},
		"a part twice":            {head + "parts:\n  - {from: chin, to: a}\n  - {from: chin, to: b}\n", `f:6:5: "chin" is already translated on line 5; remove one of the two`},
		"a mark that turns":       {head + "sections:\n  KI: {from: Kicks, to: \"a\\u202eb\"}\n", "f:5:25: to of sections/KI holds a mark that turns the direction of writing; remove it: texts are set apart from what stands beside them as it is"},
		"a text that is too long": {head + "sections:\n  KI: {from: Kicks, to: " + strings.Repeat("a", 601) + "}\n", "f:5:25: to of sections/KI has more than 600 characters; shorten it"},
		"an anchor":               {head + "sections:\n  KI: &a {from: Kicks, to: P}\n", "f:5:7: a value cannot begin with & in a translation; write the value out in full; if it is text, put it in double quotes"},
	} {
		tr, err := syllabus.ParseTranslation("f", []byte(tt.text))
		if err == nil || err.Error() != tt.want {
			t.Errorf("%s:\ngot  %v\nwant %s", name, err, tt.want)
		}
		if tr != nil {
			t.Errorf("%s: read all the same", name)
		}
	}
}

// FuzzParseTranslation holds the reader to its promise on any bytes: faults that
// lie in the file, or entries that a syllabus can be shown with.
func FuzzParseTranslation(f *testing.F) {
	s := parsed(f, "../examples/one-page.yaml")
	f.Add([]byte(smallTranslation))
	f.Add(s.Untranslated("es"))
	rules := bare(s)
	f.Fuzz(func(t *testing.T, data []byte) {
		tr, err := syllabus.ParseTranslation("f", data)
		if err != nil {
			var fs rankwright.Faults
			if tr != nil || !errors.As(err, &fs) || len(fs) == 0 {
				t.Fatalf("refused without a fault: %v", err)
			}
			lines := 1 + strings.Count(strings.ReplaceAll(strings.ReplaceAll(string(data), "\r\n", "\n"), "\r", "\n"), "\n")
			for _, x := range fs {
				if x.Where.Line < 1 || x.Where.Line > lines || x.Where.Column < 1 || x.Say == "" || x.Do == "" {
					t.Fatalf("fault %+v of %d lines", x, lines)
				}
			}
			return
		}
		for _, e := range tr.Entries {
			if e.ID == "" || e.From == "" || e.Line < 1 {
				t.Fatalf("entry %+v", e)
			}
		}
		if !reflect.DeepEqual(bare(s.In(tr)), rules) {
			t.Fatal("something other than a text has changed")
		}
		for _, r := range tr.Lint(s) {
			if r.Line < 1 || r.Say == "" {
				t.Fatalf("remark %+v", r)
			}
		}
		if _, err := syllabus.ParseTranslation("again", s.Untranslated(tr.Lang, tr)); err != nil {
			t.Fatalf("what it is written as cannot be read: %v", err)
		}
	})
}

func TestTheSchemaOfTranslationsAcceptsWhatTheReaderDoes(t *testing.T) {
	var doc any
	if err := json.Unmarshal(readFile(t, "../docs/translation.schema.json"), &doc); err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("translation.schema.json", doc); err != nil {
		t.Fatal(err)
	}
	schema, err := c.Compile("translation.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{"small": smallTranslation, "the demo's": string(readFile(t, "../examples/translations/otterlight.es.yaml")),
		"to fill in": string(parsed(t, "../examples/otterlight.yaml").Untranslated("ar"))} {
		if err := schema.Validate(instance(t, []byte(text))); err != nil {
			t.Errorf("the schema refuses %s: %v", name, err)
		}
		if tr := translation(t, text); len(tr.Entries) == 0 {
			t.Errorf("%s is empty", name)
		}
	}
	for name, old := range map[string][2]string{"a language in words": {"language: es", "language: Spanish"}, "a key that is none": {"sections:", "section:"},
		"no original": {"from: Kicks, ", ""}, "another format": {"translation 1", "syllabus 1"}, "a key in an entry": {"to: Patadas", "too: Patadas"}} {
		text := strings.Replace(smallTranslation, old[0], old[1], 1)
		if _, err := syllabus.ParseTranslation("f", []byte(text)); err == nil || text == smallTranslation {
			t.Errorf("the reader accepts %s", name)
		}
		if schema.Validate(instance(t, []byte(text))) == nil {
			t.Errorf("the schema accepts %s", name)
		}
	}
}
