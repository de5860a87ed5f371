package web

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"rankwright"
	"rankwright/syllabus"
)

// syllabusWords says the rules of a syllabus in sentences.
type syllabusWords struct{ s *syllabus.Syllabus }

func syllabusOr(words []string) string  { return syllabusJoin(words, " or ") }
func syllabusAnd(words []string) string { return syllabusJoin(words, " and ") }

func syllabusJoin(words []string, last string) string {
	if n := len(words); n > 1 {
		return strings.Join(words[:n-1], ", ") + last + words[n-1]
	}
	return strings.Join(words, "")
}

func (w syllabusWords) ranks(ladder rankwright.LadderID, ids []rankwright.RankID) string {
	var out []string
	for _, id := range ids {
		name := string(id)
		if k, _ := w.s.Rank(id); ladder == "" && k != nil {
			name = k.Name
		}
		out = append(out, name)
	}
	if ladder != "" {
		return syllabusOr(out) + " of the ladder " + string(ladder)
	}
	return syllabusOr(out)
}

// entry says who may enter for the rank at a place of the ladder.
func (w syllabusWords) entry(k *syllabus.Rank, place int) []syllabusEntryRule {
	rules := k.Eligibility.Rules
	if len(rules) == 0 {
		rules = []syllabus.EntryRule{{}}
	}
	var out []syllabusEntryRule
	for _, r := range rules {
		e := syllabusEntryRule{Name: r.Name, When: syllabusForce(r.From, r.Until)}
		holds := r.Skip
		for _, t := range r.Terms.Terms {
			h, ok := t.(syllabus.HoldsTerm)
			holds = holds || ok && h.Ladder == ""
		}
		if place > 0 && !holds {
			e.Lines = append(e.Lines, "Holds "+w.s.Ranks[place-1].Name)
		}
		for _, t := range r.Terms.Terms {
			e.Lines = append(e.Lines, syllabusCapital(w.term(t, place)))
		}
		if len(e.Lines) == 0 {
			e.Lines = []string{"Anybody on this ladder may enter"}
		}
		if r.Waive != nil {
			e.Lines = append(e.Lines, w.waive(r.Waive))
		}
		out = append(out, e)
	}
	for _, c := range k.Eligibility.Conversions {
		line := "Who holds " + w.ranks(c.Ladder, c.Ranks)
		switch {
		case c.Automatic:
			line += " gets this rank without an examination at the age of " + itoa(c.May)
		case c.May > 0:
			line += " may change over without an examination from the age of " + itoa(c.May)
		default:
			line += " may change over without an examination"
		}
		if c.Must > 0 {
			line += ", and has to by the age of " + itoa(c.Must)
		}
		out = append(out, syllabusEntryRule{Name: "From another ladder", Lines: []string{line}})
	}
	return out
}

func syllabusForce(from, until rankwright.Day) string {
	switch {
	case from != 0 && until != 0:
		return "from " + syllabusDay(from) + " to " + syllabusDay(until)
	case from != 0:
		return "from " + syllabusDay(from)
	case until != 0:
		return "until " + syllabusDay(until)
	}
	return ""
}

// syllabusDay writes a day without its weekday: 3 April 2017.
func syllabusDay(d rankwright.Day) string {
	_, rest, _ := strings.Cut(d.Long(), " ")
	return rest
}

func syllabusCapital(s string) string {
	for i, r := range s {
		return strings.ToUpper(string(r)) + s[i+len(string(r)):]
	}
	return s
}

func (w syllabusWords) waive(v *syllabus.Waive) string {
	var parts []string
	for _, p := range []struct {
		n               int
		one, many, more string
	}{{v.Days, "day", "days", " of waiting time"}, {v.AgeDays, "day", "days", " of age"}, {v.Classes, "class", "classes", ""}} {
		if p.n > 0 {
			parts = append(parts, plural(p.n, p.one, p.many)+p.more)
		}
	}
	join := syllabusAnd
	if v.OnlyOne {
		join = syllabusOr
	}
	by := strings.ReplaceAll(v.By, "_", " ")
	if by == "" {
		by = "head instructor"
	}
	out := "The " + by + " may let pass up to " + join(parts) + " that are short"
	if v.Reason {
		out += ", with a written reason"
	}
	return out
}

