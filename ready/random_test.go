package ready_test

import (
	"math/rand/v2"
	"time"

	"rankwright"
	"rankwright/ready"
	"rankwright/syllabus"
)

// randomQuestion asks for the third of four ranks, under rules and with facts
// that cover every kind of condition.
func randomQuestion(rng *rand.Rand) ready.Question {
	s := &syllabus.Syllabus{Ladder: "home", Counting: syllabus.Counting{MonthEnd: rankwright.MonthEnd(rng.IntN(2))}}
	s.Clearances = []syllabus.Clearance{{ID: "fit", Name: "Fit", Before: syllabus.BeforeEntry}}
	for _, id := range []rankwright.RankID{"r0", "r1", "r2", "r3"} {
		s.Ranks = append(s.Ranks, syllabus.Rank{ID: id, Name: string(id)})
	}
	near := func(base rankwright.Day, spread int) rankwright.Day { return base + rankwright.Day(rng.IntN(spread)) }
	// Ends of months and leap days are where conventions differ.
	awkward := func(d rankwright.Day) rankwright.Day {
		y := d.Year()
		switch rng.IntN(4) {
		case 0:
			return rankwright.NewDay(y-y%4, 2, 29)
		case 1:
			m := time.Month(1 + rng.IntN(12))
			return rankwright.NewDay(y, m, rankwright.DaysIn(y, m))
		}
		return d
	}
	on := awkward(near(rankwright.MustDay("2020-01-01"), 3000))
	q := ready.Question{Syllabus: s, Rank: "r2", Born: awkward(on - rankwright.Day(1500+rng.IntN(5500))), On: on}
	q.Standing = ready.Standing{
		Classes: rng.IntN(40), Offered: rng.IntN(60), WeeksHeld: rng.IntN(20),
		Credits: []ready.Tally{{Name: "seminar", N: rng.IntN(5)}},
		Points:  []ready.Score{{Name: "wins", Amount: rankwright.Whole(rng.IntN(10))}},
	}
	st := &q.Standing
	at := awkward(on - rankwright.Day(200+rng.IntN(1500)))
	st.Started = at
	st.Since = at
	for _, id := range []rankwright.RankID{"r0", "r1"}[:rng.IntN(3)] {
		if st.Rank != "" {
			st.History = append(st.History, ready.Given{Rank: st.Rank, On: st.Since})
		}
		if next := awkward(at + rankwright.Day(1+rng.IntN(500))); next > at {
			at = next
		} else {
			at++
		}
		st.Rank, st.Since = id, at
	}
	if st.Rank == "" && rng.IntN(2) == 0 {
		s.Ranks[1+rng.IntN(2)].Eligibility.Conversions = []syllabus.Conversion{{Ladder: "other", Ranks: []rankwright.RankID{"o1"}, May: 5 + rng.IntN(12), Automatic: true}}
		st.History = append(st.History, ready.Given{Ladder: "other", Rank: "o1", On: at})
	}
	for range rng.IntN(4) {
		st.Results = append(st.Results, ready.Result{
			Rank: "r2", On: awkward(on - rankwright.Day(rng.IntN(900))), Outcome: syllabus.Outcome(rng.IntN(6)),
			Points: rankwright.Whole(rng.IntN(21)), Of: rankwright.Whole(20), Label: []string{"", "part"}[rng.IntN(2)],
		})
	}
	if rng.IntN(4) > 0 {
		st.Cleared = []rankwright.ClearanceID{"fit"}
	}
	if rng.IntN(2) == 0 {
		q.CutOff = on - rankwright.Day(rng.IntN(1000))
	}
	k := &s.Ranks[2]
	if rng.IntN(5) == 0 {
		k.Clearances = []rankwright.ClearanceID{"fit"}
	}
	group := func() syllabus.AllOf {
		var g syllabus.AllOf
		for range rng.IntN(4) {
			g.Terms = append(g.Terms, randomTerm(rng, 2))
		}
		return g
	}
	change := near(on-400, 800)
	switch rng.IntN(4) {
	case 0:
	case 1:
		k.Eligibility.Rules = []syllabus.EntryRule{{Until: change, Terms: group()}, {From: change + rankwright.Day(rng.IntN(60)) + 1, Terms: group(), Skip: rng.IntN(3) == 0}}
	default:
		k.Eligibility.Rules = []syllabus.EntryRule{{Terms: group(), Skip: rng.IntN(3) == 0}}
	}
	return q
}

