package timetable

import "slices"

// households makes what a household's entries cost together: further
// sessions, sittings that are not one after the other, waits, moves.
func (m *model) households() {
	q := m.q
	m.uses = make([][]int, len(q.Members))
	for h, members := range q.Members {
		m.uses[h] = slices.Repeat([]int{-1}, len(q.Order))
		if len(members) == 1 {
			m.alone(members[0])
			continue
		}
		var uses []Term
		for s := range q.Order {
			in := map[int][]Term{}
			for _, e := range members {
				if terms := m.in(m.kindOf[e], s); len(terms) > 0 {
					in[e] = terms
				}
			}
			if len(in) == 0 {
				continue
			}
			m.here = s
			u := m.column(0, 0, 1, true, func(v *view) int64 {
				for _, e := range members {
					if w := v.plan.At[e]; w != Waiting && q.SittingSession[w] == s {
						return 1
					}
				}
				return 0
			})
			m.uses[h][s] = u
			uses = append(uses, Term{u, 1})
			m.row(-Endless, 0, Term{u, 1}, Term{m.open[s], -1})
			for _, e := range members {
				if len(in[e]) > 0 {
					m.row(-Endless, 0, append(in[e], Term{u, -1})...)
				}
			}
			m.together(s, members, u)
			m.here = -1
		}
		if len(uses) > 1 && m.weight(AimSplit) > 0 {
			further := m.column(m.weight(AimSplit), 0, int64(len(uses)), false, func(v *view) int64 {
				return max(0, m.sum(v, uses)-1)
			})
			m.row(-Endless, 1, append(uses, Term{further, -1})...)
		}
	}
	m.moves()
}

// sum adds up columns for a plan.
func (m *model) sum(v *view, terms []Term) (sum int64) {
	for _, t := range terms {
		sum += t.Factor * m.worth[t.Column](v)
	}
	return sum
}

// alone ties an entry that comes by itself to its sessions.
func (m *model) alone(e int) {
	k := m.kindOf[e]
	if m.kinds[k].entries[0] != e {
		return // the kind was tied with its first
	}
	n := int64(len(m.kinds[k].entries))
	for s := range m.q.Order {
		if terms := m.in(k, s); len(terms) > 0 {
			m.row(-Endless, 0, append(terms, Term{m.open[s], -n})...)
		}
	}
}

// together prices a household's sittings within one session.
func (m *model) together(s int, members []int, uses int) {
	q := m.q
	var groups []int // that some member may use
	for _, e := range members {
		for _, c := range m.kinds[m.kindOf[e]].at {
			if q.SittingSession[m.groups[c.group][0]] == s && !slices.Contains(groups, c.group) {
				groups = append(groups, c.group)
			}
		}
	}
	if m.detail.merge {
		m.farApart(s, members, uses)
	}
	if len(groups) < 2 {
		return
	}
	slices.Sort(groups)
	if separate := m.weight(AimSeparate); separate > 0 && !m.detail.merge {
		var used []Term
		for _, g := range groups {
			u := m.column(0, 0, 1, false, func(v *view) int64 {
				for _, e := range members {
					if w := v.plan.At[e]; w != Waiting && m.groupOf[w] == g {
						return 1
					}
				}
				return 0
			})
			for _, e := range members {
				if c := m.place(m.kindOf[e], g); c >= 0 {
					m.row(-Endless, 0, Term{c, 1}, Term{u, -1})
				}
			}
			used = append(used, Term{u, 1})
		}
		further := m.column(separate, 0, int64(len(used)), false, func(v *view) int64 { return max(0, m.sum(v, used)-1) })
		m.row(-Endless, 0, append(used, Term{uses, -1}, Term{further, -1})...)
	}
	m.gaps(s, members, groups)
}

// farApart prices, where sittings are merged, that members of ranks too far
// from each other cannot stand in one sitting.
func (m *model) farApart(s int, members []int, uses int) {
	separate := m.weight(AimSeparate)
	width := 0 // the widest of the session's sittings
	for _, w := range m.q.Order[s] {
		sit := &m.q.Problem.Sittings[w]
		if sit.Width == 0 {
			width = len(m.q.Problem.Ranks)
		}
		width = max(width, sit.Width)
	}
	byRank := slices.Clone(members)
	slices.SortStableFunc(byRank, func(a, b int) int { return m.q.EntryRank[a] - m.q.EntryRank[b] })
	var far []int // of which no two can share
	for _, e := range byRank {
		if len(m.in(m.kindOf[e], s)) > 0 && (len(far) == 0 || m.q.EntryRank[e]-m.q.EntryRank[far[len(far)-1]] >= width) {
			far = append(far, e)
		}
	}
	if separate == 0 || len(far) < 2 {
		return
	}
	var here []Term
	for _, e := range far {
		here = append(here, m.in(m.kindOf[e], s)...)
	}
	further := m.column(separate, 0, int64(len(far)), false, func(v *view) int64 { return max(0, m.sum(v, here)-1) })
	m.row(-Endless, 0, append(here, Term{uses, -1}, Term{further, -1})...)
}