func syllabusLength(l syllabus.Length) string {
	return plural(l.N, strings.TrimSuffix(l.Unit.String(), "s"), l.Unit.String())
}

func (w syllabusWords) term(t syllabus.Term, place int) string {
	held := "the rank held was given"
	if place == 0 {
		held = "the first class"
	}
	switch t := t.(type) {
	case syllabus.AllOf:
		return w.group(t.Name, t.Terms, place, ", and ")
	case syllabus.AnyOf:
		return "one of these: " + w.group(t.Name, t.Terms, place, "; or ")
	case syllabus.AgeTerm:
		return syllabusAge(t)
	case syllabus.WaitTerm:
		since := held
		switch t.Since.Kind {
		case syllabus.SinceGrading:
			since = "the last grading taken"
		case syllabus.SinceStart:
			since = "the first class"
		case syllabus.SinceNotYet:
			since = "the last “not yet” at this rank"
		case syllabus.SinceNamed:
			since = w.ranks(t.Since.Ladder, []rankwright.RankID{t.Since.Rank}) + " was given"
		}
		if t.Counted == syllabus.CutOff {
			return since + " on or before the date published with the grading"
		}
		var how []string
		if t.AtLeast.N > 0 {
			how = append(how, "at least "+syllabusLength(t.AtLeast))
		}
		if t.Within.N > 0 {
			how = append(how, "no more than "+syllabusLength(t.Within))
		}
		out := syllabusAnd(how) + " since " + since
		switch t.Counted {
		case syllabus.SameMonth:
			out += " (any day of that calendar month serves)"
		case syllabus.MonthSlots:
			out += " (counted in whole calendar months)"
		}
		return out + syllabusCredits(t.Credits)
	case syllabus.ClassesTerm:
		return "at least " + plural(t.AtLeast, "class", "classes") + " since " + held + syllabusCredits(t.Credits)
	case syllabus.RateTerm:
		return "at least " + t.PerWeek.String() + " classes for each week in which there were classes since " + held
	case syllabus.AttendanceTerm:
		return "at least " + t.AtLeast.String() + " of the classes offered since " + held
	case syllabus.GradingsTerm:
		if t.Rolling {
			return "at most " + plural(t.AtMost, "grading", "gradings") + " in any " + plural(t.Months, "month", "months") + ", this one among them"
		}
		period := "each " + itoa(t.Months) + " months of the calendar year"
		switch t.Months {
		case 12:
			period = "a calendar year"
		case 1:
			period = "a calendar month"
		}
		return "at most " + plural(t.AtMost, "grading", "gradings") + " in " + period + ", this one among them"
	case syllabus.PointsTerm:
		return "at least " + t.AtLeast.String() + " of " + t.Of
	case syllabus.ResultTerm:
		var want []string
		if t.AtLeast > 0 {
			want = append(want, "at least "+t.AtLeast.String()+" of the points")
		}
		if t.Label != "" {
			want = append(want, "the result “"+t.Label+"”")
		}
		return syllabusAnd(want) + " earlier at " + w.ranks(t.Ladder, []rankwright.RankID{t.Rank})
	case syllabus.HoldsTerm:
		return "holds " + w.ranks(t.Ladder, t.Ranks)
	case syllabus.HeldTerm:
		return "has held " + w.ranks(t.Ladder, t.Ranks) + " for at least " + syllabusLength(t.AtLeast) + " without a break"
	case syllabus.RetakesTerm:
		return "at most " + plural(t.AtMost, "further try", "further tries") + " after a first “not yet” at this rank"
	case syllabus.ClearanceTerm:
		if c := w.s.Clearance(t.ID); c != nil {
			return "“" + c.Name + "” before entering"
		}
		return string(t.ID) + " before entering"
	}
	return ""
}

// group says several terms. What has a name of its own stands in brackets
// behind it, so that "and" and "or" never run into each other.
func (w syllabusWords) group(name string, terms []syllabus.Term, place int, join string) string {
	var parts []string
	for _, t := range terms {
		parts = append(parts, w.term(t, place))
	}
	out := strings.Join(parts, join)
	if name != "" {
		return name + " (" + out + ")"
	}
	return out
}

