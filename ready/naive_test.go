package ready_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"rankwright"
	"rankwright/ready"
	"rankwright/syllabus"
)

// The second opinion: the same rules said again, one day at a time, without
// sets of days and without the calendar of package rankwright beyond the
// numbering of days. It is slow and plain on purpose.

type civil struct{ y, m, d int }

func civilOf(d rankwright.Day) civil {
	t := time.Date(1, 1, int(d), 0, 0, 0, 0, time.UTC)
	return civil{t.Year(), int(t.Month()), t.Day()}
}

func (c civil) before(o civil) bool {
	if c.y != o.y {
		return c.y < o.y
	}
	if c.m != o.m {
		return c.m < o.m
	}
	return c.d < o.d
}

func monthLength(y, m int) int {
	switch m {
	case 4, 6, 9, 11:
		return 30
	case 2:
		if y%4 == 0 && y%100 != 0 || y%400 == 0 {
			return 29
		}
		return 28
	}
	return 31
}

// later steps month by month and mends the day at the end.
func (c civil) later(months int, end rankwright.MonthEnd) civil {
	for range months {
		if c.m++; c.m == 13 {
			c.y, c.m = c.y+1, 1
		}
	}
	if c.d > monthLength(c.y, c.m) {
		if end == rankwright.LastDay {
			c.d = monthLength(c.y, c.m)
		} else if c.d, c.m = 1, c.m+1; c.m == 13 {
			c.y, c.m = c.y+1, 1
		}
	}
	return c
}

// lasted says whether the length has gone by from a to b.
func lasted(l syllabus.Length, a, b rankwright.Day, end rankwright.MonthEnd) bool {
	switch l.Unit {
	case syllabus.InDays:
		return int(b-a) >= l.N
	case syllabus.InWeeks:
		return int(b-a)/7 >= l.N && b >= a
	case syllabus.InMonths:
		return !civilOf(b).before(civilOf(a).later(l.N, end))
	}
	return !civilOf(b).before(civilOf(a).later(12*l.N, end))
}

func birthdays(born, on rankwright.Day, end rankwright.MonthEnd) int {
	n, b, today := 0, civilOf(born), civilOf(on)
	for {
		birthday := civil{b.y + n + 1, b.m, b.d}
		if today.before(birthday.later(0, end)) {
			return n
		}
		n++
	}
}

type naive struct {
	q   *ready.Question
	end rankwright.MonthEnd
	on  rankwright.Day

	// The rank that a rank of the other ladder becomes, the day it does and
	// the day it was given.
	turned  rankwright.RankID
	at, was rankwright.Day
}

func (n naive) onDay(d rankwright.Day) naive { n.on = d; return n }

func (n naive) place(id rankwright.RankID) int {
	for i, k := range n.q.Syllabus.Ranks {
		if k.ID == id {
			return i
		}
	}
	return -1
}

// steps is the history with the rank held now; the cases keep it in order.
func (n naive) steps() []ready.Given {
	st := n.q.Standing
	out := append([]ready.Given{}, st.History...)
	if st.Rank != "" {
		out = append(out, ready.Given{Ladder: st.Ladder, Rank: st.Rank, On: st.Since})
	}
	return out
}

func secondOpinion(q *ready.Question) naive {
	n := naive{q: q, end: q.Syllabus.Counting.MonthEnd}
	for _, k := range q.Syllabus.Ranks {
		for _, c := range k.Eligibility.Conversions {
			var last ready.Given
			for _, g := range n.steps() {
				if g.Ladder == c.Ladder {
					last = g
				}
			}
			if last.Rank == c.Ranks[0] {
				n.turned, n.at, n.was = k.ID, last.On, last.On
				for birthdays(q.Born, n.at, n.end) < c.May {
					n.at++
				}
			}
		}
	}
	return n
}

func (n naive) since() rankwright.Day {
	st := n.q.Standing
	at := rankwright.Day(0)
	for _, g := range n.steps() {
		if g.Ladder == "" {
			at = g.On
		}
	}
	switch {
	case at != 0:
		return at
	case n.turned != "":
		return n.was
	}
	return st.Since
}

func (n naive) took() map[rankwright.Day]bool {
	out := map[rankwright.Day]bool{}
	for _, g := range n.steps() {
		if g.Ladder == "" {
			out[g.On] = true
		}
	}
	for _, e := range n.q.Standing.Results {
		if e.Outcome <= syllabus.NotYet {
			out[e.On] = true
		}
	}
	return out
}

func (n naive) lastGrading() rankwright.Day {
	var last rankwright.Day
	for d := range n.took() {
		last = max(last, d)
	}
	if last == 0 {
		return n.since()
	}
	return last
}

func (n naive) all(ts []syllabus.Term) bool {
	for _, t := range ts {
		if !n.holds(t) {
			return false
		}
	}
	return true
}

func (n naive) off(c syllabus.Credits) int {
	sum := 0
	for _, each := range c.Each {
		for _, done := range n.q.Standing.Credits {
			if done.Name == each.Name {
				sum += done.N * int(each.Off)
			}
		}
	}
	return min(sum, int(c.Cap))
}

