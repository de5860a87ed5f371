package decide

import (
	"cmp"
	"slices"

	"rankwright"
	"rankwright/scoring"
	"rankwright/syllabus"
)

// never is more requirements than any rank has.
const never = 1 << 20

// option is a better value that a requirement could have come to, and the
// points that count for it.
type option struct {
	value, gain rankwright.Amount
}

type pick struct {
	at int
	option
}

// search looks for the smallest set of better marks.
type search struct {
	s       *state
	options [][]option // by requirement, the smallest step first
	byGain  []int      // requirements with an option, the largest gain first
	closed  []bool     // chosen, or left out in this branch
	grain   rankwright.Amount

	line   int // the result aimed at
	most   bool
	now    []pick
	sum    rankwright.Amount
	best   []pick
	points rankwright.Amount // of best
	work   int

	fewest, least bool
}

func newSearch(s *state) *search {
	n := len(s.j.asked)
	f := &search{s: s, options: make([][]option, n), closed: make([]bool, n)}
	for i := range n {
		f.options[i] = s.options(i)
		for _, o := range f.options[i] {
			f.grain = gcd(f.grain, o.gain)
		}
		if len(f.options[i]) > 0 {
			f.byGain = append(f.byGain, i)
		}
	}
	slices.SortStableFunc(f.byGain, func(a, b int) int { return cmp.Compare(f.top(b).gain, f.top(a).gain) })
	return f
}

func (f *search) top(i int) option { return f.options[i][len(f.options[i])-1] }

