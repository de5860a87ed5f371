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
func (b *Board) idle(latest map[rankwright.EntryID]store.Moment, now time.Time) {
	squads := map[int]*BoardIdle{}
	for i := range b.Unscored {
		c := &b.Unscored[i]
		if c.Entry.Presence != "present" {
			continue
		}
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
		if s == nil || e.Presence != "present" {
			continue
		}
		s.Since = max(s.Since, latest[e.Entry.ID])
		if k, _ := b.Grading.Syllabus.Rank(e.Rank); !slices.Contains(s.Ranks, k) {
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
