package syllabus_test

import (
	"fmt"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rankwright"
	"rankwright/syllabus"
)

// writer writes a syllabus as YAML text, choosing freely among the ways in
// which the same thing can be written.
type writer struct {
	t *rapid.T
	b strings.Builder
}

func (w *writer) coin(label string) bool { return rapid.Bool().Draw(w.t, label) }

// text writes words plain where YAML allows it and in one of the two kinds of
// quotes otherwise.
func (w *writer) text(s string) string {
	plain := s != "" && !strings.ContainsAny(s, ":#\"'{}[],&*!|>%@`\\?-") && s == strings.TrimSpace(s)
	switch {
	case plain && w.coin("plain"):
		return s
	case w.coin("single"):
		return "'" + strings.ReplaceAll(s, "'", "''") + "'"
	}
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(s) + `"`
}

// group writes keys and values (already YAML) on one line or on several.
func (w *writer) group(indent int, kv ...string) string {
	if w.coin("flow") {
		var parts []string
		for i := 0; i < len(kv); i += 2 {
			parts = append(parts, kv[i]+": "+kv[i+1])
		}
		return "{" + strings.Join(parts, ", ") + "}"
	}
	var b strings.Builder
	for i := 0; i < len(kv); i += 2 {
		fmt.Fprintf(&b, "\n%s%s: %s", strings.Repeat(" ", indent), kv[i], kv[i+1])
		if w.coin("comment") {
			b.WriteString("   # a remark: with {brackets}")
		}
	}
	return b.String()
}

func (w *writer) words(label string) string {
	return rapid.StringMatching(`[A-Za-zäñé][A-Za-zäñé,:#'"{}\\&*! -]{0,20}[a-z]`).Draw(w.t, label)
}

