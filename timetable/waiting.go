package timetable

import "slices"

// Turn is one place on the waiting list.
type Turn struct {
	Entry int
	// Makeup are the make-up sessions that suit the household, yes before if
	// need be, then by day.
	Makeup []int
	// Places is in how many sittings the entry might stand, looked at alone.
	Places int
}

// WaitingList is who waits, in the order in which a free place is offered:
// first who was told a time and lost it, then who has been entered longest,
// then who has the fewest sittings to choose from, then the order of the
// problem. The order does not look at rank or at anything a child can do.
func (q *Prepared) WaitingList(plan *Plan) []Turn {
	var list []Turn
	for e, at := range plan.At {
		if at != Waiting {
			continue
		}
		t := Turn{Entry: e, Places: len(q.May[e])}
		h := &q.Problem.Households[q.EntryHousehold[e]]
		for _, want := range []Suits{Yes, IfNeedBe} {
			from := len(t.Makeup)
			for s := range q.Problem.Sessions {
				if x := &q.Problem.Sessions[s]; x.Makeup && answerOf(q.Problem, h, x.ID).Suits == want {
					t.Makeup = append(t.Makeup, s)
				}
			}
			slices.SortStableFunc(t.Makeup[from:], func(a, b int) int { return int(q.Problem.Sessions[a].Day - q.Problem.Sessions[b].Day) })
		}
		list = append(list, t)
	}
	lost := func(t Turn) int {
		if q.Told[t.Entry] && q.Was[t.Entry] != Waiting {
			return 0
		}
		return 1
	}
	slices.SortStableFunc(list, func(a, b Turn) int {
		if d := lost(a) - lost(b); d != 0 {
			return d
		}
		if d := q.Problem.Entries[b.Entry].Asked - q.Problem.Entries[a.Entry].Asked; d != 0 {
			return d
		}
		return a.Places - b.Places
	})
	return list
}
