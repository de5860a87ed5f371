package syllabus

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"rankwright"
)

// shortWords are the conditions of a pass rule that is written without ids.
var shortWords = []string{"total", "sections", "requirements", "musts", "consents"}

var conditionWords = append(slices.Clone(shortWords), "runs", "all", "any")

// passRule reads the pass rule of a rank. The short form names conditions
// only, all of which must hold:
//
//	pass: {total: 70%, sections: 50%, musts: all}
//
// The long form has conditions with ids and results that name them.
func (p *builder) passRule(n *node, k *Rank) Pass {
	var out Pass
	if n.shape == mapping && (n.has("conditions") || n.has("results")) {
		p.longPass(&out, n, k)
	} else {
		p.shortPass(&out, n, k)
	}
	if last := len(out.Results) - 1; last >= 0 && (len(out.Results[last].When) > 0 || out.Results[last].Outcome == Promoted) {
		out.Results = append(out.Results, Result{Outcome: NotYet, ShowAgain: AgainShort})
	}
	return out
}

func (p *builder) shortPass(out *Pass, n *node, k *Rank) {
	before := p.found
	o := p.object(n, "the pass rule", append(slices.Clone(shortWords), "otherwise", "conditions", "results")...)
	var when []string
	for i, key := range o.keys {
		if !slices.Contains(shortWords, key.text) || o.items[i].empty() {
			continue
		}
		one := &node{shape: mapping, line: key.line, column: key.column, keys: []*node{key}, items: []*node{o.items[i]}}
		c := p.condition(one, key.text, k)
		out.Conditions = append(out.Conditions, c)
		when = append(when, c.ID)
	}
	if len(when) == 0 {
		if n.shape == mapping && p.found == before {
			p.fault(n, "missing_key", "write for instance pass: {total: 70%, musts: all}", "the pass rule asks for nothing")
		}
	}
	out.Results = []Result{{Outcome: Promoted, When: when}}
	if v := o.get("otherwise"); !v.empty() {
		f := p.object(v, "otherwise", "label", "show_again", "within", "ask")
		out.Results = append(out.Results, p.tail(f, Result{Outcome: NotYet, ShowAgain: AgainShort}))
	}
}

func (p *builder) longPass(out *Pass, n *node, k *Rank) {
	o := p.object(n, "the pass rule with conditions and results", "conditions", "results")
	if c := p.need(o, "conditions", "conditions: and below it each condition under an id of your choice"); c != nil {
		f := p.anyKeys(c, "conditions", "such as total: {total: 70%}")
		for i, key := range f.keys {
			out.Conditions = append(out.Conditions, p.condition(f.items[i], p.ident(key, "the id of a condition"), k))
		}
	}
	res := p.need(o, "results", "results: and below it each result, the best first")
	if res == nil {
		return
	}
	items := p.each(res, "results")
	for i, item := range items {
		r := p.result(out, item, k)
		if i > 0 && r.Outcome < out.Results[i-1].Outcome {
			p.fault(item, "bad_order", "write every promoted before every not yet", "this result is promoted, but the one before it is not yet")
		}
		if len(r.When) == 0 && r.Outcome == NotYet && item.get("when") == nil && i+1 < len(items) {
			p.fault(item, "bad_order", "move it to the end, or add when: and its conditions", "this result has no conditions, so the results after it are never reached")
		}
		out.Results = append(out.Results, r)
	}
}

func (p *builder) result(out *Pass, item *node, k *Rank) Result {
	f := p.object(item, "the result", "outcome", "label", "when", "follow_up", "show_again", "within", "retries", "ask")
	r := Result{}
	before := p.found
	if v := p.need(f, "outcome", "outcome: promoted, or outcome: not yet"); v != nil && p.choice(v, "the outcome", "promoted", "not yet") == 1 {
		r.Outcome = NotYet
	}
	known := p.found == before
	for _, w := range p.each(f.get("when"), "when") {
		if w.shape == mapping {
			id := "line-" + strconv.Itoa(w.line) + "-" + strconv.Itoa(w.column)
			out.Conditions = append(out.Conditions, p.condition(w, id, k))
			r.When = append(r.When, id)
			continue
		}
		id := p.ref(w, "a condition")
		if id != "" && out.Condition(id) == nil {
			var ids []string
			for _, c := range out.Conditions {
				ids = append(ids, c.ID)
			}
			p.unknown(w, "condition", "define it under conditions, or correct the id", ids)
		}
		r.When = append(r.When, id)
	}
	if known && r.Outcome == Promoted && f.get("when") == nil && item.shape == mapping {
		p.fault(item, "missing_key", "add when: and the ids of conditions", "this result promotes everybody")
	}
	for _, key := range []string{"show_again", "within", "retries"} {
		if v := f.get(key); known && r.Outcome == Promoted && !v.empty() {
			p.fault(v, "clash", "remove it, or use follow_up", "who is promoted shows nothing again, so %q does nothing here", key)
		}
	}
	if v := f.get("follow_up"); known && r.Outcome == NotYet && !v.empty() {
		p.fault(v, "clash", "use within, or make the outcome promoted", "follow_up is for those who are promoted")
	}
	r.FollowUp = p.days(f.get("follow_up"), "follow_up")
	r.Retries = p.integer(f.get("retries"), "retries", 1, 20)
	return p.tail(f, r)
}

