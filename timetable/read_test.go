package timetable

import (
	"encoding/json"
	"errors"
	"maps"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"pgregory.net/rapid"

	"rankwright"
)

// everything is a problem file that uses every key.
const everything = `{
  "format": 1,
  "ranks": ["white", "yellow", "green"],
  "sessions": [
    {"id": "fri", "name": "Friday evening", "day": "2026-10-30", "cost": 2},
    {"id": "nov", "day": "2026-11-14", "makeup": true}
  ],
  "sittings": [
    {"id": "f1", "session": "fri", "mat": "A", "start": "17:30", "minutes": 40, "least": 2, "most": 8, "panel": 2, "cost": 3,
     "ranks": ["white", "yellow"], "width": 2, "panel_for": "green", "hold": "held", "was_panel": ["sora"]},
    {"id": "n1", "session": "nov", "mat": "B", "start": "10:00", "minutes": 30, "most": 6, "hold": "free"}
  ],
  "households": [
    {"id": "okafor", "name": "Okafor", "from": "17:00", "until": "20:00", "may_move": true, "answers": [
      {"session": "fri", "suits": "if_need_be", "points": 3, "from": "17:30", "until": "24:00"}]}
  ],
  "entries": [
    {"id": "ada", "name": "Ada", "household": "okafor", "rank": "yellow", "age": 7, "locked": "f1", "must_place": true, "was": "f1", "told": true, "asked": 12}
  ],
  "examiners": [
    {"id": "sora", "name": "Sora", "highest": "green", "there": [{"session": "fri", "from": "17:00", "until": "21:00"}], "mats": ["A"],
     "own": ["okafor"], "most_session": 3, "most_day": 4, "in_a_row": 2}
  ],
  "rules": {"unanswered": "no", "pause": 5, "rest": 20, "little_age": 6, "little_after": 45, "little_clock": "18:30"},
  "weights": {"unplaced": 500, "moved": 100, "if_need_be": 5, "wish": 1, "split": 9, "apart": 8, "separate": 7, "makeup": 6, "session": 5,
    "sitting": 4, "mixed": 3, "uneven": 2, "wait": 1, "late": 2, "load": 3, "redrawn": 4}
}
`

func TestAProblemFileIsReadAsItIsMeant(t *testing.T) {
	p, err := ReadProblem("f", []byte(everything))
	if err != nil {
		t.Fatal(err)
	}
	want := &Problem{
		Ranks: []rankwright.RankID{"white", "yellow", "green"},
		Sessions: []Session{{ID: "fri", Name: "Friday evening", Day: rankwright.MustDay("2026-10-30"), Cost: 2},
			{ID: "nov", Day: rankwright.MustDay("2026-11-14"), Makeup: true, Cost: 1}},
		Sittings: []Sitting{{ID: "f1", Session: "fri", Mat: "A", Start: 1050, Minutes: 40, Least: 2, Most: 8, Panel: 2, Cost: 3,
			Ranks: []rankwright.RankID{"white", "yellow"}, Width: 2, PanelFor: "green", Hold: Held, Was: []rankwright.ExaminerID{"sora"}},
			{ID: "n1", Session: "nov", Mat: "B", Start: 600, Minutes: 30, Least: 1, Most: 6, Panel: 1, Cost: 1}},
		Households: []Household{{ID: "okafor", Name: "Okafor", From: 1020, Until: 1200, MayMove: true,
			Answers: []Answer{{Session: "fri", Suits: IfNeedBe, Points: 3, From: 1050, Until: 1440}}}},
		Entries: []Entry{{ID: "ada", Name: "Ada", Household: "okafor", Rank: "yellow", Age: 7, Locked: "f1", MustPlace: true, Was: "f1", Told: true, Asked: 12}},
		Examiners: []Examiner{{ID: "sora", Name: "Sora", Highest: "green", There: []Presence{{Session: "fri", From: 1020, Until: 1260}},
			Mats: []MatID{"A"}, Own: []rankwright.HouseholdID{"okafor"}, MostSession: 3, MostDay: 4, InARow: 2}},
		Rules:   Rules{Unanswered: No, Pause: 5, Rest: 20, LittleAge: 6, LittleAfter: 45, LittleClock: 1110},
		Weights: Weights{500, 100, 5, 1, 9, 8, 7, 6, 5, 4, 3, 2, 1, 2, 3, 4},
	}
	if !reflect.DeepEqual(p, want) {
		t.Errorf("read\n%+v\nwant\n%+v", p, want)
	}
}

