package syllabus

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"rankwright"
)

var conditionWords = []string{"total", "sections", "requirements", "musts", "consents", "runs", "all", "any"}

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
	last := len(out.Results) - 1
	for i, res := range out.Results {
		if i > 0 && res.Outcome < out.Results[i-1].Outcome {
			p.fault(n, "bad_order", "put what is promoted before what is not yet", "result %d is better than the one before it", i+1)
		}
		if len(res.When) == 0 && i < last {
			p.fault(n, "bad_order", "move it to the end, or give it conditions under when:", "result %d always holds, so the results after it never do", i+1)
		}
	}
	if last >= 0 && (len(out.Results[last].When) > 0 || out.Results[last].Outcome == Promoted) {
		out.Results = append(out.Results, Result{Outcome: NotYet, ShowAgain: AgainShort})
	}
	return out
}

func (p *builder) shortPass(out *Pass, n *node, k *Rank) {
	o := p.object(n, "the pass rule", "total", "sections", "requirements", "musts", "consents", "otherwise", "conditions", "results")
	var when []string
	for i, key := range o.keys {
		if !slices.Contains(conditionWords, key.text) {
			continue
		}
		one := &node{shape: mapping, line: key.line, column: key.column, keys: []*node{key}, items: []*node{o.items[i]}}
		c := p.condition(one, key.text, k)
		out.Conditions = append(out.Conditions, c)
		when = append(when, c.ID)
	}
	if len(when) == 0 {
		p.fault(o.node, "missing_key", "write for instance pass: {total: 70%, musts: all}", "the pass rule asks for nothing")
	}
	out.Results = []Result{{Outcome: Promoted, When: when}}
	if v := o.get("otherwise"); !v.empty() {
		f := p.object(v, "otherwise", "label", "show_again", "within", "ask")
		out.Results = append(out.Results, p.tail(f, Result{Outcome: NotYet, ShowAgain: AgainShort}))
	}
}

func (p *builder) longPass(out *Pass, n *node, k *Rank) {
	o := p.object(n, "the pass rule", "conditions", "results")
	if c := p.need(o, "conditions", "conditions:, each with an id"); c != nil {
		f := p.anyKeys(c, "conditions", "such as total: {total: 70%}")
		for i, key := range f.keys {
			out.Conditions = append(out.Conditions, p.condition(f.items[i], p.ident(key, "the condition's id"), k))
		}
	}
	res := p.need(o, "results", "results:, the best first")
	if res == nil {
		return
	}
	for _, item := range p.each(res, "results") {
		f := p.object(item, "the result", "outcome", "label", "when", "follow_up", "show_again", "within", "retries", "ask")
		r := Result{}
		if v := p.need(f, "outcome", "outcome: promoted, or outcome: not yet"); v != nil && p.choice(v, "the outcome", "promoted", "not yet") == 1 {
			r.Outcome = NotYet
		}
		for _, w := range p.each(f.get("when"), "when") {
			switch {
			case w.shape == mapping:
				id := "line-" + strconv.Itoa(w.line) + "-" + strconv.Itoa(w.column)
				out.Conditions = append(out.Conditions, p.condition(w, id, k))
				r.When = append(r.When, id)
			case out.Condition(w.text) == nil:
				p.fault(w, "unknown_id", "define it under conditions, or correct the name", "there is no condition %s", w.describe())
			default:
				r.When = append(r.When, w.text)
			}
		}
		if r.Outcome == Promoted && len(r.When) == 0 {
			p.fault(item, "missing_key", "add when: and the conditions", "this result promotes everybody")
		}
		r.FollowUp = p.days(f.get("follow_up"), "follow_up")
		r.Retries = p.integer(f.get("retries"), "retries", 0, 20)
		out.Results = append(out.Results, p.tail(f, r))
	}
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
	per := 1
	if len(fields) == 2 {
		switch fields[1] {
		case "day", "days":
		case "week", "weeks":
			per = 7
		default:
			per = 0
		}
	}
	v := 0
	if len(fields) > 0 {
		v, _ = strconv.Atoi(fields[0])
	}
	if n.shape != scalar || len(fields) > 2 || per == 0 || v < 1 || v > 3660 {
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
			continue
		}
		if body != nil {
			p.fault(v, "clash", "make two conditions of it", "a condition looks at one thing only")
			return c
		}
		body = v
		c.Kind = map[string]ConditionKind{"total": OnTotal, "sections": OnSections, "requirements": OnRequirements,
			"musts": OnRequirements, "consents": OnConsents, "runs": OnRuns, "all": OnAll, "any": OnAny}[w]
		switch w {
		case "total", "sections", "requirements":
			p.measure(&c, v, w)
		case "musts":
			c.Of.Musts = true
			c.Need = Need{Kind: Expected}
			if v.shape == mapping {
				f := p.object(v, "musts", "may_fall_short")
				c.Allow = p.allow(f.get("may_fall_short"), c.Kind)
			} else {
				p.choice(v, "musts", "all")
			}
		case "consents":
			p.consents(&c, v, k)
		case "runs":
			f := p.object(v, "runs", "label", "at_most")
			c.Label = p.str(p.need(f, "label", "label: and the label of a result"), "the label", 60)
			c.Most = p.integer(p.need(f, "at_most", "at_most: and a number"), "at_most", 1, 20)
		case "all", "any":
			for i, item := range p.each(v, w) {
				if item.shape == scalar {
					p.fault(item, "not_keys", "write the condition itself, such as {total: 70%}", "%s holds conditions, not %s", w, item.describe())
					continue
				}
				c.Parts = append(c.Parts, p.condition(item, fmt.Sprintf("%s.%d", id, i+1), k))
			}
			if len(c.Parts) == 0 {
				p.fault(v, "missing_key", "list its conditions", "%s holds no condition", w)
			}
		}
	}
	if body == nil {
		p.fault(o.node, "missing_key", "add one of: "+strings.Join(conditionWords, ", "), "the condition %q looks at nothing", id)
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
	c.Of = p.set(f.get("of"), c.Kind)
	for _, item := range p.each(f.get("except"), "except") {
		if p.known(item) {
			c.Of.Except = append(c.Of.Except, item.text)
		}
	}
	if c.Kind == OnTotal && f.has("bonus") {
		c.Bonus = p.choice(f.get("bonus"), "bonus", "counts", "does not count") == 0
	}
	if v := f.get("rounded"); !v.empty() {
		c.Need.HalfUp = p.choice(v, "rounded", "no", "half up") == 1
		if c.Need.HalfUp && (c.Need.Kind != ShareNeed || c.Need.Share%100 != 0) {
			p.fault(v, "clash", "use it with a whole percentage only", "only a share in whole percent is rounded")
		}
	}
	c.Allow = p.allow(f.get("may_fall_short"), c.Kind)
}

