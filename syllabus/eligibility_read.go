package syllabus

import (
	"math"
	"slices"

	"rankwright"
)

// Limits of what an eligibility rule may ask.
const (
	maxAge     = 120
	maxClasses = 100_000
	maxTerms   = 64 // in one list
)

var (
	termKeys = []string{"name", "all", "any", "age", "days", "weeks", "months", "years", "wait", "classes",
		"attendance", "gradings", "points", "result", "holds", "held", "retakes", "clearances"}
	ruleKeys  = append([]string{"from", "until", "skip", "may_be_waived"}, termKeys...)
	entryKeys = append([]string{"versions", "conversion"}, ruleKeys...)
)

// ReadEligibility reads the value behind a rank's key eligibility on its own,
// as an editor does. Of s it needs the ladder, the ids of the ranks and the
// clearances. Every fault is reported, as Faults.
func ReadEligibility(file string, data []byte, s *Syllabus) (Eligibility, error) {
	r := &reader{file: file, what: "a syllabus"}
	e := r.eligibility(r.load(data), s, "eligibility")
	return e, r.sorted().Err()
}

// eligibility reads who may enter. A group of keys asks for all of them; with
// versions, what stands beside them is asked in each.
func (r *reader) eligibility(n *node, s *Syllabus, what string) Eligibility {
	if n.empty() {
		return Eligibility{}
	}
	o := r.object(n, what, entryKeys...)
	var e Eligibility
	for _, c := range r.many(o.get("conversion"), what+" conversion") {
		e.Conversions = append(e.Conversions, r.conversion(c, s, what+" conversion"))
	}
	common := r.entryRule(o, s)
	if !o.has("versions") {
		if !ruleIsEmpty(common) {
			e.Rules = []EntryRule{common}
		}
		return e
	}
	if o.has("from") || o.has("until") {
		r.fault(o.node, "dates_beside_versions", "move from and until into the versions", "%s has dates of its own beside its versions", what)
	}
	var at []*node
	for _, v := range r.many(o.get("versions"), what+" versions") {
		own := r.entryRule(r.object(v, what+" version", ruleKeys...), s)
		own.Terms.Terms = append(slices.Clone(common.Terms.Terms), own.Terms.Terms...)
		own.Skip = own.Skip || common.Skip
		if own.Waive == nil {
			own.Waive = common.Waive
		}
		for i, other := range e.Rules {
			if overlap(own, other) {
				r.fault(v, "versions_overlap", "let one end the day before the other begins", "this version and the one on line %d are in force on the same day", at[i].line)
			}
		}
		e.Rules, at = append(e.Rules, own), append(at, v)
	}
	slices.SortStableFunc(e.Rules, func(a, b EntryRule) int { return int(a.From) - int(b.From) })
	return e
}

func ruleIsEmpty(e EntryRule) bool {
	return len(e.Terms.Terms) == 0 && e.From == 0 && e.Until == 0 && !e.Skip && e.Waive == nil && e.Name == ""
}

func overlap(a, b EntryRule) bool {
	return (a.Until == 0 || b.From <= a.Until) && (b.Until == 0 || a.From <= b.Until)
}

func (r *reader) entryRule(o object, s *Syllabus) EntryRule {
	e := EntryRule{
		Name:  r.str(o.get("name"), o.what+" name", 80),
		From:  r.day(o.get("from"), o.what+" from"),
		Until: r.day(o.get("until"), o.what+" until"),
		Skip:  r.flag(o.get("skip"), o.what+" skip"),
		Terms: AllOf{Terms: r.terms(o, s)},
	}
	if e.From != 0 && e.Until != 0 && e.Until < e.From {
		r.fault(o.get("until"), "ends_before", "swap the two dates", "%s ends on %s, before it begins on %s", o.what, e.Until, e.From)
	}
	if o.has("may_be_waived") {
		e.Waive = r.waive(o.get("may_be_waived"), o.what+" may_be_waived")
	}
	return e
}

// many reads a list, or one value as a list of one.
func (r *reader) many(n *node, what string) []*node {
	switch {
	case n == nil:
		return nil
	case n.shape != list:
		return []*node{n}
	case len(n.items) == 0:
		r.fault(n, "empty_list", "remove the key or write what it should hold", "%s is an empty list", what)
	case len(n.items) > maxTerms:
		r.fault(n, "too_many", "split it", "%s has more than %d items", what, maxTerms)
		return n.items[:maxTerms]
	}
	return n.items
}

