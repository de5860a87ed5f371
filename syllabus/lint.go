package syllabus

import (
	"fmt"
	"sort"

	"rankwright"
)

// Remark is something odd in a syllabus that is not a mistake.
type Remark struct {
	Line int
	Say  string
}

// Lint finds what is odd: sections so small that one mark decides them,
// expectations that fall from one rank to the next, bonus that the cap cuts
// off, ranks with no must, doubles. In the order of lines.
func Lint(s *Syllabus) []Remark {
	var out []Remark
	add := func(key, say string, args ...any) {
		out = append(out, Remark{Line: s.at[key], Say: fmt.Sprintf(say, args...)})
	}
	for i := range s.Ranks {
		k := &s.Ranks[i]
		at := "rank " + string(k.ID)
		points := map[rankwright.SectionID]rankwright.Amount{}
		shown := map[string]rankwright.RequirementID{}
		bonus := rankwright.Amount(0)
		musts := 0
		for j := range k.Requirements {
			q := &k.Requirements[j]
			if q.Bonus {
				bonus += q.Points
			} else {
				points[q.Section] += q.Points
			}
			if q.Must {
				musts++
			}
			if q.Points == 0 && !q.ForRelease && q.Kind != Consent {
				add("requirement "+string(k.ID)+" "+string(q.ID), "%s at %s is worth no points", q.ID, k.Name)
			}
			if other, twice := shown[q.Show]; twice {
				add("requirement "+string(k.ID)+" "+string(q.ID), "%s at %s has the same words as %s", q.ID, k.Name, other)
			}
			shown[q.Show] = q.ID
			if i > 0 {
				before := s.Ranks[i-1].Requirement(q.ID)
				if before != nil && before.Kind == q.Kind && easier(before, q) {
					add("requirement "+string(k.ID)+" "+string(q.ID), "%s expects less of %s than of %s below it", q.ID, k.Name, s.Ranks[i-1].Name)
				}
			}
		}
		if judgesSections(&k.Pass) {
			for _, sec := range s.Sections {
				if p, ok := points[sec.ID]; ok && p > 0 && p < rankwright.Whole(4) {
					add(at, "section %s has only %s points at %s: one mark can decide it", sec.Name, p, k.Name)
				}
			}
		}
		if bonus > 0 && k.BonusCap > bonus {
			add(at, "%s caps bonus at %s, but only %s can be earned", k.Name, k.BonusCap, bonus)
		}
		if musts == 0 && len(k.Requirements) > 1 {
			add(at, "%s has no must: a fall with the head off the mat usually is one", k.Name)
		}
		if k.Belt.Hex == "" && k.Belt.Colour == "" {
			add(at, "%s has no belt colour", k.Name)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Line < out[j].Line })
	return out
}

func easier(before, q *Requirement) bool {
	if q.AtMost {
		return q.Expect > before.Expect
	}
	return q.Expect < before.Expect
}

func judgesSections(p *Pass) bool {
	for i := range p.Conditions {
		if p.Conditions[i].Kind == OnSections {
			return true
		}
	}
	return false
}
