package timetable

import (
	"math/bits"
	"slices"

	"rankwright"
)

// rankSet is a set of places in the ladder; MostRanks fit.
type rankSet [2]uint64

func (r *rankSet) add(k int)     { r[k/64] |= 1 << (k % 64) }
func (r *rankSet) remove(k int)  { r[k/64] &^= 1 << (k % 64) }
func (r rankSet) has(k int) bool { return r[k/64]&(1<<(k%64)) != 0 }
func (r rankSet) empty() bool    { return r[0]|r[1] == 0 }
func (r rankSet) lowest() int {
	if r[0] != 0 {
		return bits.TrailingZeros64(r[0])
	}
	return 64 + bits.TrailingZeros64(r[1])
}
func (r rankSet) highest() int {
	if r[1] != 0 {
		return 127 - bits.LeadingZeros64(r[1])
	}
	return 63 - bits.LeadingZeros64(r[0])
}

// state is a plan that is being worked on, with everything kept up to date that
// tells what a step costs. It never holds more than Most, a wrong rank, a
// double use of a mat or an unfit panel; it may hold open sittings below Least,
// which are counted in under, and hard breaches that a start brings along or
// that no plan can avoid, counted in hard.
type state struct {
	q *Prepared
	// Looked up once.
	weight         [AimCount]int64
	day            []int   // of a sitting
	ownOf          [][]int // of a household: whose own it is
	single         []bool  // of a household: its aims within a session are nothing
	sessions, days int
	comers         [][]int   // of a sitting: who may stand in it
	comerPrice     [][]int64 // and what each alone costs there
	pause          int
	start, end     []int
	// The plan.
	at      []int
	paid    []int64 // of an entry: what it alone costs where it is
	size    []int
	ranks   []rankSet
	rankNum []int16 // sitting × ranks
	nRanks  int
	panel   [][]int
	manned  []bool // has its full panel
	opened  []int  // of a session: its open sittings
	load    []int
	loadIn  []int16 // examiner × sessions
	loadOn  []int16 // examiner × days
	sits    [][]int // of an examiner
	waiting []int   // entries that wait, in no order
	waitAt  []int   // of an entry: its place in waiting, or -1
	// What it costs.
	cost  int64
	under int64
	hard  int64
	// What was done since the last keep.
	log []step
}

// step is one thing done: an entry moved from, or a panel replaced.
type step struct {
	entry, from int // entry is -1 for a panel
	sitting     int
	panel       []int
	manned      bool
}

func newState(q *Prepared) *state {
	p := q.Problem
	n, w, x := len(p.Entries), len(p.Sittings), len(p.Examiners)
	s := &state{q: q, sessions: len(p.Sessions), pause: p.Rules.Pause, nRanks: len(p.Ranks)}
	for a := range p.Weights {
		s.weight[a] = int64(p.Weights[a])
	}
	dayNumber := map[rankwright.Day]int{}
	s.day, s.start, s.end = make([]int, w), make([]int, w), make([]int, w)
	for i := range p.Sittings {
		d := p.Sessions[q.SittingSession[i]].Day
		if _, ok := dayNumber[d]; !ok {
			dayNumber[d] = len(dayNumber)
		}
		s.day[i], s.start[i], s.end[i] = dayNumber[d], int(p.Sittings[i].Start), int(p.Sittings[i].End())
	}
	s.days = len(dayNumber)
	s.ownOf = make([][]int, len(p.Households))
	for i, own := range q.Own {
		for _, h := range own {
			s.ownOf[h] = append(s.ownOf[h], i)
		}
	}
	s.single = make([]bool, len(p.Households))
	for h, members := range q.Members {
		s.single[h] = len(members) == 1 && !q.Told[members[0]]
	}
	s.comers, s.comerPrice = make([][]int, w), make([][]int64, w)
	for e, may := range q.May {
		for i, v := range may {
			s.comers[v], s.comerPrice[v] = append(s.comers[v], e), append(s.comerPrice[v], q.Price[e][i])
		}
	}
	s.paid = slices.Clone(q.WaitPrice)
	s.at, s.size, s.ranks = make([]int, n), make([]int, w), make([]rankSet, w)
	s.rankNum = make([]int16, w*s.nRanks)
	s.panel, s.manned, s.opened = make([][]int, w), make([]bool, w), make([]int, s.sessions)
	s.load, s.loadIn, s.loadOn = make([]int, x), make([]int16, x*s.sessions), make([]int16, x*s.days)
	s.sits = make([][]int, x)
	s.waitAt = make([]int, n)
	for e := range s.at {
		s.at[e], s.waitAt[e] = Waiting, e
		s.waiting = append(s.waiting, e)
		if !q.CanWait[e] {
			s.hard++
		}
	}
	for i := range p.Sittings {
		if p.Sittings[i].Hold == Held {
			s.opened[q.SittingSession[i]]++
			s.hard += int64(p.Sittings[i].Panel)
			s.manned[i] = p.Sittings[i].Panel == 0
		}
	}
	s.cost = q.Total(EmptyPlan(p))
	return s
}