func gcd(a, b rankwright.Amount) rankwright.Amount {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// options lists the better values of requirement i that matter: each that a
// mark can have, or, of times and open counts, each at which something that
// is looked at changes.
func (s *state) options(i int) []option {
	a := &s.j.asked[i]
	q := a.q
	var values []rankwright.Amount
	switch {
	case !a.counts && !a.q.Bonus && (q.Kind != syllabus.Consent || !s.in[i]):
		return nil
	case q.Kind == syllabus.Consent:
		t := s.votes[i]
		for n := t.yes + 1; n <= t.yes+t.no+t.abstain; n++ {
			values = append(values, rankwright.Whole(n))
		}
	case q.Kind == syllabus.Tick:
		values = []rankwright.Amount{rankwright.One}
	case q.Kind == syllabus.Leveled:
		for _, l := range q.Scale.Levels {
			values = append(values, rankwright.Whole(l.Value))
		}
	case q.Kind == syllabus.Timed || q.Kind == syllabus.Count:
		values = s.steps(i)
	default:
		for n := range q.Of + 1 {
			values = append(values, rankwright.Whole(n))
		}
	}
	counts := func() rankwright.Amount {
		if q.Bonus {
			return s.points[i]
		}
		return s.worth(i).got
	}
	have, value, in, was := s.have[i], s.value[i], s.in[i] || q.Bonus, counts()
	var out []option
	for _, v := range values {
		if have && !better(q, v, value) {
			continue
		}
		if q.Kind != syllabus.Consent {
			s.set(i, v, true)
		}
		if s.in[i] || in { // what is waived matters where it is shown in full
			out = append(out, option{v, counts() - was})
		}
	}
	if q.Kind != syllabus.Consent {
		s.set(i, value, have)
	}
	slices.SortFunc(out, func(x, y option) int {
		if q.AtMost {
			return cmp.Compare(y.value, x.value)
		}
		return cmp.Compare(x.value, y.value)
	})
	return slices.Compact(out)
}

// steps lists the values of a time or a count at which its credit, its
// expectation or a condition's need is just reached.
func (s *state) steps(i int) []rankwright.Amount {
	q := s.j.asked[i].q
	unit := rankwright.One
	if q.Kind == syllabus.Timed {
		unit = rankwright.One / 1000
	}
	target := q.Expected(s.c.Band)
	var out []rankwright.Amount
	reach := func(a, of rankwright.Amount) { // a/of, to the unit that can be marked
		v := a / of / unit * unit
		if !q.AtMost && v*of < a {
			v += unit
		}
		if scoring.Can(q, v) {
			out = append(out, v)
		}
	}
	reach(target, 1)
	for _, c := range q.Credit {
		reach(target*rankwright.Amount(c.At), 10000)
	}
	for _, l := range s.j.asked[i].looks {
		for _, n := range []syllabus.Need{s.j.leaves[l].c.Need, s.j.leaves[l].c.Allow.Floor} {
			if n.Kind == syllabus.AmountNeed && s.j.leaves[l].c.Kind == syllabus.OnRequirements {
				reach(n.Amount, 1)
			}
		}
	}
	return out
}

// run searches every result that promotes.
func (f *search) run() bool {
	var lines []int
	for i := range f.s.j.results {
		f.line = i
		if f.s.j.results[i].res.Outcome == syllabus.Promoted && f.s.open(i) && f.can() {
			lines = append(lines, i)
		}
	}
	if len(lines) == 0 {
		f.work++
		return false
	}
	f.most = true // only the best value of each: that finds how few it takes
	found, limit := false, 0
	for ; !found && f.work < ChangeWork; limit++ {
		for _, f.line = range lines {
			if found = f.deepen(limit, nil); found {
				break
			}
		}
	}
	if !found {
		f.line = lines[0]
		f.greedy()
		return true
	}
	// With so many requirements: the values that add the least.
	f.fewest, f.most = true, false
	f.points = 0
	for _, p := range f.best {
		f.points += p.gain
	}
	limit--
	for _, f.line = range lines {
		f.deepen(limit, f.better)
	}
	f.least = f.work < ChangeWork
	return true
}

// can says whether the best marks in everything would reach the result.
func (f *search) can() bool {
	var undo []func()
	for _, i := range f.byGain {
		undo = append(undo, f.try(i, f.top(i)))
	}
	ok := f.s.reaches(f.line)
	for _, u := range slices.Backward(undo) {
		u()
	}
	return ok
}

// try sets a value and returns what takes it back.
func (f *search) try(i int, o option) (undo func()) {
	s := f.s
	if s.j.asked[i].q.Kind == syllabus.Consent {
		was := s.votes[i]
		t := &s.votes[i]
		n := t.yes + t.no + t.abstain
		t.yes, t.veto = o.value.Int(), false // the lead's no is the first to turn
		t.abstain = min(t.abstain, n-t.yes)
		t.no = n - t.yes - t.abstain
		return func() { s.votes[i] = was }
	}
	value, have := s.value[i], s.have[i]
	s.set(i, o.value, true)
	return func() { s.set(i, value, have) }
}

// better takes a set down that reaches the result with fewer points.
func (f *search) better() {
	if f.sum < f.points {
		f.best, f.points = slices.Clone(f.now), f.sum
	}
}

// deepen looks at every set of at most limit more requirements that could
// reach the result. With each it goes on to the last and calls each; without,
// it stops at the first, which it leaves in best.
func (f *search) deepen(limit int, each func()) bool {
	if f.work >= ChangeWork {
		return false
	}
	f.work++
	if f.s.reaches(f.line) {
		if each == nil {
			f.best = slices.Clone(f.now)
			return true
		}
		each()
		return false
	}
	var aim *rule
	fewest := never
	for _, w := range f.s.j.results[f.line].when {
		r := &f.s.j.rules[w]
		if f.s.holds(r) {
			continue
		}
		if f.needs(r) > limit || each != nil && f.sum+f.grainUp(f.lacks(r)) >= f.points {
			return false
		}
		if n := len(f.candidates(r)); n < fewest {
			fewest, aim = n, r
		}
	}
	tried := f.candidates(aim)
	found := false
	for _, i := range tried {
		f.closed[i] = true
		options := f.options[i]
		if f.most {
			options = options[len(options)-1:]
		}
		for _, o := range options {
			undo := f.try(i, o)
			f.now, f.sum = append(f.now, pick{i, o}), f.sum+o.gain
			found = f.deepen(limit-1, each)
			f.now, f.sum = f.now[:len(f.now)-1], f.sum-o.gain
			undo()
			if found {
				break
			}
		}
		if found {
			break
		}
	}
	for _, i := range tried {
		f.closed[i] = false
	}
	return found
}

func (f *search) grainUp(a rankwright.Amount) rankwright.Amount {
	if f.grain == 0 {
		return a
	}
	return (a + f.grain - 1) / f.grain * f.grain
}

// greedy finds a set without proof: from the best marks in everything it
// takes back whatever is not needed, the smallest gain first.
func (f *search) greedy() {
	var undo []func()
	f.best = nil
	for _, i := range f.byGain {
		undo = append(undo, f.try(i, f.top(i)))
	}
	for k, i := range slices.Backward(f.byGain) {
		undo[k]()
		for _, o := range f.options[i] {
			if f.s.reaches(f.line) {
				break
			}
			undo[k] = f.try(i, o)
			if f.s.reaches(f.line) || o == f.top(i) {
				f.best = append(f.best, pick{i, o})
				break
			}
			undo[k]()
		}
	}
	for _, p := range f.best {
		undo[slices.Index(f.byGain, p.at)]()
	}
}

// pick returns what was found for requirement i, or nil.
func (f *search) pick(i int) *pick {
	for k := range f.best {
		if f.best[k].at == i {
			return &f.best[k]
		}
	}
	return nil
}
