package ready_test

import (
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rankwright"
	"rankwright/ready"
	"rankwright/syllabus"
)

func draw(t *rapid.T) ready.Question {
	return randomQuestion(rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1)))
}

func TestTheFirstDayIsTheFirstAndTheLastTheLast(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		q := draw(r)
		a, err := ready.Admit(q)
		if err != nil {
			r.Fatal(err)
		}
		consistent(t, &q, &a)
	})
}

func TestMoreClassesNeverTurnAYesToANo(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		q := draw(r)
		a := admit(t, q)
		q.Standing.Classes += rapid.IntRange(1, 50).Draw(r, "more")
		if a.Yes && !admit(t, q).Yes {
			r.Fatal("more classes turned a yes to a no")
		}
	})
}

// A rank that is turned into another at an age is left out: who is old enough
// for that holds the next rank already and may not enter for it
// (TestWhoseRankTurnsAtAnAgeMayNotEnterForItFromThenOn).
func TestOlderNeverTurnsAYesToANoWithoutAnUpperEnd(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		q := draw(r)
		for i := range q.Syllabus.Ranks {
			q.Syllabus.Ranks[i].Eligibility.Conversions = nil
		}
		rules := q.Syllabus.Ranks[2].Eligibility.Rules
		for i := range rules {
			rules[i].Terms = withoutUpperEnd(rules[i].Terms).(syllabus.AllOf)
		}
		a := admit(t, q)
		q.Born -= rankwright.Day(rapid.IntRange(1, 2000).Draw(r, "days"))
		if a.Yes && !admit(t, q).Yes {
			r.Fatal("being older turned a yes to a no")
		}
	})
}

// Kukkiwon: a poom becomes the dan of its number at an age, by itself, as
// examples/regulations/taekwondo-dan.yaml gives it for 4 poom at 18.
func TestWhoseRankTurnsAtAnAgeMayNotEnterForItFromThenOn(t *testing.T) {
	s := regulation(t, "taekwondo-dan")
	q := ready.Question{Syllabus: s, Rank: "dan4", Born: day("2006-05-12")}
	q.Standing.History = []ready.Given{{Ladder: "taekwondo-poom", Rank: "poom4", On: day("2015-01-01")}}
	for _, c := range []struct {
		on     string
		closed bool
	}{{"2024-05-11", false}, {"2024-05-12", true}, {"2025-05-12", true}} {
		q.On = day(c.on)
		if a := admit(t, q); a.Reasons[0].Met == c.closed {
			t.Errorf("on %s: %s", c.on, say(a))
		}
	}
}

func withoutUpperEnd(t syllabus.Term) syllabus.Term {
	each := func(in []syllabus.Term) (out []syllabus.Term) {
		for _, p := range in {
			out = append(out, withoutUpperEnd(p))
		}
		return out
	}
	switch v := t.(type) {
	case syllabus.AllOf:
		v.Terms = each(v.Terms)
		return v
	case syllabus.AnyOf:
		v.Terms = each(v.Terms)
		return v
	case syllabus.AgeTerm:
		v.AtMost = 0
		return v
	}
	return t
}

func TestTheQuestionIsLeftAsItWas(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		seed := rapid.Uint64().Draw(r, "seed")
		q := randomQuestion(rand.New(rand.NewPCG(seed, 1)))
		if len(q.Standing.History) < 2 {
			q.Standing.History = append(q.Standing.History, ready.Given{Rank: "r1", On: 700000}, ready.Given{Rank: "r0", On: 600000})
		}
		before := append([]ready.Given{}, q.Standing.History...)
		admit(t, q)
		for i, g := range q.Standing.History {
			if g != before[i] {
				r.Fatal("the history was reordered in place")
			}
		}
	})
}