// asked takes the credit off and goes up to the next whole.
func asked(whole, off int) int {
	n := whole * (10000 - off) / 10000
	for n*10000 < whole*(10000-off) {
		n++
	}
	return n
}

func (n naive) holds(t syllabus.Term) bool {
	st := n.q.Standing
	switch t := t.(type) {
	case syllabus.AllOf:
		return n.all(t.Terms)
	case syllabus.AnyOf:
		for _, p := range t.Terms {
			if n.holds(p) {
				return true
			}
		}
		return false
	case syllabus.AgeTerm:
		if n.on < n.q.Born {
			return false
		}
		var age int
		switch t.Counted {
		case syllabus.AgeOnTheDay:
			age = birthdays(n.q.Born, n.on, n.end)
		case syllabus.AgeCalendarYear, syllabus.AgeYearOfLife:
			age = civilOf(n.on).y - civilOf(n.q.Born).y
		case syllabus.AgeOnDate:
			at := rankwright.NewDay(civilOf(n.on).y, time.Month(t.Month), t.Date)
			age = birthdays(n.q.Born, at, n.end)
		case syllabus.AgeAtLastGrading:
			age = birthdays(n.q.Born, n.lastGrading(), n.end)
		}
		return age >= t.AtLeast && (t.AtMost == 0 || age <= t.AtMost)
	case syllabus.WaitTerm:
		return n.waited(t)
	case syllabus.ClassesTerm:
		return st.Classes >= asked(t.AtLeast, n.off(t.Credits))
	case syllabus.RateTerm:
		return st.WeeksHeld > 0 && rankwright.Whole(st.Classes) >= t.PerWeek*rankwright.Amount(st.WeeksHeld)
	case syllabus.AttendanceTerm:
		return st.Offered > 0 && st.Classes*10000 >= int(t.AtLeast)*st.Offered
	case syllabus.GradingsTerm:
		return n.gradings(t)
	case syllabus.PointsTerm:
		for _, p := range st.Points {
			if p.Name == t.Of && p.Amount >= t.AtLeast {
				return true
			}
		}
		return false
	case syllabus.ResultTerm:
		for _, e := range st.Results {
			if e.Rank == t.Rank && e.Outcome <= syllabus.NotYet && e.On <= n.on && (t.Label == "" || e.Label == t.Label) &&
				int64(e.Points)*10000 >= int64(t.AtLeast)*int64(e.Of) {
				return true
			}
		}
		return false
	case syllabus.HoldsTerm:
		for _, g := range n.steps() {
			if g.On > n.on || g.Ladder != t.Ladder {
				continue
			}
			if g.Rank == t.Ranks[0] || t.Ladder == "" && n.place(g.Rank) >= n.place(t.Ranks[0]) {
				return true
			}
		}
		return n.turned != "" && t.Ladder == "" && n.at <= n.on && n.place(n.turned) >= n.place(t.Ranks[0])
	case syllabus.HeldTerm:
		return n.held(t)
	case syllabus.RetakesTerm:
		tries := 0
		for _, e := range st.Results {
			if e.Rank == n.q.Rank && e.Outcome == syllabus.NotYet {
				tries++
			}
		}
		return tries <= t.AtMost
	case syllabus.ClearanceTerm:
		for _, id := range st.Cleared {
			if id == t.ID {
				return true
			}
		}
		return false
	}
	panic("a term without a second opinion")
}

func (n naive) waited(t syllabus.WaitTerm) bool {
	var start, counts rankwright.Day
	switch t.Since.Kind {
	case syllabus.SinceRank:
		start = n.since()
	case syllabus.SinceGrading:
		start = n.lastGrading()
	case syllabus.SinceStart:
		start = n.q.Standing.Started
	case syllabus.SinceNotYet:
		for _, e := range n.q.Standing.Results {
			if e.Rank == n.q.Rank && e.Outcome == syllabus.NotYet {
				start = max(start, e.On)
			}
		}
		if start == 0 {
			return true
		}
	case syllabus.SinceNamed:
		for _, g := range n.steps() {
			if g.Ladder == "" && g.Rank == t.Since.Rank && start == 0 {
				start = g.On
			}
		}
		if start == 0 && n.turned == t.Since.Rank {
			start, counts = n.was, n.at
		}
	}
	if start == 0 {
		return false
	}
	switch t.Counted {
	case syllabus.CutOff:
		return n.q.CutOff != 0 && start <= n.q.CutOff
	case syllabus.SameMonth, syllabus.MonthSlots:
		months := t.AtLeast.N
		if t.AtLeast.Unit == syllabus.InYears {
			months *= 12
		}
		a, b := civilOf(start), civilOf(n.on)
		return n.on >= start && 12*(b.y-a.y)+b.m-a.m >= months
	}
	if n.on < start || n.on < counts {
		return false
	}
	if off := n.off(t.Credits); off > 0 {
		due := start + rankwright.Day(t.AtLeast.N) // no unit is shorter than a day
		for !lasted(t.AtLeast, start, due, n.end) {
			due++
		}
		if int(n.on-start) < asked(int(due-start), off) {
			return false
		}
	} else if !lasted(t.AtLeast, start, n.on, n.end) {
		return false
	}
	return t.Within.N == 0 || n.on == start || !lasted(t.Within, start, n.on-1, n.end)
}