func (p *builder) tail(f object, r Result) Result {
	r.Label = p.str(f.get("label"), "the label", 60)
	r.ShowAgain = Again(p.choice(f.get("show_again"), "show_again", "everything", "what was short"))
	if !f.has("show_again") && r.Outcome == NotYet {
		r.ShowAgain = AgainShort
	}
	r.Within = p.days(f.get("within"), "within")
	r.Ask = p.str(f.get("ask"), "the question", 200)
	return r
}

// days reads "84 days", "12 weeks" or a bare number of days.
func (p *builder) days(n *node, what string) int {
	if n.empty() {
		return 0
	}
	fields := strings.Fields(n.text)
	per, v, ok := 1, 0, false
	if len(fields) > 0 {
		v, ok = whole(fields[0])
	}
	if len(fields) == 2 {
		switch fields[1] {
		case "day", "days":
		case "week", "weeks":
			per = 7
		default:
			ok = false
		}
	}
	if n.shape != scalar || len(fields) > 2 || !ok || v < 1 || v > 3660 {
		p.fault(n, "not_days", "write it as 28 days or 4 weeks", "%s cannot be %s", what, n.describe())
		return 0
	}
	return v * per
}

func (p *builder) condition(n *node, id string, k *Rank) Condition {
	o := p.object(n, "the condition", append([]string{"name"}, conditionWords...)...)
	c := Condition{ID: id, Name: p.str(o.get("name"), "the condition's name", 120)}
	var body *node
	for _, w := range conditionWords {
		v := o.get(w)
		if v.empty() {
			body = cmp.Or(body, v)
			continue
		}
		if body != nil {
			p.fault(v, "clash", "make two conditions of it", "a condition looks at one thing, and this one looks at two")
			return c
		}
		body = v
		c.Kind = map[string]ConditionKind{"total": OnTotal, "sections": OnSections, "requirements": OnRequirements,
			"musts": OnRequirements, "consents": OnConsents, "runs": OnRuns, "all": OnAll, "any": OnAny}[w]
		switch w {
		case "total", "sections", "requirements":
			before := p.found
			if p.measure(&c, v, w); p.found == before && !p.partial[k.ID] {
				p.reachable(&c, v, k)
			}
		case "musts":
			c.Of.Musts = true
			c.Need = Need{Kind: Expected}
			if v.shape == mapping {
				f := p.object(v, "musts", "may_fall_short")
				p.need(f, "may_fall_short", "may_fall_short: and how many, or write musts: all")
				c.Allow = p.allow(f.get("may_fall_short"), c)
			} else {
				p.choice(v, "musts", "all")
			}
		case "consents":
			p.consents(&c, v, k)
		case "runs":
			f := p.object(v, "runs", "label", "at_most")
			label := p.need(f, "label", "label: and the label of a result")
			if c.Label = p.str(label, "the label", 60); c.Label != "" {
				p.runs = append(p.runs, label)
			}
			c.Most = p.integer(p.need(f, "at_most", "at_most: and a number"), "at_most", 1, 20)
		case "all", "any":
			for i, item := range p.each(v, w) {
				if item.shape == scalar {
					p.fault(item, "not_keys", "write the condition itself, such as {total: 70%}", "%s holds whole conditions, not %s", w, item.describe())
					continue
				}
				c.Parts = append(c.Parts, p.condition(item, fmt.Sprintf("%s.%d", id, i+1), k))
			}
		}
	}
	if body == nil && (n.empty() || n.shape == mapping) {
		p.fault(n, "missing_key", "add one of: "+strings.Join(conditionWords, ", "), "the condition %q looks at nothing", id)
	}
	return c
}