// Both conventions for a birthday on 29 February, on both sides.
func TestABirthdayOnTheLeapDay(t *testing.T) {
	for _, c := range []struct {
		end   rankwright.MonthEnd
		age   string
		first string
	}{
		{rankwright.FirstOfNext, "7", "2023-03-01"},
		{rankwright.LastDay, "7", "2023-02-28"},
		{rankwright.FirstOfNext, "8", "2024-02-29"},
		{rankwright.LastDay, "8", "2024-02-29"},
	} {
		s := ladder(t, "reed", map[string]string{"reed": "{age: " + c.age + "}"})
		s.Counting.MonthEnd = c.end
		l := limit{rank: "reed", born: "2016-02-29", first: c.first}
		l.bothSides(t, s)
		a := admit(t, l.question(s, day(c.first)))
		if !strings.Contains(ready.Convention(&a.Reasons[1]), "29 February falls on") {
			t.Error("the convention is not named to somebody born on the leap day")
		}
	}
}

func TestTimeThatStartsOnTheThirtyFirst(t *testing.T) {
	for _, c := range []struct {
		end           rankwright.MonthEnd
		months, first string
	}{
		{rankwright.LastDay, "1", "2023-02-28"}, {rankwright.FirstOfNext, "1", "2023-03-01"},
		{rankwright.LastDay, "2", "2023-03-31"}, {rankwright.FirstOfNext, "2", "2023-03-31"},
		{rankwright.LastDay, "3", "2023-04-30"}, {rankwright.FirstOfNext, "3", "2023-05-01"},
		{rankwright.LastDay, "13", "2024-02-29"}, {rankwright.FirstOfNext, "13", "2024-03-01"},
	} {
		s := ladder(t, "reed amber", map[string]string{"amber": "{months: " + c.months + "}"})
		s.Counting.MonthEnd = c.end
		limit{rank: "amber", holds: "reed", since: "2023-01-31", first: c.first}.bothSides(t, s)
	}
}

func TestAWindowThatClosesAgain(t *testing.T) {
	s := ladder(t, "reed amber", map[string]string{"amber": "{age: {at_least: 6, at_most: 7}, weeks: 10}"})
	q := limit{rank: "amber", holds: "reed", since: "2024-01-01", born: "2018-05-05"}.question(s, day("2024-02-01"))
	if a := admit(t, q); a.Yes || a.First != day("2024-05-05") || a.Last != day("2026-05-04") {
		t.Errorf("open from %s to %s", a.First, a.Last)
	}
	q.Standing.Since = day("2026-03-01")
	if a := admit(t, q); a.First != 0 || a.Last != 0 || len(a.Open) != 0 {
		t.Errorf("the time is complete after the age has gone: %v", a.Open)
	}
}

func TestOneRankAtATimeUnlessTheRuleSaysOtherwise(t *testing.T) {
	s := ladder(t, "reed amber slate", map[string]string{"slate": "{skip: yes}"})
	for _, c := range []struct {
		holds, rank string
		yes         bool
	}{
		{"", "reed", true}, {"", "amber", false}, {"reed", "amber", true}, {"reed", "reed", false}, {"amber", "reed", false},
		{"reed", "slate", true}, {"", "slate", true}, {"slate", "slate", false},
	} {
		if a := admit(t, limit{rank: c.rank, holds: c.holds, since: "2024-01-01"}.question(s, day("2024-06-01"))); a.Yes != c.yes {
			t.Errorf("holding %q, for %s: %v", c.holds, c.rank, a.Yes)
		}
	}
	for name, q := range map[string]ready.Question{
		"a rank asked that is not on the ladder": {Syllabus: s, Rank: "plum", On: day("2024-06-01")},
		"a rank held that is not on the ladder":  {Syllabus: s, Rank: "reed", On: day("2024-06-01"), Standing: ready.Standing{Rank: "plum"}},
		"no day":                                 {Syllabus: s, Rank: "reed"},
	} {
		if _, err := ready.Admit(q); err == nil {
			t.Errorf("%s is answered", name)
		}
	}
}

