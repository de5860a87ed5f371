package timetable

import (
	"fmt"
	"slices"
)

// VerifyRotation says, one sentence each, which limits a rotation breaks; none
// means that it keeps them all. It was written from docs/timetable.md and
// shares no code with what makes rotations.
func VerifyRotation(c *Circuit, r *Rotation) []string {
	var said []string
	say := func(format string, args ...any) { said = append(said, fmt.Sprintf(format, args...)) }
	bySquad, byStop := make([][]Visit, len(c.Squads)), make([][]Visit, len(c.Stops))
	for _, v := range r.Visits {
		if v.Squad < 0 || v.Squad >= len(c.Squads) || v.Stop < -1 || v.Stop >= len(c.Stops) {
			say("a visit names squad %d and station %d, which are not in the round", v.Squad+1, v.Stop+1)
			return said
		}
		if v.From < c.Start || v.Until > r.End || v.Until < v.From {
			say("squad %d has a time from %s to %s, outside the round", v.Squad+1, v.From, v.Until)
		}
		bySquad[v.Squad] = append(bySquad[v.Squad], v)
		if v.Stop >= 0 {
			byStop[v.Stop] = append(byStop[v.Stop], v)
			if int(v.Until-v.From) != c.Stops[v.Stop].Minutes {
				say("squad %d is at station %s for %d minutes instead of %d", v.Squad+1, c.Stops[v.Stop].ID, v.Until-v.From, c.Stops[v.Stop].Minutes)
			}
		}
	}
	byTime := func(a, b Visit) int { return int(a.From - b.From) }
	for stop, visits := range byStop {
		slices.SortStableFunc(visits, byTime)
		count := make([]int, len(c.Squads))
		for i, v := range visits {
			count[v.Squad]++
			if i > 0 && visits[i-1].Until > v.From {
				say("squads %d and %d are at station %s at the same time", visits[i-1].Squad+1, v.Squad+1, c.Stops[stop].ID)
			}
		}
		for squad, n := range count {
			if n != 1 {
				say("squad %d is at station %s %d times", squad+1, c.Stops[stop].ID, n)
			}
		}
	}
	for squad, visits := range bySquad {
		slices.SortStableFunc(visits, byTime)
		verifySquad(c, squad, visits, say)
	}
	return said
}

func verifySquad(c *Circuit, squad int, visits []Visit, say func(string, ...any)) {
	been := map[StationID]bool{}
	var before *Visit // the station before
	work := 0
	for i := range visits {
		v := &visits[i]
		if i > 0 && visits[i-1].Until > v.From {
			say("squad %d has two times that overlap, from %s", squad+1, v.From)
		}
		if v.Stop < 0 {
			continue
		}
		stop := c.Stops[v.Stop]
		if before != nil && int(v.From-before.Until) < c.Change {
			say("squad %d has less than %d minutes to change to station %s", squad+1, c.Change, stop.ID)
		}
		for _, id := range stop.After {
			if !been[id] {
				say("squad %d is at station %s before it was at %s", squad+1, stop.ID, id)
			}
		}
		been[stop.ID] = true
		if before == nil || int(v.From-before.Until) >= c.LittleBreak {
			work = 0
		}
		if work > 0 && work+stop.Minutes > c.LittleWork && c.Squads[squad].Little && c.LittleWork > 0 && c.LittleBreak > 0 {
			say("squad %d of little ones has no break of %d minutes in %d minutes of work up to station %s", squad+1, c.LittleBreak, work+stop.Minutes, stop.ID)
		}
		work += stop.Minutes
		before = v
	}
}
