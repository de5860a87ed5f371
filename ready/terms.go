package ready

import (
	"rankwright"
	"rankwright/syllabus"
)

// judge finds the days on which a term holds, and the facts that show why.
func (r *record) judge(t syllabus.Term) Reason {
	var out Reason
	switch t := t.(type) {
	case syllabus.AllOf:
		out = Reason{Kind: ByAll, Name: t.Name, Open: always()}
		for _, p := range t.Terms {
			part := r.judge(p)
			out.Open = out.Open.and(part.Open)
			out.Parts = append(out.Parts, part)
		}
	case syllabus.AnyOf:
		out = Reason{Kind: ByAny, Name: t.Name}
		for _, p := range t.Terms {
			part := r.judge(p)
			out.Open = out.Open.or(part.Open)
			out.Parts = append(out.Parts, part)
		}
	case syllabus.AgeTerm:
		out = r.age(t)
	case syllabus.WaitTerm:
		out = r.wait(t)
	case syllabus.ClassesTerm:
		out = r.classes(t)
	case syllabus.RateTerm:
		need := ceil(int64(t.PerWeek)*int64(r.Standing.WeeksHeld), int64(rankwright.One))
		out = r.classesOf(ByRate, need, r.Standing.WeeksHeld == 0 && t.PerWeek > 0)
	case syllabus.AttendanceTerm:
		need := ceil(int64(t.AtLeast)*int64(r.Standing.Offered), 10000)
		out = r.classesOf(ByAttendance, need, r.Standing.Offered == 0 && t.AtLeast > 0)
		out.Share = shareOf(r.Standing.Classes, r.Standing.Offered)
	case syllabus.GradingsTerm:
		out = r.gradingsIn(t)
	case syllabus.PointsTerm:
		out = r.points(t)
	case syllabus.ResultTerm:
		out = r.result(t)
	case syllabus.HoldsTerm:
		out = Reason{Kind: ByRank, Of: r.names(t.Ladder, t.Ranks), Open: r.holding(t)}
	case syllabus.HeldTerm:
		out = r.stretch(t)
	case syllabus.RetakesTerm:
		tries := len(r.notYet)
		out = Reason{Kind: ByRetakes, Need: count(t.AtMost, Retake), Shown: count(tries, Retake), Open: alwaysIf(tries <= t.AtMost)}
		if tries > t.AtMost {
			out.Short, out.Over = count(tries-t.AtMost, Retake), true
		}
	case syllabus.ClearanceTerm:
		out = r.clearance(t.ID)
	}
	out.Term = t
	return r.close(out)
}

// close sets what follows from the days.
func (r *record) close(out Reason) Reason {
	out.On, out.MonthEnd = r.On, r.end
	out.Met = out.Open.Has(r.On)
	return out
}

func ceil(a, b int64) int { return int((a + b - 1) / b) }

func shareOf(got, of int) rankwright.Share {
	return rankwright.ShareOf(rankwright.Whole(got), rankwright.Whole(of))
}

func (r *record) age(t syllabus.AgeTerm) Reason {
	out := Reason{Kind: ByAge, Need: count(max(t.AtLeast, t.AtMost), Year), Since: r.Born}
	if r.Born == 0 || t.Counted == syllabus.AgeAtLastGrading && r.lastGrading() == 0 {
		out.Unknown = true
		return out
	}
	var age int
	out.Open, age = r.ageDays(t)
	out.Shown = count(age, Year)
	switch {
	case t.AtMost > 0 && age > t.AtMost:
		out.Over, out.Short = true, count(age-t.AtMost, Year)
		if last := out.Open.before(r.On); last != 0 {
			out.Short = count(int(r.On-last), Day)
		}
	case age < t.AtLeast:
		out.Need, out.Short = count(t.AtLeast, Year), count(t.AtLeast-age, Year)
		if first := out.Open.First(r.On); first != 0 {
			out.Short = count(int(first-r.On), Day)
		}
	}
	return out
}