func TestWhatIsWrongInAProblemFileIsToldWithItsPlace(t *testing.T) {
	for _, c := range []struct{ name, old, new, want string }{
		{"an unknown key", `"hold": "free"`, `"holds": "free"`, `f:11:92: sitting has no key "holds"; remove it, or use one of: id,`},
		{"a key twice", `"cost": 2}`, `"cost": 2, "cost": 3}`, `f:5:77: the key "cost" stands here a second time; keep one`},
		{"an unknown session", `"session": "nov"`, `"session": "dec"`, `f:11:29: sitting n1 names the session "dec", which is not in the problem`},
		{"a date that does not exist", `2026-10-30`, `2026-02-30`, `f:5:52: "day" should be a day of the calendar, and is the text "2026-02-30"`},
		{"a time that does not exist", `"17:30", "minutes"`, `"25:30", "minutes"`, `f:9:57: "start" should be a time of day`},
		{"a sitting past midnight", `"10:00"`, `"23:50"`, `f:11:57: sitting n1 is from 23:50 to 24:20; let it start and end on one day`},
		{"least above most", `"least": 2`, `"least": 9`, `f:9:90: sitting f1 takes place with at least 9 and at most 8 entries`},
		{"a number in quotes", `"minutes": 40`, `"minutes": "40"`, `f:9:77: "minutes" should be a whole number, and is the text "40"`},
		{"a fraction", `"minutes": 40`, `"minutes": 40.5`, `and is the number 40.5`},
		{"a flag in quotes", `"told": true`, `"told": "yes"`, `"told" should be true or false`},
		{"an unknown word", `"suits": "if_need_be"`, `"suits": "maybe"`, `write one of: no, if_need_be, yes`},
		{"a missing key", `"household": "okafor", `, ``, `f:18:5: this entry has no "household"; add it`},
		{"an id twice", `{"id": "nov", "day"`, `{"id": "fri", "day"`, `f:6:12: session 1 and session 2 have the same id "fri"`},
		{"told without a sitting", `"was": "f1", `, ``, `was told a time, and has no published sitting`},
		{"another format", `"format": 1`, `"format": 2`, `f:2:13: "format" should be 1, and is the number 2`},
		{"an unknown mat", `"mats": ["A"]`, `"mats": ["C"]`, `f:21:131: examiner sora names the mat "C", on which no sitting stands`},
		{"two answers for a session", `"until": "24:00"}]`, `"until": "24:00"}, {"session": "fri", "suits": "no"}]`, `f:15:98: household okafor answers twice for session "fri"`},
		{"times swapped", `"from": "17:00", "until": "20:00"`, `"from": "20:00", "until": "17:00"`, `household okafor is from 20:00 until 17:00, which leaves no time; swap the two`},
		{"midnight as an end", `"until": "24:00"`, `"until": "00:00"`, `write "24:00" for the end of the day`},
		{"a weight beyond the limit", `"unplaced": 500`, `"unplaced": 1000001`, `f:25:27: the weight of unplaced is 1000001, and may be from 0 to 1000000`},
		{"an empty list of ranks", `["white", "yellow"], "width"`, `[], "width"`, `"ranks" is an empty list`},
		{"a text that is cut off", "4}\n}\n", "4}\n", `f:27:1: the text ends in the middle`},
		{"more text", "4}\n}\n", "4}\n}\n]", `f:28:1: there is more text after the end of the problem`},
		{"a comma too many", `"cost": 2}`, `"cost": 2,}`, `f:5:76: this is not JSON`},
		{"not a text", `"id": "ada"`, `"id": 7`, `"id" should be a text, and is the number 7`},
		{"a list instead of an object", `"rules": {"unanswered": "no", "pause": 5, "rest": 20, "little_age": 6, "little_after": 45, "little_clock": "18:30"}`, `"rules": []`, `rules should be an object, and is a list`},
		{"two held at once", `"start": "10:00", "minutes": 30, "most": 6, "hold": "free"}`,
			`"start": "10:00", "minutes": 30, "most": 6, "hold": "held"}, {"id": "n2", "session": "nov", "mat": "B", "start": "10:29", "minutes": 5, "most": 1, "hold": "held"}`,
			`sittings "n1" and "n2" are held on the same mat at the same time; leave one of them to the plan`},
		{"bytes that are no text", `Ada`, "A\xffa", `f:18:29: the file is not UTF-8 text from here on`},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := strings.Replace(everything, c.old, c.new, 1)
			if text == everything {
				t.Fatal("nothing was replaced")
			}
			p, err := ReadProblem("f", []byte(text))
			if p != nil || err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got  %v\nwant %s", err, c.want)
			}
			var fs rankwright.Faults
			if !errors.As(err, &fs) {
				t.Errorf("%T is no list of faults", err)
			}
		})
	}
}

func TestAWrittenProblemIsReadBackTheSame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t, 6)
		text := WriteProblem(p)
		back, err := ReadProblem("f", text)
		if err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		if again := WriteProblem(back); string(again) != string(text) {
			t.Fatalf("written anew it is\n%s\nand was\n%s", again, text)
		}
		if !reflect.DeepEqual(p, back) {
			t.Fatalf("back\n%+v\nwas\n%+v", back, p)
		}
	})
}