// gaps prices the time between a household's earliest and latest sitting of a
// session, step by step: a step is paid if one member is over before some hour
// and another begins so much later.
func (m *model) gaps(s int, members, groups []int) {
	q := m.q
	p := q.Problem
	cost := func(gap int) int64 {
		if gap <= 0 {
			return 0
		}
		c := m.weight(AimWait) * int64((gap+14)/15)
		if gap > p.Rules.Pause {
			c += m.weight(AimApart)
		}
		return c
	}
	if cost(24*60) == 0 {
		return
	}
	// The times of a group's sittings, at their worst for the cost: a merged
	// group ends as late and starts as early as any of its sittings.
	end, start := make([]int, len(groups)), make([]int, len(groups))
	for i, g := range groups {
		start[i] = 24 * 60
		for _, w := range m.groups[g] {
			end[i] = max(end[i], int(p.Sittings[w].End()))
			start[i] = min(start[i], int(p.Sittings[w].Start))
		}
	}
	var steps, ends []int
	for i := range groups {
		for j := range groups {
			if gap := start[j] - end[i]; gap > 0 && cost(gap) > 0 {
				steps = append(steps, gap)
			}
		}
		ends = append(ends, end[i])
	}
	slices.Sort(steps)
	slices.Sort(ends)
	steps, ends = slices.Compact(steps), slices.Compact(ends)
	paid := int64(0)
	for _, step := range steps {
		more := cost(step) - paid
		paid = cost(step)
		if more == 0 {
			continue
		}
		c := m.column(more, 0, 1, false, func(v *view) int64 {
			first, last := 24*60, 0
			for _, e := range members {
				if w := v.plan.At[e]; w != Waiting && q.SittingSession[w] == s {
					i := slices.Index(groups, m.groupOf[w])
					first, last = min(first, end[i]), max(last, start[i])
				}
			}
			return whether(last-first >= step)
		})
		for t, hour := range ends {
			early := func(i int) bool { return end[i] <= hour }
			late := func(i int) bool { return start[i] >= hour+step }
			// The same sittings are late for the next hour: its row says more.
			if t+1 < len(ends) && !slices.ContainsFunc(start, func(at int) bool { return at >= hour+step && at < ends[t+1]+step }) {
				continue
			}
			for _, e := range members {
				for _, o := range members {
					a, b := m.some(e, groups, early), m.some(o, groups, late)
					if e != o && len(a) > 0 && len(b) > 0 {
						m.row(-Endless, 1, append(append(a, b...), Term{c, -1})...)
					}
				}
			}
		}
	}
}

// some lists an entry's columns in those of the groups that pass.
func (m *model) some(e int, groups []int, pass func(i int) bool) (terms []Term) {
	for i, g := range groups {
		if c := m.place(m.kindOf[e], g); c >= 0 && pass(i) {
			terms = append(terms, Term{c, 1})
		}
	}
	return terms
}

// moves prices households that were told a time and get another.
func (m *model) moves() {
	q := m.q
	for _, members := range q.Members {
		var told []int
		for _, e := range members {
			if q.Told[e] && q.Was[e] != Waiting {
				told = append(told, e)
			}
		}
		if len(told) == 0 || m.weight(AimMoved) == 0 {
			continue
		}
		moved := m.column(m.weight(AimMoved), 0, 1, false, func(v *view) int64 {
			for _, e := range told {
				if w := v.plan.At[e]; w == Waiting || m.groupOf[w] != m.groupOf[q.Was[e]] {
					return 1
				}
			}
			return 0
		})
		for _, e := range told {
			row := []Term{{moved, 1}}
			if c := m.place(m.kindOf[e], m.groupOf[q.Was[e]]); c >= 0 {
				row = append(row, Term{c, 1})
			}
			m.row(1, Endless, row...)
		}
	}
}

// evenness prices the difference between the fullest and the emptiest open
// sitting of a session.
func (m *model) evenness() {
	q := m.q
	in := make([][]Term, len(q.Problem.Sittings))
	for k := range m.kinds {
		for _, c := range m.kinds[k].at {
			w := m.groups[c.group][0]
			in[w] = append(in[w], Term{c.column, 1})
		}
	}
	for s, order := range q.Order {
		m.here = s
		room := int64(0)
		for _, w := range order {
			room = max(room, int64(q.Problem.Sittings[w].Most))
		}
		size := func(v *view) (least, most int64) {
			least = room
			any := false
			for _, w := range order {
				if v.open[w] {
					least, most, any = min(least, int64(v.size[w])), max(most, int64(v.size[w])), true
				}
			}
			if !any {
				return 0, 0
			}
			return least, most
		}
		least := m.column(0, 0, room, false, func(v *view) int64 { n, _ := size(v); return n })
		most := m.column(0, 0, room, false, func(v *view) int64 { _, n := size(v); return n })
		apart := m.column(m.weight(AimUneven), 0, room, false, func(v *view) int64 { a, b := size(v); return b - a })
		m.row(0, Endless, Term{apart, 1}, Term{least, 1}, Term{most, -1})
		for _, w := range order {
			m.row(-Endless, 0, append(slices.Clone(in[w]), Term{most, -1})...)
			// least ≤ size + room × (1 − open)
			row := []Term{{least, 1}}
			for _, t := range in[w] {
				row = append(row, Term{t.Column, -1})
			}
			for _, c := range m.count[m.groupOf[w]] {
				row = append(row, Term{c, room})
			}
			m.row(-Endless, room, row...)
		}
	}
	m.here = -1
}
