package timetable

import (
	"slices"

	"rankwright"
)

// StationID names a station of a rotation.
type StationID string

// Stop is a station as the rotation sees it.
type Stop struct {
	ID      StationID
	Minutes int // that every squad spends there
	// After are stations that a squad must have been to before this one, such
	// as falls before throws.
	After []StationID
}

// Circuit is what a rotation is made for: squads that move round the stations.
type Circuit struct {
	Start Minute
	Stops []Stop
	// Squads are told apart by their place; Little marks those of little ones.
	Squads []CircuitSquad
	// Change is the minutes that a squad needs from one station to the next.
	Change int
	// LittleWork is the most minutes that a squad of little ones spends at
	// stations without a break of LittleBreak minutes or more; 0 asks for no
	// breaks. A station that is longer by itself has a break before it.
	LittleWork, LittleBreak int
}

// CircuitSquad is a squad as the rotation sees it.
type CircuitSquad struct {
	Little bool
}

// Visit is a squad's time at a station or, where Stop is -1, its break.
type Visit struct {
	Squad, Stop int
	From, Until Minute
}

// Rotation is a timetable of squads and stations.
type Rotation struct {
	// Visits are in the order of time, then squad; breaks that little ones need
	// are among them.
	Visits []Visit
	// End is when the last squad has finished.
	End Minute
	// Idle is the minutes that squads wait, added up: from the start to a squad's
	// end without its stations, its changes and its breaks.
	Idle int
	// Least is a proven bound: no rotation ends earlier.
	Least Minute
	// Proven says that none ends earlier and, of those that end then, none has
	// less idle time.
	Proven bool
}

// The largest circuit that is taken on.
const (
	MostStops  = 30
	MostSquads = 60
)

// CheckCircuit says what is wrong with a circuit in itself.
func CheckCircuit(c *Circuit) error {
	bad := func(code, do, say string, args ...any) error {
		return rankwright.Faultf(rankwright.Invalid, code, do, say, args...)
	}
	if len(c.Stops) > MostStops || len(c.Squads) > MostSquads {
		return bad("too_many", "split the sitting", "there are %d stations and %d squads, and at most %d and %d are taken on", len(c.Stops), len(c.Squads), MostStops, MostSquads)
	}
	if c.Change < 0 || c.Change > 60 || c.LittleWork < 0 || c.LittleWork > 24*60 || c.LittleBreak < 0 || c.LittleBreak > 120 || c.Start < 0 || c.Start > 24*60 {
		return bad("number_range", "write minutes of a day", "the start, the change or the breaks are out of range")
	}
	at := map[StationID]int{}
	for i, s := range c.Stops {
		if _, ok := at[s.ID]; ok || s.ID == "" {
			return bad("id_twice", "give each station its own name", "station %d has no name of its own", i+1)
		}
		at[s.ID] = i
		if s.Minutes < 1 || s.Minutes > 240 {
			return bad("number_range", "write 1 to 240 minutes", "station %s takes %d minutes", s.ID, s.Minutes)
		}
	}
	done := make([]bool, len(c.Stops))
	for range c.Stops {
		for i, s := range c.Stops {
			ready := true
			for _, id := range s.After {
				j, ok := at[id]
				if !ok {
					return bad("unknown_station", "name a station of this round", "station %s comes after %q, which is not in this round", s.ID, id)
				}
				ready = ready && done[j]
			}
			done[i] = done[i] || ready
		}
	}
	if i := slices.Index(done, false); i >= 0 {
		return bad("circle", "take one of them out", "station %s would have to come after itself", c.Stops[i].ID)
	}
	return nil
}

