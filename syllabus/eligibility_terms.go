package syllabus

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"rankwright"
)

func (r *reader) age(n *node, what string) AgeTerm {
	if n.shape == scalar {
		return AgeTerm{AtLeast: r.integer(n, what, 1, maxAge)}
	}
	o := r.object(n, what, "at_least", "at_most", "counted", "date")
	t := AgeTerm{
		AtLeast: r.integer(o.get("at_least"), what+" at_least", 1, maxAge),
		AtMost:  r.integer(o.get("at_most"), what+" at_most", 1, maxAge),
		Counted: r.ageCount(o.get("counted"), what+" counted"),
	}
	if !o.has("at_least") && !o.has("at_most") {
		r.fault(n, "asks_nothing", "add at_least: 6 or at_most: 15", "%s gives neither at_least nor at_most", what)
	}
	if t.AtMost != 0 && t.AtMost < t.AtLeast {
		r.fault(o.get("at_most"), "nobody", "swap the two numbers", "%s is at most %d and at least %d, which nobody is", what, t.AtMost, t.AtLeast)
	}
	switch date := o.get("date"); {
	case t.Counted == AgeOnDate:
		if date = r.need(o, "date", "date: 04-01"); date != nil {
			t.Month, t.Date = r.monthDay(date, what+" date")
		}
	case !date.empty():
		r.fault(date, "date_unused", "write counted: on_date, or remove the date", "%s has a date that its way of counting does not use", what)
	}
	return t
}

func (r *reader) ageCount(n *node, what string) AgeCount {
	return AgeCount(r.choice(n, what, "on the day", "calendar year", "year of life", "on date", "at last grading"))
}

// monthDay reads MM-DD; 29 February is refused, since most years lack it.
func (r *reader) monthDay(n *node, what string) (month, date int) {
	d, err := rankwright.ParseDay("2001-" + n.text)
	if n.shape != scalar || err != nil {
		r.fault(n, "not_date", "write month-day, such as 04-01; 29 February cannot be used", "%s should be a day of every year, not %s", what, n.describe())
		return 1, 1
	}
	_, m, date := d.Date()
	return int(m), date
}

// length reads a number of one unit; a hundred years bound each.
func (r *reader) length(n *node, unit, what string) Length {
	u := slices.Index(timeUnits, unit)
	return Length{r.integer(n, what, 1, []int{36525, 5200, 1200, 100}[u]), TimeUnit(u)}
}

// oneLength reads the one of days, weeks, months and years that stands in o.
func (r *reader) oneLength(o object, needed bool) Length {
	var out Length
	first := ""
	for i, k := range o.keys {
		if !slices.Contains(timeUnits, k.text) {
			continue
		}
		if first != "" {
			r.fault(k, "two_lengths", "keep one of the two", "%s is given both in %s and in %s", o.what, first, k.text)
			continue
		}
		first = k.text
		if o.items[i].empty() {
			r.fault(k, "no_value", "write a whole number", "%s %s has no value", o.what, k.text)
			continue
		}
		out = r.length(o.items[i], k.text, o.what+" "+k.text)
	}
	if first == "" && needed {
		r.fault(o.node, "missing_key", "add days, weeks, months or years, such as months: 6", "%s does not say how long", o.what)
	}
	return out
}

func (r *reader) wait(n *node, s *Syllabus, what string) WaitTerm {
	o := r.object(n, what, "days", "weeks", "months", "years", "within", "since", "counted", "credits")
	t := WaitTerm{
		Since:   r.since(o.get("since"), s, what+" since"),
		Counted: TimeCount(r.choice(o.get("counted"), what+" counted", "anniversary", "same month", "month slots", "cut off")),
		Credits: r.credits(o.get("credits"), what+" credits"),
	}
	t.AtLeast = r.oneLength(o, !o.has("within") && t.Counted != CutOff)
	if o.has("within") {
		t.Within = r.oneLength(r.object(o.get("within"), what+" within", timeUnits...), true)
		if t.Counted != Anniversary {
			r.fault(o.get("within"), "not_together", "use counted: anniversary for it", "%s within can only be counted by anniversary", what)
		}
	}
	monthly := t.Counted == SameMonth || t.Counted == MonthSlots
	if monthly && t.AtLeast.N != 0 && t.AtLeast.Unit < InMonths {
		r.fault(o.get("counted"), "not_together", "give the time in months or years, or count by anniversary", "%s counts calendar months but is given in %s", what, t.AtLeast.Unit)
	}
	if len(t.Credits.Each) > 0 && t.Counted != Anniversary {
		r.fault(o.get("credits"), "not_together", "use counted: anniversary", "%s credits can only shorten a time counted by anniversary", what)
	}
	return t
}

