package decide

import (
	"rankwright"
	"rankwright/syllabus"
)

// reasons tests every condition and writes down what was found. Where marks
// are still missing only the tests are worked out that fill met.
func (s *state) reasons(met []bool, incomplete bool) []Reason {
	out := make([]Reason, 0, len(s.j.rules)+len(s.j.rank.Clearances)+1)
	for i := range s.j.rules {
		r := &s.j.rules[i]
		var short []Short
		f := s.test(r, func(part *rule, place int, forgiven bool) {
			short = append(short, s.short(part, place, forgiven))
		})
		met[i] = f.met
		for k := range short {
			short[k].Forgiven = short[k].Forgiven && f.met
		}
		if incomplete {
			continue
		}
		out = append(out, Reason{Rule: r.c.ID, Kind: ReasonKind(r.c.Kind), Name: r.c.Name, Asked: s.asks(r, f), Shown: shows(r, f), Met: f.met, Short: short})
	}
	return out
}

func (s *state) asks(r *rule, f finding) Fact {
	a := Fact{Cond: r.c, Num: r.c.Need.Amount, Of: f.of, Most: f.most}
	switch r.c.Kind {
	case syllabus.OnTotal, syllabus.OnSections:
		a.Unit = InPoints
		if r.c.Need.Kind == syllabus.ShareNeed {
			a.Unit, a.Num = InShare, rankwright.Amount(r.c.Need.Share)
		}
	case syllabus.OnRequirements:
		a.Unit = InRequirements
	case syllabus.OnConsents:
		a.Unit = InVotes
		for _, p := range r.c.Panels {
			if rankwright.Whole(p.Size) == f.of {
				a.Num = rankwright.Whole(p.Consents)
			}
		}
	case syllabus.OnRuns:
		a.Unit, a.Num = InRuns, rankwright.Whole(r.c.Most)
	default:
		a.Unit = InParts
	}
	return a
}

func shows(r *rule, f finding) Fact {
	b := Fact{Num: f.got, Of: f.of, Cond: r.c}
	switch r.c.Kind {
	case syllabus.OnTotal:
		b.Unit = InPoints
	case syllabus.OnSections:
		b.Unit = InSections
	case syllabus.OnRequirements:
		b.Unit = InRequirements
	case syllabus.OnConsents:
		b.Unit = InVotes
	case syllabus.OnRuns:
		b.Unit = InRuns
	default:
		b.Unit = InParts
	}
	return b
}

func (s *state) short(r *rule, place int, forgiven bool) Short {
	need := r.c.Need
	if r.c.Kind == syllabus.OnSections {
		got, of, _ := s.sum(r.reqsOf(place), false)
		x := Short{Section: s.j.sections[place], Forgiven: forgiven, Shown: Fact{Unit: InPoints, Num: got, Of: of}, Asked: Fact{Unit: InPoints, Num: need.Amount}}
		if need.Kind == syllabus.ShareNeed {
			x.Asked = Fact{Unit: InShare, Num: rankwright.Amount(need.Share)}
		}
		return x
	}
	a := &s.j.asked[place]
	x := Short{Section: a.q.Section, Requirement: a.q.ID, Forgiven: forgiven, Shown: mark(a.q, s.value[place])}
	switch need.Kind {
	case syllabus.Expected:
		x.Asked = mark(a.q, a.q.Expected(s.c.Band))
	case syllabus.ShareNeed:
		x.Asked = Fact{Unit: InShare, Num: rankwright.Amount(need.Share)}
		x.Shown = Fact{Unit: InPoints, Num: s.points[place], Of: a.q.Points}
	default:
		x.Asked = mark(a.q, need.Amount)
	}
	x.Asked.Less = a.q.AtMost
	return x
}

func (r *rule) reqsOf(section int) []int {
	for at, id := range r.ids {
		if id == section {
			return r.secs[at]
		}
	}
	return nil
}

func mark(q *syllabus.Requirement, v rankwright.Amount) Fact {
	f := Fact{Unit: InValue, Num: v}
	switch {
	case q.Kind == syllabus.Timed:
		f.Unit = InSeconds
	case q.Kind == syllabus.Leveled:
		f.Of = rankwright.Whole(q.Scale.Levels[len(q.Scale.Levels)-1].Value)
	case q.Kind == syllabus.Tick:
		f.Of = rankwright.One
	case q.Of > 0:
		f.Of = rankwright.Whole(q.Of)
	}
	return f
}
