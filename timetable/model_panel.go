package timetable

import "slices"

// panels names the examiners of each open sitting. Every group is a single
// sitting here.
func (m *model) panels() {
	q := m.q
	p := q.Problem
	m.panel = make([][]int, len(p.Sittings))
	of := make([][]Term, len(p.Examiners)) // an examiner's sittings
	for w := range p.Sittings {
		g := m.groupOf[w]
		m.here = q.SittingSession[w]
		row := []Term{}
		for _, x := range q.CanSit[w] {
			cost := int64(0)
			if len(q.WasPanel[w]) > 0 && !slices.Contains(q.WasPanel[w], x) {
				cost = m.weight(AimRedrawn)
			}
			c := m.column(cost, 0, 1, true, func(v *view) int64 {
				return whether(slices.Contains(v.plan.Panels[w], x))
			})
			m.panel[w] = append(m.panel[w], c)
			of[x] = append(of[x], Term{c, 1})
			row = append(row, Term{c, 1})
			m.qualified(w, x, c)
			for _, h := range q.Own[x] {
				for _, e := range q.Members[h] {
					if at := m.place(m.kindOf[e], g); at >= 0 {
						m.row(-Endless, 1, Term{c, 1}, Term{at, 1})
					}
				}
			}
		}
		for _, c := range m.count[g] {
			row = append(row, Term{c, -int64(p.Sittings[w].Panel)})
		}
		m.row(0, 0, row...)
	}
	m.here = -1
	for x := range p.Examiners {
		m.load(x, of[x])
	}
	m.timesOfExaminers()
	m.rests()
}

// rests gives examiners a rest after so many sittings in a row: of every run
// of one more, one is not theirs. Sittings at the same time are one link.
func (m *model) rests() {
	q := m.q
	p := q.Problem
	type hour struct {
		day        int
		start, end Minute
	}
	at := map[hour][]int{}
	var hours []hour
	for s := range q.Order {
		for _, w := range q.Order[s] {
			h := hour{int(p.Sessions[s].Day), p.Sittings[w].Start, p.Sittings[w].End()}
			if at[h] == nil {
				hours = append(hours, h)
			}
			at[h] = append(at[h], w)
		}
	}
	for x := range p.Examiners {
		most := p.Examiners[x].InARow
		if most == 0 {
			continue
		}
		var run []hour
		var grow func()
		runs := 0
		grow = func() {
			// Where there are too many to say, a plan is checked in the end.
			if runs++; runs > 2000 {
				return
			}
			if len(run) == most+1 {
				var row []Term
				for _, h := range run {
					for _, w := range at[h] {
						if i, ok := slices.BinarySearch(q.CanSit[w], x); ok {
							row = append(row, Term{m.panel[w][i], 1})
						}
					}
				}
				if len(row) > most {
					m.row(-Endless, int64(most), row...)
				}
				return
			}
			last := run[len(run)-1]
			for _, h := range hours {
				if h.day == last.day && h.start >= last.end && int(h.start-last.end) < p.Rules.Rest {
					run = append(run, h)
					grow()
					run = run[:len(run)-1]
				}
			}
		}
		for _, h := range hours {
			run = append(run[:0], h)
			grow()
		}
	}
}

// qualified keeps examiner x out of a sitting with ranks above theirs.
func (m *model) qualified(w, x, c int) {
	g, rank := m.groupOf[w], m.q.ExaminerRank[x]
	row := []Term{{c, 1}}
	for i, win := range m.windows[g] {
		if m.asks(w, win) <= rank {
			row = append(row, Term{m.count[g][i], -1})
		}
	}
	m.row(-Endless, 0, row...)
	if m.q.Problem.Sittings[w].Hold != Held {
		return
	}
	// A sitting that is held asks nothing of itself; whoever comes does.
	for k := range m.kinds {
		if at := m.place(k, g); at >= 0 && m.kinds[k].rank > rank {
			m.row(-Endless, 1, Term{c, 1}, Term{at, 1})
		}
	}
}