// ageDays returns the days on which the age is as asked, none of them before
// birth, and the age on the grading day.
func (r *record) ageDays(t syllabus.AgeTerm) (Days, int) {
	// turns is the first day on which the age is n.
	var turns func(n int) rankwright.Day
	age := max(0, r.On.Year()-r.Born.Year())
	switch t.Counted {
	case syllabus.AgeCalendarYear, syllabus.AgeYearOfLife:
		turns = func(n int) rankwright.Day { return rankwright.NewDay(r.Born.Year()+n, 1, 1) }
	case syllabus.AgeOnDate:
		reference := rankwright.NewDay(r.On.Year(), month(t.Month), t.Date)
		age = rankwright.Age(r.Born, reference, r.end)
		turns = func(n int) rankwright.Day {
			birthday := r.Born.AddYears(n, r.end)
			year := birthday.Year()
			if rankwright.NewDay(year, month(t.Month), t.Date) < birthday {
				year++
			}
			return rankwright.NewDay(year, 1, 1)
		}
	case syllabus.AgeAtLastGrading:
		age = rankwright.Age(r.Born, r.lastGrading(), r.end)
		return alwaysIf(age >= t.AtLeast && (t.AtMost == 0 || age <= t.AtMost)).and(from(r.Born)), age
	default:
		age = rankwright.Age(r.Born, r.On, r.end)
		turns = func(n int) rankwright.Day { return r.Born.AddYears(n, r.end) }
	}
	first, last := r.Born, LastDay
	if t.AtLeast > 0 {
		first = max(first, turns(t.AtLeast))
	}
	if t.AtMost > 0 {
		last = turns(t.AtMost+1) - 1
	}
	return between(first, last), age
}

// lastGrading is the last one taken on this ladder, or the first day.
func (r *record) lastGrading() rankwright.Day {
	if n := len(r.gradings); n > 0 {
		return r.gradings[n-1]
	}
	return r.since
}

func (r *record) wait(t syllabus.WaitTerm) Reason {
	out := Reason{Kind: ByTime, Need: length(t.AtLeast)}
	start, counts, none := r.start(t.Since, &out)
	switch {
	case none && t.Since.Kind == syllabus.SinceNotYet:
		out.Open = always()
		return out
	case none:
		return out
	case start == 0:
		out.Unknown = true
		return out
	}
	out.Since = start
	if t.Counted == syllabus.CutOff {
		out.Need, out.CutOff, out.Unknown = Quantity{}, r.CutOff, r.CutOff == 0
		out.Open = alwaysIf(!out.Unknown && start <= r.CutOff)
		if !out.Unknown && start > r.CutOff {
			out.Short = count(int(start-r.CutOff), Day)
		}
		return out
	}
	due := r.due(t, start)
	if out.Credit = r.credit(t.Credits); out.Credit > 0 {
		days := ceil(int64(due-start)*int64(10000-out.Credit), 10000)
		due, out.Need = start+rankwright.Day(days), count(days, Day)
	}
	last := LastDay
	if t.Within.N > 0 {
		last = t.Within.After(start, r.end)
	}
	out.Open = between(max(due, counts), last)
	unit := t.AtLeast.Unit
	if t.AtLeast.N == 0 {
		unit = t.Within.Unit
	}
	out.Shown, out.Rest = r.elapsed(start, unit)
	switch first := max(due, counts); {
	case r.On > last:
		out.Over, out.Short = true, count(int(r.On-last), Day)
	case r.On < first:
		out.Short = count(int(first-r.On), Day)
	}
	return out
}

// start returns the day a time is counted from (zero is unknown), the first
// day on which it may be counted at all, and whether there was no such thing.
func (r *record) start(s syllabus.Since, out *Reason) (start, counts rankwright.Day, none bool) {
	switch s.Kind {
	case syllabus.SinceGrading:
		start = r.lastGrading()
	case syllabus.SinceStart:
		start = r.started
	case syllabus.SinceNotYet:
		if len(r.notYet) == 0 {
			return 0, 0, true
		}
		start = r.notYet[len(r.notYet)-1]
	case syllabus.SinceNamed:
		out.Of = r.names(s.Ladder, []rankwright.RankID{s.Rank})
		none = true
		for _, g := range r.given {
			if g.Ladder == r.home(s.Ladder) && g.Rank == s.Rank {
				return g.On, g.On, false
			}
		}
		for _, c := range r.turning {
			if r.home(s.Ladder) == "" && c.rank == s.Rank {
				return c.was, c.on, false
			}
		}
	default:
		if start = r.since; r.now >= 0 {
			out.Of = []string{r.s.Ranks[r.now].Name}
		}
	}
	return start, start, none
}

