package ready

import (
	"rankwright"
	"rankwright/syllabus"
)

// Answer says whether somebody may enter, and why.
type Answer struct {
	Rank rankwright.RankID
	On   rankwright.Day
	Rule string // the name of the rule in force, where it has one
	Yes  bool
	// Reasons is every condition, met or not, in the order of the syllabus.
	Reasons []Reason

	// Open is every day on which the answer is yes if nothing else changes.
	Open Days
	// First is the first such day from the grading on; no day where waiting
	// alone never helps.
	First rankwright.Day
	// Last is the last day of the time that begins with First, no day where
	// that is open. Where First is no day, it is the day on which the last
	// such time ended, if there was one.
	Last rankwright.Day
	// Forecast is the first day if the student goes on coming at the pace
	// given in the question: a forecast, not a promise. No day where it adds
	// nothing to First.
	Forecast rankwright.Day

	AgeOnDay int // in birthdays; -1 where the birth date is unknown
	// Waive is what the rule in force allows to be waived, and Waivable says
	// that everything short lies within it.
	Waive    *syllabus.Waive
	Waivable bool
	Overrule *Overrule // what turned a no into this yes
}

// Unmet returns the conditions that are not met. A group of which all is
// asked is taken apart; one of which any would do stays together.
func (a *Answer) Unmet() []Reason {
	var out []Reason
	for i := range a.Reasons {
		out = unmet(out, &a.Reasons[i])
	}
	return out
}

func unmet(out []Reason, r *Reason) []Reason {
	switch {
	case r.Met:
	case r.Kind == ByAll:
		for i := range r.Parts {
			out = unmet(out, &r.Parts[i])
		}
	default:
		out = append(out, *r)
	}
	return out
}

// Admit answers the question. It fails only where the question cannot be
// asked: a rank that is not on the ladder, or no grading day.
//
// Somebody who holds the rank already, or a higher one on the ladder, may not
// enter for it. Unless the rule names the ranks that serve, or lets ranks be
// skipped, the rank just below must be held; for the lowest, none.
func Admit(q Question) (Answer, error) {
	s := q.Syllabus
	rank, place := s.Rank(q.Rank)
	switch {
	case rank == nil:
		return Answer{}, rankwright.Faultf(rankwright.NotFound, "unknown_rank", "use the id of a rank of this ladder",
			"the ladder %q has no rank %q", s.Ladder, q.Rank)
	case q.On < FirstDay || q.On > LastDay:
		return Answer{}, rankwright.Faultf(rankwright.Invalid, "no_day", "give the day of the grading", "there is no grading day to judge entry by")
	}
	if st := q.Standing; st.Rank != "" && (st.Ladder == "" || st.Ladder == s.Ladder) {
		if k, _ := s.Rank(st.Rank); k == nil {
			return Answer{}, rankwright.Faultf(rankwright.Invalid, "unknown_rank", "correct the student's rank, or add the rank to the syllabus",
				"the rank held, %q, is not on the ladder %q", st.Rank, s.Ladder)
		}
	}
	r := newRecord(&q, rank)
	a := Answer{Rank: q.Rank, On: q.On, AgeOnDay: -1}
	if q.Born != 0 {
		a.AgeOnDay = rankwright.Age(q.Born, q.On, r.end)
	}
	var group Reason
	if group, a.Open = r.weigh(place); len(group.Parts) > 0 {
		a.Reasons = group.Parts
	}
	a.Yes = a.Open.Has(q.On)
	a.First = a.Open.First(q.On)
	if a.First == 0 {
		a.Last = a.Open.before(q.On)
	} else if span, _ := a.Open.span(a.First); span.To < LastDay {
		a.Last = span.To
	}
	if rule := rank.Eligibility.Rule(q.On); rule != nil {
		a.Rule, a.Waive = rule.Name, rule.Waive
		a.Waivable = !a.Yes && rule.Waive != nil && within(&group, rule.Waive)
	}
	if !a.Yes && q.Pace > 0 {
		r.forecast = true
		_, open := r.weigh(place)
		if d := open.First(q.On); d != a.First {
			a.Forecast = d
		}
	}
	return a, nil
}

