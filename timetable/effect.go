package timetable

import (
	"fmt"
	"slices"
)

// Limit is a kind of hard limit.
type Limit string

// The limits that can stand in the way of an entry or a sitting.
const (
	LimitAnswer Limit = "answer" // the session does not suit the household
	LimitTime   Limit = "time"   // the sitting is outside the household's times
	LimitRank   Limit = "rank"   // the rank may not come
	LimitShared Limit = "shared" // the ranks would be too far apart
	LimitRoom   Limit = "room"   // there is no room
	LimitLeast  Limit = "least"  // fewer come than it takes
	LimitShut   Limit = "shut"   // the sitting does not take place
	LimitLocked Limit = "locked" // the entry is locked to another sitting
	LimitTold   Limit = "told"   // another time was told, and there is no yes to a move
	LimitMust   Limit = "must"   // the entry must be placed
	LimitPanel  Limit = "panel"  // there is no panel for it
	LimitMat    Limit = "mat"    // another sitting is on the mat at that time
)

// Block is one limit that stands in the way, as data: numbers are places in the
// problem's lists, or -1.
type Block struct {
	Limit   Limit
	Entry   int
	Sitting int
	Other   int // another sitting: on the same mat, locked to, told
}

// Effect is what it would do to put entries into one sitting.
type Effect struct {
	Sitting int  // or Waiting
	Here    bool // they all stand there already
	// Blocks are the limits that the move would break. A move that breaks any
	// is not to be taken.
	Blocks []Block
	// Units and Costs are the differences aim by aim, and Total their sum; less
	// than 0 is better. They are told also where Blocks stand in the way.
	Units [AimCount]int64
	Costs [AimCount]int64
	Total int64
	// Plan is the plan as it would be, with its panels.
	Plan *Plan
}

// Alone says which limits keep the entry out of the sitting whatever else is
// planned; none means that it may stand there.
func (q *Prepared) Alone(e, w int) (blocks []Block) {
	p := q.Problem
	x, s := &p.Entries[e], &p.Sittings[w]
	block := func(l Limit, other int) { blocks = append(blocks, Block{l, e, w, other}) }
	if s.Hold == Shut {
		block(LimitShut, -1)
	}
	if s.Most < 1 {
		block(LimitRoom, -1)
	}
	if !q.RankAllowed[w][q.EntryRank[e]] {
		block(LimitRank, -1)
	}
	if x.Locked != "" {
		if x.Locked != s.ID {
			block(LimitLocked, slices.IndexFunc(p.Sittings, func(o Sitting) bool { return o.ID == x.Locked }))
		}
		return blocks
	}
	h := &p.Households[q.EntryHousehold[e]]
	if x.Told && q.Was[e] != Waiting && q.Was[e] != w && !h.MayMove {
		block(LimitTold, q.Was[e])
	}
	a := answerOf(p, h, s.Session)
	if a.Suits == No {
		block(LimitAnswer, -1)
	}
	if !fitsTime(s, a.From, a.Until) || !fitsTime(s, h.From, h.Until) {
		block(LimitTime, -1)
	}
	return blocks
}

// Effects says of waiting and of every sitting, in this order, what it would do
// to put entries of a plan there. Nothing is changed. The plan need not keep all
// limits; only what the move would break anew is told.
func (q *Prepared) Effects(plan *Plan, entries []int) []Effect {
	m := newMover(q, plan)
	out := []Effect{m.effect(entries, Waiting)}
	for w := range q.Problem.Sittings {
		out = append(out, m.effect(entries, w))
	}
	return out
}

// EffectOf is Effects for one sitting, or for waiting.
func (q *Prepared) EffectOf(plan *Plan, entries []int, to int) Effect {
	m := newMover(q, plan)
	return m.effect(entries, to)
}

type mover struct {
	q      *Prepared
	plan   *Plan
	before [AimCount]int64 // units
	state  *state          // of the plan; used for panels, and always put back
	size   []int
}

func newMover(q *Prepared, plan *Plan) *mover {
	m := &mover{q: q, plan: plan, before: q.units(plan), state: newState(q)}
	for w, panel := range plan.Panels {
		if len(panel) > 0 {
			m.state.setPanel(w, slices.Clone(panel))
		}
	}
	for e, w := range plan.At {
		if w != Waiting {
			m.state.shift(e, w)
		}
	}
	m.size = slices.Clone(m.state.size)
	m.state.log = nil
	return m
}

