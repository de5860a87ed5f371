package syllabus_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rankwright"
	"rankwright/syllabus"
)

const twoRanks = `rankwright: syllabus 1
ladder: kids
name: Kids
age_bands: {A: 5-7, B: 8-10}
lists: {rules: [bow, ask, stop]}
scales: {MOVE: {name: Moving, levels: {0: no, 1: some, 2: holds}, enough: 1}}
clearances: {consent: Guardian signs, fee: {name: Fee settled, before: entry}}
sections:
  EX: Extras
  ET: Etiquette
  FA: {name: Falls, cautions: [falls]}
ranks:
  - id: white
    name: White
    clearances: [consent]
    asks:
      - {id: a, section: FA, show: Falls back, kind: level, scale: MOVE, must: yes, cautions: [partner]}
      - {id: b, section: ET, show: The rules, kind: recall, list: rules, expect: {A: 2, B: 3}}
      - {id: c, section: ET, show: Hops, kind: count, points: 2, expect: 5}
      - {id: d, section: EX, show: Helped, kind: tick, points: 1, bonus: yes}
      - {id: e, section: EX, show: Note of the coach, kind: tick, for_release: yes}
    bonus_cap: 1
    pass: {total: 70%, musts: all}
  - id: yellow
    name: Yellow
    eligibility: {age: 6}
    asks:
      - {id: c, section: ET, show: Hops, kind: count, points: 2, expect: 8}
      - {id: q, section: ET, show: The rules with a reason, kind: recall, list: rules, expect: {A: 2, B: 3}}
      - {id: a, section: FA, show: Falls back, kind: level, scale: MOVE, must: yes}
      - {id: n, section: FA, show: Falls aside, kind: level, scale: MOVE}
    pass: {total: 70%, musts: all}
  - id: green
    name: Green
    asks:
      - {id: c, section: ET, show: Hops, kind: count, points: 2, expect: 8}
      - {id: a, section: FA, show: Falls back from standing, kind: level, scale: MOVE, expect: 2, must: yes}
    pass: {total: 70%, musts: all}
`

// told writes a guide in short, for the tests.
func told(g *syllabus.Guide) string {
	var b strings.Builder
	item := func(x syllabus.GuideItem) {
		fmt.Fprintf(&b, "  %s", x.ID)
		for _, s := range x.Enough {
			fmt.Fprintf(&b, " %d-%d:%s", s.From, s.To, s.Want)
		}
		fmt.Fprintf(&b, " %v", x.Cautions)
		for _, l := range x.Later {
			fmt.Fprintf(&b, " %s: %s %s", l.Rank.Name, l.As.Show, l.Enough[len(l.Enough)-1].Want)
		}
		b.WriteByte('\n')
	}
	for _, s := range g.Sections {
		fmt.Fprintf(&b, "%s\n", s.Section.Name)
		for _, x := range s.Items {
			item(x)
		}
	}
	b.WriteString("extras\n")
	for _, x := range g.Extras {
		item(x)
	}
	b.WriteString("new\n")
	for _, s := range g.New {
		for _, x := range s.Items {
			item(x)
		}
	}
	return b.String()
}

func TestAGuideSaysWhatIsAskedHowMuchAndWhatComesLater(t *testing.T) {
	s, err := syllabus.Parse("kids.yaml", []byte(twoRanks))
	if err != nil {
		t.Fatal(err)
	}
	for id, want := range map[rankwright.RankID]string{
		"white": `Etiquette
  b 5-7:2 8-10:3 [] Yellow: The rules with a reason 3
  c 0-0:5 [] Yellow: Hops 8
Falls
  a 0-0:1 [falls partner] Green: Falls back from standing 2
extras
  d 0-0:1 []
new
  n 0-0:1 [falls]
`,
		"yellow": `Etiquette
  c 0-0:8 []
  q 6-7:2 8-10:3 []
Falls
  a 0-0:1 [falls] Green: Falls back from standing 2
  n 0-0:1 [falls]
extras
new
`,
	} {
		if got := told(syllabus.NewGuide(s, id)); got != want {
			t.Errorf("%s:\n%s\nwant\n%s", id, got, want)
		}
	}
	g := syllabus.NewGuide(s, "white")
	if len(g.Clearances) != 1 || g.Clearances[0].ID != "consent" || len(g.Scales) != 1 || g.Scales[0].ID != "MOVE" || fmt.Sprint(g.Cautions) != "[falls partner]" || g.Next.ID != "yellow" {
		t.Errorf("clearances %v, scales %v, cautions %v, next %v", g.Clearances, g.Scales, g.Cautions, g.Next)
	}
	if syllabus.NewGuide(s, "green").Next != nil {
		t.Error("something comes after the highest rank")
	}
	if syllabus.NewGuide(s, "black") != nil {
		t.Error("a rank that is not there has a guide")
	}
}