func TestEveryUnmetConditionIsToldAtOnce(t *testing.T) {
	s := club(t)
	q := limit{rank: "amber", holds: "reed", since: "2026-08-01", born: "2021-01-01", classes: 18}.question(s, day("2026-10-10"))
	a := admit(t, q)
	var kinds []string
	for _, r := range a.Unmet() {
		kinds = append(kinds, string(r.Kind))
	}
	if got := strings.Join(kinds, " "); got != "age time classes clearance" {
		t.Errorf("told: %s", got)
	}
	if len(a.Reasons) != 6 {
		t.Errorf("%d reasons, want those met as well", len(a.Reasons))
	}
}

func TestFactsThatAreNotOnRecordAreAskedFor(t *testing.T) {
	s := ladder(t, "reed amber", map[string]string{"amber": "{age: 6, weeks: 8, attendance: 70%, result: {rank: reed, at_least: 75%}}"})
	a := admit(t, ready.Question{Syllabus: s, Rank: "amber", On: day("2024-06-01"), Standing: ready.Standing{Rank: "reed"}})
	un := a.Unmet()
	if len(un) != 4 || a.First != 0 || a.AgeOnDay != -1 {
		t.Fatalf("told: %s", say(a))
	}
	for _, r := range un {
		if !r.Unknown || r.Found() != "not on record" {
			t.Errorf("%s is not said to be unknown", r.Kind)
		}
	}
}

func TestARuleThatIsNotInForceYet(t *testing.T) {
	s := ladder(t, "reed", map[string]string{"reed": "{from: 2024-09-01, until: 2025-08-31, age: 5}"})
	q := ready.Question{Syllabus: s, Rank: "reed", Born: day("2015-01-01"), On: day("2024-08-31")}
	a := admit(t, q)
	if a.Yes || a.First != day("2024-09-01") || a.Last != day("2025-08-31") || a.Unmet()[0].Kind != ready.ByRule {
		t.Errorf("%s; from %s to %s", say(a), a.First, a.Last)
	}
}

func BenchmarkAdmit(b *testing.B) {
	s := club(b)
	q := limit{rank: "amber", holds: "reed", since: "2026-08-01", born: "2021-01-01", classes: 18}.question(s, day("2026-10-10"))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := ready.Admit(q); err != nil {
			b.Fatal(err)
		}
	}
}

func TestATimeExactlyCompleteIsShownWhole(t *testing.T) {
	s := ladder(t, "reed amber", map[string]string{"amber": "{weeks: 8, months: 2, years: 1}"})
	a := admit(t, limit{rank: "amber", holds: "reed", since: "2023-05-04"}.question(s, day("2024-05-04")))
	var found []string
	for _, r := range a.Reasons[2:] {
		found = append(found, r.Found())
	}
	if got := strings.Join(found, ", "); got != "52 weeks and 2 days, 12 months, 1 year" {
		t.Errorf("found %s", got)
	}
}

func TestAStretchWithoutADateIsUnknown(t *testing.T) {
	s := ladder(t, "reed amber", map[string]string{"amber": "{held: {rank: reed, years: 1}}"})
	a := admit(t, limit{rank: "amber", holds: "reed"}.question(s, day("2024-05-04")))
	if un := a.Unmet(); len(un) != 1 || !un[0].Unknown {
		t.Errorf("told: %s", say(a))
	}
}