func (m *mover) effect(entries []int, to int) Effect {
	q := m.q
	f := Effect{Sitting: to, Here: len(entries) > 0}
	for _, e := range entries {
		f.Here = f.Here && m.plan.At[e] == to
	}
	then := m.plan.Clone()
	f.Plan = then
	if f.Here {
		return f
	}
	for _, e := range entries {
		if then.At[e] == to {
			continue
		}
		if to == Waiting {
			if x := &q.Problem.Entries[e]; x.Locked != "" {
				f.Blocks = append(f.Blocks, Block{LimitLocked, e, -1, -1})
			} else if x.MustPlace {
				f.Blocks = append(f.Blocks, Block{LimitMust, e, -1, -1})
			}
		} else {
			f.Blocks = append(f.Blocks, q.Alone(e, to)...)
		}
		then.At[e] = to
	}
	for _, e := range entries {
		if m.state.at[e] != to {
			m.state.shift(e, to)
		}
	}
	// Those whom they leave.
	for i, e := range entries {
		w := m.plan.At[e]
		if w == Waiting || w == to || slices.ContainsFunc(entries[:i], func(o int) bool { return m.plan.At[o] == w }) {
			continue
		}
		s := &q.Problem.Sittings[w]
		n := m.state.size[w]
		if n == 0 && s.Hold != Held {
			then.Panels[w] = nil
			m.state.setPanel(w, nil)
		} else if n < s.Least && s.Hold != Held && m.size[w] >= s.Least {
			f.Blocks = append(f.Blocks, Block{LimitLeast, -1, w, -1})
		}
	}
	if to != Waiting {
		m.arrive(&f, then, to, m.state.size[to], m.size[to])
	}
	m.state.undo(0)
	for _, e := range entries {
		if m.state.at[e] != m.plan.At[e] {
			m.state.shift(e, m.plan.At[e])
		}
	}
	after := q.units(then)
	for a := range f.Units {
		f.Units[a] = after[a] - m.before[a]
		f.Costs[a] = f.Units[a] * int64(q.Problem.Weights[a])
		f.Total += f.Costs[a]
	}
	return f
}

// arrive tells what the sitting to which they come does not allow, and gives it
// a panel.
func (m *mover) arrive(f *Effect, then *Plan, to, n, before int) {
	q := m.q
	s := &q.Problem.Sittings[to]
	if n > s.Most {
		f.Blocks = append(f.Blocks, Block{LimitRoom, -1, to, -1})
	}
	if n < s.Least && s.Hold != Held && (before == 0 || before >= s.Least) {
		f.Blocks = append(f.Blocks, Block{LimitLeast, -1, to, -1})
	}
	if s.Width > 0 {
		low, high := len(q.Problem.Ranks), -1
		for e, at := range then.At {
			if at == to {
				low, high = min(low, q.EntryRank[e]), max(high, q.EntryRank[e])
			}
		}
		if high-low >= s.Width {
			f.Blocks = append(f.Blocks, Block{LimitShared, -1, to, -1})
		}
	}
	open := q.Open(then)
	for _, v := range q.SameMat[to] {
		if open[v] {
			f.Blocks = append(f.Blocks, Block{LimitMat, -1, to, v})
		}
	}
	if !m.man(then, to, open) {
		f.Blocks = append(f.Blocks, Block{LimitPanel, -1, to, -1})
	}
}

// man gives the sitting a full and fit panel, keeping those who are fit.
func (m *mover) man(then *Plan, to int, open []bool) bool {
	s := m.state
	s.log = append(s.log, step{entry: -1, sitting: to, panel: s.panel[to], manned: s.manned[to]})
	s.manned[to] = len(s.panel[to]) == m.q.Problem.Sittings[to].Panel
	if !s.seeToPanel(to) {
		return false
	}
	for w := range then.Panels {
		if open[w] && !slices.Equal(then.Panels[w], s.panel[w]) {
			then.Panels[w] = slices.Clone(s.panel[w])
		}
	}
	return true
}

// SayBlock words a block: lower case, no full stop.
func (q *Prepared) SayBlock(b Block) string {
	var s *Sitting
	if b.Sitting >= 0 {
		s = &q.Problem.Sittings[b.Sitting]
	}
	switch b.Limit {
	case LimitAnswer:
		return fmt.Sprintf("%s does not suit %s", q.sessionName(q.SittingSession[b.Sitting]), q.householdName(q.EntryHousehold[b.Entry]))
	case LimitTime:
		return fmt.Sprintf("%s to %s is outside the times of %s", s.Start, s.End(), q.householdName(q.EntryHousehold[b.Entry]))
	case LimitRank:
		return fmt.Sprintf("%s tries for %s, and only %s may come to %s", q.entryName(b.Entry), q.rankName(q.EntryRank[b.Entry]), ranksNamed(s.Ranks), q.sittingName(b.Sitting))
	case LimitShared:
		return fmt.Sprintf("at most %s may share %s", plural(s.Width, "rank", "neighbouring ranks"), q.sittingName(b.Sitting))
	case LimitRoom:
		return fmt.Sprintf("%s has room for %d", q.sittingName(b.Sitting), s.Most)
	case LimitLeast:
		return fmt.Sprintf("%s takes place with %d or more", q.sittingName(b.Sitting), s.Least)
	case LimitShut:
		return q.sittingName(b.Sitting) + " does not take place"
	case LimitLocked:
		return q.entryName(b.Entry) + " is locked where they are"
	case LimitTold:
		return fmt.Sprintf("%s was told %s and has not said yes to another time", q.householdName(q.EntryHousehold[b.Entry]), q.sittingName(b.Other))
	case LimitMust:
		return q.entryName(b.Entry) + " must be placed"
	case LimitPanel:
		return fmt.Sprintf("no %s free and fit for %s", plural(s.Panel, "examiner is", "examiners are"), q.sittingName(b.Sitting))
	case LimitMat:
		return fmt.Sprintf("%s is on the same mat at the same time as %s", q.sittingName(b.Other), q.sittingName(b.Sitting))
	}
	return string(b.Limit)
}
