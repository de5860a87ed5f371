package decide_test

import (
	"encoding/json"
	"strings"
	"testing"

	"rankwright"
	"rankwright/decide"
)

func TestSummaries(t *testing.T) {
	for _, c := range []struct{ file, marks, want string }{
		{"p07", "i1..i6 3", "every condition of the rule is met"},
		{"p07", "i1..i5 3|i6 2", "total: 17 of 30 points (56.6%)"},
		{"p04", "basics-mark 4|pads-mark 10|sparring-mark 10|forms-mark 10", "sections: 3 of 4 sections (short: basics)"},
		{"p15", "respect 0|control 0|dress 0|skill 10", "musts: 0 of 2 requirements (short: respect, control); requirements: 0 of 1 requirement (short: dress)"},
		{"p03", "i4..i9 5", "no mark yet for attendance, character, fitness, i10"},
		{"p03", "character 5", "no mark yet for attendance, fitness, i4, i5, i6, i7, and 3 more"},
		{"p03", "character 5|fitness 5|i4 5|i5 5", "no mark yet for attendance, i6, i7, i8, i9, i10"},
		{"p12", "i1..i4 1|i5 0|label before T|label before T", "requirements: 4 of 5 requirements (short: i5)"},
	} {
		s := load(t, "rules/"+c.file+".yaml")
		j, text := shape(t, s, c.marks)
		v := j.Decide(telling(t, s, j, text))
		if got := v.Summary(); got != c.want {
			t.Errorf("%s %s: %q, want %q", c.file, c.marks, got, c.want)
		}
	}
}

// The words for what fell short, of each kind of requirement.
func TestWhatFellShortInWords(t *testing.T) {
	s := fragment(t, lookHead, `pass:
  conditions:
    each: {requirements: {at_least: expected}}
    half: {requirements: {at_least: 50%}}
    sections: {sections: {at_least: 2.5, of: [u]}}
    quick: {requirements: {at_least: 8, of: [run]}}
  results:
    - {outcome: promoted, when: [each, half, sections, quick]}
asks:
  - {id: bow, section: s, show: Bow, kind: tick, points: 1}
  - {id: kick, section: u, show: Kick, kind: level, scale: move}
  - {id: run, section: s, show: Run, kind: time, aim: at most, points: 1, expect: 9.5}
  - {id: creed, section: s, show: Creed, kind: recall, of: 5, each: 0.5}
`)
	j := judge(t, s, "yellow")
	got := told(j, telling(t, s, j, "bow 0\nkick 1\nrun 10.25\ncreed 1"))
	want := `not yet
each: asked each as expected; shown 0 of 4 requirements; not met
  bow: asked shown; shown not shown
  kick: asked 2; shown 1
  run: asked 9.5 s; shown 10.25 s
  creed: asked 5; shown 1
half: asked each at least 50%; shown 0 of 4 requirements; not met
  bow: asked at least 50%; shown 0 of 1 points
  kick: asked at least 50%; shown 1 of 3 points
  run: asked at least 50%; shown 0 of 1 points
  creed: asked at least 50%; shown 0.5 of 2.5 points
sections: asked at least 2.5 points in every section of u; shown 0 of 1 section; not met
  u: asked at least 2.5 points; shown 1 of 3 points
quick: asked each of run at least 8; shown 0 of 1 requirement; not met
  run: asked 8 s; shown 10.25 s
to show again: u, bow, kick, run, creed
The least that would have been enough: Bow: shown instead of not shown; Kick: 3 instead of 1; Run: 8 s instead of 10.25 s; Creed: 5 instead of 1.
`
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

// The form in which a verdict leaves the program; its keys are a contract.
func TestTheDocument(t *testing.T) {
	s := load(t, "rules/p14.yaml")
	j, text := shape(t, s, "basics-mark ann 5, ben 7, cleo 6|forms-mark ann 5, ben 7, cleo 6|partner-mark ann 5, ben 7, cleo 7|casting 0")
	v := j.Decide(telling(t, s, j, text))
	got, err := json.MarshalIndent(v.Document(), "", " ")
	if err != nil {
		t.Fatal(err)
	}
	head, _, _ := strings.Cut(string(got), `"reasons"`)
	want := `{
 "entry": "entry",
 "rank": "any",
 "outcome": "promoted",
 "points": 18.33,
 "of": 30.00,
 "share": 61.11,
 "base": 18.33,
 "bonus": 0.00,
 `
	if head != want {
		t.Errorf("begins with\n%s\nwant\n%s", head, want)
	}
	var keys map[string]json.RawMessage
	if err := json.Unmarshal(got, &keys); err != nil {
		t.Fatal(err)
	}
	for _, k := range []string{"reasons", "second_look", "to_show_again"} {
		if !strings.HasPrefix(string(keys[k]), "[") {
			t.Errorf("%s is %s; it should be a list even where it is empty", k, keys[k])
		}
	}
	var r struct {
		Reasons []map[string]any `json:"reasons"`
	}
	if err := json.Unmarshal(got, &r); err != nil {
		t.Fatal(err)
	}
	first := r.Reasons[0]
	if first["rule"] != "four_each" || first["asked"] != "at least 4 points in every section of basics, forms, partner" || first["shown"] != "3 of 3 sections" || first["met"] != true {
		t.Errorf("the first reason is %v", first)
	}
}

func TestTenthsAreCut(t *testing.T) {
	for share, want := range map[rankwright.Share]string{6964: "69.6%", 6999: "69.9%", 7000: "70.0%", 10000: "100.0%", 0: "0.0%"} {
		if got := decide.Tenths(share); got != want {
			t.Errorf("%d is %s, want %s", share, got, want)
		}
	}
}
