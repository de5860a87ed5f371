package decide

import (
	"slices"

	"rankwright"
	"rankwright/syllabus"
)

// begin counts requirement i for every leaf that looks at it, except that
// sections are settled once their sums stand.
func (s *state) begin(i int) {
	worth := s.worth(i)
	for _, l := range s.j.asked[i].looks {
		switch r := s.j.leaves[l]; r.c.Kind {
		case syllabus.OnTotal:
			if !r.c.Of.Weak || s.weak[i] {
				s.counts[l].add(worth)
			}
		case syllabus.OnSections:
			s.sums[r.first+s.j.asked[i].section].add(worth)
		default:
			s.settle(r, r.places+i, s.ofRequirement(r, i))
		}
	}
}

// worth is what requirement i adds to a sum.
func (s *state) worth(i int) sum {
	x := sum{full: s.j.asked[i].q.Points}
	if s.in[i] {
		x.got, x.of = s.points[i], x.full
	}
	return x
}

// settle writes down how one place stands to a leaf.
func (s *state) settle(r *rule, at int, now status) {
	was := s.states[at]
	if was == now {
		return
	}
	s.states[at] = now
	c := &s.counts[r.leaf]
	c.seen += int(now&looked) - int(was&looked)
	c.fell += (int(now&fell) - int(was&fell)) / int(fell)
	c.graver += (int(now&graver) - int(was&graver)) / int(graver)
}

// ofRequirement is how requirement i stands to a condition on requirements. A
// waived one is looked at only where it fulfils the need.
func (s *state) ofRequirement(r *rule, i int) status {
	switch {
	case !s.in[i] || r.c.Of.Weak && !s.weak[i]:
		return 0
	case s.fulfils(r.c.Need, i):
		return looked
	case s.waived[i]:
		return 0
	case s.pardoned(r, i):
		return looked | fell
	}
	return looked | fell | graver
}

func (s *state) ofSection(r *rule, place int) status {
	sum := &s.sums[r.first+place]
	switch {
	case sum.of == 0 || r.c.Of.Weak && !s.sweak[place]:
		return 0
	case reached(r.c.Need, *sum):
		return looked
	case s.pardoned(r, place):
		return looked | fell
	}
	return looked | fell | graver
}

// pardoned says whether a requirement or section that fell short of a
// condition is one that the condition may forgive.
func (s *state) pardoned(r *rule, place int) bool {
	onSections := r.c.Kind == syllabus.OnSections
	if r.never != nil && r.never[place] {
		weak := s.weak
		if onSections {
			weak = s.sweak
		}
		if !r.c.Allow.Never.Weak || weak[place] {
			return false
		}
	}
	switch {
	case !r.c.Allow.HasFloor:
		return true
	case onSections:
		return reached(r.c.Allow.Floor, s.sums[r.first+place])
	}
	return s.fulfils(r.c.Allow.Floor, place)
}

// reached says whether points meet a need. A number of points asked of the
// full sheet is asked in proportion of what is left of it after waivers; of
// nothing, nothing is asked, and more than there is asks for all of it.
func reached(n syllabus.Need, x sum) bool {
	if x.of == 0 {
		return true
	}
	if n.Kind == syllabus.ShareNeed {
		return share(n).Reaches(x.got, x.of)
	}
	return rankwright.Proportional(x.got, x.of, min(n.Amount, x.full), x.full)
}

// share is the least share that meets a need: 54.5 % rounds half up to 55 %.
func share(n syllabus.Need) rankwright.Share {
	if n.HalfUp {
		return max(0, min(n.Share, 10000)-50)
	}
	return min(n.Share, 10000)
}

// fulfils says whether requirement i meets a need on its own.
func (s *state) fulfils(n syllabus.Need, i int) bool {
	switch n.Kind {
	case syllabus.Expected:
		return s.meets(i)
	case syllabus.ShareNeed:
		return s.have[i] && n.Share.Reaches(s.points[i], s.j.asked[i].q.Points)
	}
	return s.have[i] && meets(s.j.asked[i].q, s.value[i], n.Amount)
}

// finding is a condition tested on one entry.
type finding struct {
	met  bool
	got  rankwright.Amount // points, or how many reached it, or votes
	of   rankwright.Amount
	most int // how many may fall short
}

