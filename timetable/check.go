package timetable

import (
	"slices"

	"rankwright"
)

// place says where in a problem something stands, so that a reader of files can
// turn it into a line: the list, the number in it, the key, and the number
// within that key's list or -1.
type place struct {
	list string
	at   int
	key  string
	sub  int
}

// finding is a fault with its place.
type finding struct {
	place
	*rankwright.Fault
}

// Check says everything that is wrong with a problem in itself: doubled or
// unknown names, numbers out of range, contradictions. It says nothing of
// whether a plan exists. The error is a rankwright.Faults.
func Check(p *Problem) error {
	var fs rankwright.Faults
	for _, f := range check(p) {
		fs = append(fs, f.Fault)
	}
	return fs.Err()
}

type checker struct {
	p          *Problem
	found      []finding
	ranks      map[rankwright.RankID]int
	sessions   map[SessionID]int
	sittings   map[SittingID]int
	mats       map[MatID]bool
	households map[rankwright.HouseholdID]int
	examiners  map[rankwright.ExaminerID]int
}

func (c *checker) add(at place, code, do, say string, args ...any) {
	c.found = append(c.found, finding{at, rankwright.Faultf(rankwright.Invalid, code, do, say, args...)})
}

// number checks a number's range.
func (c *checker) number(at place, what, owner string, v, least, most int) {
	if v < least || v > most {
		c.add(at, "number_range", "write a whole number in that range", "%s%s is %d, and may be from %d to %d", what, owner, v, least, most)
	}
}

// span checks two times of day; 0 may mean that none is stated.
func (c *checker) span(at place, what, owner string, from, until Minute) {
	if from < 0 || from > 24*60 || until < 0 || until > 24*60 {
		c.add(at, "time_range", "write a time such as 18:30", "%s%s is not a time of day", what, owner)
	} else if from > 0 && until > 0 && from >= until {
		c.add(at, "times_swapped", "swap the two", "%s%s is from %s until %s, which leaves no time", what, owner, from, until)
	}
}

// ids finds empty and doubled names of a list and returns where each stands.
func ids[T any, K ~string](c *checker, list, what string, most int, all []T, key func(T) K) map[K]int {
	if len(all) > most {
		c.add(place{list, -1, "", -1}, "too_many", "split the grading", "there are %d %s, and at most %d are taken on at once", len(all), list, most)
	}
	seen := make(map[K]int, len(all))
	for i, x := range all {
		id := key(x)
		if id == "" {
			c.add(place{list, i, "id", -1}, "id_missing", "give it one", "%s %d has no id", what, i+1)
			continue
		}
		if first, ok := seen[id]; ok {
			c.add(place{list, i, "id", -1}, "id_twice", "give each its own", "%s %d and %s %d have the same id %q", what, first+1, what, i+1, id)
			continue
		}
		seen[id] = i
	}
	return seen
}

func known[K ~string](c *checker, at place, in map[K]int, what string, id K, owner string) {
	if _, ok := in[id]; !ok {
		c.add(at, "unknown_"+what, "name one of the problem's own, or add it", "%s names the %s %q, which is not in the problem", owner, what, string(id))
	}
}