// Rotate makes a rotation in which every squad is at every station once, no two
// at one station, and that ends as early as it can and has the least idle time.
// Where every station takes as long as every other it is a cyclic Latin square;
// otherwise visits are put one after the other where they can begin earliest,
// in every order that could matter (active schedules: Giffler and Thompson
// 1960) until nodes of them have been looked at. nodes 0 stands for 200000.
func Rotate(c *Circuit, nodes int) (*Rotation, error) {
	if err := CheckCircuit(c); err != nil {
		return nil, err
	}
	if nodes == 0 {
		nodes = 200000
	}
	r := newRotator(c, nodes)
	r.cyclic()
	r.dispatch()
	if !r.reached() {
		r.search()
	}
	return r.result(), nil
}

type rotator struct {
	c     *Circuit
	left  int
	after [][]int
	least int // bound on the end, in minutes from the start
	// The rotation that is being made.
	squadAt, stopAt []int // free from
	worked          []int // minutes since a break, of little ones
	rests           []int // minutes of breaks so far
	done            [][]bool
	open            []int // stations still to visit, by squad
	visits          []Visit
	// The best so far.
	best           []Visit
	bestEnd        int
	bestSum        int // of the squads' ends
	bestRest       int
	truncated      bool
	sumWork        int
	leastSum       int
	pendingStation []int
}

func newRotator(c *Circuit, nodes int) *rotator {
	n, m := len(c.Squads), len(c.Stops)
	r := &rotator{c: c, left: nodes, after: make([][]int, m), squadAt: make([]int, n), stopAt: make([]int, m), worked: make([]int, n),
		rests: make([]int, n), done: make([][]bool, n), open: make([]int, n), bestEnd: -1, pendingStation: make([]int, m)}
	for i, s := range c.Stops {
		for _, id := range s.After {
			r.after[i] = append(r.after[i], slices.IndexFunc(c.Stops, func(o Stop) bool { return o.ID == id }))
		}
		r.sumWork += s.Minutes
		r.pendingStation[i] = n
	}
	for i := range r.done {
		r.done[i], r.open[i] = make([]bool, m), m
	}
	alone := 0
	for i := range c.Squads {
		t := r.alone(i)
		alone = max(alone, t)
		r.leastSum += t
	}
	r.least = alone
	for i := range c.Stops {
		head := 0
		for _, j := range r.before(i) {
			head += c.Stops[j].Minutes + c.Change
		}
		if n > 0 {
			r.least = max(r.least, head+n*c.Stops[i].Minutes)
		}
	}
	return r
}

// before lists the stations that must come before one, by one road or another.
func (r *rotator) before(i int) (out []int) {
	seen := make([]bool, len(r.c.Stops))
	var walk func(int)
	walk = func(k int) {
		for _, j := range r.after[k] {
			if !seen[j] {
				seen[j] = true
				out = append(out, j)
				walk(j)
			}
		}
	}
	walk(i)
	return out
}

// alone is at least how long a squad takes were it alone.
func (r *rotator) alone(squad int) int {
	m := len(r.c.Stops)
	if m == 0 {
		return 0
	}
	t := r.sumWork + (m-1)*r.c.Change
	if r.breaks(squad) {
		// With k breaks there are k+1 stretches of work, none longer than
		// LittleWork unless it is one station.
		most := r.c.LittleWork
		for _, s := range r.c.Stops {
			most = max(most, s.Minutes)
		}
		if k := (r.sumWork+most-1)/most - 1; k > 0 {
			t += k * max(0, r.c.LittleBreak-r.c.Change)
		}
	}
	return t
}

func (r *rotator) breaks(squad int) bool {
	return r.c.Squads[squad].Little && r.c.LittleWork > 0 && r.c.LittleBreak > 0
}

// earliest is when the squad could begin at the station next, and the break that
// it must have had just before, in minutes; 0 is none.
func (r *rotator) earliest(squad, stop int) (at, rest int) {
	from := r.squadAt[squad]
	moved := from
	if r.open[squad] < len(r.c.Stops) {
		moved += r.c.Change
	}
	at = max(moved, r.stopAt[stop])
	if r.breaks(squad) && r.worked[squad] > 0 && r.worked[squad]+r.c.Stops[stop].Minutes > r.c.LittleWork && at-from < r.c.LittleBreak {
		at = max(from+r.c.LittleBreak, at)
	}
	if r.breaks(squad) && r.worked[squad] > 0 && r.worked[squad]+r.c.Stops[stop].Minutes > r.c.LittleWork {
		rest = r.c.LittleBreak
	}
	return at, rest
}

