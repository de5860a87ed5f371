package timetable

import "slices"

// Siblings says what a school wishes for children of one household who stand in
// the same sitting.
type Siblings uint8

const (
	// SiblingsAnyhow leaves it open.
	SiblingsAnyhow Siblings = iota
	// SiblingsTogether wishes them in one squad.
	SiblingsTogether
	// SiblingsApart wishes them in different squads.
	SiblingsApart
)

// Squads splits entries of one sitting into squads of even size: as few squads
// as hold most each, whose sizes differ by one at the most. Among those splits
// it looks for one that first keeps to the wish for siblings and then mixes the
// fewest ranks in a squad; up to about a dozen entries it finds the best there
// is. Squads come in the order of their lowest rank, and each is in the order of
// rank, household and place. most below 1 counts as 1.
func (q *Prepared) Squads(entries []int, most int, wish Siblings) [][]int {
	if len(entries) == 0 {
		return nil
	}
	most = max(most, 1)
	n := (len(entries) + most - 1) / most
	s := &splitter{q: q, wish: wish, entries: slices.Clone(entries), size: make([]int, n)}
	slices.SortFunc(s.entries, func(a, b int) int { return s.before(a, b) })
	for i := range n {
		s.size[i] = len(entries) / n
		if i < len(entries)%n {
			s.size[i]++
		}
	}
	s.first()
	s.swap()
	s.all()
	out := make([][]int, n)
	for i, e := range s.entries {
		out[s.best[i]] = append(out[s.best[i]], e)
	}
	slices.SortStableFunc(out, func(a, b []int) int { return s.before(a[0], b[0]) })
	return out
}

type splitter struct {
	q       *Prepared
	wish    Siblings
	entries []int
	size    []int
	best    []int // of an entry by its place: its squad
	cost    int
	left    int // nodes
}

func (s *splitter) before(a, b int) int {
	if d := s.q.EntryRank[a] - s.q.EntryRank[b]; d != 0 {
		return d
	}
	if d := s.q.EntryHousehold[a] - s.q.EntryHousehold[b]; d != 0 {
		return d
	}
	return a - b
}

// siblingCost is how much dearer a sibling's wish is than a mixed rank.
const siblingCost = 1000

// add is what it costs to add entry i to a squad that holds the entries before
// it that are there according to in.
func (s *splitter) add(i, squad int, in []int) int {
	cost, fresh, some := 0, true, false
	split := false
	for j, there := range in {
		if j == i || there < 0 {
			continue
		}
		e, f := s.entries[i], s.entries[j]
		sibling := s.q.EntryHousehold[e] == s.q.EntryHousehold[f]
		if there != squad {
			split = split || sibling
			continue
		}
		some = true
		fresh = fresh && s.q.EntryRank[e] != s.q.EntryRank[f]
		if sibling && s.wish == SiblingsApart {
			cost += siblingCost
		}
	}
	if some && fresh {
		cost++
	}
	if split && s.wish == SiblingsTogether && !s.hasSibling(i, squad, in) {
		cost += siblingCost
	}
	return cost
}

func (s *splitter) hasSibling(i, squad int, in []int) bool {
	for j, there := range in {
		if j != i && there == squad && s.q.EntryHousehold[s.entries[i]] == s.q.EntryHousehold[s.entries[j]] {
			return true
		}
	}
	return false
}

// total is what a whole split costs.
func (s *splitter) total(in []int) int {
	cost := 0
	part := make([]int, len(in))
	for i := range part {
		part[i] = -1
	}
	for i, squad := range in {
		cost += s.add(i, squad, part)
		part[i] = squad
	}
	return cost
}

// first cuts the list, which is in the order of rank.
func (s *splitter) first() {
	s.best = make([]int, 0, len(s.entries))
	for squad, n := range s.size {
		for range n {
			s.best = append(s.best, squad)
		}
	}
	s.cost = s.total(s.best)
}

// swap exchanges two entries while that helps.
func (s *splitter) swap() {
	left := 4_000_000 / (len(s.entries) * len(s.entries)) // a total looks at each pair
	for again := true; again && s.cost > 0; {
		again = false
		for i := range s.best {
			for j := range i {
				if s.best[i] == s.best[j] {
					continue
				}
				if left--; left < 0 {
					return
				}
				s.best[i], s.best[j] = s.best[j], s.best[i]
				if c := s.total(s.best); c < s.cost {
					s.cost, again = c, true
					continue
				}
				s.best[i], s.best[j] = s.best[j], s.best[i]
			}
		}
	}
}

// all looks through the splits that could be better, a good many of them.
func (s *splitter) all() {
	s.left = 1_600_000 / len(s.entries)
	in := make([]int, len(s.entries))
	for i := range in {
		in[i] = -1
	}
	s.try(0, 0, in, slices.Clone(s.size))
}

func (s *splitter) try(i, cost int, in, room []int) {
	if s.left--; s.left < 0 || cost >= s.cost {
		return
	}
	if i == len(in) {
		s.cost = cost
		copy(s.best, in)
		return
	}
	for squad := range room {
		if room[squad] == 0 {
			continue
		}
		// Squads that are still empty and of one size are alike.
		alike := false
		for k := range squad {
			alike = alike || room[k] == s.size[k] && room[squad] == s.size[squad] && s.size[k] == s.size[squad]
		}
		if alike {
			continue
		}
		c := s.add(i, squad, in)
		in[i] = squad
		room[squad]--
		s.try(i+1, cost+c, in, room)
		room[squad]++
		in[i] = -1
	}
}
