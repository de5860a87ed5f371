package app

import (
	"slices"

	"rankwright"
	"rankwright/timetable"
)

// Round is a sitting as the plan that stands fills it: its squads, its
// stations, and each squad's way round them.
type Round struct {
	Squads   []RoundSquad
	Stations []StationRow
	Circuit  *timetable.Circuit // nil where the time is too short for a round
	Rotation *timetable.Rotation
	Needs    int // the minutes that a round would take, where the time is too short
}

// RoundSquad is a squad of a sitting.
type RoundSquad struct {
	No      int
	Entries []*EntryView
}

// rotateNodes bounds the search for a sitting's rotation: a page waits for it.
const rotateNodes = 5_000

// Round works out a sitting's round. The stations are those that the school
// set, else the sections that are asked of those who come, in the order of the
// syllabus. What has no minutes of its own has them by how much is asked there,
// and as much again as one requirement for a squad to settle; what counts extra,
// is seen before the day or is a note takes none. Falls come before partner
// work, and little ones have their breaks.
func (t *Timetable) Round(w *Sitting) (x Round) {
	cur, rules := t.Current(), timetable.DefaultRules()
	var ranks []rankwright.RankID
	for i := range t.Grading.Entries {
		e := &t.Grading.Entries[i]
		if e.Erased || cur.At(e.Entry.ID) != w.ID {
			continue
		}
		if !slices.Contains(ranks, e.Rank) {
			ranks = append(ranks, e.Rank)
		}
		no := cur.Squad(e.Entry.ID)
		at := slices.IndexFunc(x.Squads, func(q RoundSquad) bool { return q.No == no })
		if at < 0 {
			at = len(x.Squads)
			x.Squads = append(x.Squads, RoundSquad{No: no})
		}
		x.Squads[at].Entries = append(x.Squads[at].Entries, e)
	}
	slices.SortFunc(x.Squads, func(a, b RoundSquad) int { return a.No - b.No })
	var squads []timetable.CircuitSquad
	for _, q := range x.Squads {
		little := slices.ContainsFunc(q.Entries, func(e *EntryView) bool { return e.Age >= 0 && e.Age <= rules.LittleAge })
		squads = append(squads, timetable.CircuitSquad{Little: little})
	}
	var shares []int
	x.Stations, shares = t.StationsFor(ranks)
	c := circuitOf(w, x.Stations, squads)
	// What is wrong with a circuit in itself, too many stations that is, leaves a
	// sitting without a round, and its run sheet without one.
	x.Circuit, x.Rotation, _ = timetable.Fit(c, shares, timetable.Minute(w.Begins+w.Minutes), rotateNodes)
	if x.Rotation == nil {
		x.Needs, _ = timetable.LeastRound(c, shares, rotateNodes)
	}
	return x
}

// asksAt is the most that is asked of one of the ranks in a section.
func (t *Timetable) asksAt(id rankwright.SectionID, ranks []rankwright.RankID) (most int) {
	for _, rank := range ranks {
		k, _ := t.Grading.Syllabus.Rank(rank)
		n := 0
		for i := range k.Requirements {
			if r := &k.Requirements[i]; r.Section == id && r.AtStation() && !t.waivedFor(rank, r.ID) {
				n++
			}
		}
		most = max(most, n)
	}
	return most
}

// waivedFor says that a requirement is not asked of a whole rank.
func (t *Timetable) waivedFor(rank rankwright.RankID, id rankwright.RequirementID) bool {
	for _, w := range t.Grading.Waivers {
		if w.Entry == "" && w.Rank == rank && w.Requirement == id {
			return true
		}
	}
	return false
}
