package timetable

import (
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rankwright"
)

// friday is the school of the manual's example: two short sittings on Friday,
// one on Saturday, and more who can only come on Friday than there is room for.
func friday() *Problem {
	p := &Problem{Ranks: []rankwright.RankID{"white", "yellow", "green", "brown"}, Rules: DefaultRules(), Weights: DefaultWeights()}
	p.Rules.Unanswered = No
	p.Sessions = []Session{{ID: "fri", Name: "Friday evening", Day: rankwright.MustDay("2026-10-30"), Cost: 1},
		{ID: "sat", Name: "Saturday morning", Day: rankwright.MustDay("2026-10-31"), Cost: 1}}
	sitting := func(id string, s SessionID, start Minute) Sitting {
		return Sitting{ID: SittingID(id), Session: s, Mat: "A", Start: start, Minutes: 30, Least: 1, Most: 3, Panel: 1, Cost: 1, Width: 2}
	}
	p.Sittings = []Sitting{sitting("f1", "fri", 17*60), sitting("f2", "fri", 17*60+30), sitting("s1", "sat", 9*60)}
	for i, f := range []struct {
		name string
		rank rankwright.RankID
		sat  bool
	}{{"Okafor", "brown", false}, {"Lindt", "white", false}, {"Moreno", "white", false}, {"Sato", "yellow", false}, {"Kaya", "green", false},
		{"Novak", "white", true}, {"Dahl", "green", true}} {
		h := Household{ID: rankwright.HouseholdID(strings.ToLower(f.name)), Name: f.name, Answers: []Answer{{Session: "fri", Suits: Yes}, {Session: "sat", Suits: No}}}
		if f.sat {
			h.Answers[1].Suits = IfNeedBe
		}
		p.Households = append(p.Households, h)
		p.Entries = append(p.Entries, Entry{ID: rankwright.EntryID(string(rune('a' + i))), Name: "the child of " + f.name, Household: h.ID, Rank: f.rank, Age: 9})
	}
	p.Examiners = []Examiner{{ID: "sora", Name: "Sora", Highest: "brown", There: []Presence{{Session: "fri"}, {Session: "sat"}}}}
	return p
}

func TestAFamilyThatCanOnlyComeWhenRanksAreTooFarApartIsExplained(t *testing.T) {
	p := friday()
	// White and brown, green in one, yellow alone: nobody can sit with brown but green.
	p.Entries[3].Rank, p.Entries[4].Rank = "white", "yellow" // Sato white, Kaya yellow
	for w := range 2 {
		p.Sittings[w].Most = 3
	}
	p.Entries = p.Entries[:5]
	p.Entries = append(p.Entries, Entry{ID: "k2", Name: "the second child of Kaya", Household: "kaya", Rank: "yellow", Age: 9})
	q := prepared(t, p)
	plan := Improve(q, nil, 1, 2000, nil)
	e := slices.Index(plan.At, Waiting)
	if e < 0 {
		t.Fatal("everybody was placed")
	}
	// Three white, two yellow and one brown in twice three places of two neighbouring ranks: one is too many.
	x := Explain(q, plan, 0, Judge(500, 50000), 1, 500)
	if plan.At[0] != Waiting {
		x = Explain(q, plan, e, Judge(500, 50000), 1, 500)
	}
	if !x.Proven || x.Dear || len(x.Clash) == 0 {
		t.Fatalf("%+v", x)
	}
	say := q.SayExplanation(x)
	for _, want := range []string{"waits: ", "can come only to Friday evening", "Any one of these would help: "} {
		if !strings.Contains(say, want) {
			t.Errorf("%q is not in: %s", want, say)
		}
	}
	t.Log(say)
}

func TestTooLittleRoomIsExplainedByThoseWhoNeedIt(t *testing.T) {
	p := friday()
	for w := range p.Sittings {
		p.Sittings[w].Width = 0
	}
	p.Sittings[0].Most, p.Sittings[1].Most = 2, 2
	q := prepared(t, p)
	plan := Improve(q, nil, 1, 2000, nil)
	e := slices.Index(plan.At, Waiting)
	x := Explain(q, plan, e, Judge(500, 50000), 1, 500)
	// Five can only come on Friday, and there is room for four.
	if !x.Proven || len(x.With) != 4 {
		t.Fatalf("%+v", x)
	}
	count := map[Limit]int{}
	for _, c := range x.Clash {
		count[c.Limit]++
	}
	if count[LimitAnswer] != 5 || count[LimitRoom] != 2 || len(count) != 2 {
		t.Errorf("the clash is of %v", count)
	}
	say := q.SayExplanation(x)
	for _, want := range []string{"can come only to Friday evening; Friday evening at 17:00 and Friday evening at 17:30 together have room for 4",
		"no other time possible either", "hold one more sitting in Friday evening, at 18:00 on mat A", "let 1 more into Friday evening at 17:00", "about Saturday morning"} {
		if !strings.Contains(say, want) {
			t.Errorf("%q is not in: %s", want, say)
		}
	}
	t.Log(say)
}