func (s *state) held(w int) bool { return s.q.Problem.Sittings[w].Hold == Held }
func (s *state) open(w int) bool { return s.size[w] > 0 || s.held(w) }

// plan copies the state's plan out.
func (s *state) plan() *Plan {
	p := &Plan{At: slices.Clone(s.at), Panels: make([][]int, len(s.panel))}
	for w, x := range s.panel {
		p.Panels[w] = slices.Clone(x)
	}
	return p
}

// shift moves an entry without asking what it costs or whether it may.
func (s *state) shift(e, to int) {
	q := s.q
	r := q.EntryRank[e]
	if from := s.at[e]; from != Waiting {
		s.size[from]--
		i := from*s.nRanks + r
		if s.rankNum[i]--; s.rankNum[i] == 0 {
			s.ranks[from].remove(r)
		}
		if s.size[from] == 0 && !s.held(from) {
			s.opened[q.SittingSession[from]]--
		}
	} else {
		last := s.waiting[len(s.waiting)-1]
		s.waiting[s.waitAt[e]], s.waitAt[last] = last, s.waitAt[e]
		s.waiting = s.waiting[:len(s.waiting)-1]
		s.waitAt[e] = -1
	}
	s.at[e] = to
	s.paid[e] = s.price(e, to)
	if to != Waiting {
		if s.size[to] == 0 && !s.held(to) {
			s.opened[q.SittingSession[to]]++
		}
		s.size[to]++
		i := to*s.nRanks + r
		if s.rankNum[i]++; s.rankNum[i] == 1 {
			s.ranks[to].add(r)
		}
	} else {
		s.waitAt[e] = len(s.waiting)
		s.waiting = append(s.waiting, e)
	}
}

// price is what an entry alone costs in a sitting, and 0 where it may not stand.
func (s *state) price(e, w int) int64 {
	if w == Waiting {
		return s.q.WaitPrice[e]
	}
	if i, ok := slices.BinarySearch(s.q.May[e], w); ok {
		return s.q.Price[e][i]
	}
	return 0
}

// familyCost is what the household's entries cost together.
func (s *state) familyCost(h int) int64 {
	members := s.q.Members[h]
	var cost int64
	sessions := 0
	for _, e := range members {
		if s.q.Told[e] && s.q.Was[e] != Waiting && s.at[e] != s.q.Was[e] {
			cost = s.weight[AimMoved]
		}
	}
	for i, e := range members {
		w := s.at[e]
		if w == Waiting {
			continue
		}
		here := s.q.SittingSession[w]
		earlier := false
		for _, f := range members[:i] {
			if s.at[f] != Waiting && s.q.SittingSession[s.at[f]] == here {
				earlier = true
				break
			}
		}
		if earlier {
			continue
		}
		sessions++
		end, start, apart := s.end[w], s.start[w], int64(0)
		for j := i + 1; j < len(members); j++ {
			v := s.at[members[j]]
			if v == Waiting || s.q.SittingSession[v] != here {
				continue
			}
			end, start = min(end, s.end[v]), max(start, s.start[v])
			fresh := true
			for _, f := range members[i:j] {
				fresh = fresh && s.at[f] != v
			}
			if fresh {
				apart++
			}
		}
		cost += apart * s.weight[AimSeparate]
		if gap := start - end; gap > 0 {
			cost += int64((gap+14)/15) * s.weight[AimWait]
			if gap > s.pause {
				cost += s.weight[AimApart]
			}
		}
	}
	if sessions > 1 {
		cost += int64(sessions-1) * s.weight[AimSplit]
	}
	return cost
}