// any syllabus that can be written parses to the values that it was made from.
func TestWhatIsWrittenIsRead(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := &writer{t: t}
		amount := func(label string, unit int) rankwright.Amount {
			return rankwright.Amount(rapid.IntRange(1, 4000).Draw(t, label)*unit) * (rankwright.One / 1000)
		}
		scale := syllabus.Scale{ID: "MOVE", Name: w.words("scale")}
		levels := []string{}
		for i, v := 0, 0; i < rapid.IntRange(2, 5).Draw(t, "levels"); i++ {
			v += rapid.IntRange(1, 3).Draw(t, "step")
			l := syllabus.Level{Value: v, Words: w.words("level")}
			scale.Levels = append(scale.Levels, l)
			levels = append(levels, fmt.Sprint(v), w.text(l.Words))
		}
		top := scale.Levels[len(scale.Levels)-1].Value
		scale.Enough = rapid.SampledFrom(scale.Levels).Draw(t, "enough").Value
		fmt.Fprintf(&w.b, "rankwright: syllabus 1\nladder: l\nage_bands: {A: 5-7, B: 8-10}\nname: %s\n", w.text("Juniors: all"))
		fmt.Fprintf(&w.b, "scales:\n  MOVE:\n    name: %s\n    enough: %d\n    levels: %s\n", w.text(scale.Name), scale.Enough, w.group(6, levels...))
		w.b.WriteString("sections: " + w.group(2, "s1", w.text("First"), "s2", w.text("Second: falls")) + "\npass: {total: 50%}\nranks:\n")

		var want []syllabus.Rank
		for r := range rapid.IntRange(1, 3).Draw(t, "ranks") {
			k := syllabus.Rank{ID: rankwright.RankID(fmt.Sprintf("r%d", r)), Name: w.words("rank")}
			fmt.Fprintf(&w.b, "  - id: %s\n    name: %s\n", k.ID, w.text(k.Name))
			bonus := rankwright.Amount(0)
			asks := &strings.Builder{}
			for i := range rapid.IntRange(1, 6).Draw(t, "asks") {
				q := syllabus.Requirement{ID: rankwright.RequirementID(fmt.Sprintf("q-%d", i)), Show: w.words("show"), Tries: 1,
					Section: rapid.SampledFrom([]rankwright.SectionID{"s1", "s2"}).Draw(t, "section"),
					Kind:    rapid.SampledFrom([]syllabus.Kind{syllabus.Tick, syllabus.Leveled, syllabus.Steps, syllabus.Recall, syllabus.Timed, syllabus.Count}).Draw(t, "kind")}
				kv := []string{"id", string(q.ID), "section", string(q.Section), "show", w.text(q.Show), "kind", q.Kind.String()}
				// The first is never bonus, so that there is a total to reach.
				if i > 0 {
					q.Bonus = w.coin("bonus")
				}
				if q.Bonus {
					kv = append(kv, "bonus", rapid.SampledFrom([]string{"yes", "true"}).Draw(t, "yes"))
				} else if q.Must = w.coin("must"); q.Must {
					kv = append(kv, "must", "yes")
				}
				if n := rapid.IntRange(1, 5).Draw(t, "tries"); n > 1 {
					q.Tries, q.Keep = n, syllabus.KeepLast
					kv = append(kv, "tries", fmt.Sprint(n), "keep", "last")
				}
				switch q.Kind {
				case syllabus.Tick:
					q.Points, q.Expect = amount("points", 1), rankwright.One
					kv = append(kv, "points", q.Points.String())
				case syllabus.Leveled:
					q.Scale, q.Expect = &scale, rankwright.Whole(scale.Enough)
					per := amount("weight", 1)
					q.Points = per * rankwright.Amount(top)
					kv = append(kv, "scale", "MOVE", "weight", per.String())
					if w.coin("by band") {
						a, b := rapid.IntRange(0, top).Draw(t, "A"), rapid.IntRange(0, top).Draw(t, "B")
						q.ExpectByBand = []rankwright.Amount{rankwright.Whole(a), rankwright.Whole(b)}
						q.Expect = rankwright.Whole(max(a, b))
						kv = append(kv, "expect", fmt.Sprintf("{A: %d, B: %d}", a, b))
					}
				case syllabus.Steps, syllabus.Recall:
					for range rapid.IntRange(1, 6).Draw(t, "parts") {
						q.Parts = append(q.Parts, w.words("part"))
					}
					var items []string
					for _, p := range q.Parts {
						items = append(items, w.text(p))
					}
					q.Of = len(q.Parts)
					q.Expect = rankwright.Whole(rapid.IntRange(0, q.Of).Draw(t, "expect"))
					per := amount("points", 1)
					q.Points = per * rankwright.Amount(q.Of)
					kv = append(kv, map[syllabus.Kind]string{syllabus.Steps: "steps", syllabus.Recall: "items"}[q.Kind], "["+strings.Join(items, ", ")+"]",
						"points", q.Points.String(), "expect", q.Expect.String())
				case syllabus.Timed, syllabus.Count:
					q.Expect = amount("expect", map[syllabus.Kind]int{syllabus.Timed: 1, syllabus.Count: 1000}[q.Kind])
					if q.AtMost = w.coin("at most"); q.AtMost {
						kv = append(kv, "aim", "at most")
					}
					q.Points = amount("points", 1)
					kv = append(kv, "points", q.Points.String(), "expect", q.Expect.String())
				}
				if q.Bonus {
					bonus += q.Points
				}
				k.Requirements = append(k.Requirements, q)
				fmt.Fprintf(asks, "      - %s\n", strings.TrimLeft(w.group(8, kv...), "\n "))
			}
			if bonus > 0 {
				k.BonusCap = amount("cap", 1)
				fmt.Fprintf(&w.b, "    bonus_cap: %s\n", k.BonusCap)
			}
			w.b.WriteString("    asks:\n" + asks.String())
			want = append(want, k)
		}
		s, err := syllabus.Parse("written.yaml", []byte(w.b.String()))
		if err != nil {
			t.Fatalf("%v\n%s", err, w.b.String())
		}
		if !reflect.DeepEqual(s.Scales, []syllabus.Scale{scale}) {
			t.Fatalf("got %+v, want %+v\n%s", s.Scales, scale, w.b.String())
		}
		for i := range want {
			got := s.Ranks[i]
			if got.ID != want[i].ID || got.Name != want[i].Name || got.BonusCap != want[i].BonusCap || !reflect.DeepEqual(got.Requirements, want[i].Requirements) {
				t.Fatalf("got %+v\nwant %+v\n%s", got, want[i], w.b.String())
			}
		}
		if len(s.Ranks) != len(want) {
			t.Fatalf("%d ranks of %d", len(s.Ranks), len(want))
		}
	})
}
