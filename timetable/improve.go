package timetable

import "slices"

// The search takes a part of the plan out and puts it back otherwise (ruin and
// recreate: Schrimpf, Schneider, Stamm-Wilbrandt and Dueck 2000; that places
// are sometimes passed over: Christiaens and Vanden Berghe 2020), and keeps what
// came out where it is not dearer than before by more than a threshold that
// falls to nothing (Dueck and Scheuer 1990). On the way a sitting may stay below
// its least for a price that follows how often that happens; only plans that
// keep every limit are kept as the best.

// search is one run of it.
type search struct {
	*state
	chance
	price     int64 // of one entry missing to a sitting's least
	shutFor   int   // a sitting not to be used in this step, or -1
	noOpening bool
	out       []int // entries to put back
	list      []int
	key       []int64 // of an entry, for sorting
	best      *Plan
	bestCost  int64
	bestHard  int64
}

// hardPrice is more than any plan costs.
const hardPrice = int64(1) << 50

// Improve searches from a plan for a cheaper one. start may be nil. It works
// rounds rounds, or fewer where stop, asked every 64 rounds, says so (nil never
// does). The same arguments give the same plan.
//
// The result is never dearer than a start that keeps all limits; of another
// start, what keeps them is taken over. It breaks a hard limit only where no way
// was found to keep it: an entry that must be placed or is locked waits, its
// sitting stays below its least, a sitting that is held has no full panel.
// Verify tells.
func Improve(q *Prepared, start *Plan, seed uint64, rounds int, stop func() bool) *Plan {
	plan, _ := improve(q, start, seed, rounds, stop)
	return plan
}

// improve is Improve, and says how many hard breaches are left.
func improve(q *Prepared, start *Plan, seed uint64, rounds int, stop func() bool) (*Plan, int64) {
	s := newSearch(q, seed)
	s.begin(start)
	s.settle()
	s.keep()
	heat := s.heat()
	calm := 0
	for i := range rounds {
		if stop != nil && i%64 == 0 && stop() {
			break
		}
		s.round(heat * int64(rounds-i) / int64(rounds))
		s.keep()
		if s.under == 0 {
			calm++
		}
		if i%128 == 127 {
			// Between a third and two thirds of the time every sitting shall have its least.
			if calm < 42 {
				s.price = min(s.price+s.price/4+1, max(4*s.weight[AimPlaced], 1000))
			} else if calm > 84 {
				s.price = max(s.price-s.price/5, 2)
			}
			calm = 0
		}
		if i%4096 == 4095 {
			s.settle()
		}
	}
	s.settle()
	return s.best, s.bestHard
}

func newSearch(q *Prepared, seed uint64) *search {
	s := &search{state: newState(q), key: make([]int64, len(q.May)), chance: chance{seed}, shutFor: -1}
	s.price = max(s.weight[AimPlaced]/8, 4)
	return s
}

// reach looks for any plan that keeps all limits, from a start if there is one.
func reach(q *Prepared, start *Plan, seed uint64, rounds int) bool {
	s := newSearch(q, seed)
	s.begin(start)
	s.settle()
	s.keep()
	heat := s.heat()
	for i := 0; i < rounds && s.bestHard > 0; i++ {
		s.round(heat)
		s.keep()
		if i%64 == 63 {
			s.settle()
		}
	}
	return s.bestHard == 0
}

// heat is the first threshold: three times what a sitting costs to open, found
// by trial on the problems of testdata/placing with their bands free.
func (s *search) heat() int64 {
	p := s.q.Problem
	var sum int64
	for i := range p.Sittings {
		sum += int64(p.Sittings[i].Cost) * s.weight[AimSitting]
	}
	if n := int64(len(p.Sittings)); n > 0 {
		sum /= n
	}
	return max(sum*3, s.weight[AimPlaced]/20, 4)
}

func (s *search) score() int64 { return s.cost + s.price*s.under + hardPrice*s.hard }

