package timetable

import (
	"math/bits"
	"slices"
)

// Cause is one thing in the plan that costs something, with the entry,
// household, session, sitting or examiner that it concerns. Numbers that do not
// apply are -1.
type Cause struct {
	Units     int64
	Entry     int
	Household int
	Session   int
	Sitting   int
	Examiner  int
}

// AimCost is what one aim costs in a plan.
type AimCost struct {
	Aim    Aim
	Units  int64 // how often; see the aims for what one unit is
	Weight int64
	Cost   int64 // Units × Weight
	Causes []Cause
}

// Costs is the exact cost of a plan, broken down by aim in the stated order.
type Costs struct {
	Total int64
	Aims  []AimCost // AimCount of them
}

// Total is the exact cost of a plan. The plan must be one for this problem; it
// need not keep the hard limits.
func (q *Prepared) Total(plan *Plan) int64 {
	var total int64
	q.count(plan, func(a Aim, c Cause) { total += c.Units * int64(q.Problem.Weights[a]) })
	return total
}

// units are the units of each aim in a plan.
func (q *Prepared) units(plan *Plan) (units [AimCount]int64) {
	q.count(plan, func(a Aim, c Cause) { units[a] += c.Units })
	return units
}

// Cost is the exact cost of a plan with what each aim costs and why. The plan
// must be one for this problem; it need not keep the hard limits.
func (q *Prepared) Cost(plan *Plan) Costs {
	c := Costs{Aims: make([]AimCost, AimCount)}
	for a := range c.Aims {
		c.Aims[a] = AimCost{Aim: Aim(a), Weight: int64(q.Problem.Weights[a])}
	}
	q.count(plan, func(a Aim, cause Cause) {
		t := &c.Aims[a]
		t.Units += cause.Units
		t.Causes = append(t.Causes, cause)
	})
	for i := range c.Aims {
		t := &c.Aims[i]
		t.Cost = t.Units * t.Weight
		c.Total += t.Cost
	}
	return c
}

func nothing() Cause {
	return Cause{Units: 1, Entry: -1, Household: -1, Session: -1, Sitting: -1, Examiner: -1}
}

// count tells every cause of every aim, in a fixed order.
func (q *Prepared) count(plan *Plan, tell func(Aim, Cause)) {
	q.countEntries(plan, tell)
	q.countHouseholds(plan, tell)
	q.countSittings(plan, tell)
	q.countExaminers(plan, tell)
}

func (q *Prepared) countEntries(plan *Plan, tell func(Aim, Cause)) {
	p := q.Problem
	for e, w := range plan.At {
		c := nothing()
		c.Entry, c.Household = e, q.EntryHousehold[e]
		if q.Was[e] != Waiting && !q.Told[e] && w != q.Was[e] {
			c.Sitting = q.Was[e]
			tell(AimRedrawn, c)
		}
		c.Sitting = -1
		if w == Waiting {
			tell(AimPlaced, c)
			continue
		}
		s := q.SittingSession[w]
		c.Session, c.Sitting = s, w
		a := answerOf(p, &p.Households[c.Household], p.Sessions[s].ID)
		if a.Suits == IfNeedBe {
			tell(AimIfNeedBe, c)
		}
		if p.Sessions[s].Makeup {
			tell(AimMakeup, c)
		}
		first := p.Sittings[q.Order[s][0]].Start
		if age := p.Entries[e].Age; age > 0 && age <= p.Rules.LittleAge && late(p, &p.Sittings[w], first) {
			tell(AimLate, c)
		}
		if a.Points > 0 {
			c.Units = int64(a.Points)
			tell(AimWish, c)
		}
	}
}

// FamilyUnits are the units of a household's aims in one session, in which its
// entries stand in the given sittings (at least one; the same one may be named
// more than once).
func (q *Prepared) FamilyUnits(sittings []int) (apart, separate, wait int64) {
	p := q.Problem
	end, start := p.Sittings[sittings[0]].End(), p.Sittings[sittings[0]].Start
	for i, w := range sittings {
		if !slices.Contains(sittings[:i], w) {
			separate++
		}
		end, start = min(end, p.Sittings[w].End()), max(start, p.Sittings[w].Start)
	}
	separate--
	if gap := int(start - end); gap > 0 {
		wait = int64((gap + 14) / 15)
		if gap > p.Rules.Pause {
			apart = 1
		}
	}
	return apart, separate, wait
}