// measure reads what total, sections and requirements have in common: either
// the need alone, or a group of keys.
func (p *builder) measure(c *Condition, n *node, word string) {
	c.Bonus = c.Kind == OnTotal
	if n.shape == scalar {
		c.Need = p.needed(n, c.Kind)
		return
	}
	keys := []string{"at_least", "of", "except", "may_fall_short"}
	switch c.Kind {
	case OnTotal:
		keys = []string{"at_least", "of", "except", "bonus", "rounded"}
	case OnSections:
		keys = append(keys, "rounded")
	}
	f := p.object(n, word, keys...)
	if v := p.need(f, "at_least", "at_least: and how much"); v != nil {
		c.Need = p.needed(v, c.Kind)
	}
	c.Of = p.set(f.get("of"), "of", c.Kind)
	for _, item := range p.each(f.get("except"), "except") {
		if p.known(item, "except") {
			c.Of.Except = append(c.Of.Except, item.text)
		}
	}
	// Bonus is part of the total of everything; elsewhere only where it says so.
	c.Bonus = c.Bonus && !c.Of.Musts && !c.Of.Weak && len(c.Of.Sections)+len(c.Of.Only) == 0
	if c.Kind == OnTotal && f.has("bonus") {
		c.Bonus = p.choice(f.get("bonus"), "bonus", "counts", "does not count") == 0
		if c.Bonus && c.Of.Musts {
			p.fault(f.get("bonus"), "clash", "remove bonus, or look at more than the musts", "a bonus never makes up for a must")
		}
	}
	if v := f.get("rounded"); !v.empty() {
		c.Need.HalfUp = p.choice(v, "rounded", "no", "half up") == 1
		if c.Need.HalfUp && (c.Need.Kind != ShareNeed || c.Need.Share%100 != 0) {
			p.fault(v, "clash", "remove rounded, or give at_least as a whole percentage", "only a percentage without decimals can be rounded to")
		}
	}
	c.Allow = p.allow(f.get("may_fall_short"), *c)
}

func (p *builder) needed(n *node, kind ConditionKind) Need {
	if kind == OnRequirements && n.text == "expected" {
		return Need{Kind: Expected}
	}
	if strings.HasSuffix(n.text, "%") {
		return Need{Kind: ShareNeed, Share: p.share(n, "at_least")}
	}
	if _, ok := whole(n.text); kind == OnRequirements && !ok {
		p.fault(n, "unknown_word", "write expected, a percentage such as 50%, or a value such as 2", "at_least cannot be %s", n.describe())
		return Need{}
	}
	return Need{Kind: AmountNeed, Amount: p.amount(n, "at_least")}
}

// reachable refuses a need that a perfect examination of the rank would miss.
func (p *builder) reachable(c *Condition, n *node, k *Rank) {
	rank := "rank " + strconv.Quote(k.Name)
	if n.shape == mapping {
		n = n.get("at_least")
	}
	switch need := c.Need; {
	case need.Kind == ShareNeed && c.Kind != OnTotal && need.Share > rankwright.Percent(100):
		p.fault(n, "out_of_range", "write a percentage up to 100%", "%s can never be reached", need.Share)
	case c.Kind == OnTotal:
		of, top := most(k, &c.Of, c.Bonus)
		if of > 0 && (need.Kind == ShareNeed && !need.Share.Reaches(top, of) || need.Kind == AmountNeed && need.Amount > top) {
			do := "ask for less"
			if need.Kind == AmountNeed && need.Amount <= rankwright.Whole(100) {
				do = "write " + n.text + "% if a percentage was meant, or ask for less"
			}
			p.fault(n, "out_of_range", do, "the total should be at least %s, but %s gives at most %s", n.text, rank, points(top))
		}
	case c.Kind == OnSections && need.Kind == AmountNeed && c.Allow.none():
		for _, sec := range p.s.Sections {
			of := rankwright.Amount(0)
			for i := range k.Requirements {
				if q := &k.Requirements[i]; q.Section == sec.ID && c.Of.Holds(q) {
					of += q.Points
				}
			}
			if of > 0 && need.Amount > of {
				p.fault(n, "out_of_range", "ask for a percentage, or leave the section out with except", "section %q of %s gives at most %s, so %s can never be reached", sec.Name, rank, points(of), need.Amount)
			}
		}
	case c.Kind == OnRequirements && need.Kind == AmountNeed && c.Allow.none():
		for i := range k.Requirements {
			q := &k.Requirements[i]
			if top := q.top(); c.Of.Holds(q) && !q.AtMost && top > 0 && need.Amount > top {
				p.fault(n, "out_of_range", "ask for a percentage, or name the requirements under of", "%q of %s is marked up to %s, so %s can never be reached", q.ID, rank, top, need.Amount)
				return
			}
		}
	}
}