// load limits and prices how often an examiner sits.
func (m *model) load(x int, sits []Term) {
	q := m.q
	p := q.Problem
	ex := &p.Examiners[x]
	bySession := make([][]Term, len(p.Sessions))
	byDay := map[int][]Term{}
	var days []int
	i := 0
	for w := range p.Sittings {
		for j, y := range q.CanSit[w] {
			if y != x {
				continue
			}
			t := Term{m.panel[w][j], 1}
			s := q.SittingSession[w]
			d := int(p.Sessions[s].Day)
			bySession[s] = append(bySession[s], t)
			if byDay[d] == nil {
				days = append(days, d)
			}
			byDay[d] = append(byDay[d], t)
			i++
		}
	}
	if ex.MostSession > 0 {
		for _, terms := range bySession {
			if len(terms) > ex.MostSession {
				m.row(-Endless, int64(ex.MostSession), terms...)
			}
		}
	}
	if ex.MostDay > 0 {
		for _, d := range days {
			if len(byDay[d]) > ex.MostDay {
				m.row(-Endless, int64(ex.MostDay), byDay[d]...)
			}
		}
	}
	if m.weight(AimLoad) > 0 {
		row := slices.Clone(sits)
		for n := range sits {
			// The further sitting number n costs n: dearer ones come later.
			c := m.column(m.weight(AimLoad)*int64(n), 0, 1, false, func(v *view) int64 {
				return whether(m.sum(v, sits) > int64(n))
			})
			row = append(row, Term{c, -1})
		}
		if len(sits) > 0 {
			m.row(0, 0, row...)
		}
	}
}

// timesOfExaminers lets nobody sit in two places at once.
func (m *model) timesOfExaminers() {
	q := m.q
	at := func(w, x int) int {
		i, ok := slices.BinarySearch(q.CanSit[w], x)
		if !ok {
			return -1
		}
		return m.panel[w][i]
	}
	for x := range q.Problem.Examiners {
		for w := range q.Problem.Sittings {
			// All that run when w starts: every clash shows at the later start.
			c := at(w, x)
			if c < 0 {
				continue
			}
			row := []Term{{c, 1}}
			start := q.Problem.Sittings[w].Start
			for _, v := range q.Clash[w] {
				s := &q.Problem.Sittings[v]
				if d := at(v, x); d >= 0 && s.Start <= start && s.End() > start && (s.Start < start || v > w) {
					row = append(row, Term{d, 1})
				}
			}
			if len(row) > 1 {
				m.row(-Endless, 1, row...)
			}
		}
	}
}

// enough asks only whether there are enough examiners who can judge the ranks:
// for every rank, over each session and hour by hour.
func (m *model) enough() {
	q := m.q
	p := q.Problem
	var load []Term
	for s, order := range q.Order {
		least := 0 // the smallest panel
		for _, w := range order {
			if n := p.Sittings[w].Panel; n > 0 && (least == 0 || n < least) {
				least = n
			}
		}
		for rank := range p.Ranks {
			var seats, open []Term
			for g, group := range m.groups {
				if q.SittingSession[group[0]] != s {
					continue
				}
				panel := p.Sittings[group[0]].Panel
				for i, win := range m.windows[g] {
					if m.asks(group[0], win) >= rank && panel > 0 {
						seats = append(seats, Term{m.count[g][i], int64(panel)})
						open = append(open, Term{m.count[g][i], 1})
					}
				}
			}
			if rank == 0 {
				load = append(load, seats...)
			}
			if len(seats) == 0 {
				continue
			}
			if room := m.seatsIn(s, rank); room < m.demand(seats) {
				m.row(-Endless, room, seats...)
			}
			if room := m.panelsIn(s, rank, least); room < m.demand(open) {
				m.row(-Endless, room, open...)
			}
		}
	}
	if w := m.weight(AimLoad); w > 0 && len(load) > 0 {
		row := slices.Clone(load)
		total := m.demand(load)
		n := int64(len(p.Examiners))
		for i := int64(0); i*n < total; i++ {
			c := m.column(w*i, 0, n, false, func(v *view) int64 {
				return min(n, max(0, m.sum(v, load)-i*n))
			})
			row = append(row, Term{c, -1})
		}
		m.row(0, 0, row...)
	}
}