func (p *builder) needed(n *node, kind ConditionKind) Need {
	if kind == OnRequirements && n.text == "expected" {
		return Need{Kind: Expected}
	}
	if strings.HasSuffix(n.text, "%") {
		return Need{Kind: ShareNeed, Share: p.share(n, "at_least")}
	}
	if kind == OnRequirements {
		if _, err := strconv.Atoi(n.text); err != nil {
			p.fault(n, "unknown_word", "write expected, a percentage such as 50%, or a value such as 2", "at_least cannot be %s", n.describe())
			return Need{}
		}
	}
	return Need{Kind: AmountNeed, Amount: p.amount(n, "at_least")}
}

func (p *builder) known(n *node) bool {
	if p.ids[n.text] {
		return true
	}
	p.fault(n, "unknown_id", "use the id of a section or of a requirement"+p.meant(n.text), "there is no section or requirement %s", n.describe())
	return false
}

func (p *builder) set(n *node, kind ConditionKind) Set {
	var s Set
	if n.empty() {
		return s
	}
	for _, item := range p.each(n, "of") {
		switch item.text {
		case "all":
		case "musts":
			s.Musts = true
		case "weak_before":
			s.Weak = true
		default:
			if !p.known(item) {
				continue
			}
			if p.s.Section(rankwright.SectionID(item.text)) != nil {
				s.Sections = append(s.Sections, rankwright.SectionID(item.text))
			} else if kind == OnSections {
				p.fault(item, "clash", "name sections", "a condition on sections cannot look at requirement %q", item.text)
			} else {
				s.Only = append(s.Only, rankwright.RequirementID(item.text))
			}
		}
	}
	return s
}

func (p *builder) allow(n *node, kind ConditionKind) Allow {
	var a Allow
	if n.empty() {
		return a
	}
	if n.shape == scalar {
		p.upTo(&a, n)
		return a
	}
	f := p.object(n, "may_fall_short", "up_to", "at_least", "never")
	if v := p.need(f, "up_to", "up_to: and how many, such as 2 or 25%"); v != nil {
		p.upTo(&a, v)
	}
	if v := f.get("at_least"); !v.empty() {
		a.Floor, a.HasFloor = p.needed(v, kind), true
	}
	if v := f.get("never"); !v.empty() {
		a.Never, a.HasNever = p.set(v, kind), true
	}
	return a
}

func (p *builder) upTo(a *Allow, n *node) {
	if strings.HasSuffix(n.text, "%") {
		a.Percent = p.share(n, "up_to")
	} else {
		a.UpTo = p.integer(n, "up_to", 0, 400)
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
			p.fault(src, "missing_key", "add panel: {size: 3, consents: 2} to the rank", "rank %q names no panel", k.Name)
		}
	} else {
		c.Panels = p.panels(src, "consents")
	}
	for _, pn := range c.Panels {
		if pn.Consents == 0 {
			p.fault(src, "missing_key", "add consents: and how many examiners must say yes", "the panel of %d needs a number of consents", pn.Size)
		}
	}
	if !slices.ContainsFunc(k.Requirements, func(q Requirement) bool { return q.Kind == Consent }) {
		p.fault(n, "missing_key", "add a requirement of kind consent to the rank", "rank %q has no requirement on which examiners vote", k.Name)
	}
}
