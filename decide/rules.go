package decide

import (
	"rankwright"
	"rankwright/syllabus"
)

// finding is a condition tested on one entry.
type finding struct {
	met  bool
	got  rankwright.Amount // points, or how many reached it, or votes
	of   rankwright.Amount
	full rankwright.Amount // of before waivers
	fell int               // how many fell short
	most int               // how many may
}

// fellShort is told of each requirement or section (by its place, in the rule
// that looked at it) that fell short, and whether that was forgiven.
type fellShort func(r *rule, place int, forgiven bool)

// test tests a rule; short may be nil.
func (s *state) test(r *rule, short fellShort) finding {
	switch r.c.Kind {
	case syllabus.OnTotal:
		return s.total(r)
	case syllabus.OnSections:
		return s.sections(r, short)
	case syllabus.OnRequirements:
		return s.requirements(r, short)
	case syllabus.OnConsents:
		return s.consents(r)
	case syllabus.OnRuns:
		run := 1
		if b := s.c.Before; b != nil {
			for _, label := range b.Labels {
				if label != r.c.Label {
					break
				}
				run++
			}
		}
		return finding{met: run <= r.c.Most, got: rankwright.Whole(run), of: rankwright.Whole(r.c.Most)}
	}
	met := 0
	for i := range r.parts {
		if s.test(&r.parts[i], short).met {
			met++
		}
	}
	f := finding{got: rankwright.Whole(met), of: rankwright.Whole(len(r.parts))}
	f.met = met == len(r.parts)
	if r.c.Kind == syllabus.OnAny {
		f.met = met > 0
	}
	return f
}

// sum adds up the points of a set: what was earned, what could be, and what
// could be before waivers.
func (s *state) sum(reqs []int, weak bool) (got, of, full rankwright.Amount) {
	for _, i := range reqs {
		if weak && (s.weak == nil || !s.weak[i]) {
			continue
		}
		full += s.j.asked[i].q.Points
		if s.in[i] {
			got += s.points[i]
			of += s.j.asked[i].q.Points
		}
	}
	return got, of, full
}

// bonus returns the bonus points earned, up to the cap.
func (s *state) bonus() rankwright.Amount {
	b := rankwright.Amount(0)
	for i := range s.j.asked {
		if s.j.asked[i].q.Bonus && s.in[i] {
			b += s.points[i]
		}
	}
	return min(b, s.j.rank.BonusCap)
}

func (s *state) total(r *rule) finding {
	got, of, full := s.sum(r.reqs, r.c.Of.Weak)
	if r.c.Bonus {
		got += s.bonus()
	}
	return finding{met: reached(r.c.Need, got, of, full), got: got, of: of, full: full}
}

// reached says whether points meet a need. A number of points asked of the
// full sheet is asked in proportion of what is left of it after waivers; of
// nothing, nothing is asked.
func reached(n syllabus.Need, got, of, full rankwright.Amount) bool {
	if of == 0 {
		return true
	}
	if n.Kind == syllabus.ShareNeed {
		share := n.Share
		if n.HalfUp {
			share -= 50 // 54.5 % rounds half up to 55 %
		}
		return share.Reaches(got, of)
	}
	return rankwright.Proportional(got, of, n.Amount, full)
}

func (s *state) sections(r *rule, short fellShort) finding {
	f := finding{}
	forgivable := true
	for at, reqs := range r.secs {
		if r.c.Of.Weak && (s.sweak == nil || !s.sweak[r.ids[at]]) {
			continue
		}
		got, of, full := s.sum(reqs, false)
		if of == 0 {
			continue
		}
		f.of += rankwright.One
		if reached(r.c.Need, got, of, full) {
			f.got += rankwright.One
			continue
		}
		f.fell++
		pardoned := !r.never[r.ids[at]] && (!r.c.Allow.HasFloor || reached(r.c.Allow.Floor, got, of, full))
		forgivable = forgivable && pardoned
		if short != nil {
			short(r, r.ids[at], pardoned)
		}
	}
	return s.allowed(r, f, forgivable)
}

func (s *state) requirements(r *rule, short fellShort) finding {
	f := finding{}
	forgivable := true
	for _, i := range r.reqs {
		if !s.in[i] || r.c.Of.Weak && (s.weak == nil || !s.weak[i]) {
			continue
		}
		f.of += rankwright.One
		if s.fulfils(r.c.Need, i) {
			f.got += rankwright.One
			continue
		}
		f.fell++
		pardoned := !r.never[i] && (!r.c.Allow.HasFloor || s.fulfils(r.c.Allow.Floor, i))
		forgivable = forgivable && pardoned
		if short != nil {
			short(r, i, pardoned)
		}
	}
	return s.allowed(r, f, forgivable)
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

func (s *state) allowed(r *rule, f finding, forgivable bool) finding {
	f.most = r.c.Allow.UpTo
	if r.c.Allow.Percent > 0 {
		f.most = int(int64(f.of/rankwright.One) * int64(r.c.Allow.Percent) / 10000)
	}
	f.met = f.fell == 0 || forgivable && f.fell <= f.most
	return f
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
		t := s.votes[i]
		n := t.yes + t.no + t.abstain
		ok := false
		for _, p := range r.c.Panels {
			ok = ok || p.Size == n && t.yes >= p.Consents
		}
		if r.c.Veto && t.veto {
			ok = false
		}
		f.met = f.met && ok
		if yes := rankwright.Whole(t.yes); first || yes < f.got {
			f.got, f.of, first = yes, rankwright.Whole(n), false
		}
	}
	return f
}
