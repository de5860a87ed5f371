package app

import (
	"cmp"
	"context"
	"fmt"
	"hash"
	"hash/fnv"
	"slices"
	"strconv"
	"sync"

	"rankwright"
	"rankwright/internal/store"
)

// MatNow is what a scoring page has to know at once.
type MatNow struct {
	State   State                `json:"state"`
	Arrival int64                `json:"arrival"`
	Stopped []rankwright.EntryID `json:"stopped"`
	// Presence is who is here or away; who is still expected is left out.
	Presence map[rankwright.EntryID]string `json:"presence"`
	// Sheets names, by rank and by squad (SquadSheet), who is entered in which squad
	// and what is waived: a page whose own is another one, or none, is old.
	Sheets map[rankwright.RankID]string `json:"sheets"`
	// Clock is the largest logical clock of the grading's marks: what is marked
	// from now on by whoever hears it comes after them.
	Clock int64 `json:"clock"`
	// ClockOff is by how many milliseconds the clock of the device that asks is
	// ahead, less than 0 where it is behind; 0 is near enough, or not known.
	ClockOff int64 `json:"clock_off_ms,omitempty"`
}

// MatNow returns who was stopped for safety and how far the marks are.
func (a *App) MatNow(ctx context.Context, who Actor, id rankwright.GradingID) (now MatNow, err error) {
	err = a.see(ctx, who, SeeMarks, on{kind: "grading", id: string(id)}, func(tx *store.Tx) error {
		g, err := tx.Grading(id)
		if err != nil {
			return err
		}
		now.State, now.Stopped = State(g.State), []rankwright.EntryID{}
		entries, err := tx.Entries(id)
		if err != nil {
			return err
		}
		now.Presence = map[rankwright.EntryID]string{}
		for _, e := range entries {
			if e.Presence != "expected" {
				now.Presence[e.ID] = e.Presence
			}
			if e.Presence == "stopped" {
				now.Stopped = append(now.Stopped, e.ID)
			}
		}
		waivers, err := tx.Waivers(id)
		if err != nil {
			return err
		}
		now.Sheets = sheetsOf(entries, waivers)
		if now.Clock, err = a.clocks.of(tx, id); err != nil {
			return err
		}
		now.Arrival, err = tx.LastArrival(id)
		return err
	})
	return now, err
}

// SheetsNow is what MatNow says of a grading's sheets.
func (v *GradingView) SheetsNow() map[rankwright.RankID]string {
	entries := make([]store.Entry, len(v.Entries))
	for i := range v.Entries {
		entries[i] = v.Entries[i].Entry
	}
	return sheetsOf(entries, v.Waivers)
}

// SquadSheet is by what a squad stands among the sheets; no rank is called so.
func SquadSheet(squad int) rankwright.RankID { return rankwright.RankID("#" + strconv.Itoa(squad)) }

func sheetsOf(entries []store.Entry, waivers []store.Waiver) map[rankwright.RankID]string {
	entries, waivers = slices.Clone(entries), slices.Clone(waivers)
	slices.SortFunc(entries, func(x, y store.Entry) int { return cmp.Compare(x.ID, y.ID) })
	slices.SortFunc(waivers, func(x, y store.Waiver) int {
		return cmp.Or(cmp.Compare(x.Rank, y.Rank), cmp.Compare(x.Entry, y.Entry), cmp.Compare(x.Requirement, y.Requirement))
	})
	sums := map[rankwright.RankID]hash.Hash64{}
	of := func(k rankwright.RankID) hash.Hash64 {
		if sums[k] == nil {
			sums[k] = fnv.New64a()
		}
		return sums[k]
	}
	for _, e := range entries {
		fmt.Fprintf(of(e.Rank), "%q %d\n", e.ID, e.Squad)
		fmt.Fprintf(of(SquadSheet(e.Squad)), "%q %q\n", e.ID, e.Rank)
	}
	for _, w := range waivers {
		fmt.Fprintf(of(w.Rank), "%q %q\n", w.Entry, w.Requirement)
		var told []int // each squad once
		for _, e := range entries {
			if e.Rank == w.Rank && (w.Entry == "" || w.Entry == e.ID) && !slices.Contains(told, e.Squad) {
				told = append(told, e.Squad)
				fmt.Fprintf(of(SquadSheet(e.Squad)), "%q %q %q\n", w.Rank, w.Entry, w.Requirement)
			}
		}
	}
	out := map[rankwright.RankID]string{}
	for k, h := range sums {
		out[k] = strconv.FormatUint(h.Sum64(), 36)
	}
	return out
}

// clocks are the largest logical clocks that were seen, by grading: to find one
// in the base takes a look at every mark.
type clocks struct {
	mu sync.Mutex
	m  map[rankwright.GradingID]int64
}

func (c *clocks) of(tx *store.Tx, id rankwright.GradingID) (int64, error) {
	c.mu.Lock()
	n, known := c.m[id]
	c.mu.Unlock()
	if known {
		return n, nil
	}
	n, err := tx.MaxClock(id)
	if err != nil {
		return 0, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.m == nil || len(c.m) >= mostHeard {
		c.m = map[rankwright.GradingID]int64{}
	}
	c.m[id] = max(c.m[id], n)
	return c.m[id], nil
}

// raise takes in the clocks of marks that are on the disk. It counts only for
// a grading that somebody asked about.
func (c *clocks) raise(id rankwright.GradingID, clock int64) int64 {
	c.mu.Lock()
	defer c.mu.Unlock()
	if n, known := c.m[id]; known {
		c.m[id] = max(n, clock)
		return c.m[id]
	}
	return 0
}