// holds says whether a rule is met, and no more.
func (s *state) holds(r *rule) bool {
	switch r.c.Kind {
	case syllabus.OnTotal:
		return reached(r.c.Need, s.total(r))
	case syllabus.OnSections, syllabus.OnRequirements:
		c := &s.counts[r.leaf]
		return c.fell == 0 || c.graver == 0 && c.fell <= allowed(r, c.seen)
	case syllabus.OnAll:
		for i := range r.parts {
			if !s.holds(&r.parts[i]) {
				return false
			}
		}
		return true
	case syllabus.OnAny:
		for i := range r.parts {
			if s.holds(&r.parts[i]) {
				return true
			}
		}
		return false
	}
	return s.test(r).met
}

// test tests a rule and says what was found.
func (s *state) test(r *rule) finding {
	switch r.c.Kind {
	case syllabus.OnTotal:
		x := s.total(r)
		return finding{met: reached(r.c.Need, x), got: x.got, of: x.of}
	case syllabus.OnSections, syllabus.OnRequirements:
		c := &s.counts[r.leaf]
		return finding{met: s.holds(r), got: rankwright.Whole(c.seen - c.fell), of: rankwright.Whole(c.seen), most: allowed(r, c.seen)}
	case syllabus.OnConsents:
		return s.consents(r)
	case syllabus.OnRuns:
		n := s.run(r.c.Label)
		return finding{met: n <= r.c.Most, got: rankwright.Whole(n), of: rankwright.Whole(r.c.Most)}
	}
	met := 0
	for i := range r.parts {
		if s.holds(&r.parts[i]) {
			met++
		}
	}
	return finding{met: s.holds(r), got: rankwright.Whole(met), of: rankwright.Whole(len(r.parts))}
}

// total is what a condition on a total goes by, bonus and cap included.
func (s *state) total(r *rule) sum {
	x := s.counts[r.leaf].sum
	if r.c.Bonus {
		x.got += s.capped()
	}
	return x
}

func (s *state) capped() rankwright.Amount { return min(s.bonus, s.j.rank.BonusCap) }

// allowed is how many of those looked at may fall short.
func allowed(r *rule, seen int) int {
	if r.c.Allow.Percent > 0 {
		return int(int64(seen) * int64(r.c.Allow.Percent) / 10000)
	}
	return r.c.Allow.UpTo
}

// tooMany is how many requirements must change for a condition on requirements.
func (s *state) tooMany(r *rule) int {
	c := &s.counts[r.leaf]
	return max(c.graver, c.fell-allowed(r, c.seen))
}

// run is how many times in a row a label would stand with this grading.
func (s *state) run(label string) int {
	n := 1
	if s.c.Before != nil {
		for _, l := range s.c.Before.Labels {
			if l != label {
				break
			}
			n++
		}
	}
	return n
}

// consents tests the votes on every requirement of kind consent; the one with
// the fewest votes in favour speaks for all.
func (s *state) consents(r *rule) finding {
	f := finding{met: true}
	first := true
	for _, i := range s.j.votes {
		if !s.in[i] {
			continue
		}
		f.met = f.met && s.agreed(r, i)
		t := s.votes[i]
		if yes := rankwright.Whole(t.yes); first || yes < f.got {
			f.got, f.of, first = yes, rankwright.Whole(t.yes+t.no+t.abstain), false
		}
	}
	return f
}

// agreed says whether the panel consents to requirement i.
func (s *state) agreed(r *rule, i int) bool {
	t := s.votes[i]
	n := t.yes + t.no + t.abstain
	return !(r.c.Veto && t.veto) &&
		slices.ContainsFunc(r.c.Panels, func(p syllabus.Panel) bool { return p.Size == n && t.yes >= p.Consents })
}

// short calls each with the place of every section or requirement that fell
// short of a rule or of its parts, and whether it may be forgiven.
func (s *state) short(r *rule, each func(r *rule, place int, pardoned bool)) {
	for i := range r.parts {
		s.short(&r.parts[i], each)
	}
	if r.leaf < 0 || s.counts[r.leaf].fell == 0 {
		return
	}
	n := len(s.j.asked)
	if r.c.Kind == syllabus.OnSections {
		n = len(s.j.sections)
	}
	for place, st := range s.states[r.places : r.places+n] {
		if st&fell != 0 {
			each(r, place, st&graver == 0)
		}
	}
}
