package syllabus

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"rankwright"
)

// Remark is something odd in a syllabus that is not a mistake.
type Remark struct {
	Line int
	Say  string
}

// Lint finds what is odd: sections so small that one mark decides them,
// expectations that fall from one rank to the next, bonus that the cap cuts
// off, ranks with no must, results that nobody can reach, doubles, and what
// is defined and never used. In the order of lines.
func Lint(s *Syllabus) []Remark {
	l := &linter{s: s, out: slices.Clone(s.unused)}
	coloured := slices.ContainsFunc(s.Ranks, func(k Rank) bool { return k.Belt != (Belt{}) })
	names := map[string]rankwright.RankID{}
	for i := range s.Ranks {
		k := &s.Ranks[i]
		at := "rank " + string(k.ID)
		if other, twice := names[strings.ToLower(k.Name)]; twice {
			l.add(at, "ranks %s and %s have the same name, %s", other, k.ID, k.Name)
		}
		names[strings.ToLower(k.Name)] = k.ID
		if coloured && k.Belt == (Belt{}) {
			l.add(at, "%s has no belt colour, and others have", k.Name)
		}
		var below *Rank
		if i > 0 {
			below = &s.Ranks[i-1]
		}
		l.requirements(k, below)
		l.points(k, at)
		l.rules(k, at)
	}
	l.bands()
	slices.SortStableFunc(l.out, func(a, b Remark) int { return cmp.Compare(a.Line, b.Line) })
	return slices.CompactFunc(l.out, func(a, b Remark) bool { return a == b })
}

type linter struct {
	s   *Syllabus
	out []Remark
}

func (l *linter) add(key, say string, args ...any) {
	l.out = append(l.out, Remark{Line: max(l.s.at[key], 1), Say: fmt.Sprintf(say, args...)})
}

func (l *linter) requirements(k, below *Rank) {
	shown := map[string]rankwright.RequirementID{}
	for j := range k.Requirements {
		q := &k.Requirements[j]
		at := "requirement " + string(k.ID) + " " + string(q.ID)
		if q.Points == 0 && !q.ForRelease && q.Kind != Consent {
			l.add(at, "%s at %s is worth no points", q.ID, k.Name)
		}
		if q.Expect == 0 && !q.AtMost {
			l.add(at, "%s at %s expects 0, which everybody shows", q.ID, k.Name)
		}
		if other, twice := shown[q.Show]; twice {
			l.add(at, "%s at %s has the same words as %s", q.ID, k.Name, other)
		}
		shown[q.Show] = q.ID
		if e, _ := l.s.Rank(q.Examiner); q.Examiner != "" && e == nil {
			l.add(at, "%s at %s asks for an examiner of rank %s, which is not on this ladder", q.ID, k.Name, q.Examiner)
		}
		if below == nil {
			continue
		}
		if before := below.Requirement(q.ID); before != nil && before.Kind == q.Kind && before.AtMost == q.AtMost && easier(before, q) {
			l.add(at, "%s expects less of %s than of %s below it", q.ID, k.Name, below.Name)
		}
	}
}

func (l *linter) points(k *Rank, at string) {
	bonus, musts := rankwright.Amount(0), 0
	for i := range k.Requirements {
		if k.Requirements[i].Bonus {
			bonus += k.Requirements[i].Points
		}
		if k.Requirements[i].Must {
			musts++
		}
	}
	if k.BonusCap > bonus {
		l.add(at, "%s caps bonus at %s, but only %s can be earned", k.Name, k.BonusCap, bonus)
	}
	if musts == 0 && len(k.Requirements) > 1 {
		l.add(at, "%s has no must: a fall with the head off the mat usually is one", k.Name)
	}
	var small []string
	for _, sec := range l.s.Sections {
		least := rankwright.Amount(0)
		for _, c := range withParts(k.Pass.Conditions) {
			if c.Kind != OnSections {
				continue
			}
			points := rankwright.Amount(0)
			for i := range k.Requirements {
				if q := &k.Requirements[i]; q.Section == sec.ID && c.Of.Holds(q) {
					points += q.Points
				}
			}
			if points > 0 && (least == 0 || points < least) {
				least = points
			}
		}
		if least > 0 && least < rankwright.Whole(4) {
			small = append(small, fmt.Sprintf("%s (%s)", sec.Name, points(least)))
		}
	}
	if len(small) > 0 {
		l.add(at, "at %s one mark can decide a section: %s", k.Name, strings.Join(small, ", "))
	}
}

func (l *linter) rules(k *Rank, at string) {
	used := map[string]bool{}
	for _, res := range k.Pass.Results {
		for _, w := range res.When {
			used[w] = true
		}
	}
	for i := range k.Pass.Conditions {
		if id := k.Pass.Conditions[i].ID; !used[id] {
			l.add(at, "no result of %s looks at the condition %q", k.Name, id)
		}
	}
	for _, c := range withParts(k.Pass.Conditions) {
		looks := c.Kind == OnTotal || c.Kind == OnSections || c.Kind == OnRequirements && !c.Of.Musts
		if looks && !slices.ContainsFunc(k.Requirements, func(q Requirement) bool { return c.Of.Holds(&q) }) {
			l.add(at, "the condition %q looks at nothing that %s asks for, so it always holds", c.ID, k.Name)
		}
	}
	for j, later := range k.Pass.Results {
		for i, earlier := range k.Pass.Results[:j] {
			contained := !slices.ContainsFunc(earlier.When, func(w string) bool { return !slices.Contains(later.When, w) })
			if contained && earlier.Retries == 0 {
				l.add(at, "result %d of %s is never reached: whoever meets its conditions meets those of result %d", j+1, k.Name, i+1)
				break
			}
		}
	}
	for _, pn := range k.Panel {
		if e, _ := l.s.Rank(pn.Rank); pn.Rank != "" && e == nil {
			l.add(at, "the panel of %s asks for examiners of rank %s, which is not on this ladder", k.Name, pn.Rank)
		}
	}
}

// bands says where an age between two bands belongs to none.
func (l *linter) bands() {
	for i := 1; i < len(l.s.Bands); i++ {
		if a, b := l.s.Bands[i-1], l.s.Bands[i]; b.From > a.To+1 {
			l.add("age_bands", "no age band holds the ages between %s and %s; the strictest expectation is asked of them", a.ID, b.ID)
		}
	}
}

// withParts lists conditions with their parts.
func withParts(cs []Condition) []Condition {
	var out []Condition
	for _, c := range cs {
		out = append(append(out, c), withParts(c.Parts)...)
	}
	return out
}

func easier(before, q *Requirement) bool {
	if q.AtMost {
		return q.Expect > before.Expect
	}
	return q.Expect < before.Expect
}