// begin puts a start into the state as far as it keeps the limits, and without
// one a first plan.
func (s *search) begin(start *Plan) {
	if start == nil {
		s.manHeld()
		s.out = append(s.out[:0], s.waiting...)
		s.shuffle(s.out)
		s.putBack()
		s.log = s.log[:0]
		return
	}
	will := make([]bool, len(s.size))
	for _, w := range start.At {
		if w != Waiting {
			will[w] = true
		}
	}
	for w, panel := range start.Panels {
		if !will[w] && !s.held(w) {
			continue
		}
		var fit []int
		for _, x := range panel {
			if slices.Contains(s.q.CanSit[w], x) && len(fit) < s.q.Problem.Sittings[w].Panel && !slices.Contains(fit, x) && s.idle(x, w) {
				fit = append(fit, x)
				slices.Sort(fit)
				s.setPanel(w, slices.Clone(fit))
			}
		}
	}
	// Entries that can stand nowhere else go first.
	for _, late := range []bool{false, true} {
		for e, w := range start.At {
			if w != Waiting && (len(s.q.May[e]) > 1) == late && s.q.mayStand(e, w) && s.fits(e, w) {
				s.put(e, w)
			}
		}
	}
	for w := range s.size { // panels of sittings to which nobody could come
		if !s.open(w) && s.panel[w] != nil {
			s.setPanel(w, nil)
		}
	}
	s.manHeld()
	s.log = s.log[:0]
}

func (s *search) manHeld() {
	for w := range s.size {
		if s.held(w) {
			s.seeToPanel(w)
		}
	}
}

// keep remembers the plan where it is the best so far: with the fewest hard
// breaches, among which an unfilled sitting counts, and of those the cheapest.
func (s *search) keep() {
	bad := s.hard + s.under
	if s.best != nil && (bad > s.bestHard || bad == s.bestHard && s.cost >= s.bestCost) {
		return
	}
	s.bestCost, s.bestHard = s.cost, bad
	if s.best == nil {
		s.best = s.plan()
		return
	}
	copy(s.best.At, s.at)
	for w, panel := range s.panel {
		s.best.Panels[w] = append(s.best.Panels[w][:0], panel...)
		if len(panel) == 0 {
			s.best.Panels[w] = nil
		}
	}
}

// settle dissolves, in a copy of the present plan that is taken back at the
// end, the sittings below their least, and keeps the outcome where it is best.
func (s *search) settle() {
	price := s.price
	s.price = hardPrice >> 20
	s.log = s.log[:0]
	cost, under, hard := s.cost, s.under, s.hard
	s.noOpening = true
	for w := range s.q.Problem.Sittings {
		if sit := &s.q.Problem.Sittings[w]; !s.held(w) && s.size[w] > 0 && s.size[w] < sit.Least {
			s.out = s.out[:0]
			s.takeAll(w)
			s.shutFor = w
			s.putBack()
		}
	}
	for w := range s.q.Problem.Sittings { // what still could not
		if sit := &s.q.Problem.Sittings[w]; !s.held(w) && s.size[w] > 0 && s.size[w] < sit.Least {
			s.takeAll(w)
		}
	}
	s.shutFor, s.noOpening, s.price = -1, false, price
	s.keep()
	s.undo(0)
	s.cost, s.under, s.hard = cost, under, hard
}

// round does one step and takes it back where it came out too dear.
func (s *search) round(threshold int64) {
	s.log = s.log[:0]
	before := s.score()
	cost, under, hard := s.cost, s.under, s.hard
	s.out = s.out[:0]
	switch k := s.below(100); {
	case k < 52:
		s.ruinSome()
	case k < 60:
		s.ruinSitting(true)
	case k < 67:
		s.ruinSitting(false)
	case k < 90:
		s.openOne()
	case k < 95:
		s.ruinPanels()
	default:
		s.ruinTwo()
	}
	s.addWaiting()
	s.putBack()
	s.shutFor = -1
	if threshold > 0 {
		threshold = threshold * int64(s.below(1024)) / 1024
	}
	if s.score() > before+threshold {
		s.undo(0)
		s.cost, s.under, s.hard = cost, under, hard
	}
}
