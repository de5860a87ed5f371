package main

import (
	"bytes"
	"encoding/json"
	"maps"
	"slices"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"rankwright/timetable"
)

func planSchema(t *testing.T) (map[string]any, *jsonschema.Schema) {
	t.Helper()
	var doc map[string]any
	if err := json.Unmarshal(readFile(t, "../../docs/timetable-plan.schema.json"), &doc); err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("plan", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("plan")
	if err != nil {
		t.Fatal(err)
	}
	return doc, s
}

// fitsPlan says what a plan file lacks of the published schema.
func fitsPlan(t *testing.T, s *jsonschema.Schema, file []byte) error {
	t.Helper()
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(file))
	if err != nil {
		t.Fatalf("%v\n%s", err, file)
	}
	return s.Validate(v)
}

// Whatever is known of a plan, and whoever waits, the file is as its schema
// says; and the schema refuses what the command never writes.
func TestAPlanFileIsAsItsSchemaSays(t *testing.T) {
	doc, s := planSchema(t)
	p, err := timetable.ReadProblem("example", readFile(t, "../../examples/otterlight-timetable.json"))
	if err != nil {
		t.Fatal(err)
	}
	p.Sittings[10].Hold, p.Sittings[10].Panel = timetable.Held, 0 // takes place, with nobody in it
	q, err := timetable.Prepare(p)
	if err != nil {
		t.Fatal(err)
	}
	plan := timetable.Improve(q, nil, 1, 500, nil)
	total := q.Total(plan)
	good := planJSON(q, timetable.Outcome{Plan: plan, Objective: total, Bound: total, Proven: true})
	for _, c := range []struct {
		name string
		file []byte
	}{
		{"proven", good},
		{"within a gap", planJSON(q, timetable.Outcome{Plan: plan, Objective: total, Bound: total - 1})},
		{"of which nothing is known", planJSON(q, timetable.Outcome{Plan: plan, Objective: total})},
		{"in which everybody waits", planJSON(q, timetable.Outcome{Plan: timetable.EmptyPlan(p)})},
	} {
		if err := fitsPlan(t, s, c.file); err != nil {
			t.Errorf("a plan %s: %v\n%s", c.name, err, c.file)
		}
	}
	// Every key of the schema is written by one of them.
	all := string(good) + string(planJSON(q, timetable.Outcome{Plan: timetable.EmptyPlan(p)}))
	for _, def := range []any{doc, doc["$defs"].(map[string]any)["aim"], doc["$defs"].(map[string]any)["placed"]} {
		for _, key := range slices.Sorted(maps.Keys(def.(map[string]any)["properties"].(map[string]any))) {
			if !strings.Contains(all, `"`+key+`": `) {
				t.Errorf("nothing writes %s", key)
			}
		}
	}
	for _, c := range []struct{ name, old, now string }{
		{"another format", `"format": 1`, `"format": 2`},
		{"a proof with a gap", `"gap": 0`, `"gap": 3`},
		{"no bound", "  \"bound\": ", "  \"bounds\": "},
		{"an aim that is none", `"aim": "wish"`, `"aim": "wishes"`},
		{"half a unit", `"units": 0`, `"units": 0.5`},
		{"a sitting without a name", `{"id": "am-`, `{"name": "am-`},
	} {
		bad := strings.Replace(string(good), c.old, c.now, 1)
		if bad == string(good) {
			t.Errorf("%s: nothing to spoil", c.name)
		} else if fitsPlan(t, s, []byte(bad)) == nil {
			t.Errorf("the schema takes %s", c.name)
		}
	}
	var aims []string
	for a := range timetable.AimCount {
		aims = append(aims, a.String())
	}
	enum := doc["$defs"].(map[string]any)["aim"].(map[string]any)["properties"].(map[string]any)["aim"].(map[string]any)["enum"].([]any)
	if !slices.EqualFunc(aims, enum, func(a string, b any) bool { return a == b }) {
		t.Errorf("the schema has the aims %v, the program %v", enum, aims)
	}
}