// due is the first day on which the time is long enough, before credits.
func (r *record) due(t syllabus.WaitTerm, start rankwright.Day) rankwright.Day {
	if t.Counted == syllabus.Anniversary || t.AtLeast.Unit < syllabus.InMonths {
		return t.AtLeast.After(start, r.end)
	}
	months := t.AtLeast.N
	if t.AtLeast.Unit == syllabus.InYears {
		months *= 12
	}
	y, m, _ := start.Date()
	return max(start, rankwright.NewDay(y, m+month(months), 1))
}

// elapsed is the time from start to the grading in whole units, and the days
// on top.
func (r *record) elapsed(start rankwright.Day, u syllabus.TimeUnit) (Quantity, int) {
	if r.On < start {
		return length(syllabus.Length{Unit: u}), 0
	}
	n := int(r.On - start)
	switch u {
	case syllabus.InWeeks:
		n /= 7
	case syllabus.InMonths:
		n /= 28
	case syllabus.InYears:
		n /= 365
	}
	l := syllabus.Length{N: n, Unit: u}
	for l.N > 0 && l.After(start, r.end) > r.On {
		l.N--
	}
	rest := int(r.On - l.After(start, r.end))
	return length(l), rest
}

func (r *record) credit(c syllabus.Credits) rankwright.Share {
	var sum int64
	for _, e := range c.Each {
		for _, t := range r.Standing.Credits {
			if t.Name == e.Name && t.N > 0 {
				sum += int64(e.Off) * int64(t.N)
			}
		}
	}
	return rankwright.Share(min(sum, int64(c.Cap), 10000))
}

func (r *record) classes(t syllabus.ClassesTerm) Reason {
	off := r.credit(t.Credits)
	need := ceil(int64(t.AtLeast)*int64(10000-off), 10000)
	out := r.classesOf(ByClasses, need, false)
	out.Credit = off
	if short := need - r.Standing.Classes; r.forecast && short > 0 && r.Pace > 0 {
		days := ceil(7*int64(short)*int64(rankwright.One), int64(r.Pace))
		out.Open = from(r.On + rankwright.Day(days))
	}
	return out
}

func (r *record) classesOf(k Kind, need int, unknown bool) Reason {
	out := Reason{Kind: k, Need: count(need, Class), Shown: count(r.Standing.Classes, Class), Since: r.since, Counted: r.Deadline, Unknown: unknown}
	short := need - r.Standing.Classes
	out.Open = alwaysIf(!unknown && short <= 0)
	if short > 0 {
		out.Short = count(short, Class)
	}
	return out
}

func (r *record) gradingsIn(t syllabus.GradingsTerm) Reason {
	out := Reason{Kind: ByGradings, Need: count(t.AtMost, Grading)}
	months, most := max(1, t.Months), max(1, t.AtMost)
	until := func(g rankwright.Day) rankwright.Day {
		if t.Rolling {
			return g.AddMonths(months, r.end) - 1
		}
		y, m, _ := g.Date()
		return rankwright.NewDay(y, month(1+(int(m)-1)/months*months+months), 1) - 1
	}
	var closed Days
	here := 1
	for i, g := range r.gradings {
		if g <= r.On && r.On <= until(g) {
			here++
		}
		if last := i + most - 1; last < len(r.gradings) {
			closed = closed.or(between(r.gradings[last], until(g)))
		}
	}
	out.Open = closed.not()
	out.Shown = count(here, Grading)
	if first := out.Open.First(r.On); here > t.AtMost && first != 0 {
		out.Short, out.Over = count(int(first-r.On), Day), true
	}
	return out
}