func (n naive) gradings(t syllabus.GradingsTerm) bool {
	counted := 1
	for g := range n.took() {
		if g > n.on {
			continue
		}
		a, b := civilOf(g), civilOf(n.on)
		if t.Rolling {
			if !lasted(syllabus.Length{N: t.Months, Unit: syllabus.InMonths}, g, n.on, n.end) {
				counted++
			}
		} else if a.y == b.y && (a.m-1)/t.Months == (b.m-1)/t.Months {
			counted++
		}
	}
	return counted <= t.AtMost
}

// held looks at every day from which the rank was held on end.
func (n naive) held(t syllabus.HeldTerm) bool {
	steps := n.steps()
	held := func(d rankwright.Day) bool {
		var id rankwright.RankID
		for _, g := range steps {
			if g.Ladder == "" && g.On <= d {
				id = g.Rank
			}
		}
		return id == t.Ranks[0] || len(t.Ranks) > 1 && id == t.Ranks[1]
	}
	for _, g := range steps {
		if g.Ladder != "" || !held(g.On) {
			continue
		}
		end := g.On
		for end < n.on && held(end) {
			end++
		}
		if lasted(t.AtLeast, g.On, end, n.end) && end <= n.on && g.On <= n.on {
			return true
		}
	}
	return false
}

func (n naive) yes() bool {
	id := n.q.Rank
	k := n.q.Syllabus.Ranks[n.place(id)]
	for _, g := range n.steps() {
		if g.Ladder == "" && n.place(g.Rank) >= n.place(id) {
			return false
		}
	}
	if n.turned != "" && n.place(n.turned) >= n.place(id) && n.on >= n.at {
		return false
	}
	for _, c := range k.Clearances {
		if !n.holds(syllabus.ClearanceTerm{ID: c}) {
			return false
		}
	}
	rules := k.Eligibility.Rules
	if len(rules) == 0 {
		rules = []syllabus.EntryRule{{}}
	}
	for _, r := range rules {
		if n.on < r.From || r.Until != 0 && n.on > r.Until {
			continue
		}
		free := r.Skip
		syllabus.Walk(r.Terms, func(t syllabus.Term) {
			if h, ok := t.(syllabus.HoldsTerm); ok && h.Ladder == "" {
				free = true
			}
		})
		if below := n.place(id) - 1; !free && !n.holds(syllabus.HoldsTerm{Ranks: []rankwright.RankID{n.q.Syllabus.Ranks[below].ID}}) {
			return false
		}
		return n.all(r.Terms.Terms)
	}
	return false
}

func TestASecondOpinionAgreesOnRandomCases(t *testing.T) {
	const cases = 30_000
	rng := rand.New(rand.NewPCG(5, 1882))
	yes, later, closed := 0, 0, 0
	for i := range cases {
		q := randomQuestion(rng)
		a, err := ready.Admit(q)
		if err != nil {
			t.Fatal(err)
		}
		opinion := secondOpinion(&q)
		second := func(d rankwright.Day) bool { return opinion.onDay(d).yes() }
		days := []rankwright.Day{q.On, q.On + 1, q.On - 1, q.On + rankwright.Day(rng.IntN(3000)), q.On - rankwright.Day(rng.IntN(3000))}
		for _, s := range a.Open {
			if s.From > q.On-5000 {
				days = append(days, s.From, s.From-1)
			}
			if s.To < q.On+20000 {
				days = append(days, s.To, s.To+1)
			}
		}
		for _, d := range days {
			if d < 1 || d > q.On+20000 {
				continue
			}
			if a.Open.Has(d) != second(d) {
				t.Fatalf("case %d, on %s (asked %s): we say %v\n%+v\n%+v", i, d, q.On, a.Open.Has(d), q.Standing, q.Syllabus.Ranks[2].Eligibility)
			}
		}
		if i%25 == 0 {
			first := rankwright.Day(0)
			for d := q.On; d < q.On+500 && first == 0; d++ {
				if second(d) {
					first = d
				}
			}
			if first != a.First && (first != 0 || a.First < q.On+500) {
				t.Fatalf("case %d: first day %s, looking at each day gives %s", i, a.First, first)
			}
		}
		switch {
		case a.Yes:
			yes++
		case a.First != 0:
			later++
		case a.Last != 0:
			closed++
		}
	}
	t.Logf("%d yes, %d later, %d closed, %d never", yes, later, closed, cases-yes-later-closed)
	if yes < cases/20 || later < cases/20 || closed < cases/200 {
		t.Error("the cases are too much alike to say anything")
	}
}
