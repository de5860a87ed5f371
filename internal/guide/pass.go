package guide

import (
	"slices"
	"strings"

	"rankwright"
	"rankwright/internal/words"
	"rankwright/syllabus"
)

// pass says in plain words when the rank is given: each result by which it is,
// then what becomes of "not yet".
func (w worder) pass(p *syllabus.Pass) (out []Result) {
	var again []string
	plain := 0
	for _, r := range p.Results {
		if r.Outcome == syllabus.NotYet {
			again = append(again, w.again(r))
			continue
		}
		x := Result{Head: w.say.It("pass.given")}
		if r.Label != "" {
			x.Head = w.say.It("pass.given-as", words.Set{Name: "Label", Value: r.Label})
		}
		for _, id := range r.When {
			if c := p.Condition(id); c != nil {
				x.Lines = append(x.Lines, capital(w.condition(c)))
			}
		}
		if r.FollowUp > 0 {
			x.After = append(x.After, w.say.Many("pass.follow-up", r.FollowUp))
		}
		if r.Ask != "" {
			x.After = append(x.After, w.say.It("pass.ask", words.Set{Name: "Question", Value: r.Ask}))
		}
		out = append(out, x)
		if r.Label == "" { // the plain one is what most want to know
			plain = len(out) - 1
		}
	}
	if plain > 0 {
		out = slices.Insert(slices.Delete(slices.Clone(out), plain, plain+1), 0, out[plain])
	}
	if len(again) == 0 {
		again = []string{w.say.It("pass.again-all")}
	}
	return append(out, Result{Head: w.say.It("pass.not-yet"), Lines: again})
}

func (w worder) again(r syllabus.Result) string {
	line := w.say.It("pass.again-all")
	if r.ShowAgain == syllabus.AgainShort {
		line = w.say.It("pass.again-short")
	}
	if r.Within > 0 {
		line += " " + w.say.Many("pass.within", r.Within)
	}
	if r.Label != "" {
		line = w.say.It("pass.labelled", words.Set{Name: "Label", Value: r.Label}, words.Set{Name: "Text", Value: line})
	}
	return line
}

// capital begins a sentence.
func capital(s string) string {
	for i, r := range s {
		return strings.ToUpper(string(r)) + s[i+len(string(r)):]
	}
	return s
}

func (w worder) condition(c *syllabus.Condition) string {
	out := ""
	what := func(all words.Key) words.Set { return words.Set{Name: "What", Value: w.set(&c.Of, all)} }
	need := words.Set{Name: "Need", Value: w.need(c.Need)}
	switch c.Kind {
	case syllabus.OnTotal:
		out = w.say.It(by(c.Need, "pass.total.share", "pass.total.amount", "pass.total.expected"), need, what("pass.everything"))
		switch {
		case !w.extras():
		case c.Bonus:
			out = w.say.It("pass.with-extras", words.Set{Name: "Text", Value: out})
		default:
			out = w.say.It("pass.without-extras", words.Set{Name: "Text", Value: out})
		}
	case syllabus.OnSections:
		out = w.say.It(by(c.Need, "pass.sections.share", "pass.sections.amount", "pass.sections.expected"), need, what("pass.every-section"))
	case syllabus.OnRequirements:
		out = w.say.It(by(c.Need, "pass.each.share", "pass.each.amount", "pass.each.expected"), need, what("pass.every-requirement"))
	case syllabus.OnConsents:
		var ways []string
		for _, p := range c.Panels {
			ways = append(ways, w.say.It("pass.consents", words.Set{Name: "N", Value: p.Consents}, words.Set{Name: "Of", Value: p.Size}))
		}
		out = w.or(ways)
		if c.Veto {
			out += "; " + w.say.It("pass.veto")
		}
		return out
	case syllabus.OnRuns:
		return w.say.It("pass.runs", words.Set{Name: "Label", Value: c.Label}, words.Set{Name: "N", Value: c.Most})
	default:
		var parts []string
		for i := range c.Parts {
			parts = append(parts, w.condition(&c.Parts[i]))
		}
		if c.Kind == syllabus.OnAny {
			return w.say.It("pass.one-of", words.Set{Name: "Parts", Value: strings.Join(parts, "; ")})
		}
		return w.say.It("pass.all-of", words.Set{Name: "Parts", Value: strings.Join(parts, "; ")})
	}
	return out + w.allow(&c.Allow)
}

// by chooses the sentence for a share, for an amount, or for what is expected.
func by(n syllabus.Need, share, amount, expected words.Key) words.Key {
	switch n.Kind {
	case syllabus.ShareNeed:
		return share
	case syllabus.AmountNeed:
		return amount
	}
	return expected
}

func (w worder) need(n syllabus.Need) string {
	switch n.Kind {
	case syllabus.ShareNeed:
		if n.HalfUp {
			return w.say.It("pass.rounded", words.Set{Name: "Share", Value: n.Share.String()})
		}
		return n.Share.String()
	case syllabus.AmountNeed:
		return n.Amount.String()
	}
	return ""
}

func (w worder) allow(a *syllabus.Allow) string {
	if a.UpTo == 0 && a.Percent == 0 {
		return ""
	}
	n := rankwright.Whole(a.UpTo).String()
	if a.Percent > 0 {
		n = a.Percent.String()
	}
	out := "; " + w.say.It("pass.short", words.Set{Name: "N", Value: n})
	if a.HasFloor {
		key := words.Key("pass.floor")
		if a.Floor.Kind == syllabus.ShareNeed {
			key = "pass.floor-share"
		}
		out += ", " + w.say.It(key, words.Set{Name: "Need", Value: w.need(a.Floor)})
	}
	if a.HasNever {
		out += ", " + w.say.It("pass.never", words.Set{Name: "What", Value: w.set(&a.Never, "pass.any")})
	}
	return out
}

func (w worder) extras() bool {
	for i := range w.s.Ranks {
		for _, q := range w.s.Ranks[i].Requirements {
			if q.Bonus {
				return true
			}
		}
	}
	return false
}

func (w worder) or(list []string) string {
	if n := len(list); n > 1 {
		return w.say.It("pass.or", words.Set{Name: "Before", Value: strings.Join(list[:n-1], ", ")}, words.Set{Name: "Last", Value: list[n-1]})
	}
	return strings.Join(list, "")
}

// set says of what a condition speaks.
func (w worder) set(s *syllabus.Set, all words.Key) string {
	var names []string
	for _, id := range s.Sections {
		names = append(names, w.name(string(id)))
	}
	for _, id := range s.Only {
		names = append(names, w.name(string(id)))
	}
	out := w.say.It(all)
	switch joined := w.say.And(names); {
	case joined != "" && s.Musts:
		out = w.say.It("pass.musts-of", words.Set{Name: "What", Value: joined})
	case joined != "":
		out = joined
	case s.Musts:
		out = w.say.It("pass.musts")
	}
	if s.Weak {
		out = w.say.It("pass.weak", words.Set{Name: "What", Value: out})
	}
	names = nil
	for _, id := range s.Except {
		names = append(names, w.name(id))
	}
	if names != nil {
		out = w.say.It("pass.except", words.Set{Name: "What", Value: out}, words.Set{Name: "Names", Value: w.say.And(names)})
	}
	return out
}

// name names a section, or a requirement by what is shown.
func (w worder) name(id string) string {
	if s := w.s.Section(rankwright.SectionID(id)); s != nil {
		return "“" + s.Name + "”"
	}
	for i := range w.s.Ranks {
		if q := w.s.Ranks[i].Requirement(rankwright.RequirementID(id)); q != nil {
			return "“" + q.Show + "”"
		}
	}
	return id
}
