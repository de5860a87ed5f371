package timetable

import "slices"

// need is the rank that the sitting's panel must be able to examine.
func (s *state) need(w int) int {
	if s.ranks[w].empty() {
		return s.q.PanelRank[w]
	}
	return max(s.q.PanelRank[w], s.ranks[w].highest())
}

// ownChild says whether a child of the examiner's own stands in the sitting.
func (s *state) ownChild(x, w int) bool {
	for _, h := range s.q.Own[x] {
		for _, e := range s.q.Members[h] {
			if s.at[e] == w {
				return true
			}
		}
	}
	return false
}

// fit says whether the examiner may examine everybody in the sitting.
func (s *state) fit(x, w int) bool {
	return s.q.ExaminerRank[x] >= s.need(w) && !s.ownChild(x, w)
}

// idle says whether the examiner has time for the sitting and is within their
// limits with it.
func (s *state) idle(x, w int) bool {
	ex := &s.q.Problem.Examiners[x]
	if ex.MostSession > 0 && int(s.loadIn[x*s.sessions+s.q.SittingSession[w]]) >= ex.MostSession ||
		ex.MostDay > 0 && int(s.loadOn[x*s.days+s.day[w]]) >= ex.MostDay {
		return false
	}
	for _, v := range s.sits[x] {
		if s.day[v] == s.day[w] && s.start[v] < s.end[w] && s.start[w] < s.end[v] {
			return false
		}
	}
	return ex.InARow == 0 || s.row(x, w) <= ex.InARow
}

// row is how many sittings the examiner would have in a row with this one.
func (s *state) row(x, w int) int {
	rest, n := s.q.Problem.Rules.Rest, 1
	for from := s.start[w]; ; n++ {
		next := -1
		for _, v := range s.sits[x] {
			if s.day[v] == s.day[w] && s.end[v] <= from && from-s.end[v] < rest && (next < 0 || s.start[v] > s.start[next]) {
				next = v
			}
		}
		if next < 0 {
			break
		}
		from = s.start[next]
	}
	for until := s.end[w]; ; n++ {
		next := -1
		for _, v := range s.sits[x] {
			if s.day[v] == s.day[w] && s.start[v] >= until && s.start[v]-until < rest && (next < 0 || s.start[v] < s.start[next]) {
				next = v
			}
		}
		if next < 0 {
			break
		}
		until = s.end[next]
	}
	return n
}

// exchange replaces a sitting's panel in the books, without asking the cost.
func (s *state) exchange(w int, panel []int) {
	session, day := s.q.SittingSession[w], s.day[w]
	for _, x := range s.panel[w] {
		s.load[x]--
		s.loadIn[x*s.sessions+session]--
		s.loadOn[x*s.days+day]--
		i := slices.Index(s.sits[x], w)
		s.sits[x] = slices.Delete(s.sits[x], i, i+1)
	}
	s.panel[w] = panel
	for _, x := range panel {
		s.load[x]++
		s.loadIn[x*s.sessions+session]++
		s.loadOn[x*s.days+day]++
		s.sits[x] = append(s.sits[x], w)
	}
}

// setPanel replaces a sitting's panel and keeps the sums. The list is kept, and
// must be in ascending order and not changed later.
func (s *state) setPanel(w int, panel []int) {
	s.log = append(s.log, step{entry: -1, sitting: w, panel: s.panel[w], manned: s.manned[w]})
	was := s.q.WasPanel[w]
	fresh := func(x int) int64 {
		if len(was) > 0 && !slices.Contains(was, x) {
			return s.weight[AimRedrawn]
		}
		return 0
	}
	for _, x := range s.panel[w] {
		s.cost -= s.weight[AimLoad]*int64(s.load[x]-1) + fresh(x)
	}
	seats := s.q.Problem.Sittings[w].Panel
	if s.held(w) {
		s.hard += int64(len(s.panel[w]) - len(panel))
	}
	s.exchange(w, panel)
	// A load of n costs n(n-1)/2; those who left are already at their new load.
	for _, x := range panel {
		s.cost += s.weight[AimLoad]*int64(s.load[x]-1) + fresh(x)
	}
	s.manned[w] = len(panel) == seats
}

// seeToPanel sees that the sitting has its full and fit panel, and exchanges
// those who are not fit. It says no, and may have changed part, where it cannot.
func (s *state) seeToPanel(w int) bool {
	seats := s.q.Problem.Sittings[w].Panel
	if s.manned[w] || seats == 0 {
		unfit := false
		for _, x := range s.panel[w] {
			if !s.fit(x, w) {
				unfit = true
				break
			}
		}
		if !unfit {
			return true
		}
	}
	kept := make([]int, 0, seats)
	for _, x := range s.panel[w] {
		if s.fit(x, w) {
			kept = append(kept, x)
		}
	}
	if len(kept) < len(s.panel[w]) {
		s.setPanel(w, slices.Clone(kept))
	}
	for len(kept) < seats {
		x := s.choose(w, kept)
		if x < 0 {
			return false
		}
		kept = append(kept, x)
		slices.Sort(kept)
		s.setPanel(w, slices.Clone(kept))
	}
	return true
}

// choose finds an examiner for a seat: the cheapest of those who are idle, and
// among equals the one whom fewest other ranks need; else one who becomes idle
// when somebody else takes over one of their sittings. It is -1 for none.
func (s *state) choose(w int, kept []int) int {
	best, bestCost, bestRank := -1, int64(0), 0
	was := s.q.WasPanel[w]
	for _, x := range s.q.CanSit[w] {
		if slices.Contains(kept, x) || !s.fit(x, w) || !s.idle(x, w) {
			continue
		}
		cost := s.weight[AimLoad]*int64(s.load[x])*16 + int64(s.load[x])
		if len(was) > 0 && !slices.Contains(was, x) {
			cost += s.weight[AimRedrawn] * 16
		}
		rank := s.q.ExaminerRank[x]
		if best < 0 || cost < bestCost || cost == bestCost && rank < bestRank {
			best, bestCost, bestRank = x, cost, rank
		}
	}
	if best >= 0 {
		return best
	}
	for _, x := range s.q.CanSit[w] {
		if slices.Contains(kept, x) || !s.fit(x, w) {
			continue
		}
		for _, v := range s.sits[x] {
			if s.day[v] == s.day[w] && v != w && s.relieve(x, v, w) {
				return x
			}
		}
	}
	return -1
}

// relieve lets somebody else take over sitting v from examiner x, if that makes
// x idle for w.
func (s *state) relieve(x, v, w int) bool {
	mark, cost, hard := len(s.log), s.cost, s.hard
	rest := slices.DeleteFunc(slices.Clone(s.panel[v]), func(y int) bool { return y == x })
	s.setPanel(v, rest)
	if s.idle(x, w) {
		for _, y := range s.q.CanSit[v] {
			if y == x || slices.Contains(rest, y) || !s.fit(y, v) || !s.idle(y, v) {
				continue
			}
			full := append(slices.Clone(rest), y)
			slices.Sort(full)
			s.setPanel(v, full)
			if s.idle(x, w) {
				return true
			}
			break
		}
	}
	s.undo(mark)
	s.cost, s.hard = cost, hard
	return false
}
