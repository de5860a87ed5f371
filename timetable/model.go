package timetable

import (
	"fmt"
	"slices"
	"strings"
)

// model is a programme made from a problem, with what its columns mean. Every
// plan of the problem has values that satisfy its rows and cost at most what
// the plan costs, so its bound is a bound for the problem. Sittings that are
// alike for everybody may be merged into a group, which says how many of them
// are open; with every sitting by itself and examiners by name the programme
// says all there is to say but for Examiner.InARow.
type model struct {
	q *Prepared
	Program
	detail  detail
	groups  [][]int // sittings that are alike
	groupOf []int
	kinds   []kind
	kindOf  []int // of an entry
	open    []int // of a session: the column that is 1 if it is open
	// windows has for each group the ranks that may share a sitting of it, and
	// count the column that says how many such are open.
	windows [][]window
	count   [][]int
	// panel has for each sitting the column of each examiner of CanSit, in
	// full detail only.
	panel [][]int
	// uses has for each household and session the column that is 1 if it comes
	// there, or -1 where none is needed.
	uses [][]int
	// worth has for each column the function that works its value out from a
	// plan.
	worth []func(v *view) int64
	// home has for each column the session that it belongs to, or -1; here is
	// the one for the columns that are being made.
	home []int
	here int
}

// detail says how much of the problem a model says.
type detail struct {
	merge     bool // groups of sittings, kinds of entries
	coarse    bool // groups also of sittings that differ in their times only
	examiners bool // by name; else only whether there are enough
}

// kind is a number of entries that are alike: by themselves in their
// households, of one rank, with the same answers.
type kind struct {
	entries []int
	rank    int
	at      []choice // ascending by group
	wait    int      // column, or -1
}

type choice struct{ group, column int }

// window is a run of neighbouring ranks that may share a sitting.
type window struct{ low, high int }

// view is a plan as a model sees it.
type view struct {
	plan    *Plan
	open    []bool
	size    []int   // of a sitting
	here    [][]int // of a sitting, by rank: how many
	window  []int   // of a sitting: the place in windows of its group
	session []bool  // open
}

func newModel(q *Prepared, d detail) *model {
	m := &model{q: q, detail: d, here: -1}
	m.group()
	m.sortEntries()
	m.sessions()
	m.entries()
	m.households()
	m.sittings()
	if d.examiners {
		m.panels()
	} else {
		m.enough()
	}
	return m
}

func (m *model) column(cost, lower, upper int64, whole bool, worth func(v *view) int64) int {
	m.Columns = append(m.Columns, Column{Cost: cost, Lower: lower, Upper: upper, Whole: whole})
	m.worth = append(m.worth, worth)
	m.home = append(m.home, m.here)
	return len(m.Columns) - 1
}

// start works out the values of all columns for a plan that keeps all limits.
func (m *model) start(plan *Plan) []int64 {
	q := m.q
	v := &view{plan: plan, open: q.Open(plan), size: make([]int, len(q.Problem.Sittings)),
		here: make([][]int, len(q.Problem.Sittings)), window: make([]int, len(q.Problem.Sittings)), session: make([]bool, len(q.Order))}
	for w := range v.here {
		v.here[w] = make([]int, len(q.Problem.Ranks))
	}
	for e, w := range plan.At {
		if w != Waiting {
			v.size[w]++
			v.here[w][q.EntryRank[e]]++
		}
	}
	for w := range v.here {
		v.session[q.SittingSession[w]] = v.session[q.SittingSession[w]] || v.open[w]
		v.window[w] = -1
		if !v.open[w] {
			continue
		}
		for i, win := range m.windows[m.groupOf[w]] {
			fits := true
			for r, n := range v.here[w] {
				fits = fits && (n == 0 || win.low <= r && r <= win.high)
			}
			if fits {
				v.window[w] = i
				break
			}
		}
	}
	values := make([]int64, len(m.Columns))
	for c, worth := range m.worth {
		values[c] = worth(v)
	}
	return values
}

func whether(b bool) int64 {
	if b {
		return 1
	}
	return 0
}

func (m *model) row(lower, upper int64, terms ...Term) {
	m.Rows = append(m.Rows, Row{Lower: lower, Upper: upper, Terms: terms})
}

func (m *model) weight(a Aim) int64 { return int64(m.q.Problem.Weights[a]) }

