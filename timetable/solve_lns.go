package timetable

import (
	"context"
	"slices"
)

// neighbours names a part of a plan that is solved again while the rest stands
// still (large neighbourhood search: P. Shaw, "Using constraint programming
// and local search methods to solve vehicle routing problems", 1998; with a
// programme as the inner search: E. Danna, E. Rothberg, C. Le Pape,
// "Exploring relaxation induced neighborhoods", 2005).
type neighbours struct {
	sessions []int // everybody in these, and who waits
	low      int   // or everybody of these ranks, in all sessions
	high     int
	everyone bool // or everybody, in sittings whose ranks stand still
}

// free marks the columns that may move.
func (m *model) free(values []int64, n neighbours) []bool {
	free := make([]bool, len(m.Columns))
	still := make([]bool, len(m.Columns)) // has a say below
	session := func(g int) int { return m.q.SittingSession[m.groups[g][0]] }
	for s, c := range m.open {
		still[c] = true
		free[c] = !n.everyone && (n.sessions == nil || slices.Contains(n.sessions, s))
	}
	for g := range m.groups {
		for i, c := range m.count[g] {
			still[c] = true
			switch {
			case n.everyone:
			case n.sessions != nil:
				free[c] = slices.Contains(n.sessions, session(g))
			default:
				win := m.windows[g][i]
				free[c] = win.low <= n.high && n.low <= win.high
			}
		}
	}
	for k := range m.kinds {
		d := &m.kinds[k]
		moves := n.everyone || n.sessions == nil && n.low <= d.rank && d.rank <= n.high
		if n.sessions != nil {
			moves = d.wait >= 0 && values[d.wait] > 0
			for _, c := range d.at {
				moves = moves || values[c.column] > 0 && slices.Contains(n.sessions, session(c.group))
			}
		}
		for _, c := range d.at {
			still[c.column] = true
			free[c.column] = moves && (n.sessions == nil || slices.Contains(n.sessions, session(c.group)))
		}
		if d.wait >= 0 {
			still[d.wait] = true
			free[d.wait] = moves
		}
	}
	for i := range free {
		free[i] = free[i] || !still[i]
	}
	return free
}

// polish improves the values of a model part by part, until the work is used
// up or it has not helped for a while. It gives the work that it took.
func (m *model) polish(ctx context.Context, s Solver, values []int64, dice *chance, work int64, trace func(what neighbours, gain, value, work int64)) (int64, error) {
	var spent int64
	ranks := len(m.q.Problem.Ranks)
	sessions := make([]int, len(m.q.Order))
	for i := range sessions {
		sessions[i] = i
	}
	const each = 20000
	solve := func(n neighbours) (int64, error) {
		c := partOf(&m.Program, values, m.free(values, n))
		if len(c.Columns) == 0 {
			return 0, nil
		}
		gain, w, err := c.improve(ctx, s, &m.Program, values, Limits{Work: min(each, work-spent), Whole: true})
		spent += w
		if trace != nil {
			trace(n, gain, m.Value(values), spent)
		}
		return gain, err
	}
	if _, err := solve(neighbours{everyone: true}); err != nil {
		return spent, err
	}
	size := 2
	for idle := 0; idle < 3*len(sessions) && spent < work && ctx.Err() == nil; {
		var n neighbours
		if dice.below(3) > 0 || ranks < 4 {
			dice.shuffle(sessions)
			n.sessions = slices.Clone(sessions[:min(size, len(sessions))])
			slices.Sort(n.sessions)
		} else {
			span := 3
			n.low = dice.below(max(1, ranks-span+1))
			n.high = n.low + span - 1
		}
		gain, err := solve(n)
		if err != nil {
			return spent, err
		}
		idle++
		if gain > 0 {
			idle = 0
		}
	}
	return spent, nil
}
