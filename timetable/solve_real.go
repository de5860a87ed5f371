package timetable

import (
	"cmp"
	"context"
	"maps"
	"math"
	"slices"
)

// realise turns the values of a model with merged sittings into a plan: which
// sitting of a group gets which ranks, who stands in which, and before whom.
// Each session is a small programme of its own, with the ranks put to the hours
// in several orders; then whole sittings change their hours as long as that
// helps. It gives nil where no way was found.
func (m *model) realise(ctx context.Context, s Solver, full *model, merged []int64, work int64) (*Plan, int64, error) {
	q := m.q
	at := m.deal(merged)
	whole := full.start(EmptyPlan(q.Problem))
	spent := int64(0)
	for session := range q.Order {
		best := int64(math.MaxInt64)
		var keep []int64
		try := func(hours map[int]window) error {
			values := slices.Clone(whole)
			free := full.freeIn(session, at, m)
			full.stay(session, hours, values, free)
			c := partOf(&full.Program, values, free)
			c.Start = nil
			sol, err := s.Solve(ctx, c.Program, Limits{Work: work, Whole: true})
			spent += sol.Work
			if err != nil || sol.Values == nil {
				return err
			}
			for j, i := range c.column {
				values[i] = int64(math.Round(sol.Values[j]))
			}
			if v := full.Value(values); v < best {
				best, keep = v, values
			}
			return nil
		}
		for order := range orders {
			if err := try(m.hours(session, merged, order)); err != nil || ctx.Err() != nil {
				return nil, spent, err
			}
		}
		for keep != nil {
			// Change the hours of sittings as they are, then who stands in which.
			was := best
			hours, changed := full.swapHours(session, keep)
			if !changed {
				break
			}
			if err := try(hours); err != nil || ctx.Err() != nil {
				return nil, spent, err
			}
			if best >= was {
				break
			}
		}
		if keep != nil {
			whole = keep
		}
	}
	plan := full.plan(whole)
	if plan == nil || len(Verify(q.Problem, plan)) > 0 {
		return nil, spent, nil
	}
	return plan, spent, nil
}

// deal says for each entry which group it stands in, or Waiting.
func (m *model) deal(values []int64) []int {
	at := slices.Repeat([]int{Waiting}, len(m.kindOf))
	for k := range m.kinds {
		left := m.kinds[k].entries
		for _, c := range m.kinds[k].at {
			n := min(int(values[c.column]), len(left))
			for _, e := range left[:n] {
				at[e] = c.group
			}
			left = left[n:]
		}
	}
	return at
}

// orders is in how many ways hours puts ranks in the order of the hours.
const orders = 3

// hours gives the sittings of a session that are to be open their ranks, in
// each group: the lowest first; or in turn the lowest and the highest left, so
// that mats side by side ask for different examiners; or the lower half beside
// the higher.
func (m *model) hours(session int, values []int64, order int) map[int]window {
	out := map[int]window{}
	for g, group := range m.groups {
		if m.q.SittingSession[group[0]] != session {
			continue
		}
		var wins []window
		for i, c := range m.count[g] {
			for range values[c] {
				wins = append(wins, m.windows[g][i])
			}
		}
		wins = wins[:min(len(wins), len(group))]
		slices.SortStableFunc(wins, func(a, b window) int { return cmp.Compare(a.low+a.high, b.low+b.high) })
		half := (len(wins) + 1) / 2
		for i := range wins {
			from := i
			switch {
			case order == 1 && i%2 == 0:
				from = i / 2
			case order == 1:
				from = len(wins) - 1 - i/2
			case order == 2 && i%2 == 0:
				from = i / 2
			case order == 2:
				from = half + i/2
			}
			out[group[i]] = wins[from]
		}
	}
	return out
}

