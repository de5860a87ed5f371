package ready

import (
	"rankwright"
	"rankwright/syllabus"
)

// Change is a rank of another ladder that leads to a rank of this one without
// a new examination, as seen on one day.
type Change struct {
	From Given
	To   rankwright.RankID
	// MayFrom and MustBy are the days on which the ages are reached; no day
	// where the syllabus does not say.
	MayFrom, MustBy rankwright.Day
	May, Must       bool // on the day asked about
	Automatic       bool
}

// Changes lists the conversions that the ranks held on other ladders allow.
// Without a birth date none can be told.
func Changes(s *syllabus.Syllabus, born rankwright.Day, st Standing, on rankwright.Day) []Change {
	if born == 0 {
		return nil
	}
	var out []Change
	q := Question{Syllabus: s, Born: born, Standing: st, On: on}
	r := newRecord(&q, &syllabus.Rank{})
	for i := range s.Ranks {
		for _, c := range s.Ranks[i].Eligibility.Conversions {
			g, ok := r.latest(c.Ladder, c.Ranks)
			if !ok {
				continue
			}
			reached := func(age int) rankwright.Day {
				days, _ := r.ageDays(syllabus.AgeTerm{AtLeast: age, Counted: c.Counted})
				return max(days.First(FirstDay), g.On)
			}
			ch := Change{From: g, To: s.Ranks[i].ID, Automatic: c.Automatic, May: true}
			if c.May > 0 {
				ch.MayFrom = reached(c.May)
				ch.May = on >= ch.MayFrom
			}
			if c.Must > 0 {
				ch.MustBy = reached(c.Must)
				ch.Must = on >= ch.MustBy
			}
			out = append(out, ch)
		}
	}
	return out
}

// PanelFits says whether examiners who hold these ranks of the ladder make up
// one of the shapes of panel that the rank allows, and which. A rank without
// shapes takes any panel. It does not look at who comes from outside.
func PanelFits(s *syllabus.Syllabus, rank *syllabus.Rank, examiners []rankwright.RankID) (syllabus.Panel, bool) {
	for _, p := range rank.Panel {
		if p.Size == len(examiners) && allHold(s, p.Rank, examiners) {
			return p, true
		}
	}
	return syllabus.Panel{}, len(rank.Panel) == 0
}

func allHold(s *syllabus.Syllabus, least rankwright.RankID, held []rankwright.RankID) bool {
	if least == "" {
		return true
	}
	_, floor := s.Rank(least)
	for _, id := range held {
		if _, i := s.Rank(id); i < 0 || i < floor {
			return false
		}
	}
	return floor >= 0
}