func syllabusCredits(c syllabus.Credits) string {
	var each []string
	for _, x := range c.Each {
		each = append(each, strings.ReplaceAll(x.Name, "_", " ")+" ("+x.Off.String()+")")
	}
	if each == nil {
		return ""
	}
	return "; shortened by up to " + c.Cap.String() + " for " + syllabusAnd(each)
}

func syllabusAge(t syllabus.AgeTerm) string {
	age := "aged " + itoa(t.AtLeast) + " to " + itoa(t.AtMost)
	switch {
	case t.AtMost == 0:
		age = itoa(t.AtLeast) + " years or older"
	case t.AtLeast == 0:
		age = "no older than " + plural(t.AtMost, "year", "years")
	}
	switch t.Counted {
	case syllabus.AgeCalendarYear:
		return age + ", counted as the year of the grading less the year of birth"
	case syllabus.AgeYearOfLife:
		return age + ", counted by year group from 1 January"
	case syllabus.AgeOnDate:
		return fmt.Sprintf("%s on %d %s of the year of the grading", age, t.Date, time.Month(t.Month))
	case syllabus.AgeAtLastGrading:
		return age + " at the last grading"
	}
	return age + " on the grading day"
}

// pass says the pass rule of a rank, the best result first.
func (w syllabusWords) pass(p *syllabus.Pass) []syllabusResult {
	var out []syllabusResult
	for _, r := range p.Results {
		x := syllabusResult{Outcome: r.Outcome.String(), Label: r.Label}
		for _, id := range r.When {
			if c := p.Condition(id); c != nil {
				x.When = append(x.When, syllabusCondition{Name: c.Name, Words: syllabusCapital(w.condition(c))})
			}
		}
		add := func(s string, args ...any) { x.Then = append(x.Then, fmt.Sprintf(s, args...)) }
		if r.FollowUp > 0 {
			add("What was short is looked at again within %s; the certificate comes then.", plural(r.FollowUp, "day", "days"))
		}
		if r.Outcome == syllabus.NotYet {
			again := "Everything is shown again"
			if r.ShowAgain == syllabus.AgainShort {
				again = "Only what was short is shown again"
			}
			if r.Within > 0 {
				again += " within " + plural(r.Within, "day", "days") + ", and the rest stands until then"
			}
			add("%s.", again)
			if r.Retries > 0 {
				add("%s of this kind at the most.", syllabusCapital(plural(r.Retries, "retry", "retries")))
			}
		}
		if r.Ask != "" {
			add("The head instructor decides: %s", r.Ask)
		}
		out = append(out, x)
	}
	return out
}

func (w syllabusWords) condition(c *syllabus.Condition) string {
	switch c.Kind {
	case syllabus.OnTotal:
		out := w.need(c.Need, "points") + " of " + w.set(c.Of, "everything asked")
		if c.Need.Kind == syllabus.ShareNeed {
			out = "at least " + c.Need.Share.String() + syllabusHalfUp(c.Need) + " of the points of " + w.set(c.Of, "everything asked")
		}
		if w.anyBonus() {
			if c.Bonus {
				return out + ", bonus included"
			}
			return out + ", bonus left aside"
		}
		return out
	case syllabus.OnSections:
		return w.need(c.Need, "of the points") + syllabusHalfUp(c.Need) + " in " + w.set(c.Of, "every section") + w.allow(c, "section", "sections")
	case syllabus.OnRequirements:
		what := w.set(c.Of, "every requirement")
		if c.Need.Kind == syllabus.Expected {
			return what + " shown as expected" + w.allow(c, "", "")
		}
		return w.need(c.Need, "of the points") + " at " + what + w.allow(c, "", "")
	case syllabus.OnConsents:
		var shapes []string
		for _, p := range c.Panels {
			shapes = append(shapes, w.panel(p))
		}
		out := strings.Join(shapes, "; or ")
		if c.Veto {
			out += "; the lead examiner’s no is final"
		}
		return out
	case syllabus.OnRuns:
		return "the result “" + c.Label + "” no more than " + plural(c.Most, "time", "times") + " in a row"
	}
	var parts []string
	for i := range c.Parts {
		one := w.condition(&c.Parts[i])
		if n := c.Parts[i].Name; n != "" {
			one = n + " (" + one + ")"
		}
		parts = append(parts, one)
	}
	if c.Kind == syllabus.OnAny {
		return "one of these: " + strings.Join(parts, "; or ")
	}
	return "all of this: " + strings.Join(parts, "; and ")
}