func (r *record) points(t syllabus.PointsTerm) Reason {
	out := Reason{Kind: ByPoints, Need: Quantity{t.AtLeast, Point}, Of: []string{t.Of}}
	var got rankwright.Amount
	for _, p := range r.Standing.Points {
		if p.Name == t.Of {
			got += p.Amount
		}
	}
	out.Shown, out.Open = Quantity{got, Point}, alwaysIf(got >= t.AtLeast)
	if got < t.AtLeast {
		out.Short = Quantity{t.AtLeast - got, Point}
	}
	return out
}

func (r *record) result(t syllabus.ResultTerm) Reason {
	out := Reason{Kind: ByResult, Of: r.names(t.Ladder, []rankwright.RankID{t.Rank}), Unknown: true}
	for i := range r.Standing.Results {
		e := &r.Standing.Results[i]
		if r.home(e.Ladder) != r.home(t.Ladder) || e.Rank != t.Rank || !e.taken() || t.AtLeast > 0 && e.Of == 0 {
			continue
		}
		out.Unknown = false
		if t.Label != "" && e.Label != t.Label {
			continue
		}
		out.Share = max(out.Share, rankwright.ShareOf(e.Points, e.Of))
		if t.AtLeast.Reaches(e.Points, e.Of) {
			out.Open = out.Open.or(from(e.On))
		}
	}
	return out
}

// holding is the days on which one of the ranks is held.
func (r *record) holding(t syllabus.HoldsTerm) Days {
	var out Days
	home := r.home(t.Ladder) == ""
	serves := func(id rankwright.RankID) bool {
		for _, want := range t.Ranks {
			if id == want || home && r.place(want) >= 0 && r.place(id) >= r.place(want) {
				return true
			}
		}
		return false
	}
	for _, g := range r.given {
		if g.Ladder == r.home(t.Ladder) && serves(g.Rank) {
			out = out.or(from(g.On))
		}
	}
	for _, c := range r.turning {
		if home && serves(c.rank) {
			out = out.or(from(c.on))
		}
	}
	return out
}

// stretch looks for one unbroken time in which the rank held was one of those
// named. The rank held last on a ladder runs on.
func (r *record) stretch(t syllabus.HeldTerm) Reason {
	out := Reason{Kind: ByStretch, Need: length(t.AtLeast), Of: r.names(t.Ladder, t.Ranks)}
	wanted := map[rankwright.RankID]bool{}
	for _, id := range t.Ranks {
		wanted[id] = true
	}
	var begin rankwright.Day
	best := -1
	stop := func(until rankwright.Day) {
		if begin == 0 {
			return
		}
		if due := t.AtLeast.After(begin, r.end); due <= until {
			out.Open = out.Open.or(from(due))
			if until == LastDay && due > r.On {
				out.Short = count(int(due-r.On), Day)
			}
		}
		if days := int(min(until, r.On) - begin); days > best {
			best, out.Since = days, begin
			out.Shown = count(max(0, days), Day)
		}
		begin = 0
	}
	for _, g := range r.given {
		switch {
		case g.Ladder != r.home(t.Ladder):
		case g.On == 0:
			out.Unknown = out.Unknown || wanted[g.Rank]
		case !wanted[g.Rank]:
			stop(g.On)
		case begin == 0:
			begin = g.On
		}
	}
	stop(LastDay)
	if len(out.Open) > 0 {
		out.Unknown = false
	}
	return out
}

func (r *record) clearance(id rankwright.ClearanceID) Reason {
	out := Reason{Kind: ByClearance, Of: []string{string(id)}}
	if c := r.s.Clearance(id); c != nil {
		out.Of[0] = c.Name
	}
	for _, met := range r.Standing.Cleared {
		if met == id {
			out.Open = always()
		}
	}
	return out
}

// names gives the names of ranks as people read them.
func (r *record) names(l rankwright.LadderID, ids []rankwright.RankID) []string {
	out := make([]string, len(ids))
	for i, id := range ids {
		switch k, _ := r.s.Rank(id); {
		case r.home(l) != "":
			out[i] = string(id) + " (" + string(l) + ")"
		case k != nil:
			out[i] = k.Name
		default:
			out[i] = string(id)
		}
	}
	return out
}
