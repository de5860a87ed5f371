package decide

import (
	"slices"

	"rankwright"
	"rankwright/syllabus"
)

// reasons tests every condition and writes down what was found.
func (s *state) reasons() []Reason {
	short := 0
	for i := range s.counts {
		short += s.counts[i].fell
	}
	shorts := make([]Short, 0, short)
	out := make([]Reason, len(s.j.rules), len(s.j.rules)+len(s.j.results)+len(s.j.rank.Clearances))
	for i := range s.j.rules {
		r := &s.j.rules[i]
		f := s.test(r)
		s.met[i] = f.met
		from := len(shorts)
		s.short(r, func(part *rule, place int, pardoned bool) {
			shorts = append(shorts, s.shortfall(part, place, pardoned && f.met))
		})
		out[i] = s.reason(r, f)
		if len(shorts) > from {
			out[i].Short = shorts[from:len(shorts):len(shorts)]
		}
	}
	return out
}

func (s *state) reason(r *rule, f finding) Reason {
	x := Reason{Rule: r.c.ID, Kind: ReasonKind(r.c.Kind), Name: r.c.Name, Asked: s.asks(r, f), Shown: shows(r, f), Met: f.met}
	for i := range r.parts {
		x.Parts = append(x.Parts, s.reason(&r.parts[i], s.test(&r.parts[i])))
	}
	return x
}

// spent adds a reason for each limit on part retries. One that is used up
// decides where nothing else kept the entry from that result.
func (s *state) spent(out []Reason, line int) []Reason {
	for i := range s.j.results {
		r := &s.j.results[i]
		if r.tries == "" || slices.ContainsFunc(out, func(x Reason) bool { return x.Rule == r.tries }) {
			continue
		}
		met := s.open(i)
		out = append(out, Reason{Rule: r.tries, Kind: AboutRetries, Asked: Fact{Unit: InRetries, Num: rankwright.Whole(r.res.Retries)},
			Shown: Fact{Unit: InRetries, Num: rankwright.Whole(s.c.Retries)}, Met: met, Decides: !met && i < line && all(s.met, r.when)})
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

func (s *state) shortfall(r *rule, place int, forgiven bool) Short {
	need := r.c.Need
	if r.c.Kind == syllabus.OnSections {
		sum := s.sums[r.first+place]
		return Short{Section: s.j.sections[place], Forgiven: forgiven, Asked: points(need), Shown: Fact{Unit: InPoints, Num: sum.got, Of: sum.of}}
	}
	a := &s.j.asked[place]
	x := Short{Section: a.q.Section, Requirement: a.q.ID, Forgiven: forgiven, Shown: mark(a.q, s.value[place])}
	switch need.Kind {
	case syllabus.Expected:
		x.Asked = mark(a.q, a.q.Expected(s.c.Band))
	case syllabus.ShareNeed:
		x.Asked, x.Shown = points(need), Fact{Unit: InPoints, Num: s.points[place], Of: a.q.Points}
	default:
		x.Asked = mark(a.q, need.Amount)
	}
	x.Asked.Less = a.q.AtMost
	return x
}

func points(n syllabus.Need) Fact {
	if n.Kind == syllabus.ShareNeed {
		return Fact{Unit: InShare, Num: rankwright.Amount(n.Share)}
	}
	return Fact{Unit: InPoints, Num: n.Amount}
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