func (w syllabusWords) anyBonus() bool {
	for i := range w.s.Ranks {
		if slices.ContainsFunc(w.s.Ranks[i].Requirements, func(q syllabus.Requirement) bool { return q.Bonus }) {
			return true
		}
	}
	return false
}

func syllabusHalfUp(n syllabus.Need) string {
	if n.HalfUp {
		return " (rounded to whole percent)"
	}
	return ""
}

// need says how much is needed; of follows a share.
func (w syllabusWords) need(n syllabus.Need, of string) string {
	switch n.Kind {
	case syllabus.ShareNeed:
		return "at least " + n.Share.String() + " " + of
	case syllabus.AmountNeed:
		if of == "points" {
			return "at least " + n.Amount.String() + " points"
		}
		return "at least " + n.Amount.String()
	}
	return "what is expected"
}

func (w syllabusWords) set(s syllabus.Set, all string) string { return w.setBy(s, all, syllabusAnd) }

func (w syllabusWords) setBy(s syllabus.Set, all string, join func([]string) string) string {
	var parts []string
	for _, id := range s.Sections {
		parts = append(parts, w.sectionName(string(id)))
	}
	for _, id := range s.Only {
		parts = append(parts, w.sectionName(string(id)))
	}
	out := all
	switch {
	case len(parts) > 0 && s.Musts:
		out = "every must of " + join(parts)
	case len(parts) > 0:
		out = join(parts)
	case s.Musts:
		out = "every must"
	}
	if s.Weak {
		out += " that fell short at the grading before"
	}
	parts = nil
	for _, id := range s.Except {
		parts = append(parts, w.sectionName(id))
	}
	if parts != nil {
		out += " except " + syllabusAnd(parts)
	}
	return out
}

// sectionName names a section, or a requirement by what is shown.
func (w syllabusWords) sectionName(id string) string {
	if s := w.s.Section(rankwright.SectionID(id)); s != nil {
		return s.Name
	}
	for i := range w.s.Ranks {
		if q := w.s.Ranks[i].Requirement(rankwright.RequirementID(id)); q != nil {
			return "“" + q.Show + "”"
		}
	}
	return id
}

func (w syllabusWords) allow(c *syllabus.Condition, one, many string) string {
	a := c.Allow
	if a.UpTo == 0 && a.Percent == 0 {
		return ""
	}
	if one == "" {
		one, many = "requirement", "requirements"
		if c.Of.Musts {
			one, many = "must", "musts"
		}
	}
	out := "; up to " + plural(a.UpTo, one, many) + " may fall short"
	if a.Percent > 0 {
		out = "; up to " + a.Percent.String() + " of the " + many + " may fall short"
	}
	if a.HasFloor {
		of := "of the points"
		out += ", but must still reach " + strings.TrimPrefix(w.need(a.Floor, of), "at least ")
	}
	if a.HasNever {
		out += ", and never " + w.setBy(a.Never, "any", syllabusOr)
	}
	return out
}

func (w syllabusWords) panel(p syllabus.Panel) string {
	out := plural(p.Size, "examiner", "examiners")
	if p.Rank != "" {
		out += " of at least " + w.ranks("", []rankwright.RankID{p.Rank})
	}
	switch {
	case p.Consents > 0 && p.Size == 1:
		out += ", who must say yes"
	case p.Consents > 0 && p.Consents == p.Size:
		out += ", all of whom must say yes"
	case p.Consents > 0:
		out += ", of whom " + itoa(p.Consents) + " must say yes"
	}
	if p.Outside > 0 {
		out += ", " + itoa(p.Outside) + " from outside the school"
	}
	return out
}