func (r *rotator) ready(squad, stop int) bool {
	if r.done[squad][stop] {
		return false
	}
	for _, j := range r.after[stop] {
		if !r.done[squad][j] {
			return false
		}
	}
	return true
}

// mark is what visit must restore.
type mark struct {
	squadAt, stopAt, worked, rests, visits int
}

func (r *rotator) visit(squad, stop int) mark {
	m := mark{r.squadAt[squad], r.stopAt[stop], r.worked[squad], r.rests[squad], len(r.visits)}
	at, rest := r.earliest(squad, stop)
	idle := at - r.squadAt[squad]
	if rest > 0 {
		r.visits = append(r.visits, Visit{squad, -1, Minute(r.squadAt[squad]), Minute(r.squadAt[squad] + rest)})
		r.rests[squad] += rest
		r.worked[squad] = 0
	} else if r.breaks(squad) && idle >= r.c.LittleBreak {
		r.worked[squad] = 0
	}
	until := at + r.c.Stops[stop].Minutes
	r.visits = append(r.visits, Visit{squad, stop, Minute(at), Minute(until)})
	r.worked[squad] += r.c.Stops[stop].Minutes
	r.squadAt[squad], r.stopAt[stop] = until, until
	r.done[squad][stop] = true
	r.open[squad]--
	r.pendingStation[stop]--
	return m
}

func (r *rotator) unvisit(squad, stop int, m mark) {
	r.squadAt[squad], r.stopAt[stop], r.worked[squad], r.rests[squad] = m.squadAt, m.stopAt, m.worked, m.rests
	r.visits = r.visits[:m.visits]
	r.done[squad][stop] = false
	r.open[squad]++
	r.pendingStation[stop]++
}

// keep takes the finished rotation over where it is the best so far.
func (r *rotator) keep() {
	end, sum := 0, 0
	for _, t := range r.squadAt {
		end, sum = max(end, t), sum+t
	}
	if r.bestEnd < 0 || end < r.bestEnd || end == r.bestEnd && sum < r.bestSum {
		r.bestEnd, r.bestSum = end, sum
		r.best = slices.Clone(r.visits)
		r.bestRest = 0
		for _, t := range r.rests {
			r.bestRest += t
		}
	}
}

// reached says that no rotation can be better than the best.
func (r *rotator) reached() bool { return r.bestEnd == r.least && r.bestSum == r.leastSum }

// clear takes the rotation that is being made apart again.
func (r *rotator) clear(ms []mark, order [][2]int) {
	for i := len(order) - 1; i >= 0; i-- {
		r.unvisit(order[i][0], order[i][1], ms[i])
	}
}

// cyclic is the Latin square: in turn k, squad i is at station i+k.
func (r *rotator) cyclic() {
	n, m := len(r.c.Squads), len(r.c.Stops)
	for _, after := range r.after {
		if len(after) > 0 {
			return
		}
	}
	size := max(n, m)
	var ms []mark
	var order [][2]int
	for k := range size {
		for i := range n {
			if stop := (i + k) % size; stop < m {
				ms = append(ms, r.visit(i, stop))
				order = append(order, [2]int{i, stop})
			}
		}
	}
	r.keep()
	r.clear(ms, order)
}

// dispatch gives each visit in turn to where it can begin earliest, and among
// equals to the squad with most still to do, then the longest station.
func (r *rotator) dispatch() {
	var ms []mark
	var order [][2]int
	for range len(r.c.Squads) * len(r.c.Stops) {
		squad, stop, at := -1, -1, 0
		for i := range r.c.Squads {
			for s := range r.c.Stops {
				if !r.ready(i, s) {
					continue
				}
				t, _ := r.earliest(i, s)
				if squad < 0 || t < at || t == at && (r.open[i] > r.open[squad] || r.open[i] == r.open[squad] && r.c.Stops[s].Minutes > r.c.Stops[stop].Minutes) {
					squad, stop, at = i, s, t
				}
			}
		}
		ms = append(ms, r.visit(squad, stop))
		order = append(order, [2]int{squad, stop})
	}
	r.keep()
	r.clear(ms, order)
}