func randomTerm(rng *rand.Rand, depth int) syllabus.Term {
	length := func() syllabus.Length {
		u := syllabus.TimeUnit(rng.IntN(4))
		return syllabus.Length{N: 1 + rng.IntN([]int{400, 60, 18, 3}[u]), Unit: u}
	}
	rank := func() []rankwright.RankID { return []rankwright.RankID{[]rankwright.RankID{"r0", "r1"}[rng.IntN(2)]} }
	credits := func() syllabus.Credits {
		if rng.IntN(3) > 0 {
			return syllabus.Credits{}
		}
		return syllabus.Credits{Cap: rankwright.Percent(30), Each: []syllabus.CreditFor{{Name: "seminar", Off: 733}}}
	}
	kinds := 13
	if depth > 0 {
		kinds = 17
	}
	switch rng.IntN(kinds) {
	case 0, 1:
		a := syllabus.AgeTerm{AtLeast: 4 + rng.IntN(15), Counted: syllabus.AgeCount(rng.IntN(5)), Month: 1 + rng.IntN(12), Date: 1 + rng.IntN(28)}
		switch rng.IntN(4) {
		case 0:
			a.AtMost = a.AtLeast + rng.IntN(8)
		case 1:
			a.AtMost, a.AtLeast = a.AtLeast, 0
		}
		return a
	case 2, 3:
		w := syllabus.WaitTerm{AtLeast: length(), Since: syllabus.Since{Kind: syllabus.SinceKind(rng.IntN(5))}, Credits: credits()}
		if w.Since.Kind == syllabus.SinceNamed {
			w.Since.Rank = rank()[0]
		}
		if rng.IntN(3) == 0 {
			w.Within = length()
		}
		return w
	case 4:
		l := length()
		for l.Unit < syllabus.InMonths {
			l = length()
		}
		return syllabus.WaitTerm{AtLeast: l, Since: syllabus.Since{Kind: syllabus.SinceKind(rng.IntN(3))}, Counted: syllabus.TimeCount(1 + rng.IntN(3))}
	case 5:
		return syllabus.ClassesTerm{AtLeast: 1 + rng.IntN(40), Credits: credits()}
	case 6:
		return syllabus.RateTerm{PerWeek: rankwright.Whole(3) / rankwright.Amount(1+rng.IntN(5))}
	case 7:
		return syllabus.AttendanceTerm{AtLeast: rankwright.Share(1 + rng.IntN(10000))}
	case 8:
		return syllabus.GradingsTerm{AtMost: 1 + rng.IntN(3), Months: []int{1, 2, 3, 6, 12}[rng.IntN(5)], Rolling: rng.IntN(2) == 0}
	case 9:
		if rng.IntN(2) == 0 {
			return syllabus.PointsTerm{Of: "wins", AtLeast: rankwright.Whole(rng.IntN(10) + 1)}
		}
		return syllabus.ResultTerm{Rank: "r2", AtLeast: rankwright.Percent(rng.IntN(100)), Label: []string{"", "part"}[rng.IntN(2)]}
	case 10:
		if rng.IntN(3) == 0 {
			return syllabus.HoldsTerm{Ladder: "other", Ranks: []rankwright.RankID{"o1"}}
		}
		return syllabus.HoldsTerm{Ranks: rank()}
	case 11:
		h := syllabus.HeldTerm{Ranks: rank(), AtLeast: length()}
		if rng.IntN(3) == 0 {
			h.Ranks = []rankwright.RankID{"r0", "r1"}
		}
		return h
	case 12:
		if rng.IntN(2) == 0 {
			return syllabus.ClearanceTerm{ID: "fit"}
		}
		return syllabus.RetakesTerm{AtMost: rng.IntN(3)}
	}
	var parts []syllabus.Term
	for range 1 + rng.IntN(3) {
		parts = append(parts, randomTerm(rng, depth-1))
	}
	if rng.IntN(2) == 0 {
		return syllabus.AllOf{Terms: parts}
	}
	return syllabus.AnyOf{Terms: parts}
}
