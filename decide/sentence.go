package decide

import (
	"fmt"
	"strings"

	"rankwright"
	"rankwright/syllabus"
)

// Summary says in one line why the outcome is what it is.
func (v *Verdict) Summary() string {
	if len(v.Missing) > 0 {
		return "no mark yet for " + list(v.Missing)
	}
	var parts []string
	for _, r := range v.Reasons {
		if !r.Decides || r.Met {
			continue
		}
		part := strings.ToLower(r.Title()[:1]) + r.Title()[1:] + ": " + r.ShownWords()
		if len(r.Short) > 0 {
			var short []string
			for _, s := range r.Short {
				id := string(s.Requirement)
				if id == "" {
					id = string(s.Section)
				}
				short = append(short, id)
			}
			part += " (short: " + list(short) + ")"
		}
		parts = append(parts, part)
	}
	if len(parts) == 0 {
		return "every condition of the rule is met"
	}
	return strings.Join(parts, "; ")
}

// list writes at most six ids, and how many more there are.
func list[T ~string](ids []T) string {
	words := make([]string, 0, 7)
	for i, id := range ids {
		if i == 6 {
			words = append(words, fmt.Sprintf("and %d more", len(ids)-6))
			break
		}
		words = append(words, string(id))
	}
	return strings.Join(words, ", ")
}

// AskedWords says in a few words what a reason asks for.
func (r Reason) AskedWords() string { return r.AskedNamed(func(id string) string { return id }) }

// AskedNamed is AskedWords with sections and requirements called as name says.
func (r Reason) AskedNamed(name func(id string) string) string {
	c := r.Asked.Cond
	if c == nil {
		c = &syllabus.Condition{}
	}
	switch r.Kind {
	case AboutTotal:
		return r.Asked.least() + among(c.Of, "", name)
	case AboutSections:
		return r.Asked.least() + " in every section" + among(c.Of, "section", name) + r.Asked.allowance("section", name)
	case AboutRequirements:
		what := "each"
		if c.Of.Musts {
			what = "every must"
		}
		what += among(c.Of, "requirement", name)
		switch {
		case c.Need.Kind == syllabus.ShareNeed:
			what += " at least " + c.Need.Share.String()
		case c.Need.Kind == syllabus.AmountNeed:
			what += " at least " + c.Need.Amount.String()
		case c.Of.Musts:
			what += " shown as expected"
		default:
			what += " as expected"
		}
		return what + r.Asked.allowance("requirement", name)
	case AboutConsents:
		if len(c.Panels) == 0 {
			return "consent"
		}
		var shapes []string
		for _, p := range c.Panels {
			shapes = append(shapes, fmt.Sprintf("%d of %d", p.Consents, p.Size))
		}
		return "consents of " + strings.Join(shapes, " or ")
	case AboutRuns:
		return fmt.Sprintf("“%s” at most %s in a row", c.Label, times(r.Asked.Num.Int()))
	case AboutRetries:
		return "at most " + count(r.Asked.Num.Int(), "part retry")
	case AboutAny:
		return "one of " + r.Asked.Of.String()
	case AboutAll:
		return "all of " + r.Asked.Of.String()
	case AboutMarks:
		return "a mark for each of " + count(r.Asked.Num.Int(), "requirement")
	}
	return r.Asked.Word
}

// ShownWords says in a few words what was shown.
func (r Reason) ShownWords() string {
	f := r.Shown
	switch r.Kind {
	case AboutTotal:
		return fmt.Sprintf("%s of %s points (%s)", f.Num, f.Of, Tenths(rankwright.ShareOf(f.Num, f.Of)))
	case AboutSections:
		return fmt.Sprintf("%d of %s", f.Num.Int(), count(f.Of.Int(), "section"))
	case AboutRequirements:
		return fmt.Sprintf("%d of %s", f.Num.Int(), count(f.Of.Int(), "requirement"))
	case AboutConsents:
		return fmt.Sprintf("%d of %d", f.Num.Int(), f.Of.Int())
	case AboutRuns:
		return times(f.Num.Int()) + " with this one"
	case AboutRetries:
		return count(f.Num.Int(), "part retry") + " so far"
	case AboutAny, AboutAll:
		return fmt.Sprintf("%d of %d", f.Num.Int(), f.Of.Int())
	case AboutMarks:
		return fmt.Sprintf("%d marked", f.Num.Int())
	}
	return f.Word
}