func check(p *Problem) []finding {
	c := &checker{p: p, mats: map[MatID]bool{}}
	c.ranks = ids(c, "ranks", "rank", MostRanks, p.Ranks, func(r rankwright.RankID) rankwright.RankID { return r })
	if len(p.Ranks) == 0 {
		c.add(place{"ranks", -1, "", -1}, "no_ranks", "list the ladder's ranks from the lowest to the highest", "the problem has no ranks")
	}
	c.sessions = ids(c, "sessions", "session", MostSessions, p.Sessions, func(s Session) SessionID { return s.ID })
	c.sittings = ids(c, "sittings", "sitting", MostSittings, p.Sittings, func(s Sitting) SittingID { return s.ID })
	c.households = ids(c, "households", "household", MostHouseholds, p.Households, func(h Household) rankwright.HouseholdID { return h.ID })
	ids(c, "entries", "entry", MostEntries, p.Entries, func(e Entry) rankwright.EntryID { return e.ID })
	c.examiners = ids(c, "examiners", "examiner", MostExaminers, p.Examiners, func(x Examiner) rankwright.ExaminerID { return x.ID })
	for i := range p.Sittings {
		c.mats[p.Sittings[i].Mat] = true
	}
	for i := range p.Sessions {
		s := &p.Sessions[i]
		if s.Day.IsZero() {
			c.add(place{"sessions", i, "day", -1}, "day_missing", "write year-month-day, such as 2026-10-31", "session %q has no day", s.ID)
		}
		c.number(place{"sessions", i, "cost", -1}, "the cost of session ", string(s.ID), s.Cost, 0, MostCost)
	}
	for i := range p.Sittings {
		c.sitting(i, &p.Sittings[i])
	}
	c.heldTogether()
	for i := range p.Households {
		c.household(i, &p.Households[i])
	}
	for i := range p.Entries {
		c.entry(i, &p.Entries[i])
	}
	for i := range p.Examiners {
		c.examiner(i, &p.Examiners[i])
	}
	c.rules()
	return c.found
}

func (c *checker) sitting(i int, s *Sitting) {
	at := func(key string) place { return place{"sittings", i, key, -1} }
	owner := "sitting " + string(s.ID)
	known(c, at("session"), c.sessions, "session", s.Session, owner)
	if s.Mat == "" {
		c.add(at("mat"), "mat_missing", "name the mat, also where there is only one", "%s has no mat", owner)
	}
	c.number(at("minutes"), "the minutes of ", owner, s.Minutes, 1, 24*60)
	if s.Start < 0 || s.Start >= 24*60 || s.End() > 24*60 {
		c.add(at("start"), "time_range", "let it start and end on one day", "%s is from %s to %s", owner, s.Start, s.End())
	}
	c.number(at("most"), "the most entries of ", owner, s.Most, 0, MostEntries)
	c.number(at("least"), "the least entries of ", owner, s.Least, 0, MostEntries)
	if s.Least > s.Most && s.Most >= 0 {
		c.add(at("least"), "least_above_most", "lower the least or raise the most", "%s takes place with at least %d and at most %d entries", owner, s.Least, s.Most)
	}
	c.number(at("panel"), "the panel of ", owner, s.Panel, 0, 20)
	c.number(at("cost"), "the cost of ", owner, s.Cost, 0, MostCost)
	c.number(at("width"), "the width of ", owner, s.Width, 0, MostRanks)
	for j, r := range s.Ranks {
		known(c, place{"sittings", i, "ranks", j}, c.ranks, "rank", r, owner)
		if slices.Contains(s.Ranks[:j], r) {
			c.add(place{"sittings", i, "ranks", j}, "rank_twice", "remove one", "%s lists the rank %q twice", owner, r)
		}
	}
	if s.PanelFor != "" {
		known(c, at("panel_for"), c.ranks, "rank", s.PanelFor, owner)
	}
	for j, x := range s.Was {
		known(c, place{"sittings", i, "was_panel", j}, c.examiners, "examiner", x, owner)
		if slices.Contains(s.Was[:j], x) {
			c.add(place{"sittings", i, "was_panel", j}, "examiner_twice", "remove one", "%s lists the examiner %q twice", owner, x)
		}
	}
	if s.Hold > Shut {
		c.add(at("hold"), "hold", "", "%s is held in an unknown way", owner)
	}
}

// heldTogether finds sittings that are held on one mat at one time.
func (c *checker) heldTogether() {
	type where struct {
		day rankwright.Day
		mat MatID
	}
	held := map[where][]int{}
	for i := range c.p.Sittings {
		s := &c.p.Sittings[i]
		at, ok := c.sessions[s.Session]
		if s.Hold != Held || !ok {
			continue
		}
		k := where{c.p.Sessions[at].Day, s.Mat}
		for _, j := range held[k] {
			if o := &c.p.Sittings[j]; s.Start < o.End() && o.Start < s.End() {
				c.add(place{"sittings", i, "hold", -1}, "held_together", "leave one of them to the plan", "sittings %q and %q are held on the same mat at the same time", o.ID, s.ID)
			}
		}
		held[k] = append(held[k], i)
	}
}

