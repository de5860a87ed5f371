package app

import (
	"cmp"
	"maps"
	"slices"
	"time"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/syllabus"
)

// BoardIdle is a squad that has begun, is not done, and of which no mark has
// come for a while.
type BoardIdle struct {
	Squad int
	Ranks []*syllabus.Rank
	Open  int          // marks that are missing of those who are here
	Since store.Moment // when its latest mark came
}

// idleAfter is how long no mark of a squad comes until it counts as waiting
// (common practice, no published source).
const idleAfter = 5 * time.Minute

// idle finds the squads that wait, the one that waits longest first. A squad is
// all who have its number, whatever their ranks: who marks one rank of it leaves
// the others waiting, and the squad is at work.
//
// What was marked before the day, or at the door, begins nothing. Who counts are
// those whom Unscored counts: here, or marked already.
func (b *Board) idle(marks []store.LatestMark, now time.Time) {
	ranks := map[rankwright.EntryID]*syllabus.Rank{}
	for i := range b.Grading.Entries {
		e := &b.Grading.Entries[i]
		ranks[e.Entry.ID], _ = b.Grading.Syllabus.Rank(e.Rank)
	}
	latest := map[rankwright.EntryID]store.Moment{}
	for _, m := range marks {
		if k := ranks[m.Entry]; k == nil {
			continue
		} else if q := k.Requirement(m.Requirement); q == nil || !q.Before {
			latest[m.Entry] = max(latest[m.Entry], m.At)
		}
	}
	squads := map[int]*BoardIdle{}
	for i := range b.Unscored {
		c := &b.Unscored[i]
		s := squads[c.Entry.Squad]
		if s == nil {
			s = &BoardIdle{Squad: c.Entry.Squad}
			squads[s.Squad] = s
		}
		s.Open += len(c.Missing)
	}
	for i := range b.Grading.Entries {
		e := &b.Grading.Entries[i]
		s := squads[e.Squad]
		if s == nil || e.Presence != "present" && e.Presence != "expected" {
			continue
		}
		s.Since = max(s.Since, latest[e.Entry.ID])
		if k := ranks[e.Entry.ID]; !slices.Contains(s.Ranks, k) {
			s.Ranks = append(s.Ranks, k)
		}
	}
	for _, no := range slices.Sorted(maps.Keys(squads)) {
		if s := squads[no]; s.Since != 0 && now.Sub(s.Since.Time()) >= idleAfter {
			b.Idle = append(b.Idle, *s)
		}
	}
	slices.SortStableFunc(b.Idle, func(x, y BoardIdle) int { return cmp.Compare(x.Since, y.Since) })
}
