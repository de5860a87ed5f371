package decide

import (
	"math/bits"
	"slices"

	"rankwright"
	"rankwright/syllabus"
)

// What the search may leave out: each bound here is never more than what a
// condition really takes, so nothing that could do it is lost.

// missing is at most the points by which a need is missed, and at least the
// smallest amount where it is missed at all.
func missing(n syllabus.Need, x sum) rankwright.Amount {
	if reached(n, x) {
		return 0
	}
	want := min(n.Amount, x.full)
	if n.Kind == syllabus.ShareNeed {
		least := rankwright.Amount(share(n))
		want = x.of/10000*least + x.of%10000*least/10000
	} else if x.of != x.full {
		hi, lo := bits.Mul64(uint64(want), uint64(x.of))
		q, _ := bits.Div64(hi, lo, uint64(x.full)) // want is at most full, so q is at most of
		want = rankwright.Amount(q)
	}
	return max(1, want-x.got)
}

// count returns how few open requirements of a leaf could add so many points.
func (f *search) count(r *rule, place int, points rankwright.Amount) int {
	n := 0
	for _, i := range f.byGain {
		if points <= 0 {
			break
		}
		a := &f.s.j.asked[i]
		mine := place < 0 && a.q.Bonus && r.c.Bonus || (place < 0 || a.section == place) && slices.Contains(a.looks, r.leaf)
		if !f.closed[i] && mine {
			points -= f.top(i).gain
			n++
		}
	}
	if points > 0 {
		return never
	}
	return n
}

// needs is at most the number of requirements that must change for a rule.
func (f *search) needs(r *rule) int {
	s := f.s
	if s.holds(r) {
		return 0
	}
	n := 0
	switch r.c.Kind {
	case syllabus.OnTotal:
		n = f.count(r, -1, missing(r.c.Need, s.total(r)))
	case syllabus.OnSections:
		n, _ = f.sections(r)
	case syllabus.OnRequirements:
		c := &s.counts[r.leaf]
		n = max(c.graver, c.fell-f.allowed(r))
	case syllabus.OnConsents:
		if len(f.candidates(r)) == 0 {
			return never
		}
	case syllabus.OnRuns:
		return never
	case syllabus.OnAll:
		for i := range r.parts {
			n = max(n, f.needs(&r.parts[i]))
		}
	case syllabus.OnAny:
		n = never
		for i := range r.parts {
			n = min(n, f.needs(&r.parts[i]))
		}
	}
	return min(never, max(1, n))
}

// lacks is at most the points that must be added for a rule.
func (f *search) lacks(r *rule) rankwright.Amount {
	if f.s.holds(r) {
		return 0
	}
	points := rankwright.Amount(0)
	switch r.c.Kind {
	case syllabus.OnTotal:
		points = missing(r.c.Need, f.s.total(r))
	case syllabus.OnSections:
		_, points = f.sections(r)
	case syllabus.OnAll:
		for i := range r.parts {
			points = max(points, f.lacks(&r.parts[i]))
		}
	case syllabus.OnAny:
		points = rankwright.MaxAmount
		for i := range r.parts {
			points = min(points, f.lacks(&r.parts[i]))
		}
	}
	return points
}

// allowed is the most that may fall short once whatever was waived is shown
// in full after all.
func (f *search) allowed(r *rule) int {
	seen := f.s.counts[r.leaf].seen
	if r.c.Allow.Percent > 0 {
		if r.c.Kind == syllabus.OnSections {
			seen = len(f.s.j.sections)
		} else {
			seen = len(r.reqs)
		}
	}
	return allowed(r, seen)
}

// sections adds up what the sections that must change take: those not
// forgiven, or as many of the cheapest as are too many.
func (f *search) sections(r *rule) (requirements int, points rankwright.Amount) {
	s := f.s
	var counts []int
	var lacks []rankwright.Amount
	grave, grave2 := 0, rankwright.Amount(0)
	for place := range s.j.sections {
		st := s.states[r.places+place]
		if st&fell == 0 {
			continue
		}
		x := s.sums[r.first+place]
		lack := missing(r.c.Need, x)
		counts, lacks = append(counts, f.count(r, place, lack)), append(lacks, lack)
		if st&graver != 0 {
			if r.c.Allow.HasFloor {
				lack = min(lack, max(1, missing(r.c.Allow.Floor, x)))
			}
			grave, grave2 = grave+f.count(r, place, lack), grave2+lack
		}
	}
	slices.Sort(counts)
	slices.Sort(lacks)
	for k := range max(0, len(counts)-f.allowed(r)) {
		requirements, points = requirements+counts[k], points+lacks[k]
	}
	return max(requirements, grave), max(points, grave2)
}

// candidates lists open requirements of which any set that makes the rule
// hold must change one.
func (f *search) candidates(r *rule) []int {
	s := f.s
	var out []int
	add := func(ok func(i int) bool) {
		for _, i := range f.byGain {
			if !f.closed[i] && ok(i) {
				out = append(out, i)
			}
		}
	}
	looks := func(i int) bool { return slices.Contains(s.j.asked[i].looks, r.leaf) }
	// Whatever was waived and is not looked at yet makes more that may fall
	// short, where a share of those looked at may.
	late := func(i int) bool {
		return r.c.Allow.Percent > 0 && s.waived[i] && looks(i) && (!s.in[i] || r.c.Kind == syllabus.OnRequirements && s.states[r.places+i] == 0)
	}
	switch r.c.Kind {
	case syllabus.OnTotal:
		add(func(i int) bool { return r.c.Bonus && s.j.asked[i].q.Bonus || looks(i) })
	case syllabus.OnSections:
		states := s.states[r.places : r.places+len(s.j.sections)]
		want := func(i int) bool { return states[s.j.asked[i].section]&fell != 0 || late(i) }
		if g := slices.IndexFunc(states, func(st status) bool { return st&graver != 0 }); g >= 0 {
			want = func(i int) bool { return s.j.asked[i].section == g }
		}
		add(func(i int) bool { return looks(i) && want(i) })
	case syllabus.OnRequirements:
		states := s.states[r.places : r.places+len(s.j.asked)]
		want := func(i int) bool { return states[i]&fell != 0 || late(i) }
		if g := slices.IndexFunc(states, func(st status) bool { return st&graver != 0 }); g >= 0 {
			want = func(i int) bool { return i == g }
		}
		add(want)
	case syllabus.OnConsents:
		add(func(i int) bool { return s.j.asked[i].q.Kind == syllabus.Consent && !s.agreed(r, i) })
	case syllabus.OnAll:
		for i := range r.parts {
			if !s.holds(&r.parts[i]) {
				return f.candidates(&r.parts[i])
			}
		}
	case syllabus.OnAny:
		for i := range r.parts {
			for _, k := range f.candidates(&r.parts[i]) {
				out = insert(out, k)
			}
		}
	}
	return out
}