func TestNoSessionThatSuitsIsExplainedByTheAnswersAlone(t *testing.T) {
	p := friday()
	p.Households[0].Answers[0].Suits = No
	q := prepared(t, p)
	x := Explain(q, Improve(q, nil, 1, 500, nil), 0, Judge(500, 50000), 1, 500)
	if want := []Part{{LimitAnswer, 0, -1, -1}}; !slices.Equal(x.Clash, want) || len(x.With) > 0 || !x.Proven {
		t.Fatalf("%+v", x)
	}
	if say := q.SayExplanation(x); !strings.HasPrefix(say, "The child of Okafor waits: no session suits the Okafor family. Any one of these would help: ask the Okafor family about") {
		t.Error(say)
	}
}

func TestWhoCouldBePlacedAtAPriceIsToldThePrice(t *testing.T) {
	p := friday()
	p.Entries = p.Entries[:1]
	p.Weights[AimPlaced] = 10 // less than a sitting
	q := prepared(t, p)
	plan := Improve(q, nil, 1, 500, nil)
	x := Explain(q, plan, 0, Judge(500, 50000), 1, 500)
	if !x.Dear || x.Dearer == nil || x.More != 30+12-10 {
		t.Fatalf("%+v", x)
	}
	if say, want := q.SayExplanation(x), "The child of Okafor could be placed, and waits because that would cost 32 more: sessions held (30) and sittings held (12)."; say != want {
		t.Errorf("%s", say)
	}
}

// canAll asks every plan there is.
func canAll(t interface{ Fatalf(string, ...any) }, p *Problem) bool {
	q, err := Prepare(p)
	if err != nil {
		t.Fatalf("%v", err)
	}
	return cheaperPlan(q, 1<<50) != nil
}

// Against every plan there is: a clash is impossible, and giving up any one part
// of it, or any one of the others, makes it possible; every remedy helps.
func TestOnSmallProblemsEveryPartOfAClashIsNeeded(t *testing.T) {
	explained, clashes, remedies := 0, 0, 0
	for seed := 0; explained < 200 && seed < 5000; seed++ {
		p := rapid.Custom(func(t *rapid.T) *Problem { return drawProblem(t, 4) }).Example(seed)
		p.Weights[AimPlaced] = 5000
		for e := range p.Entries {
			p.Entries[e].MustPlace = false
		}
		q := prepared(t, p)
		plan := Improve(q, nil, 1, 500, nil)
		entry := slices.Index(plan.At, Waiting)
		if entry < 0 || len(Verify(p, plan)) > 0 {
			continue
		}
		x := Explain(q, plan, entry, Judge(100, 100000), 1, 200)
		if x.Dear {
			continue
		}
		explained++
		must := append([]int{entry}, x.With...)
		base := asking(p, must)
		var given []Part
		for _, g := range parts(q, []int{entry}) {
			if !slices.Contains(x.Clash, g) {
				given = append(given, g)
			}
		}
		if !x.Proven || canAll(t, without(base, given)) {
			t.Errorf("problem %d: the clash is possible, or not proven: %+v", seed, x)
		}
		for _, c := range x.Clash {
			clashes++
			if !canAll(t, without(base, append(slices.Clone(given), c))) {
				t.Errorf("problem %d: %+v is not needed: %+v", seed, c, x)
			}
		}
		for i, e := range x.With {
			if !canAll(t, asking(p, slices.Delete(slices.Clone(must), i+1, i+2))) {
				t.Errorf("problem %d: entry %d is not needed: %+v", seed, e, x)
			}
		}
		all := []int{entry}
		for e, at := range plan.At {
			if at != Waiting {
				all = append(all, e)
			}
		}
		for _, r := range x.Remedies {
			remedies++
			if !canAll(t, r.Apply(asking(p, all))) {
				t.Errorf("problem %d: %+v does not help", seed, r)
			}
		}
		if say := q.SayExplanation(x); strings.Contains(say, "nobody") || strings.Contains(say, "there is no sitting") && len(x.Clash) > 0 {
			t.Errorf("problem %d: %s", seed, say)
		}
	}
	if explained < 200 || clashes < 250 || remedies < 120 {
		t.Errorf("%d explained, %d parts and %d remedies tried: the heap shows too little", explained, clashes, remedies)
	}
}

// The oracle against every plan there is.
func TestTheJudgeIsRight(t *testing.T) {
	seen := map[Verdict]int{}
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t, 4)
		for e := range p.Entries {
			p.Entries[e].MustPlace = rapid.Bool().Draw(t, "must")
		}
		q := prepared2(t, p)
		got := Judge(rapid.IntRange(0, 50).Draw(t, "rounds"), 1000000)(q)
		want := Impossible
		if canAll(t, p) {
			want = Possible
		}
		if got != want {
			t.Fatalf("the judge says %d, and it is %d\n%s", got, want, WriteProblem(p))
		}
		seen[got]++
	})
	if seen[Possible] < 5 || seen[Impossible] < 5 {
		t.Errorf("drawn: %v", seen)
	}
}