// Title names what the reason is about.
func (r Reason) Title() string {
	if r.Name != "" {
		return r.Name
	}
	switch r.Kind {
	case AboutTotal:
		return "Total"
	case AboutSections:
		return "Sections"
	case AboutRequirements:
		if r.Asked.Cond != nil && r.Asked.Cond.Of.Musts {
			return "Musts"
		}
		return "Requirements"
	case AboutConsents:
		return "Panel"
	case AboutRuns:
		return "Earlier results"
	case AboutAll, AboutAny:
		return "Several conditions"
	case AboutMarks:
		return "Marks"
	case AboutRetries:
		return "Part retries"
	}
	return "Attendance on the day"
}

// least writes a need of points or of a share of them.
func (f Fact) least() string {
	if f.Unit == InPoints {
		return "at least " + inPoints(f.Num)
	}
	what := "at least " + rankwright.Share(f.Num).String()
	if f.Cond != nil && f.Cond.Need.HalfUp {
		what += ", rounded half up"
	}
	return what
}

// among says which of them a condition looks at, where not at all of them.
func among(s syllabus.Set, what string, name func(string) string) string {
	var words []string
	if s.Musts && what != "requirement" {
		words = append(words, "the musts")
	}
	if s.Weak {
		words = append(words, "what was weak before")
	}
	for _, id := range s.Sections {
		words = append(words, name(string(id)))
	}
	for _, id := range s.Only {
		words = append(words, name(string(id)))
	}
	out := ""
	if len(words) > 0 {
		out = " of " + strings.Join(words, ", ")
	}
	if len(s.Except) > 0 {
		except := make([]string, len(s.Except))
		for i, id := range s.Except {
			except[i] = name(id)
		}
		out += " except " + strings.Join(except, ", ")
	}
	return out
}

// allowance says what a condition forgives.
func (f Fact) allowance(what string, name func(string) string) string {
	c := f.Cond
	if c == nil || c.Allow.UpTo == 0 && c.Allow.Percent == 0 {
		return ""
	}
	out := fmt.Sprintf("; at most %s may fall short", count(f.Most, what))
	if c.Allow.HasFloor {
		switch n := c.Allow.Floor; n.Kind {
		case syllabus.ShareNeed:
			out += ", none under " + n.Share.String()
		case syllabus.AmountNeed:
			out += ", none under " + n.Amount.String()
		}
	}
	if c.Allow.HasNever {
		out += ", none" + among(c.Allow.Never, "", name)
	}
	return out
}

func inPoints(a rankwright.Amount) string {
	if a.IsWhole() {
		return count(a.Int(), "point")
	}
	return a.String() + " points"
}

// Words writes a fact of a mark or of points as people read it.
func (f Fact) Words() string {
	switch f.Unit {
	case InShare:
		return "at least " + rankwright.Share(f.Num).String()
	case InSeconds:
		return f.Num.String() + " s"
	case InPoints:
		if f.Of > 0 {
			return fmt.Sprintf("%s of %s points", f.Num, f.Of)
		}
		return "at least " + inPoints(f.Num)
	case InValue:
		if f.Of == rankwright.One {
			if f.Num > 0 {
				return "shown"
			}
			return "not shown"
		}
	case InWords:
		return f.Word
	}
	return f.Num.String()
}

// Tenths writes a share as a percentage with one decimal, cut and not
// rounded: 69.64 % is shown as 69.6 %, never as 70 %.
func Tenths(s rankwright.Share) string {
	return (rankwright.Amount(s) * (rankwright.One / 100)).Decimals(1) + "%"
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	if stem, ok := strings.CutSuffix(what, "y"); ok {
		return fmt.Sprintf("%d %sies", n, stem)
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func times(n int) string {
	switch n {
	case 1:
		return "once"
	case 2:
		return "twice"
	}
	return fmt.Sprintf("%d times", n)
}
