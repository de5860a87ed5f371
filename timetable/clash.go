package timetable

import "slices"

// Part is one limit or wish that takes part in a clash and that somebody could
// give up: numbers are places in the problem's lists, or -1.
//
// Its Limit says which: LimitAnswer is a household's answers and times,
// LimitTold its missing yes to a move, LimitLocked an entry's lock; LimitRoom,
// LimitShared (which ranks may come and how far apart), LimitLeast, LimitPanel
// and LimitShut are a sitting's.
type Part struct {
	Limit     Limit
	Household int
	Entry     int
	Sitting   int
}

// parts are all that could be given up in a problem. The families and sittings
// nearest to the given entries come first, so that a clash is told in their
// terms where it can be.
func parts(q *Prepared, near []int) []Part {
	p := q.Problem
	var own, rooms, others []Part
	nearby := map[int]bool{}
	for _, e := range near {
		nearby[q.EntryHousehold[e]] = true
	}
	for h := range p.Households {
		list := &others
		if nearby[h] {
			list = &own
		}
		house := &p.Households[h]
		says := house.From > 0 || house.Until > 0 || p.Rules.Unanswered == No && len(house.Answers) < len(p.Sessions)
		for _, a := range house.Answers {
			says = says || a.Suits == No || a.From > 0 || a.Until > 0
		}
		if says && len(q.Members[h]) > 0 {
			*list = append(*list, Part{LimitAnswer, h, -1, -1})
		}
		told := false
		for _, e := range q.Members[h] {
			told = told || q.Told[e] && q.Was[e] != Waiting && !house.MayMove
			if p.Entries[e].Locked != "" {
				*list = append(*list, Part{LimitLocked, h, e, -1})
			}
		}
		if told {
			*list = append(*list, Part{LimitTold, h, -1, -1})
		}
	}
	for w := range p.Sittings {
		s := &p.Sittings[w]
		add := func(l Limit, yes bool) {
			if yes {
				rooms = append(rooms, Part{l, -1, -1, w})
			}
		}
		add(LimitShut, s.Hold == Shut)
		add(LimitRoom, true)
		add(LimitShared, len(s.Ranks) > 0 || s.Width > 0)
		add(LimitLeast, s.Least > 1 && s.Hold != Held)
		add(LimitPanel, s.Panel > 0)
	}
	return slices.Concat(own, rooms, others)
}

// without is the problem in which some parts are given up.
func without(p *Problem, given []Part) *Problem {
	c := p.clone()
	for _, g := range given {
		switch g.Limit {
		case LimitAnswer:
			h := &c.Households[g.Household]
			h.From, h.Until, h.Answers = 0, 0, nil
			for s := range c.Sessions {
				h.Answers = append(h.Answers, Answer{Session: c.Sessions[s].ID, Suits: Yes})
			}
		case LimitTold:
			c.Households[g.Household].MayMove = true
		case LimitLocked:
			c.Entries[g.Entry].Locked = ""
		case LimitShut:
			c.Sittings[g.Sitting].Hold = Free
		case LimitRoom:
			c.Sittings[g.Sitting].Most = max(MostEntries, len(c.Entries))
		case LimitShared:
			c.Sittings[g.Sitting].Ranks, c.Sittings[g.Sitting].Width = nil, 0
		case LimitLeast:
			c.Sittings[g.Sitting].Least = 0
		case LimitPanel:
			c.Sittings[g.Sitting].Panel = 0
		}
	}
	return c
}

// smallest finds a set of things that is still impossible and of which every
// part is needed, of things that are impossible together: QuickXplain (Junker
// 2004). The earlier ones of a list are preferred. It is nil where nothing is
// needed, which is to say that it is impossible anyway.
func smallest[T any](things []T, impossible func([]T) bool) []T {
	if impossible(nil) {
		return nil
	}
	var split func(background []T, fresh bool, list []T) []T
	split = func(background []T, fresh bool, list []T) []T {
		if fresh && impossible(background) {
			return nil
		}
		if len(list) == 1 {
			return list
		}
		front, back := list[:len(list)/2], list[len(list)/2:]
		needBack := split(slices.Concat(background, front), len(front) > 0, back)
		needFront := split(slices.Concat(background, needBack), len(needBack) > 0, front)
		return slices.Concat(needFront, needBack)
	}
	if len(things) == 0 {
		return nil
	}
	return split(nil, false, things)
}