// weigh judges everything that is asked: the reasons on the grading day, by
// the rule in force then, and the days on which the answer is yes, each by
// the rule in force on it.
func (r *record) weigh(place int) (Reason, Days) {
	step := r.step(place)
	group := Reason{Kind: ByAll, Open: step.Open, Parts: []Reason{step}}
	asked := map[rankwright.ClearanceID]bool{}
	for _, id := range r.rank.Clearances {
		if c := r.s.Clearance(id); c != nil && c.Before == syllabus.BeforeEntry && !asked[id] {
			asked[id] = true
			group.add(r.judge(syllabus.ClearanceTerm{ID: id}))
		}
	}
	rules := r.rank.Eligibility.Rules
	if len(rules) == 0 {
		rules = []syllabus.EntryRule{{}}
	}
	var open, inForce Days
	var today *Reason
	for i := range rules {
		rule := &rules[i]
		span := between(rule.From, LastDay)
		if rule.Until != 0 {
			span = between(rule.From, rule.Until)
		}
		inForce = inForce.or(span)
		found := r.rule(rule, place)
		open = open.or(found.Open.and(span))
		if rule.InForce(r.On) {
			today = &found
		}
	}
	open = open.and(group.Open)
	if today == nil {
		group.add(r.close(Reason{Kind: ByRule, Open: inForce}))
		return r.close(group), open
	}
	for _, p := range today.Parts {
		if c, ok := p.Term.(syllabus.ClearanceTerm); ok && asked[c.ID] {
			continue
		}
		group.add(p)
	}
	return r.close(group), open
}

func (r *Reason) add(part Reason) {
	r.Parts = append(r.Parts, part)
	r.Open = r.Open.and(part.Open)
}

// rule judges one rule, with the rank below where it asks for that.
func (r *record) rule(rule *syllabus.EntryRule, place int) Reason {
	terms := rule.Terms
	if place > 0 && !rule.Skip && !namesRank(terms) {
		below := syllabus.HoldsTerm{Ranks: []rankwright.RankID{r.s.Ranks[place-1].ID}}
		terms.Terms = append([]syllabus.Term{below}, terms.Terms...)
	}
	return r.judge(terms)
}

// namesRank says whether the rule itself says which ranks of this ladder
// serve.
func namesRank(t syllabus.AllOf) bool {
	found := false
	syllabus.Walk(t, func(t syllabus.Term) {
		if h, ok := t.(syllabus.HoldsTerm); ok && h.Ladder == "" {
			found = true
		}
	})
	return found
}

// step is that neither the rank nor a higher one on the ladder is held.
func (r *record) step(place int) Reason {
	out := Reason{Kind: ByStep, Open: always(), Of: []string{r.rank.Name}}
	if r.now >= place {
		out.Open, out.Over = never(), true
		out.Of = append(out.Of, r.s.Ranks[r.now].Name)
	}
	for _, t := range r.turning {
		if r.place(t.rank) >= place {
			out.Open = out.Open.and(between(FirstDay, t.on-1))
		}
	}
	return r.close(out)
}

// within says whether what is short of the group may be waived.
func within(group *Reason, w *syllabus.Waive) bool {
	if !w.OnlyOne {
		return passes(group, *w)
	}
	return passes(group, syllabus.Waive{Days: w.Days}) || passes(group, syllabus.Waive{AgeDays: w.AgeDays}) ||
		passes(group, syllabus.Waive{Classes: w.Classes})
}

func passes(r *Reason, w syllabus.Waive) bool {
	switch {
	case r.Met:
		return true
	case r.Kind == ByAll:
		for i := range r.Parts {
			if !passes(&r.Parts[i], w) {
				return false
			}
		}
		return true
	case r.Kind == ByAny:
		for i := range r.Parts {
			if passes(&r.Parts[i], w) {
				return true
			}
		}
		return false
	case r.Over || r.Unknown || r.Short.N <= 0:
		return false
	}
	most := 0
	switch {
	case r.Kind == ByTime && r.Short.Unit == Day && r.CutOff == 0:
		most = w.Days
	case r.Kind == ByAge && r.Short.Unit == Day:
		most = w.AgeDays
	case r.Kind == ByClasses:
		most = w.Classes
	}
	return r.Short.N <= rankwright.Whole(most)
}