func TestAWrittenPlanIsReadBackTheSame(t *testing.T) {
	for _, path := range placingFiles(t)[:4] {
		p, plan, _ := readPlacing(t, path)
		q := prepared(t, p)
		back, err := ReadPlan(q, "plan", WritePlan(q, plan))
		if err != nil {
			t.Fatal(err)
		}
		if !back.Equal(plan) {
			t.Errorf("%s: another plan came back", path)
		}
	}
}

func TestWhatIsWrongInAPlanFileIsToldWithItsPlace(t *testing.T) {
	p, err := ReadProblem("f", []byte(everything))
	if err != nil {
		t.Fatal(err)
	}
	q := prepared(t, p)
	for _, c := range []struct{ name, text, want string }{
		{"an unknown sitting", `{"format": 1, "sittings": [{"id": "x9"}]}`, `p:1:35: the sitting "x9" is not in the problem`},
		{"an entry twice", `{"format": 1, "sittings": [{"id": "f1", "entries": ["ada", "ada"]}]}`, `p:1:60: the text "ada" is no entry of the problem, or stands in another sitting too`},
		{"an unknown examiner", `{"format": 1, "sittings": [{"id": "f1", "panel": ["kim"]}]}`, `p:1:51: the text "kim" is no examiner`},
		{"waits and stands", `{"format": 1, "sittings": [{"id": "f1", "entries": ["ada"]}], "waiting": ["ada"]}`, `p:1:75: the text "ada" is no entry of the problem, or stands in a sitting too`},
	} {
		if _, err := ReadPlan(q, "p", []byte(c.text)); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got  %v\nwant %s", c.name, err, c.want)
		}
	}
}