// swapHours exchanges the hours of sittings of a session, with all who stand
// in them, as long as families and little ones gain by it and each hour has
// enough examiners for the ranks that it then holds.
func (m *model) swapHours(session int, values []int64) (hours map[int]window, changed bool) {
	q := m.q
	order := q.Order[session]
	plan := m.plan(values)
	hours = map[int]window{}
	if len(order) < 2 {
		return hours, false
	}
	for _, w := range order {
		for i, c := range m.count[m.groupOf[w]] {
			if values[c] > 0 {
				hours[w] = m.windows[m.groupOf[w]][i]
			}
		}
	}
	var families []int // that are here
	for h, members := range q.Members {
		if slices.ContainsFunc(members, func(e int) bool { return plan.At[e] != Waiting && q.SittingSession[plan.At[e]] == session }) {
			families = append(families, h)
		}
	}
	cost := func() (sum int64) {
		var in []int
		for _, h := range families {
			in = in[:0]
			for _, e := range q.Members[h] {
				w := plan.At[e]
				if w == Waiting || q.SittingSession[w] != session {
					continue
				}
				if !q.MayStand(e, w) {
					return math.MaxInt64
				}
				sum += q.PriceOf(e, w)
				in = append(in, w)
			}
			if len(in) > 1 {
				apart, separate, wait := q.FamilyUnits(in)
				sum += apart*m.weight(AimApart) + separate*m.weight(AimSeparate) + wait*m.weight(AimWait)
			}
		}
		return sum
	}
	swap := func(w, v int) {
		for e, at := range plan.At {
			switch at {
			case w:
				plan.At[e] = v
			case v:
				plan.At[e] = w
			}
		}
		a, hasA := hours[w]
		b, hasB := hours[v]
		delete(hours, w)
		delete(hours, v)
		if hasA {
			hours[v] = a
		}
		if hasB {
			hours[w] = b
		}
	}
	alike := func(w, v int) bool {
		a, b := &q.Problem.Sittings[w], &q.Problem.Sittings[v]
		return a.Start != b.Start && a.Least == b.Least && a.Most == b.Most && a.Panel == b.Panel && a.Hold == b.Hold &&
			a.Cost == b.Cost && a.Width == b.Width && slices.Equal(q.RankAllowed[w], q.RankAllowed[v])
	}
	// Down to where no exchange of two helps, then some by chance, and down
	// again (iterated local search).
	best := cost()
	bestHours, bestAt := maps.Clone(hours), slices.Clone(plan.At)
	dice := &chance{state: uint64(session)}
	for range 24 {
		now := cost()
		if !m.manned(order, hours) {
			now = math.MaxInt64
		}
		for again := true; again; {
			again = false
			for i, w := range order {
				for _, v := range order[:i] {
					if !alike(w, v) {
						continue
					}
					swap(w, v)
					if c := cost(); c < now && m.manned(order, hours) {
						now, again = c, true
					} else {
						swap(w, v)
					}
				}
			}
		}
		if now < best {
			best, changed = now, true
			bestHours, bestAt = maps.Clone(hours), slices.Clone(plan.At)
		}
		hours = maps.Clone(bestHours)
		copy(plan.At, bestAt)
		for range 3 {
			if w, v := order[dice.below(len(order))], order[dice.below(len(order))]; w != v && alike(w, v) {
				swap(w, v)
			}
		}
	}
	return bestHours, changed
}

// manned says whether at each hour enough examiners are there for all that is
// open, looked at rank by rank.
func (m *model) manned(order []int, hours map[int]window) bool {
	q := m.q
	for _, w := range order {
		if _, open := hours[w]; !open {
			continue
		}
		for rank := range q.Problem.Ranks {
			seats := 0
			var able []int
			for _, v := range append([]int{w}, q.Clash[w]...) {
				win, open := hours[v]
				if !open || m.asks(v, win) < rank {
					continue
				}
				if s := &q.Problem.Sittings[v]; s.Start > q.Problem.Sittings[w].Start || s.End() <= q.Problem.Sittings[w].Start {
					continue
				}
				seats += q.Problem.Sittings[v].Panel
				for _, x := range q.CanSit[v] {
					if q.ExaminerRank[x] >= rank && !slices.Contains(able, x) {
						able = append(able, x)
					}
				}
			}
			if seats > len(able) {
				return false
			}
		}
	}
	return true
}

// freeIn marks the columns of a session that may move, for the entries that
// were dealt to its groups (those of the model from).
func (m *model) freeIn(session int, at []int, from *model) []bool {
	free := make([]bool, len(m.Columns))
	for i, home := range m.home {
		free[i] = home == session || home < 0
	}
	for k := range m.kinds {
		d := &m.kinds[k]
		e := d.entries[0]
		here := at[e] != Waiting && m.q.SittingSession[from.groups[at[e]][0]] == session
		for _, c := range d.at {
			free[c.column] = here && from.groupOf[m.groups[c.group][0]] == at[e]
		}
		if d.wait >= 0 {
			free[d.wait] = here
		}
	}
	return free
}

// stay fixes which sittings of a session are open for which ranks.
func (m *model) stay(session int, hours map[int]window, values []int64, free []bool) {
	for _, w := range m.q.Order[session] {
		g := m.groupOf[w]
		win, open := hours[w]
		found := false
		for i, c := range m.count[g] {
			values[c], free[c] = 0, false
			if open && !found && m.windows[g][i].low <= win.low && win.high <= m.windows[g][i].high {
				values[c], found = 1, true
			}
		}
		if open && !found { // no window of this sitting is as wide
			for i, c := range m.count[g] {
				free[c] = m.windows[g][i].low <= win.high && win.low <= m.windows[g][i].high
			}
		}
	}
	values[m.open[session]] = whether(len(hours) > 0 || m.Columns[m.open[session]].Lower > 0)
	free[m.open[session]] = false
}

// plan reads a plan off the values of a model in full detail.
func (m *model) plan(values []int64) *Plan {
	plan := EmptyPlan(m.q.Problem)
	for e, k := range m.kindOf {
		for _, c := range m.kinds[k].at {
			if values[c.column] > 0 {
				plan.At[e] = m.groups[c.group][0]
			}
		}
	}
	open := m.q.Open(plan)
	for w, columns := range m.panel {
		if !open[w] {
			continue
		}
		plan.Panels[w] = []int{}
		for i, c := range columns {
			if values[c] > 0 {
				plan.Panels[w] = append(plan.Panels[w], m.q.CanSit[w][i])
			}
		}
	}
	return plan
}