func (a *Allow) none() bool { return a.UpTo == 0 && a.Percent == 0 }

// top is the best value that can be marked, 0 where there is no limit.
func (q *Requirement) top() rankwright.Amount {
	switch q.Kind {
	case Tick, Consent:
		return rankwright.One
	case Leveled:
		return rankwright.Whole(q.Scale.Levels[len(q.Scale.Levels)-1].Value)
	}
	return rankwright.Whole(q.Of)
}

func (p *builder) known(n *node, key string) bool {
	id := p.ref(n, key)
	if id == "" || p.ids[id] {
		return id != ""
	}
	p.unknown(n, "section or requirement", "use the id of a section, or of a requirement that some rank asks for", append(p.sectionIDs(), slices.Sorted(maps.Keys(p.ids))...))
	return false
}

func (p *builder) set(n *node, key string, kind ConditionKind) Set {
	var s Set
	if n.empty() {
		return s
	}
	for _, item := range p.each(n, key) {
		switch item.text {
		case "all":
		case "musts":
			s.Musts = true
		case "weak_before":
			s.Weak = true
		default:
			if !p.known(item, key) {
				continue
			}
			if p.s.Section(rankwright.SectionID(item.text)) != nil {
				s.Sections = append(s.Sections, rankwright.SectionID(item.text))
			} else if kind == OnSections {
				p.fault(item, "clash", "name a section", "a condition on sections cannot look at the requirement %q", item.text)
			} else {
				s.Only = append(s.Only, rankwright.RequirementID(item.text))
			}
		}
	}
	return s
}

func (p *builder) allow(n *node, c Condition) Allow {
	var a Allow
	if n.empty() {
		return a
	}
	if n.shape != mapping {
		p.upTo(&a, n)
		return a
	}
	f := p.object(n, "may_fall_short", "up_to", "at_least", "never")
	if v := p.need(f, "up_to", "up_to: and how many, such as up_to: 2, or up_to: 25%"); v != nil {
		p.upTo(&a, v)
	}
	if v := f.get("at_least"); !v.empty() {
		before := p.found
		a.Floor, a.HasFloor = p.needed(v, c.Kind), true
		if same := a.Floor.Kind == c.Need.Kind && a.Floor.Kind != Expected; p.found == before && same &&
			(a.Floor.Share > c.Need.Share || a.Floor.Amount > c.Need.Amount) {
			p.fault(v, "clash", "write a smaller number here than in at_least of the condition", "may_fall_short forgives nothing, since %s is more than the condition asks for", v.text)
		}
	}
	if v := f.get("never"); !v.empty() {
		a.Never, a.HasNever = p.set(v, "never", c.Kind), true
	}
	return a
}

func (p *builder) upTo(a *Allow, n *node) {
	if !strings.HasSuffix(n.text, "%") {
		a.UpTo = p.integer(n, "how many may fall short", 0, 400)
		return
	}
	if a.Percent = p.share(n, "how many may fall short"); a.Percent > rankwright.Percent(100) {
		p.fault(n, "out_of_range", "write a percentage up to 100%", "how many may fall short is %s", a.Percent)
	}
}

func (p *builder) consents(c *Condition, n *node, k *Rank) {
	src := n
	if n.shape == mapping && (n.has("of") || n.has("veto")) {
		f := p.object(n, "consents", "of", "veto")
		if v := f.get("veto"); !v.empty() {
			p.choice(v, "veto", "lead")
			c.Veto = true
		}
		if src = p.need(f, "of", "of: panel"); src == nil {
			return
		}
	}
	if src.shape == scalar {
		p.choice(src, "consents", "panel")
		c.Panels = k.Panel
		if len(c.Panels) == 0 {
			p.fault(src, "missing_key", "add for instance panel: {size: 3, consents: 2} to the rank or to the whole file", "rank %q has no panel", k.Name)
		}
	} else {
		c.Panels = p.panels(src, "consents")
	}
	for _, pn := range c.Panels {
		if pn.Consents == 0 && pn.Size > 0 {
			p.fault(src, "missing_key", "add consents: and how many examiners must say yes", "the panel of %d does not say how many must consent", pn.Size)
		}
	}
	if !p.partial[k.ID] && !slices.ContainsFunc(k.Requirements, func(q Requirement) bool { return q.Kind == Consent }) {
		p.fault(n, "missing_key", "add a requirement of kind consent to the rank", "rank %q has no requirement on which examiners vote", k.Name)
	}
}