func TestOnlyWhatIsShortMayBeWaived(t *testing.T) {
	const waive = ", may_be_waived: {by: head_instructor, at_most: {days: 7, age_days: 7, classes: 1}}}"
	for rule, want := range map[string]bool{
		"{age: 7":                               true,  // turns 7 a day later
		"{age: {at_most: 5}":                    false, // turned 6 long ago
		"{age: {at_least: 6, at_most: 6}":       true,
		"{wait: {within: {days: 90}}":           false, // ended a day ago
		"{days: 92":                             true,
		"{wait: {counted: cut_off}":             false, // dated a day after
		"{attendance: 100%":                     false,
		"{any: [{age: 12}, {days: 92}]":         true,
		"{all: [{age: 12}, {days: 92}]":         false,
		"{days: 92, age: 7, classes: 1":         true,
		"{days: 92, age: 7, classes: 2":         false,
		"{age: {at_least: 1, at_most: 5}":       false,
		"{days: 98":                             true,
		"{days: 99":                             false,
		"{clearances: [fit]":                    false,
		"{any: [{clearances: [fit]}, {age: 7}]": true,
	} {
		s := ladder(t, "reed amber", map[string]string{"amber": rule + waive})
		q := limit{rank: "amber", holds: "reed", since: "2024-02-02", born: "2017-05-04"}.question(s, day("2024-05-03"))
		q.CutOff = day("2024-02-01")
		q.Standing.Offered = 1
		if a := admit(t, q); a.Waivable != (want && !a.Yes) || a.Yes && rule != "{age: {at_least: 6, at_most: 6}" {
			t.Errorf("%s: waivable is %v: %s", rule, a.Waivable, say(a))
		}
	}
}

func TestAClearanceAskedTwiceIsToldOnce(t *testing.T) {
	s := ladder(t, "reed", map[string]string{"reed": "{clearances: [fit]}"})
	s.Ranks[0].Clearances = []rankwright.ClearanceID{"fit", "fit"}
	a := admit(t, ready.Question{Syllabus: s, Rank: "reed", On: day("2024-05-04")})
	if len(a.Unmet()) != 1 || len(a.Reasons) != 2 {
		t.Errorf("told: %s", say(a))
	}
	s.Clearances[0].Before = syllabus.BeforePromotion
	s.Ranks[0].Eligibility = syllabus.Eligibility{}
	if a := admit(t, ready.Question{Syllabus: s, Rank: "reed", On: day("2024-05-04")}); !a.Yes {
		t.Error("a clearance before promotion kept somebody from entering")
	}
}

func TestResultsOfAnotherLadderDoNotCount(t *testing.T) {
	s := ladder(t, "reed amber", map[string]string{"amber": "{retakes: 0, gradings: 1, wait: {months: 3, since: grading}}"})
	q := limit{rank: "amber", holds: "reed", since: "2023-02-02"}.question(s, day("2024-05-04"))
	q.Standing.Results = []ready.Result{{Ladder: "swords", Rank: "amber", On: day("2024-04-04"), Outcome: syllabus.NotYet}}
	if a := admit(t, q); !a.Yes {
		t.Errorf("told: %s", say(a))
	}
	q.Standing.Results[0].Ladder = s.Ladder
	if a := admit(t, q); a.Yes || len(a.Unmet()) != 3 {
		t.Errorf("told: %s", say(a))
	}
}

func TestTheFirstRankCountsFromTheStart(t *testing.T) {
	s := ladder(t, "reed", map[string]string{"reed": "{weeks: 8}"})
	q := ready.Question{Syllabus: s, Rank: "reed", On: day("2024-05-04"), Standing: ready.Standing{Started: day("2024-03-09")}}
	if a := admit(t, q); !a.Yes {
		t.Errorf("told: %s", say(a))
	}
	q.On--
	if a := admit(t, q); a.Yes || a.First != q.On+1 {
		t.Errorf("first day %s", a.First)
	}
}

func TestTheStandingGoesBeforeTheHistory(t *testing.T) {
	s := ladder(t, "reed amber slate", map[string]string{"amber": "{weeks: 8}"})
	q := limit{rank: "amber", holds: "reed", since: "2024-01-01"}.question(s, day("2024-05-04"))
	q.Standing.History = []ready.Given{{Rank: "reed", On: day("2024-01-01")}, {Rank: "slate", On: day("2024-04-04")}}
	if a := admit(t, q); !a.Yes {
		t.Errorf("a rank that was given in error still counts: %s", say(a))
	}
	// The date may stand in the history alone.
	q.Standing.Since, q.Standing.History = 0, q.Standing.History[:1]
	if a := admit(t, q); !a.Yes {
		t.Errorf("told: %s", say(a))
	}
}