func (r *reader) since(n *node, s *Syllabus, what string) Since {
	if n.empty() {
		return Since{}
	}
	if n.shape == scalar {
		words := []string{"rank", "grading", "start", "not_yet"}
		if i := slices.Index(words, strings.ToLower(n.text)); i >= 0 {
			return Since{Kind: SinceKind(i)}
		}
		if k, _ := s.Rank(rankwright.RankID(n.text)); k == nil {
			if near := rankwright.Nearest(n.text, words); near != "" {
				r.fault(n, "unknown_word", fmt.Sprintf("did you mean %q?", near), "%s cannot be %s", what, n.describe())
				return Since{}
			}
		}
	}
	ladder, ranks := r.ranks(n, s, what)
	if len(ranks) > 1 {
		r.fault(n, "too_many", "name one rank", "%s can only start at one rank", what)
	}
	if len(ranks) == 0 {
		return Since{}
	}
	return Since{SinceNamed, ladder, ranks[0]}
}

// ranks reads a rank, a list of ranks, or {ladder: …, rank: …}.
func (r *reader) ranks(n *node, s *Syllabus, what string) (rankwright.LadderID, []rankwright.RankID) {
	if n.shape == mapping {
		return r.rankOf(r.object(n, what, "ladder", "rank"), s)
	}
	return "", r.rankIDs(n, "", s, what)
}

// rankOf reads the keys ladder and rank of o.
func (r *reader) rankOf(o object, s *Syllabus) (rankwright.LadderID, []rankwright.RankID) {
	ladder := rankwright.LadderID(r.ident(o.get("ladder"), o.what+" ladder"))
	if ladder == s.Ladder {
		ladder = ""
	}
	return ladder, r.rankIDs(r.need(o, "rank", "rank: and the id of a rank"), ladder, s, o.what)
}

// rankIDs reads one id or several. Ranks of another ladder are taken as they
// stand, since its file is not at hand.
func (r *reader) rankIDs(n *node, ladder rankwright.LadderID, s *Syllabus, what string) []rankwright.RankID {
	var out []rankwright.RankID
	for _, one := range r.ids(n, what) {
		id := rankwright.RankID(r.someID(one, what))
		if id == "" {
			continue
		}
		if k, _ := s.Rank(id); ladder == "" && k == nil {
			r.fault(one, "unknown_rank", r.rankHint(string(id), s), "%s names the rank %q, which is not on this ladder", what, id)
			continue
		}
		out = append(out, id)
	}
	return out
}

// ids reads one id or a list of some.
func (r *reader) ids(n *node, what string) []*node {
	if n != nil && n.shape == list && len(n.items) == 0 {
		r.fault(n, "empty_list", "remove the key or write what it should hold", "%s is an empty list", what)
	}
	return r.each(n, what)
}

// someID reads an id that may not be empty; nil was reported before.
func (r *reader) someID(n *node, what string) string {
	if n != nil && n.shape == scalar && strings.TrimSpace(n.text) == "" {
		r.fault(n, "no_value", "write an id", "%s is empty", what)
		return ""
	}
	return r.ident(n, what)
}

func (r *reader) rankHint(id string, s *Syllabus) string {
	var ids []string
	for i := range s.Ranks {
		ids = append(ids, string(s.Ranks[i].ID))
	}
	if near := rankwright.Nearest(id, ids); near != "" {
		return fmt.Sprintf("did you mean %q?", near)
	}
	return "use the id of a rank of this file, or {ladder: its ladder, rank: " + id + "}"
}

func (r *reader) clearanceID(n *node, s *Syllabus, what string) rankwright.ClearanceID {
	id := r.someID(n, what)
	if id == "" || s.Clearance(rankwright.ClearanceID(id)) != nil {
		return rankwright.ClearanceID(id)
	}
	var ids []string
	for _, c := range s.Clearances {
		ids = append(ids, string(c.ID))
	}
	do := "add it to the clearances of this file"
	if near := rankwright.Nearest(id, ids); near != "" {
		do = fmt.Sprintf("did you mean %q?", near)
	}
	r.fault(n, "unknown_clearance", do, "%s names %q, which is not among the clearances", what, id)
	return ""
}

