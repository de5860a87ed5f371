package timetable

import (
	"cmp"
	"slices"
)

// movable says whether taking the entry out makes sense.
func (s *search) movable(e int) bool {
	return s.at[e] != Waiting && (len(s.q.May[e]) > 1 || s.q.CanWait[e])
}

// takeOut takes an entry out, to be put back.
func (s *search) takeOut(e int) {
	if s.movable(e) {
		s.take(e)
		s.out = append(s.out, e)
	}
}

// takeAll takes everybody out of a sitting who may leave it.
func (s *search) takeAll(w int) {
	s.gather(w)
	for _, e := range s.list {
		s.takeOut(e)
	}
}

// gather lists the entries of a sitting, ascending.
func (s *search) gather(w int) {
	s.list = s.list[:0]
	left := s.size[w]
	for e := 0; left > 0; e++ {
		if s.at[e] == w {
			s.list = append(s.list, e)
			left--
		}
	}
}

// anyOpen picks an open sitting in which somebody stands, or -1.
func (s *search) anyOpen() int {
	n := len(s.size)
	if n == 0 {
		return -1
	}
	from := s.below(n)
	for i := range n {
		if w := (from + i) % n; s.size[w] > 0 {
			return w
		}
	}
	return -1
}

// ruinSome takes out a few families that could change places: one entry, and
// others in sittings where it might stand.
func (s *search) ruinSome() {
	n := len(s.at)
	if n == 0 {
		return
	}
	e := s.below(n)
	s.takeFamily(e)
	more := s.below(4)
	may := s.q.May[e]
	if len(may) == 0 {
		return
	}
	for range more {
		w := may[s.below(len(may))]
		if s.size[w] == 0 {
			continue
		}
		// One of its entries, found from a random place on.
		from := s.below(n)
		for i := range n {
			f := from + i
			if f >= n {
				f -= n
			}
			if s.at[f] == w {
				if s.below(3) == 0 {
					s.takeFamily(f)
				} else {
					s.takeOut(f)
				}
				break
			}
		}
	}
}

func (s *search) takeFamily(e int) {
	for _, f := range s.q.Members[s.q.EntryHousehold[e]] {
		s.takeOut(f)
	}
}

// ruinSitting empties a sitting, and keeps it shut for this step if so asked.
func (s *search) ruinSitting(shut bool) {
	w := s.anyOpen()
	if w < 0 {
		return
	}
	s.takeAll(w)
	if shut {
		s.shutFor = w
	}
}

// ruinTwo empties two sittings that share somebody who might stand in both.
func (s *search) ruinTwo() {
	w := s.anyOpen()
	if w < 0 {
		return
	}
	s.gather(w)
	may := s.q.May[s.list[s.below(len(s.list))]]
	s.takeAll(w)
	if v := may[s.below(len(may))]; s.size[v] > 0 {
		s.takeAll(v)
	}
	if s.below(2) == 0 {
		s.shutFor = w
	}
}