// rivals keeps two children apart whose people, taken together, leave too few
// examiners for a sitting with both: in a group of sittings there must be two
// open ones for them. In a single sitting both cannot stand.
func (m *model) rivals() {
	q := m.q
	owners := make([][]int, len(q.Members))
	var children []int
	for x := range q.Own {
		for _, h := range q.Own[x] {
			if len(owners[h]) == 0 {
				children = append(children, q.Members[h]...)
			}
			owners[h] = append(owners[h], x)
		}
	}
	together := func(e, f, w int) bool {
		n := 0
		for _, x := range q.CanSit[w] {
			if q.ExaminerRank[x] >= max(q.EntryRank[e], q.EntryRank[f]) &&
				!slices.Contains(owners[q.EntryHousehold[e]], x) && !slices.Contains(owners[q.EntryHousehold[f]], x) {
				n++
			}
		}
		return n >= q.Problem.Sittings[w].Panel
	}
	for i, e := range children {
		for _, f := range children[:i] {
			if q.EntryHousehold[e] == q.EntryHousehold[f] {
				continue
			}
			for g, group := range m.groups {
				a, b := m.place(m.kindOf[e], g), m.place(m.kindOf[f], g)
				if a < 0 || b < 0 || slices.ContainsFunc(group, func(w int) bool { return together(e, f, w) }) {
					continue
				}
				row := []Term{{a, 1}, {b, 1}}
				for j, win := range m.windows[g] {
					if win.low <= q.EntryRank[e] && q.EntryRank[e] <= win.high || win.low <= q.EntryRank[f] && q.EntryRank[f] <= win.high {
						row = append(row, Term{m.count[g][j], -1})
					}
				}
				m.row(-Endless, 0, row...)
			}
		}
	}
}

// seatsIn is how many places on panels those who can examine the rank can
// take in a session.
func (m *model) seatsIn(s, rank int) (room int64) {
	q := m.q
	var able []int
	for _, w := range q.Order[s] {
		for _, x := range q.CanSit[w] {
			if q.ExaminerRank[x] >= rank && !slices.Contains(able, x) {
				able = append(able, x)
				room += int64(m.mostIn(x, q.Order[s]))
			}
		}
	}
	return room
}

// panelsIn is how many panels of at least so many they can be in a session,
// where its sittings run at hours that do not overlap; else all of them.
func (m *model) panelsIn(s, rank, panel int) (n int64) {
	q := m.q
	p := q.Problem
	order := q.Order[s]
	for i := 0; i < len(order); {
		hour := &p.Sittings[order[i]]
		var able []int
		j := i
		for ; j < len(order) && p.Sittings[order[j]].Start < hour.End(); j++ {
			if v := &p.Sittings[order[j]]; v.Start != hour.Start || v.End() != hour.End() {
				return int64(len(order))
			}
			for _, x := range q.CanSit[order[j]] {
				if q.ExaminerRank[x] >= rank && !slices.Contains(able, x) {
					able = append(able, x)
				}
			}
		}
		n += int64(min(j-i, len(able)/max(panel, 1)))
		i = j
	}
	return n
}

// demand is the largest sum that the terms can reach.
func (m *model) demand(terms []Term) (sum int64) {
	for _, t := range terms {
		sum += t.Factor * m.Columns[t.Column].Upper
	}
	return sum
}

// mostIn bounds how many of a session's sittings one examiner can take.
func (m *model) mostIn(x int, order []int) int {
	q := m.q
	// The most sittings one after the other: take whichever ends first.
	var can []int
	for _, w := range order {
		if _, ok := slices.BinarySearch(q.CanSit[w], x); ok {
			can = append(can, w)
		}
	}
	slices.SortStableFunc(can, func(a, b int) int { return int(q.Problem.Sittings[a].End() - q.Problem.Sittings[b].End()) })
	n, free := 0, Minute(-1)
	for _, w := range can {
		if s := &q.Problem.Sittings[w]; s.Start >= free {
			n, free = n+1, s.End()
		}
	}
	if most := q.Problem.Examiners[x].MostSession; most > 0 {
		n = min(n, most)
	}
	return n
}