// terms reads a group of keys in the order in which they were written.
func (r *reader) terms(o object, s *Syllabus) []Term {
	var out []Term
	for i, k := range o.keys {
		n, what := o.items[i], o.what+" "+k.text
		if n.empty() && slices.Contains(termKeys, k.text) {
			r.fault(k, "no_value", "write the value, or remove the key", "%s has no value", what)
			continue
		}
		switch k.text {
		case "all", "any":
			group := r.group(n, s, what)
			if k.text == "all" {
				out = append(out, AllOf{Terms: group})
				break
			}
			out = append(out, AnyOf{Terms: group})
		case "age":
			out = append(out, r.age(n, what))
		case "days", "weeks", "months", "years":
			out = append(out, WaitTerm{AtLeast: r.length(n, k.text, what)})
		case "wait":
			for _, one := range r.many(n, what) {
				out = append(out, r.wait(one, s, what))
			}
		case "classes":
			out = append(out, r.classes(n, what)...)
		case "attendance":
			out = append(out, AttendanceTerm{r.shareOf(n, what)})
		case "gradings":
			out = append(out, r.gradings(n, what))
		case "points":
			for _, one := range r.many(n, what) {
				p := r.object(one, what, "of", "at_least")
				out = append(out, PointsTerm{
					Of:      r.someID(r.need(p, "of", "of: competition"), what+" of"),
					AtLeast: r.amount(r.need(p, "at_least", "at_least: 10"), what+" at_least"),
				})
			}
		case "result":
			out = append(out, r.result(n, s, what))
		case "holds":
			ladder, ranks := r.ranks(n, s, what)
			out = append(out, HoldsTerm{ladder, ranks})
		case "held":
			for _, one := range r.many(n, what) {
				h := r.object(one, what, append([]string{"ladder", "rank"}, timeUnits...)...)
				ladder, ranks := r.rankOf(h, s)
				out = append(out, HeldTerm{ladder, ranks, r.oneLength(h, true)})
			}
		case "retakes":
			out = append(out, RetakesTerm{r.integer(n, what, 0, 100)})
		case "clearances":
			for _, one := range r.ids(n, what) {
				out = append(out, ClearanceTerm{r.clearanceID(one, s, what)})
			}
		}
	}
	return out
}

// group reads the items of all or any: each is a group of keys of its own.
func (r *reader) group(n *node, s *Syllabus, what string) []Term {
	var out []Term
	for _, item := range r.many(n, what) {
		o := r.object(item, what+" item", termKeys...)
		name := r.str(o.get("name"), o.what+" name", 80)
		terms := r.terms(o, s)
		if len(terms) == 1 && name == "" {
			out = append(out, terms[0])
			continue
		}
		if len(terms) == 0 {
			r.fault(item, "asks_nothing", "write a condition such as age: 6, or remove the item", "%s asks for nothing", o.what)
		}
		out = append(out, AllOf{Name: name, Terms: terms})
	}
	return out
}

func (r *reader) waive(n *node, what string) *Waive {
	o := r.object(n, what, "by", "at_most", "only_one", "reason")
	w := &Waive{
		By:      r.someID(r.need(o, "by", "by: head_instructor"), what+" by"),
		OnlyOne: r.flag(o.get("only_one"), what+" only_one"),
		Reason:  r.choice(o.get("reason"), what+" reason", "required", "welcome") == 0,
	}
	most := r.object(r.need(o, "at_most", "at_most: {days: 7, classes: 1}"), what+" at_most", "days", "age_days", "classes")
	w.Days = r.integer(most.get("days"), what+" days", 0, 3660)
	w.AgeDays = r.integer(most.get("age_days"), what+" age_days", 0, 3660)
	w.Classes = r.integer(most.get("classes"), what+" classes", 0, math.MaxInt16)
	return w
}

func (r *reader) conversion(n *node, s *Syllabus, what string) Conversion {
	o := r.object(n, what, "ladder", "rank", "age", "must_by", "counted", "automatic")
	c := Conversion{
		May:       r.integer(o.get("age"), what+" age", 1, maxAge),
		Must:      r.integer(o.get("must_by"), what+" must_by", 1, maxAge),
		Counted:   r.ageCount(o.get("counted"), what+" counted"),
		Automatic: r.flag(o.get("automatic"), what+" automatic"),
	}
	if l := r.need(o, "ladder", "ladder: and the id of the other ladder"); l != nil {
		c.Ladder = rankwright.LadderID(r.someID(l, what+" ladder"))
		if c.Ladder == s.Ladder && c.Ladder != "" {
			r.fault(l, "same_ladder", "name the ladder that the rank comes from", "%s leads from this ladder to itself", what)
		}
	}
	for _, one := range r.ids(r.need(o, "rank", "rank: and the id of a rank there"), what+" rank") {
		c.Ranks = append(c.Ranks, rankwright.RankID(r.someID(one, what+" rank")))
	}
	switch {
	case c.Must != 0 && c.Must < c.May:
		r.fault(o.get("must_by"), "ends_before", "swap the two ages", "%s must be done by age %d but may only be from %d", what, c.Must, c.May)
	case c.Counted == AgeOnDate || c.Counted == AgeAtLastGrading:
		r.fault(o.get("counted"), "not_together", "use on_the_day or calendar_year", "%s counts the age in a way that does not fit a conversion", what)
	case c.Automatic && c.May == 0:
		r.fault(o.node, "missing_key", "add age: 15", "%s is automatic but does not say at which age", what)
	}
	return c
}
