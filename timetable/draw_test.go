package timetable

import (
	"fmt"

	"pgregory.net/rapid"

	"rankwright"
)

// drawProblem draws a small problem that Check accepts and that uses everything
// a problem can say.
func drawProblem(t *rapid.T, mostEntries int) *Problem {
	in := func(what string, lo, hi int) int { return rapid.IntRange(lo, hi).Draw(t, what) }
	odds := func(what string, n int) bool { return in(what, 1, n) == 1 }
	p := &Problem{Rules: DefaultRules()}
	p.Rules.Unanswered = Suits(in("unanswered", 0, 2))
	p.Rules.Pause, p.Rules.Rest = in("pause", 0, 30), in("rest", 1, 30)
	p.Rules.LittleAge, p.Rules.LittleAfter = in("little age", 0, 9), in("little after", 0, 90)
	p.Rules.LittleClock = Minute(in("little clock", 0, 1) * (10*60 + 30))
	for a := range p.Weights {
		p.Weights[a] = in("weight", 0, 9)
	}
	p.Weights[AimPlaced] = in("unplaced", 0, 60)
	for r := range in("ranks", 1, 4) {
		p.Ranks = append(p.Ranks, rankwright.RankID(fmt.Sprint("r", r)))
	}
	rank := func() rankwright.RankID { return p.Ranks[in("rank", 0, len(p.Ranks)-1)] }
	for s := range in("sessions", 1, 3) {
		p.Sessions = append(p.Sessions, Session{ID: SessionID(fmt.Sprint("s", s)), Day: rankwright.MustDay("2026-10-30") + rankwright.Day(in("day", 0, 1)),
			Makeup: odds("makeup", 4), Cost: in("session cost", 0, 3)})
	}
	session := func() SessionID { return p.Sessions[in("session", 0, len(p.Sessions)-1)].ID }
	for w := range in("sittings", 1, 5) {
		s := Sitting{ID: SittingID(fmt.Sprint("w", w)), Session: session(), Mat: MatID(fmt.Sprint("m", in("mat", 0, 1))),
			Start: Minute(9*60 + 30*in("start", 0, 4)), Minutes: 15 * in("minutes", 1, 3), Most: in("most", 0, 4), Panel: in("panel", 0, 2),
			Cost: in("sitting cost", 0, 3), Width: in("width", 0, 3)}
		s.Least = min(in("least", 0, 3), s.Most)
		if odds("ranks given", 3) {
			for _, r := range p.Ranks {
				if odds("rank", 2) {
					s.Ranks = append(s.Ranks, r)
				}
			}
		}
		if odds("panel for", 4) {
			s.PanelFor = rank()
		}
		if odds("hold", 4) {
			s.Hold = Hold(in("held", 1, 2))
		}
		p.Sittings = append(p.Sittings, s)
		if Check(&Problem{Ranks: p.Ranks, Sessions: p.Sessions, Sittings: p.Sittings, Rules: p.Rules}) != nil {
			p.Sittings[w].Hold = Free // held together with another
		}
	}
	limit := func(what string) (from, until Minute) {
		if odds(what, 5) {
			from = Minute(9*60 + 30*in("from", 0, 3))
		}
		if odds(what, 5) {
			until = Minute(11*60 + 30*in("until", 0, 3))
		}
		return from, until
	}
	for h := range in("households", 1, 4) {
		house := Household{ID: rankwright.HouseholdID(fmt.Sprint("h", h)), MayMove: odds("may move", 2)}
		house.From, house.Until = limit("household's time")
		for _, s := range p.Sessions {
			if !odds("no answer", 4) {
				a := Answer{Session: s.ID, Suits: Suits(in("suits", 0, 2)), Points: in("points", 0, 5)}
				a.From, a.Until = limit("answer's time")
				house.Answers = append(house.Answers, a)
			}
		}
		p.Households = append(p.Households, house)
	}
	sitting := func() SittingID { return p.Sittings[in("sitting", 0, len(p.Sittings)-1)].ID }
	for e := range in("entries", 0, mostEntries) {
		x := Entry{ID: rankwright.EntryID(fmt.Sprint("e", e)), Household: p.Households[in("household", 0, len(p.Households)-1)].ID, Rank: rank(),
			Age: in("age", 0, 10), MustPlace: odds("must place", 12), Asked: in("asked", 0, 3)}
		if odds("locked", 12) {
			x.Locked = sitting()
		}
		if odds("was", 3) {
			x.Was, x.Told = sitting(), odds("told", 2)
		}
		p.Entries = append(p.Entries, x)
	}
	for i := range in("examiners", 0, 4) {
		x := Examiner{ID: rankwright.ExaminerID(fmt.Sprint("x", i)), Highest: rank(), MostSession: in("most session", 0, 3), MostDay: in("most day", 0, 4),
			InARow: in("in a row", 0, 2)}
		for _, s := range p.Sessions {
			if !odds("away", 4) {
				there := Presence{Session: s.ID}
				there.From, there.Until = limit("presence")
				x.There = append(x.There, there)
			}
		}
		if odds("mats", 5) {
			x.Mats = []MatID{p.Sittings[0].Mat}
		}
		if odds("own", 3) {
			x.Own = []rankwright.HouseholdID{p.Households[in("own", 0, len(p.Households)-1)].ID}
		}
		p.Examiners = append(p.Examiners, x)
	}
	if len(p.Examiners) > 0 && odds("was panel", 2) {
		p.Sittings[0].Was = []rankwright.ExaminerID{p.Examiners[in("was", 0, len(p.Examiners)-1)].ID}
	}
	return p
}