func (r *reader) classes(n *node, what string) []Term {
	if n.shape == scalar {
		return []Term{ClassesTerm{AtLeast: r.integer(n, what, 1, maxClasses)}}
	}
	o := r.object(n, what, "at_least", "per_week", "credits")
	var out []Term
	if o.has("at_least") {
		out = append(out, ClassesTerm{
			AtLeast: r.integer(o.get("at_least"), what+" at_least", 1, maxClasses),
			Credits: r.credits(o.get("credits"), what+" credits"),
		})
	} else if o.has("credits") {
		r.fault(o.get("credits"), "not_together", "add at_least", "%s credits have no at_least to shorten", what)
	}
	if rate := o.get("per_week"); o.has("per_week") {
		a := r.amount(rate, what+" per_week")
		if a > rankwright.Whole(50) {
			r.fault(rate, "out_of_range", "write a number up to 50", "%s per_week is %s", what, rate.text)
			a = 0
		}
		out = append(out, RateTerm{a})
	}
	if len(out) == 0 {
		r.fault(n, "asks_nothing", "add at_least: 12 or per_week: 2", "%s gives neither at_least nor per_week", what)
	}
	return out
}

func (r *reader) shareOf(n *node, what string) rankwright.Share {
	v := r.share(n, what)
	if v > rankwright.Percent(100) {
		r.fault(n, "out_of_range", "write a percentage up to 100%", "%s is %s", what, v)
		return 0
	}
	return v
}

// credits reads {at_most: 30%, each: {seminar: 5%}}.
func (r *reader) credits(n *node, what string) Credits {
	if n.empty() {
		return Credits{}
	}
	o := r.object(n, what, "at_most", "each")
	c := Credits{Cap: r.shareOf(r.need(o, "at_most", "at_most: 30%"), what+" at_most")}
	each := r.need(o, "each", "each: {seminar: 5%}")
	if each == nil {
		return c
	}
	if each.shape != mapping {
		r.fault(each, "not_keys", "write each: {seminar: 5%}", "%s each should be a group of keys, not %s", what, each.describe())
		return c
	}
	for i, k := range each.keys {
		c.Each = append(c.Each, CreditFor{r.someID(k, what+" name"), r.shareOf(each.items[i], what+" "+strconv.Quote(k.text))})
	}
	return c
}

func (r *reader) gradings(n *node, what string) GradingsTerm {
	if n.shape == scalar {
		return GradingsTerm{AtMost: r.integer(n, what, 1, 366), Months: 12}
	}
	o := r.object(n, what, "at_most", "months", "counted")
	t := GradingsTerm{
		AtMost:  r.integer(r.need(o, "at_most", "at_most: 3"), what+" at_most", 1, 366),
		Months:  12,
		Rolling: r.choice(o.get("counted"), what+" counted", "calendar", "rolling") == 1,
	}
	if o.has("months") {
		t.Months = max(1, r.integer(o.get("months"), what+" months", 1, 120))
	}
	if !t.Rolling && 12%t.Months != 0 {
		r.fault(o.get("months"), "out_of_range", "use 1, 2, 3, 4, 6 or 12, or counted: rolling", "a calendar year does not divide into parts of %d months", t.Months)
		t.Months = 12
	}
	return t
}

func (r *reader) result(n *node, s *Syllabus, what string) ResultTerm {
	o := r.object(n, what, "ladder", "rank", "at_least", "label")
	t := ResultTerm{
		AtLeast: r.shareOf(o.get("at_least"), what+" at_least"),
		Label:   r.str(o.get("label"), what+" label", 40),
	}
	ladder, ranks := r.rankOf(o, s)
	if len(ranks) > 1 {
		r.fault(n, "too_many", "name one rank, and use any for several", "%s can only look at one rank", what)
	}
	if len(ranks) > 0 {
		t.Ladder, t.Rank = ladder, ranks[0]
	}
	if n.shape == mapping && !o.has("at_least") && !o.has("label") {
		r.fault(n, "asks_nothing", "add at_least: 75% or a label", "%s asks for nothing of the result", what)
	}
	return t
}