func (q *Prepared) countHouseholds(plan *Plan, tell func(Aim, Cause)) {
	var in []int // sittings of the household, by session
	for h, members := range q.Members {
		in = in[:0]
		c := nothing()
		c.Household = h
		moved := false
		for _, e := range members {
			if plan.At[e] != Waiting {
				in = append(in, plan.At[e])
			}
			moved = moved || q.Told[e] && q.Was[e] != Waiting && plan.At[e] != q.Was[e]
		}
		if moved {
			tell(AimMoved, c)
		}
		slices.SortFunc(in, func(a, b int) int {
			if sa, sb := q.SittingSession[a], q.SittingSession[b]; sa != sb {
				return sa - sb
			}
			return a - b
		})
		for i := 0; i < len(in); {
			j := i
			for j < len(in) && q.SittingSession[in[j]] == q.SittingSession[in[i]] {
				j++
			}
			c.Session, c.Units = q.SittingSession[in[i]], 1
			if i > 0 {
				tell(AimSplit, c)
			}
			apart, separate, wait := q.FamilyUnits(in[i:j])
			for _, t := range []struct {
				aim   Aim
				units int64
			}{{AimApart, apart}, {AimSeparate, separate}, {AimWait, wait}} {
				if c.Units = t.units; c.Units > 0 {
					tell(t.aim, c)
				}
			}
			i = j
		}
	}
}

// Open says of each sitting whether it takes place in the plan.
func (q *Prepared) Open(plan *Plan) []bool {
	open := make([]bool, len(q.Problem.Sittings))
	for w := range open {
		open[w] = q.Problem.Sittings[w].Hold == Held
	}
	for _, w := range plan.At {
		if w != Waiting {
			open[w] = true
		}
	}
	return open
}

func (q *Prepared) countSittings(plan *Plan, tell func(Aim, Cause)) {
	p := q.Problem
	open := q.Open(plan)
	size := make([]int, len(p.Sittings))
	ranks := make([][2]uint64, len(p.Sittings)) // MostRanks fit
	for e, w := range plan.At {
		if w != Waiting {
			size[w]++
			r := q.EntryRank[e]
			ranks[w][r/64] |= 1 << (r % 64)
		}
	}
	for s, order := range q.Order {
		c := nothing()
		c.Session = s
		least, most, any := 0, 0, false
		for _, w := range order {
			if !open[w] {
				continue
			}
			if !any {
				least, most = size[w], size[w]
			}
			least, most, any = min(least, size[w]), max(most, size[w]), true
			c.Sitting, c.Units = w, int64(p.Sittings[w].Cost)
			if c.Units > 0 {
				tell(AimSitting, c)
			}
			if c.Units = int64(bits.OnesCount64(ranks[w][0]) + bits.OnesCount64(ranks[w][1]) - 1); c.Units > 0 {
				tell(AimMixed, c)
			}
			for _, x := range plan.Panels[w] {
				if len(q.WasPanel[w]) > 0 && !slices.Contains(q.WasPanel[w], x) {
					d := nothing()
					d.Session, d.Sitting, d.Examiner = s, w, x
					tell(AimRedrawn, d)
				}
			}
		}
		c.Sitting = -1
		if c.Units = int64(p.Sessions[s].Cost); any && c.Units > 0 {
			tell(AimSession, c)
		}
		if c.Units = int64(most - least); c.Units > 0 {
			tell(AimUneven, c)
		}
	}
}

func (q *Prepared) countExaminers(plan *Plan, tell func(Aim, Cause)) {
	load := make([]int64, len(q.Problem.Examiners))
	for _, panel := range plan.Panels {
		for _, x := range panel {
			load[x]++
		}
	}
	for x, n := range load {
		if n > 1 {
			c := nothing()
			c.Examiner, c.Units = x, n*(n-1)/2
			tell(AimLoad, c)
		}
	}
}