// openOne fills a shut sitting with entries that might stand in it, waiting
// ones first, near one rank, up to a number between its least and its most.
func (s *search) openOne() {
	n := len(s.size)
	if n == 0 {
		return
	}
	w := s.below(n)
	for i := 0; i < n && (s.open(w) || s.q.Problem.Sittings[w].Most == 0); i++ {
		if w++; w == n {
			w = 0
		}
	}
	sit := &s.q.Problem.Sittings[w]
	if s.open(w) || sit.Most == 0 {
		return
	}
	want := max(sit.Least, 1)
	if sit.Most > want {
		want += s.below(sit.Most - want + 1)
	}
	if s.below(2) == 0 { // in exchange for a sitting from which some could come
		if v := s.anyOpen(); v >= 0 {
			s.takeAll(v)
			if s.below(2) == 0 {
				s.shutFor = v
			}
		}
	}
	// Who may stand there and shares a band of ranks with one of them, those who
	// wait before others.
	comers := s.comers[w]
	if len(comers) == 0 {
		return
	}
	seed := comers[s.below(len(comers))]
	for range 3 {
		if s.at[seed] != Waiting {
			seed = comers[s.below(len(comers))]
		}
	}
	low, high := 0, s.nRanks
	if sit.Width > 0 {
		low = s.q.EntryRank[seed] - s.below(sit.Width)
		high = low + sit.Width - 1
	}
	s.list = s.list[:0]
	for i, e := range comers {
		if r := s.q.EntryRank[e]; r < low || r > high || s.at[e] != Waiting && !s.movable(e) {
			continue
		}
		s.list = append(s.list, e)
		s.key[e] = s.comerPrice[w][i] - s.paid[e] + int64(s.below(8))
	}
	slices.SortFunc(s.list, func(a, b int) int { return cmp.Compare(s.key[a], s.key[b]) })
	for _, e := range s.list {
		if want == 0 {
			break
		}
		from := s.at[e]
		if from != Waiting && s.below(3) == 0 || !s.fits(e, w) {
			continue
		}
		s.take(e)
		if !s.put(e, w) {
			if s.size[w] == 0 {
				s.out = append(s.out, e)
				return // no panel
			}
			s.out = append(s.out, e)
			continue
		}
		want--
	}
}

// ruinPanels gives the panels of one session out anew.
func (s *search) ruinPanels() {
	w := s.anyOpen()
	if w < 0 {
		return
	}
	s.list = s.list[:0]
	for _, v := range s.q.Order[s.q.SittingSession[w]] {
		if s.open(v) && s.panel[v] != nil && (v == w || s.below(2) == 0) {
			s.list = append(s.list, v)
		}
	}
	s.shuffle(s.list)
	mark, cost, hard := len(s.log), s.cost, s.hard
	for _, v := range s.list {
		s.setPanel(v, nil)
	}
	for _, v := range s.list {
		if !s.seeToPanel(v) && !s.held(v) {
			s.undo(mark)
			s.cost, s.hard = cost, hard
			return
		}
	}
}

// addWaiting adds some of those who wait to those who are put back.
func (s *search) addWaiting() {
	waiting := 0
	for _, e := range s.waiting {
		if len(s.q.May[e]) > 0 {
			waiting++
		}
	}
	if waiting == 0 {
		return
	}
	for range min(4, len(s.waiting)) {
		e := s.waiting[s.below(len(s.waiting))]
		if !slices.Contains(s.out, e) {
			s.out = append(s.out, e)
		}
	}
}

// putBack puts those who were taken out where it costs least, in one of three
// orders, and passes over a place now and then.
func (s *search) putBack() {
	switch s.below(3) {
	case 0:
		s.shuffle(s.out)
	case 1: // those with the fewest places first
		s.shuffle(s.out)
		slices.SortStableFunc(s.out, func(a, b int) int { return len(s.q.May[a]) - len(s.q.May[b]) })
	default: // household by household, rank by rank
		s.shuffle(s.out)
		slices.SortStableFunc(s.out, func(a, b int) int { return s.q.EntryRank[a] - s.q.EntryRank[b] })
	}
	for _, e := range s.out {
		if s.at[e] == Waiting {
			s.putBest(e)
		}
	}
}

// putBest puts one entry where it costs least, or lets it wait.
func (s *search) putBest(e int) {
	var refused [4]int
	for try := range refused {
		best, bestCost := -1, int64(0)
		if !s.q.CanWait[e] {
			bestCost = hardPrice
		}
		ties := 0
		for i, w := range s.q.May[e] {
			if w == s.shutFor || s.noOpening && !s.open(w) || !s.fits(e, w) || slices.Contains(refused[:try], w) || s.next()&63 == 0 && !s.noOpening {
				continue
			}
			cost, under := s.gain(e, w, s.q.Price[e][i])
			cost += under * s.price
			if best < 0 && cost < bestCost || best >= 0 && cost < bestCost {
				best, bestCost, ties = w, cost, 1
			} else if best >= 0 && cost == bestCost {
				if ties++; s.below(ties) == 0 {
					best = w
				}
			}
		}
		if best < 0 || s.put(e, best) {
			return
		}
		refused[try] = best
	}
}