func schema(t *testing.T) (map[string]any, *jsonschema.Schema) {
	t.Helper()
	data, err := os.ReadFile("../docs/timetable.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	var doc map[string]any
	if err := json.Unmarshal(data, &doc); err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("timetable.schema.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("timetable.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	return doc, s
}

func validates(t *testing.T, s *jsonschema.Schema, text string) error {
	t.Helper()
	v, err := jsonschema.UnmarshalJSON(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	return s.Validate(v)
}

// Kind by kind, the schema has the reader's keys, and asks for the same ones.
func TestTheSchemaKnowsTheKeysOfTheReader(t *testing.T) {
	doc, s := schema(t)
	defs := doc["$defs"].(map[string]any)
	for kind, want := range keysOf {
		var def map[string]any
		switch kind {
		case "plan", "placed":
			continue // another file
		case "problem":
			def = doc
		default:
			var ok bool
			if def, ok = defs[kind].(map[string]any); !ok {
				t.Errorf("the schema says nothing of %s", kind)
				continue
			}
		}
		got := slices.Sorted(maps.Keys(def["properties"].(map[string]any)))
		if w := slices.Sorted(slices.Values(want.keys)); !slices.Equal(got, w) {
			t.Errorf("%s: the schema has %v, the reader %v", kind, got, w)
		}
		var must []string
		for _, k := range def["required"].([]any) {
			must = append(must, k.(string))
		}
		if w := slices.Sorted(slices.Values(want.keys[:want.must])); !slices.Equal(slices.Sorted(slices.Values(must)), w) {
			t.Errorf("%s: the schema asks for %v, the reader for %v", kind, must, w)
		}
		if def["additionalProperties"] != false {
			t.Errorf("%s: the schema takes unknown keys", kind)
		}
	}
	for name := range defs {
		if _, ok := keysOf[name]; !ok && !slices.Contains([]string{"text", "time", "end"}, name) {
			t.Errorf("the reader knows no %s", name)
		}
	}
	if err := validates(t, s, everything); err != nil {
		t.Error(err)
	}
}

func TestTheSchemaNamesTheDefaultsOfTheReader(t *testing.T) {
	doc, _ := schema(t)
	props := func(def string) map[string]any {
		return doc["$defs"].(map[string]any)[def].(map[string]any)["properties"].(map[string]any)
	}
	for a, w := range DefaultWeights() {
		if got := props("weights")[aimNames[a]].(map[string]any)["default"]; got != float64(w) {
			t.Errorf("weight %s: %v in the schema, %d in the code", aimNames[a], got, w)
		}
	}
	d := DefaultRules()
	for key, want := range map[string]any{"unanswered": suitsNames[d.Unanswered], "pause": float64(d.Pause), "rest": float64(d.Rest),
		"little_age": float64(d.LittleAge), "little_after": float64(d.LittleAfter), "little_clock": d.LittleClock.String()} {
		if got := props("rules")[key].(map[string]any)["default"]; got != want {
			t.Errorf("rule %s: %v in the schema, %v in the code", key, got, want)
		}
	}
}

// What is wrongly built is refused by both; what only one who knows the whole
// file can refuse (unknown ids, sums, orders) is the reader's.
func TestTheSchemaRefusesWhatIsWronglyBuilt(t *testing.T) {
	_, s := schema(t)
	for _, c := range [][2]string{
		{`"hold": "free"`, `"holds": "free"`}, {`"17:30", "minutes"`, `"25:30", "minutes"`}, {`"minutes": 40`, `"minutes": "40"`},
		{`"minutes": 40`, `"minutes": 40.5`}, {`"minutes": 40`, `"minutes": 0`}, {`"told": true`, `"told": "yes"`}, {`"suits": "if_need_be"`, `"suits": "maybe"`},
		{`"household": "okafor", `, ``}, {`"format": 1`, `"format": 2`}, {`"until": "24:00"`, `"until": "00:00"`}, {`"unplaced": 500`, `"unplaced": 1000001`},
		{`["white", "yellow"], "width"`, `[], "width"`}, {`"id": "ada"`, `"id": 7`}, {`"id": "ada"`, `"id": ""`}, {`"30"`, `"3"`},
	} {
		text := strings.Replace(everything, c[0], c[1], 1)
		if text == everything {
			text = strings.Replace(everything, "2026-10-30", "30.10.2026", 1)
		}
		if validates(t, s, text) == nil {
			t.Errorf("the schema takes %s", c[1])
		}
		if _, err := ReadProblem("f", []byte(text)); err == nil {
			t.Errorf("the reader takes %s", c[1])
		}
	}
}

func TestWhatIsWrittenKeepsToTheSchema(t *testing.T) {
	_, s := schema(t)
	rapid.Check(t, func(r *rapid.T) {
		if err := validates(t, s, string(WriteProblem(drawProblem(r, 5)))); err != nil {
			r.Fatal(err)
		}
	})
	p, _, _ := readPlacing(t, "testdata/placing/n30-s1-fixed.json")
	if err := validates(t, s, string(WriteProblem(p))); err != nil {
		t.Error(err)
	}
}

// FuzzReadProblem holds ReadProblem to its promise on any bytes: it comes back
// with a problem that can be prepared, written and read again, or with faults
// that lie in the file.
func FuzzReadProblem(f *testing.F) {
	f.Add([]byte(everything))
	f.Add([]byte(`{"format": 1, "ranks": ["a"], "sessions": [], "sittings": [], "households": [], "entries": []}`))
	f.Add([]byte(`{"a": [[[[[[[[[[[[[[[[[[[[[[[]]]]]`))
	f.Add([]byte("{\"ranks\": [\"\\u0000\", \"é\"\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := ReadProblem("f", data)
		if err == nil {
			if _, err := Prepare(p); err != nil {
				t.Fatalf("read, and not prepared: %v", err)
			}
			text := WriteProblem(p)
			back, err := ReadProblem("f", text)
			if err != nil || string(WriteProblem(back)) != string(text) {
				t.Fatalf("written\n%s\nread back with %v", text, err)
			}
			return
		}
		var fs rankwright.Faults
		if p != nil || !errors.As(err, &fs) || len(fs) == 0 || len(fs) > mostFaults {
			t.Fatalf("refused with %v", err)
		}
		lines := strings.Count(string(data), "\n") + 1
		for _, x := range fs {
			if x.Where.Line < 1 || x.Where.Line > lines || x.Where.Column < 1 || x.Say == "" {
				t.Fatalf("fault %+v", x)
			}
		}
	})
}

// FuzzReadPlan holds ReadPlan to its promise on any bytes.
func FuzzReadPlan(f *testing.F) {
	p, err := ReadProblem("f", []byte(everything))
	if err != nil {
		f.Fatal(err)
	}
	q, err := Prepare(p)
	if err != nil {
		f.Fatal(err)
	}
	f.Add([]byte(`{"format": 1, "sittings": [{"id": "f1", "panel": ["sora"], "entries": ["ada"]}], "waiting": []}`))
	f.Add([]byte(`{"format": 1, "sittings": [{"panel": 7}], "cost": [], "waiting": ["ada"]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		plan, err := ReadPlan(q, "f", data)
		var fs rankwright.Faults
		if err != nil {
			if plan != nil || !errors.As(err, &fs) || len(fs) == 0 {
				t.Fatalf("refused with %v", err)
			}
			return
		}
		_ = Verify(p, plan) // says what is wrong with it, and comes back
		back, err := ReadPlan(q, "f", WritePlan(q, plan))
		if err != nil || q.Total(back) != q.Total(plan) {
			t.Fatalf("written and read back with %v", err)
		}
	})
}