// search goes through the active rotations.
func (r *rotator) search() {
	if r.left--; r.left < 0 {
		r.truncated = true
		return
	}
	// The visit that could end first, and all that it would keep from beginning.
	end, squad, stop := -1, -1, -1
	left := 0
	for i := range r.c.Squads {
		left += r.open[i]
		for s := range r.c.Stops {
			if r.ready(i, s) {
				if t, _ := r.earliest(i, s); end < 0 || t+r.c.Stops[s].Minutes < end {
					end, squad, stop = t+r.c.Stops[s].Minutes, i, s
				}
			}
		}
	}
	if left == 0 {
		r.keep()
		return
	}
	if r.hopeless() {
		return
	}
	for i := range r.c.Squads {
		for s := range r.c.Stops {
			if i != squad && s != stop || !r.ready(i, s) {
				continue
			}
			// A squad needs its change as well before it could be there first.
			until := end
			if i == squad && s != stop {
				until += r.c.Change
			}
			if t, _ := r.earliest(i, s); t >= until {
				continue
			}
			if r.alike(i) {
				continue
			}
			m := r.visit(i, s)
			r.search()
			r.unvisit(i, s, m)
			if r.reached() {
				return
			}
		}
	}
}

// alike says whether a squad that has not begun is like an earlier one that has
// not begun either.
func (r *rotator) alike(squad int) bool {
	if r.open[squad] < len(r.c.Stops) {
		return false
	}
	for i := range squad {
		if r.open[i] == len(r.c.Stops) && r.c.Squads[i] == r.c.Squads[squad] {
			return true
		}
	}
	return false
}

// hopeless says whether what is begun cannot become better than the best.
func (r *rotator) hopeless() bool {
	end, sum := 0, 0
	for i, at := range r.squadAt {
		if r.open[i] > 0 {
			work := 0
			for s, d := range r.done[i] {
				if !d {
					work += r.c.Stops[s].Minutes
				}
			}
			changes := r.open[i]
			if changes == len(r.c.Stops) {
				changes--
			}
			at += work + changes*r.c.Change
		}
		end, sum = max(end, at), sum+at
	}
	for s, at := range r.stopAt {
		end = max(end, at+r.pendingStation[s]*r.c.Stops[s].Minutes)
	}
	return end > r.bestEnd || end == r.bestEnd && sum >= r.bestSum
}

func (r *rotator) result() *Rotation {
	out := &Rotation{Least: r.c.Start + Minute(r.least), End: r.c.Start + Minute(max(r.bestEnd, 0)), Proven: r.reached()}
	// Active rotations hold a best one where nobody needs breaks; with breaks,
	// one taken earlier than needed might be better.
	rests := false
	for i := range r.c.Squads {
		rests = rests || r.breaks(i)
	}
	out.Proven = out.Proven || !r.truncated && !rests
	changes := 0
	if len(r.c.Stops) > 0 {
		changes = (len(r.c.Stops) - 1) * r.c.Change
	}
	out.Idle = r.bestSum - len(r.c.Squads)*(r.sumWork+changes)
	if r.c.LittleBreak > 0 {
		out.Idle -= r.bestRest / r.c.LittleBreak * max(0, r.c.LittleBreak-r.c.Change)
	}
	for _, v := range r.best {
		v.From += r.c.Start
		v.Until += r.c.Start
		out.Visits = append(out.Visits, v)
	}
	slices.SortStableFunc(out.Visits, func(a, b Visit) int {
		if a.From != b.From {
			return int(a.From - b.From)
		}
		return a.Squad - b.Squad
	})
	return out
}
