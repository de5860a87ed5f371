package timetable

import "slices"

// Verdict says whether there is a plan at all.
type Verdict uint8

const (
	// Unclear is neither found nor disproved.
	Unclear Verdict = iota
	// Possible was shown by a plan.
	Possible
	// Impossible was proven.
	Impossible
)

// Oracle says whether a problem has any plan that keeps all hard limits, those
// of Entry.MustPlace among them.
type Oracle func(q *Prepared) Verdict

// Judge is an Oracle of this package's own. It disproves by a matching of
// entries to sittings (Hall 1935), finds by rounds rounds of the search, and
// settles what is then still open by looking through the plans, nodes of them
// at most. It is deterministic.
func Judge(rounds, nodes int) Oracle {
	return func(q *Prepared) Verdict {
		if short := shortage(q); short != nil {
			return Impossible
		}
		if reach(q, nil, 1, rounds) {
			return Possible
		}
		f := &finder{q: q, s: newState(q), left: nodes}
		return f.find()
	}
}

// shortage is a set of entries that must be placed and for which, taken
// together, the sittings in which they may stand have too little room: nil
// where there is none. It is what can be reached by alternating paths from an
// entry that no largest matching places.
func shortage(q *Prepared) []int {
	at := make([]int, len(q.May))
	in := make([][]int, len(q.CanSit))
	for e := range at {
		at[e] = Waiting
	}
	seen := make([]int, len(in))
	var place func(e, mark int) bool
	place = func(e, mark int) bool {
		for _, w := range q.May[e] {
			if seen[w] == mark || !q.couldExamine(e, w) {
				continue
			}
			seen[w] = mark
			if len(in[w]) < q.Problem.Sittings[w].Most {
				in[w], at[e] = append(in[w], e), w
				return true
			}
			for i, f := range in[w] {
				if place(f, mark) {
					in[w][i], at[e] = e, w
					return true
				}
			}
		}
		return false
	}
	mark := 0
	for e := range q.May {
		if q.CanWait[e] {
			continue
		}
		mark++
		if place(e, mark) {
			continue
		}
		short := []int{e}
		for w := range in {
			if seen[w] == mark {
				short = append(short, in[w]...)
			}
		}
		slices.Sort(short)
		return short
	}
	return nil
}

// couldExamine says whether there are examiners enough who could be the panel
// of the sitting with this entry in it, were there nobody else.
func (q *Prepared) couldExamine(e, w int) bool {
	n := 0
	for _, x := range q.CanSit[w] {
		if q.ExaminerRank[x] >= q.EntryRank[e] {
			if _, own := slices.BinarySearch(q.Own[x], q.EntryHousehold[e]); !own {
				n++
			}
		}
	}
	return n >= q.Problem.Sittings[w].Panel
}

// finder looks through the plans in which everybody is placed who must be,
// until one is found.
type finder struct {
	q    *Prepared
	s    *state
	left int // nodes
	must []int
	like []int // of must: the place before it of an entry just like it, or -1
}

func (f *finder) find() Verdict {
	q := f.q
	for e := range q.May {
		if !q.CanWait[e] {
			f.must = append(f.must, e)
		}
	}
	slices.SortStableFunc(f.must, func(a, b int) int {
		if d := len(q.May[a]) - len(q.May[b]); d != 0 {
			return d
		}
		return slices.Compare(q.May[a], q.May[b])
	})
	owned := map[int]bool{}
	for _, own := range q.Own {
		for _, h := range own {
			owned[h] = true
		}
	}
	f.like = make([]int, len(f.must))
	for i, e := range f.must {
		f.like[i] = -1
		for j := i - 1; j >= 0; j-- {
			o := f.must[j]
			if q.EntryRank[o] == q.EntryRank[e] && slices.Equal(q.May[o], q.May[e]) && !owned[q.EntryHousehold[e]] && !owned[q.EntryHousehold[o]] {
				f.like[i] = j
				break
			}
		}
	}
	if f.place(0) {
		return Possible
	}
	if f.left <= 0 {
		return Unclear
	}
	return Impossible
}

// place places the entries that must be from number i on.
func (f *finder) place(i int) bool {
	if f.left--; f.left <= 0 {
		return false
	}
	if i == len(f.must) {
		return f.fill(0, 0)
	}
	e := f.must[i]
	for _, w := range f.q.May[e] {
		if f.like[i] >= 0 && w < f.s.at[f.must[f.like[i]]] || !f.s.fits(e, w) || !f.q.couldExamine(e, w) {
			continue
		}
		f.s.shift(e, w)
		ok := f.place(i + 1)
		f.s.shift(e, Waiting)
		if ok {
			return true
		}
	}
	return false
}

// fill brings sittings from w on to their least with entries from number from on
// that may wait.
func (f *finder) fill(w, from int) bool {
	if f.left--; f.left <= 0 {
		return false
	}
	s := f.s
	for ; w < len(s.size); w, from = w+1, 0 {
		if sit := &f.q.Problem.Sittings[w]; s.size[w] > 0 && !s.held(w) && s.size[w] < sit.Least {
			break
		}
	}
	if w == len(s.size) {
		return f.man(0)
	}
	for e := from; e < len(s.at); e++ {
		if s.at[e] == Waiting && f.q.mayStand(e, w) && s.fits(e, w) {
			s.shift(e, w)
			ok := f.fill(w, e+1)
			s.shift(e, Waiting)
			if ok {
				return true
			}
		}
	}
	return false
}

// man gives sittings from w on their panels.
func (f *finder) man(w int) bool {
	for ; w < len(f.s.size) && !f.s.open(w); w++ {
	}
	if w == len(f.s.size) {
		return true
	}
	return f.seat(w, 0, nil)
}

func (f *finder) seat(w, from int, panel []int) bool {
	if f.left--; f.left <= 0 {
		return false
	}
	if len(panel) == f.q.Problem.Sittings[w].Panel {
		f.s.exchange(w, panel)
		ok := f.man(w + 1)
		f.s.exchange(w, nil)
		return ok
	}
	can := f.q.CanSit[w]
	for i := from; i < len(can); i++ {
		if f.s.fit(can[i], w) && f.s.idle(can[i], w) && f.seat(w, i+1, append(slices.Clone(panel), can[i])) {
			return true
		}
	}
	return false
}