// uneven is the difference between the fullest and the emptiest open sitting of
// a session, where sitting w counts more by extra and, if opening, is open.
func (s *state) uneven(session, w, extra int) int64 {
	least, most := -1, 0
	for _, v := range s.q.Order[session] {
		n := s.size[v]
		if v == w {
			n += extra
		}
		if n == 0 && !s.held(v) {
			continue
		}
		if least < 0 || n < least {
			least = n
		}
		most = max(most, n)
	}
	if least < 0 {
		return 0
	}
	return int64(most - least)
}

// fits says whether a waiting entry could be put into a sitting that it may
// stand in, leaving the panel aside.
func (s *state) fits(e, w int) bool {
	q := s.q
	sit := &q.Problem.Sittings[w]
	if s.size[w] >= sit.Most {
		return false
	}
	if s.size[w] == 0 {
		if !s.held(w) {
			for _, v := range q.SameMat[w] {
				if s.open(v) {
					return false
				}
			}
		}
		return true
	}
	if r := q.EntryRank[e]; sit.Width > 0 && !s.ranks[w].has(r) {
		if max(r, s.ranks[w].highest())-min(r, s.ranks[w].lowest()) >= sit.Width {
			return false
		}
	}
	return true
}

// gain is what it would cost to put a waiting entry into a sitting, leaving the
// panel aside, and by how much that changes under. price is its own price there.
func (s *state) gain(e, w int, price int64) (cost, under int64) {
	q := s.q
	sit := &q.Problem.Sittings[w]
	cost = price - q.WaitPrice[e]
	session := q.SittingSession[w]
	switch {
	case s.held(w):
	case s.size[w] == 0:
		cost += int64(sit.Cost) * s.weight[AimSitting]
		if s.opened[session] == 0 {
			cost += int64(q.Problem.Sessions[session].Cost) * s.weight[AimSession]
		}
		under = int64(max(sit.Least-1, 0))
	case s.size[w] < sit.Least:
		under = -1
	}
	if s.weight[AimMixed] > 0 && !s.ranks[w].empty() && !s.ranks[w].has(q.EntryRank[e]) {
		cost += s.weight[AimMixed]
	}
	if s.weight[AimUneven] > 0 {
		cost += s.weight[AimUneven] * (s.uneven(session, w, 1) - s.uneven(session, w, 0))
	}
	if h := q.EntryHousehold[e]; !s.single[h] {
		cost -= s.familyCost(h)
		s.at[e] = w
		cost += s.familyCost(h)
		s.at[e] = Waiting
	}
	return cost, under
}

// take makes an entry wait. A sitting that nobody is left in gives its panel back.
func (s *state) take(e int) {
	w := s.at[e]
	if w == Waiting {
		return
	}
	s.log = append(s.log, step{entry: e, from: w})
	price := s.paid[e]
	s.shift(e, Waiting)
	cost, under := s.gain(e, w, price)
	s.cost -= cost
	s.under -= under
	if !s.q.CanWait[e] {
		s.hard++
	}
	if !s.open(w) && s.panel[w] != nil {
		s.setPanel(w, nil)
	}
}

// put places a waiting entry in a sitting that it may stand in and that it
// fits, and sees to the panel. It says no, and has changed nothing, where no
// panel can be found.
func (s *state) put(e, w int) bool {
	mark, cost, under, hard := len(s.log), s.cost, s.under, s.hard
	c, u := s.gain(e, w, s.q.PriceOf(e, w))
	s.cost += c
	s.under += u
	if !s.q.CanWait[e] {
		s.hard--
	}
	s.log = append(s.log, step{entry: e, from: Waiting})
	s.shift(e, w)
	if s.seeToPanel(w) {
		return true
	}
	s.undo(mark)
	s.cost, s.under, s.hard = cost, under, hard
	return false
}

// undo takes back what was done after a mark of the log. The sums are restored
// by the caller.
func (s *state) undo(mark int) {
	for i := len(s.log) - 1; i >= mark; i-- {
		if t := &s.log[i]; t.entry >= 0 {
			s.shift(t.entry, t.from)
		} else {
			s.exchange(t.sitting, t.panel)
			s.manned[t.sitting] = t.manned
		}
	}
	s.log = s.log[:mark]
}