func (c *checker) household(i int, h *Household) {
	owner := "household " + string(h.ID)
	c.span(place{"households", i, "from", -1}, "the time of ", owner, h.From, h.Until)
	for j, a := range h.Answers {
		at := place{"households", i, "answers", j}
		known(c, at, c.sessions, "session", a.Session, owner)
		if slices.ContainsFunc(h.Answers[:j], func(b Answer) bool { return b.Session == a.Session }) {
			c.add(at, "answer_twice", "keep the later answer only", "%s answers twice for session %q", owner, a.Session)
		}
		c.number(at, "the points of ", owner, a.Points, 0, MostCost)
		c.span(at, "an answer's time of ", owner, a.From, a.Until)
		if a.Suits > Yes {
			c.add(at, "suits", "", "%s gives an unknown answer", owner)
		}
	}
}

func (c *checker) entry(i int, e *Entry) {
	at := func(key string) place { return place{"entries", i, key, -1} }
	owner := "entry " + string(e.ID)
	known(c, at("household"), c.households, "household", e.Household, owner)
	known(c, at("rank"), c.ranks, "rank", e.Rank, owner)
	c.number(at("age"), "the age of ", owner, e.Age, 0, 120)
	c.number(at("asked"), "the days since it was made, of ", owner, e.Asked, 0, 36500)
	if e.Locked != "" {
		known(c, at("locked"), c.sittings, "sitting", e.Locked, owner)
	}
	if e.Was != "" {
		known(c, at("was"), c.sittings, "sitting", e.Was, owner)
	} else if e.Told {
		c.add(at("told"), "told_nothing", "name the sitting under was, or leave told out", "%s was told a time, and has no published sitting", owner)
	}
}

func (c *checker) examiner(i int, x *Examiner) {
	at := func(key string, sub int) place { return place{"examiners", i, key, sub} }
	owner := "examiner " + string(x.ID)
	known(c, at("highest", -1), c.ranks, "rank", x.Highest, owner)
	for j, t := range x.There {
		known(c, at("there", j), c.sessions, "session", t.Session, owner)
		if slices.ContainsFunc(x.There[:j], func(o Presence) bool { return o.Session == t.Session }) {
			c.add(at("there", j), "there_twice", "keep one", "%s is there twice in session %q", owner, t.Session)
		}
		c.span(at("there", j), "the time of ", owner, t.From, t.Until)
	}
	for j, m := range x.Mats {
		if !c.mats[m] {
			c.add(at("mats", j), "unknown_mat", "name a mat of some sitting", "%s names the mat %q, on which no sitting stands", owner, m)
		}
	}
	for j, h := range x.Own {
		known(c, at("own", j), c.households, "household", h, owner)
		if slices.Contains(x.Own[:j], h) {
			c.add(at("own", j), "household_twice", "remove one", "%s lists the household %q twice", owner, h)
		}
	}
	c.number(at("most_session", -1), "the most sittings in a session of ", owner, x.MostSession, 0, MostSittings)
	c.number(at("most_day", -1), "the most sittings on a day of ", owner, x.MostDay, 0, MostSittings)
	c.number(at("in_a_row", -1), "the most sittings in a row of ", owner, x.InARow, 0, MostSittings)
}

func (c *checker) rules() {
	r := &c.p.Rules
	at := func(key string) place { return place{"rules", -1, key, -1} }
	if r.Unanswered > Yes {
		c.add(at("unanswered"), "suits", "", "an unknown answer stands in for one not given")
	}
	c.number(at("pause"), "the pause", "", r.Pause, 0, 24*60)
	c.number(at("rest"), "the rest", "", r.Rest, 1, 24*60)
	c.number(at("little_age"), "the age of a little one", "", r.LittleAge, 0, 120)
	c.number(at("little_after"), "the minutes after which it is late for a little one", "", r.LittleAfter, 0, 24*60)
	c.span(at("little_clock"), "the hour from which it is late for a little one", "", r.LittleClock, 0)
	for a, w := range c.p.Weights {
		c.number(place{"weights", -1, Aim(a).String(), -1}, "the weight of ", Aim(a).String(), w, 0, MostWeight)
	}
}