// Every requirement that is asked stands in the guide of its rank once, and
// nothing else does, whatever a school asks for.
func TestEveryRequirementThatIsAskedStandsInTheGuideOnce(t *testing.T) {
	var all []*syllabus.Syllabus
	for _, pattern := range []string{"../examples/*.yaml", "../examples/rules/*.yaml", "../examples/regulations/*.yaml"} {
		files, err := filepath.Glob(pattern)
		if err != nil || len(files) == 0 {
			t.Fatal(pattern, err)
		}
		for _, f := range files {
			text, err := os.ReadFile(f)
			if err != nil {
				t.Fatal(err)
			}
			s, err := syllabus.Parse(f, text)
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, s)
		}
	}
	check := func(t interface{ Errorf(string, ...any) }, s *syllabus.Syllabus) {
		for i := range s.Ranks {
			k := &s.Ranks[i]
			g := syllabus.NewGuide(s, k.ID)
			asked, extra, later := map[rankwright.RequirementID]int{}, map[rankwright.RequirementID]int{}, map[*syllabus.Requirement]int{}
			for _, x := range g.Items() {
				asked[x.ID]++
				for _, l := range x.Later {
					if later[l.As]++; later[l.As] > 1 {
						t.Errorf("%s, %s: %s comes later twice", s.Ladder, k.Name, l.As.ID)
					}
					if _, at := s.Rank(l.Rank.ID); at <= i {
						t.Errorf("%s, %s: %s comes at %s, which is not above it", s.Ladder, k.Name, x.ID, l.Rank.Name)
					}
				}
			}
			for _, x := range g.Extras {
				extra[x.ID]++
			}
			for j := range k.Requirements {
				q := &k.Requirements[j]
				wantAsked, wantExtra := 1, 0
				switch {
				case q.ForRelease:
					wantAsked = 0
				case q.Bonus:
					wantAsked, wantExtra = 0, 1
				}
				if asked[q.ID] != wantAsked || extra[q.ID] != wantExtra {
					t.Errorf("%s, %s: %s stands in the guide %d times and among its extras %d times", s.Ladder, k.Name, q.ID, asked[q.ID], extra[q.ID])
				}
			}
			if len(g.Items())+len(g.Extras) > len(k.Requirements) {
				t.Errorf("%s, %s: more is in the guide than is asked", s.Ladder, k.Name)
			}
		}
	}
	for _, s := range all {
		check(t, s)
	}
	s, err := syllabus.Parse("kids.yaml", []byte(twoRanks))
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		// Any mixture of requirements, with ids and words that come again.
		x := *s
		x.Ranks = make([]syllabus.Rank, rapid.IntRange(1, 4).Draw(t, "ranks"))
		for i := range x.Ranks {
			x.Ranks[i] = syllabus.Rank{ID: rankwright.RankID(fmt.Sprint("r", i)), Name: fmt.Sprint("Rank ", i)}
			for j := range rapid.IntRange(0, 6).Draw(t, "asked") {
				kind := rapid.SampledFrom([]syllabus.Kind{syllabus.Tick, syllabus.Count, syllabus.Recall}).Draw(t, "kind")
				x.Ranks[i].Requirements = append(x.Ranks[i].Requirements, syllabus.Requirement{
					ID: rankwright.RequirementID(fmt.Sprint("q", j)), Kind: kind, Section: rapid.SampledFrom([]rankwright.SectionID{"ET", "FA", "gone", ""}).Draw(t, "section"),
					Show: rapid.SampledFrom([]string{"hops", "bows", "falls"}).Draw(t, "show"), Bonus: rapid.Bool().Draw(t, "bonus"), ForRelease: rapid.Bool().Draw(t, "note"),
					Expect: rankwright.Whole(rapid.IntRange(0, 3).Draw(t, "expect")), Parts: rapid.SampledFrom([][]string{nil, {"a", "b"}}).Draw(t, "parts"),
				})
			}
		}
		check(t, &x)
	})
}

// One call serves two ranks where the words and the way of marking are the
// same, whatever it is worth and however much of it is enough.
func TestOneCallServesRequirementsThatAreShownAndMarkedAlike(t *testing.T) {
	scale, other := &syllabus.Scale{ID: "move"}, &syllabus.Scale{ID: "form"}
	base := syllabus.Requirement{ID: "l1", Show: "Front kick", Kind: syllabus.Leveled, Scale: scale, Parts: []string{"chamber", "kick"}, Of: 2, Tries: 1}
	for name, c := range map[string]struct {
		change func(q *syllabus.Requirement)
		same   bool
	}{
		"another id":                {func(q *syllabus.Requirement) { q.ID = "h1" }, true},
		"another worth":             {func(q *syllabus.Requirement) { q.Points = rankwright.Whole(5) }, true},
		"more of it asked":          {func(q *syllabus.Requirement) { q.Expect = rankwright.Whole(3) }, true},
		"more asked of older ones":  {func(q *syllabus.Requirement) { q.ExpectByBand = []rankwright.Amount{rankwright.Whole(1)} }, true},
		"other words":               {func(q *syllabus.Requirement) { q.Show = "Side kick" }, false},
		"another kind":              {func(q *syllabus.Requirement) { q.Kind = syllabus.Steps }, false},
		"another scale":             {func(q *syllabus.Requirement) { q.Scale = other }, false},
		"no scale":                  {func(q *syllabus.Requirement) { q.Scale = nil }, false},
		"other parts":               {func(q *syllabus.Requirement) { q.Parts = []string{"kick"} }, false},
		"another top":               {func(q *syllabus.Requirement) { q.Of = 3 }, false},
		"less is better":            {func(q *syllabus.Requirement) { q.AtMost = true }, false},
		"a must of one rank only":   {func(q *syllabus.Requirement) { q.Must = true }, false},
		"an extra of one rank only": {func(q *syllabus.Requirement) { q.Bonus = true }, false},
		"more tries":                {func(q *syllabus.Requirement) { q.Tries = 3 }, false},
		"another try counts":        {func(q *syllabus.Requirement) { q.Keep = syllabus.KeepLast }, false},
	} {
		q := base
		c.change(&q)
		if syllabus.SameCall(&base, &q) != c.same || syllabus.SameCall(&q, &base) != c.same {
			t.Errorf("%s: one call is %v, want %v", name, !c.same, c.same)
		}
	}
}
