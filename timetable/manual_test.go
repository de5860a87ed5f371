package timetable

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
)

func manual(t *testing.T) string {
	t.Helper()
	data, err := os.ReadFile("../docs/timetable.md")
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

func TestTheProblemOfTheManualHasAPlan(t *testing.T) {
	_, text, _ := strings.Cut(manual(t), "```json\n")
	text, _, ok := strings.Cut(text, "```")
	if !ok {
		t.Fatal("the manual shows no problem")
	}
	p, err := ReadProblem("manual", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	if _, s := schema(t); validates(t, s, text) != nil {
		t.Error("the schema refuses it")
	}
	q := prepared(t, p)
	plan := Improve(q, nil, 1, 1000, nil)
	if said := Verify(p, plan); len(said) > 0 || slices.Contains(plan.At, Waiting) {
		t.Errorf("%v: %v", plan.At, said)
	}
	if better := cheaperPlan(q, q.Total(plan)); better != nil {
		t.Errorf("%v is better than %v", better, plan)
	}
}

func TestTheManualNamesEveryAimWithItsWeight(t *testing.T) {
	text := manual(t)
	at := 0
	for a, w := range DefaultWeights() {
		i := strings.Index(text, fmt.Sprintf("| `%s` | ", aimNames[a]))
		if i < at {
			t.Errorf("the aim %s is missing or out of order", aimNames[a])
			continue
		}
		at = i
		line, _, _ := strings.Cut(text[i:], "\n")
		if !strings.HasSuffix(line, fmt.Sprintf("| %d |", w)) {
			t.Errorf("%s: the manual says %q, the code %d", aimNames[a], line, w)
		}
	}
}

func TestTheManualNamesEveryKey(t *testing.T) {
	text := manual(t)
	for kind, k := range keysOf {
		for _, key := range k.keys {
			if !strings.Contains(text, "`"+key+"`") && !strings.Contains(text, `"`+key+`":`) && !slices.Contains([]string{"bound", "proven", "gap", "id"}, key) {
				t.Errorf("%s: the manual says nothing of %q", kind, key)
			}
		}
	}
}