// group puts sittings together that no entry and no panel can tell apart.
func (m *model) group() {
	q := m.q
	p := q.Problem
	m.groupOf = make([]int, len(p.Sittings))
	marks := make([]strings.Builder, len(p.Sittings))
	if m.detail.merge && !m.detail.coarse {
		for e := range q.May {
			for i, w := range q.May[e] {
				fmt.Fprintf(&marks[w], "%d:%d ", e, q.Price[e][i])
				if q.Was[e] == w {
					fmt.Fprintf(&marks[w], "was%d ", w)
				}
			}
		}
	}
	byMark := map[string]int{}
	for _, order := range q.Order {
		for _, w := range order {
			s := &p.Sittings[w]
			mark := fmt.Sprint("one", w)
			examiners := q.CanSit[w]
			if m.detail.coarse {
				examiners = nil
			}
			if m.detail.merge && len(q.SameMat[w]) == 0 && len(q.WasPanel[w]) == 0 {
				mark = fmt.Sprint(q.SittingSession[w], s.Least, s.Most, s.Panel, s.Cost, s.Width, q.RankAllowed[w],
					q.PanelRank[w], s.Hold, examiners, marks[w].String())
			}
			g, ok := byMark[mark]
			if !ok {
				g = len(m.groups)
				byMark[mark] = g
				m.groups = append(m.groups, nil)
			}
			m.groups[g] = append(m.groups[g], w)
			m.groupOf[w] = g
		}
	}
}

// sortEntries puts entries together that are alike.
func (m *model) sortEntries() {
	q := m.q
	m.kindOf = make([]int, len(q.May))
	own := make([]bool, len(q.Members)) // some examiner's
	for _, households := range q.Own {
		for _, h := range households {
			own[h] = true
		}
	}
	byMark := map[string]int{}
	for e := range q.May {
		mark := fmt.Sprint("one", e)
		if m.detail.merge && len(q.Members[q.EntryHousehold[e]]) == 1 && !q.Told[e] && !own[q.EntryHousehold[e]] {
			mark = fmt.Sprint(q.EntryRank[e], q.May[e], q.Price[e], q.WaitPrice[e], q.CanWait[e])
		}
		k, ok := byMark[mark]
		if !ok {
			k = len(m.kinds)
			byMark[mark] = k
			m.kinds = append(m.kinds, kind{rank: q.EntryRank[e], wait: -1})
		}
		m.kinds[k].entries = append(m.kinds[k].entries, e)
		m.kindOf[e] = k
	}
}

func (m *model) sessions() {
	p := m.q.Problem
	m.open = make([]int, len(p.Sessions))
	for s := range p.Sessions {
		m.here = s
		lower := int64(0)
		for _, w := range m.q.Order[s] {
			if p.Sittings[w].Hold == Held {
				lower = 1
			}
		}
		m.open[s] = m.column(m.weight(AimSession)*int64(p.Sessions[s].Cost), lower, 1, true,
			func(v *view) int64 { return whether(v.session[s]) })
	}
	m.here = -1
}

// entries makes the columns of who stands where, and places everybody once.
func (m *model) entries() {
	q := m.q
	for k := range m.kinds {
		d := &m.kinds[k]
		n := int64(len(d.entries))
		e := d.entries[0]
		var once []Term
		for i, w := range q.May[e] {
			g := m.groupOf[w]
			if !m.judged(e, w) {
				continue
			}
			if j := slices.IndexFunc(d.at, func(c choice) bool { return c.group == g }); j >= 0 {
				c := &m.Columns[d.at[j].column]
				c.Cost = min(c.Cost, q.Price[e][i])
				continue
			}
			m.here = q.SittingSession[w]
			c := m.column(q.Price[e][i], 0, n, true, func(v *view) (sum int64) {
				for _, e := range m.kinds[k].entries {
					if w := v.plan.At[e]; w != Waiting && m.groupOf[w] == g {
						sum++
					}
				}
				return sum
			})
			d.at = append(d.at, choice{g, c})
			once = append(once, Term{c, 1})
		}
		m.here = -1
		slices.SortFunc(d.at, func(a, b choice) int { return a.group - b.group })
		if q.CanWait[e] {
			d.wait = m.column(q.WaitPrice[e], 0, n, true, func(v *view) (sum int64) {
				for _, e := range m.kinds[k].entries {
					sum += whether(v.plan.At[e] == Waiting)
				}
				return sum
			})
			once = append(once, Term{d.wait, 1})
		}
		m.row(n, n, once...)
	}
}

// judged says whether enough examiners could judge entry e in sitting w who
// are not of its own household.
func (m *model) judged(e, w int) bool {
	n, h := 0, m.q.EntryHousehold[e]
	for _, x := range m.q.CanSit[w] {
		if _, own := slices.BinarySearch(m.q.Own[x], h); !own && m.q.ExaminerRank[x] >= m.q.EntryRank[e] {
			n++
		}
	}
	return n >= m.q.Problem.Sittings[w].Panel
}

// in lists the columns of kind k in session s.
func (m *model) in(k, s int) (terms []Term) {
	for _, c := range m.kinds[k].at {
		if m.q.SittingSession[m.groups[c.group][0]] == s {
			terms = append(terms, Term{c.column, 1})
		}
	}
	return terms
}

// column of kind k in group g, or -1.
func (m *model) place(k, g int) int {
	i, ok := slices.BinarySearchFunc(m.kinds[k].at, g, func(c choice, g int) int { return c.group - g })
	if !ok {
		return -1
	}
	return m.kinds[k].at[i].column
}

// sittings makes the counts of open sittings by their ranks, and their room.
func (m *model) sittings() {
	q := m.q
	p := q.Problem
	m.windows, m.count = make([][]window, len(m.groups)), make([][]int, len(m.groups))
	// By group and rank: the columns of entries.
	byRank := make([][][]Term, len(m.groups))
	for g := range byRank {
		byRank[g] = make([][]Term, len(p.Ranks))
	}
	for k := range m.kinds {
		for _, c := range m.kinds[k].at {
			byRank[c.group][m.kinds[k].rank] = append(byRank[c.group][m.kinds[k].rank], Term{c.column, 1})
		}
	}
	for g, group := range m.groups {
		w := group[0]
		s := &p.Sittings[w]
		if s.Hold == Shut {
			continue
		}
		size := int64(len(group))
		m.here = q.SittingSession[w]
		m.windows[g] = m.windowsOf(g, byRank[g])
		lower := int64(0)
		if s.Hold == Held {
			lower = size
		}
		var all []Term
		for i := range m.windows[g] {
			c := m.column(m.weight(AimSitting)*int64(s.Cost), 0, size, true, func(v *view) (sum int64) {
				for _, w := range group {
					sum += whether(v.open[w] && v.window[w] == i)
				}
				return sum
			})
			m.count[g] = append(m.count[g], c)
			all = append(all, Term{c, 1})
		}
		if len(all) == 0 {
			if lower > 0 {
				m.row(1, 1) // a sitting that must be held and cannot
			}
			for r := range byRank[g] {
				for _, t := range byRank[g][r] {
					m.Columns[t.Column].Upper = 0
				}
			}
			continue
		}
		m.row(lower, size, all...)
		session := m.open[q.SittingSession[w]]
		m.row(-Endless, 0, append(slices.Clone(all), Term{session, -size})...)
		m.room(g, byRank[g])
		m.links(g, byRank[g])
	}
	m.here = -1
	m.conflicts()
	m.rivals()
	if m.weight(AimUneven) > 0 && !m.detail.merge {
		m.evenness()
	}
}

// windowsOf lists the runs of ranks that may share a sitting of the group, by
// their highest rank, as far as somebody may come and enough examiners could
// sit. A run is left out where a longer one asks no more of any examiner.
func (m *model) windowsOf(g int, byRank [][]Term) (out []window) {
	q := m.q
	w := m.groups[g][0]
	s := &q.Problem.Sittings[w]
	var ranks []int
	for r := range byRank {
		if len(byRank[r]) > 0 {
			ranks = append(ranks, r)
		}
	}
	if len(ranks) == 0 {
		if s.Hold == Held {
			return []window{{q.LowRank[w], q.LowRank[w]}}
		}
		return nil
	}
	var all []window
	for _, high := range ranks {
		low := high
		for _, r := range slices.Backward(ranks) {
			if r <= high && (s.Width == 0 || high-r < s.Width) {
				low = r
			}
		}
		if win := (window{low, high}); m.able(w, m.asks(w, win)) >= s.Panel {
			all = append(all, win)
		}
	}
	for i, win := range all {
		better := func(o window) bool {
			return o != win && o.low <= win.low && win.high <= o.high && !m.between(m.asks(w, win), m.asks(w, o))
		}
		if !slices.ContainsFunc(all[i:], better) {
			out = append(out, win)
		}
	}
	return out
}

// between says whether some examiner may judge rank a and not rank b.
func (m *model) between(a, b int) bool {
	return slices.ContainsFunc(m.q.ExaminerRank, func(r int) bool { return a <= r && r < b })
}

// asks is the rank that a panel must be able to examine if the highest rank of
// the window comes.
func (m *model) asks(w int, win window) int {
	if m.q.Problem.Sittings[w].Hold == Held {
		return m.q.PanelRank[w] // held, perhaps with nobody in it
	}
	return max(m.q.PanelRank[w], win.high)
}

// able counts who could sit in w, or a sitting of its group, and examine the
// rank.
func (m *model) able(w, rank int) (most int) {
	for _, v := range m.groups[m.groupOf[w]] {
		n := 0
		for _, x := range m.q.CanSit[v] {
			if m.q.ExaminerRank[x] >= rank {
				n++
			}
		}
		most = max(most, n)
	}
	return most
}

// room holds a group to the least and the most who may come, with its ranks
// spread over its windows.
func (m *model) room(g int, byRank [][]Term) {
	group := m.groups[g]
	s := &m.q.Problem.Sittings[group[0]]
	// Where nobody need come nobody opens a sitting either.
	least, most := int64(max(s.Least, 1)), int64(s.Most)
	if s.Hold == Held {
		least = 0
	}
	mixed := m.weight(AimMixed)
	flow := make([][]Term, len(m.windows[g])) // who comes, by window
	has := make([][]Term, len(m.windows[g]))  // which ranks come, by window
	for r, terms := range byRank {
		if len(terms) == 0 {
			continue
		}
		var of []int
		for i, win := range m.windows[g] {
			if win.low <= r && r <= win.high {
				of = append(of, i)
			}
		}
		if len(of) == 0 {
			for _, t := range terms {
				m.Columns[t.Column].Upper = 0
			}
			continue
		}
		if len(of) == 1 && mixed == 0 {
			flow[of[0]] = append(flow[of[0]], terms...)
			continue
		}
		spread := slices.Clone(terms)
		for _, i := range of {
			f := m.column(0, 0, most*int64(len(group)), false, func(v *view) (sum int64) {
				for _, w := range group {
					if v.open[w] && v.window[w] == i {
						sum += int64(v.here[w][r])
					}
				}
				return sum
			})
			spread = append(spread, Term{f, -1})
			flow[i] = append(flow[i], Term{f, 1})
			if mixed > 0 {
				// In so many sittings the rank comes.
				h := m.column(0, 0, int64(len(group)), true, func(v *view) (sum int64) {
					for _, w := range group {
						sum += whether(v.open[w] && v.window[w] == i && v.here[w][r] > 0)
					}
					return sum
				})
				m.row(-Endless, 0, Term{f, 1}, Term{h, -most})
				m.row(-Endless, 0, Term{h, 1}, Term{m.count[g][i], -1})
				has[i] = append(has[i], Term{h, 1})
			}
		}
		m.row(0, 0, spread...)
	}
	for i, f := range flow {
		m.row(-Endless, 0, append(slices.Clone(f), Term{m.count[g][i], -most})...)
		if least > 0 {
			m.row(0, Endless, append(slices.Clone(f), Term{m.count[g][i], -least})...)
		}
		if len(has[i]) > 1 {
			// One rank of each open sitting costs nothing.
			further := m.column(mixed, 0, int64(len(group)*len(has[i])), false, func(v *view) (sum int64) {
				for _, w := range group {
					if !v.open[w] || v.window[w] != i {
						continue
					}
					ranks := int64(0)
					for _, n := range v.here[w] {
						ranks += whether(n > 0)
					}
					sum += max(0, ranks-1)
				}
				return sum
			})
			m.row(-Endless, 0, append(has[i], Term{m.count[g][i], -1}, Term{further, -1})...)
		}
	}
}

// links let nobody stand in a sitting that is not open for their rank.
func (m *model) links(g int, byRank [][]Term) {
	most := int64(m.q.Problem.Sittings[m.groups[g][0]].Most)
	for r, terms := range byRank {
		var open []int
		for i, win := range m.windows[g] {
			if win.low <= r && r <= win.high {
				open = append(open, m.count[g][i])
			}
		}
		for _, t := range terms {
			row := []Term{t}
			for _, c := range open {
				row = append(row, Term{c, -min(most, m.Columns[t.Column].Upper)})
			}
			m.row(-Endless, 0, row...)
		}
	}
}

// conflicts keeps two sittings on one mat at one time from being open both.
func (m *model) conflicts() {
	for w, others := range m.q.SameMat {
		for _, v := range others {
			if v < w {
				continue
			}
			var both []Term
			for _, u := range []int{w, v} {
				for _, c := range m.count[m.groupOf[u]] {
					both = append(both, Term{c, 1})
				}
			}
			m.row(-Endless, 1, both...)
		}
	}
}
