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
	"rankwright/decide"
	"rankwright/internal/store"
	"rankwright/scoring"
	"rankwright/syllabus"
)

// Board is a grading as the head instructor watches it: who is where, what is
// given of what is asked, what is missing.
type Board struct {
	Grading GradingView
	Groups  []BoardGroup
	Given   int // of those who are examined now
	Asked   int
	// Unscored are those who are here and lack at least one mark, those who
	// lack most first.
	Unscored []BoardChild
	Expected []EntryView // not here yet, and not said to be away
	Waiting  []BoardWait // here, and nothing marked yet
	Again    []BoardAgain
	Stopped  []EntryView
	Devices  []DeviceView // in use, and ended ones that had not sent everything
	Missing  []Missing    // what did not come of the devices' numbers
	Refused  []RefusedMark
	Rounds   []BoardRound // of the timetable, while marks are taken
	Arrival  int64        // the number of the latest mark

	stations []Station // as the school set them
}

// BoardGroup is a squad of one rank: those who move round the stations
// together.
type BoardGroup struct {
	Rank     *syllabus.Rank
	Squad    int
	Several  bool // the rank has more than one squad
	Here     int
	Stations []BoardStation
}

// BoardStation is a station for one squad of a rank, as on the scoring page:
// one that the school set, or a section that stands at none.
type BoardStation struct {
	SheetStation
	Given   int
	Asked   int
	Missing []BoardChild
}

// BoardChild is a child and the marks that are missing.
type BoardChild struct {
	Entry   EntryView
	Missing []*syllabus.Requirement
}

// BoardWait is a child who waits, and since when.
type BoardWait struct {
	Entry EntryView
	Since store.Moment // 0 where it was not written down
}

// BoardAgain is a child to look at again, and why.
type BoardAgain struct {
	Entry EntryView
	Rank  *syllabus.Rank
	Low   []*syllabus.Requirement // musts that are not reached by the marks so far
	Looks []decide.Look
}

// MatNow is what a scoring page has to know at once.
type MatNow struct {
	State   State                `json:"state"`
	Arrival int64                `json:"arrival"`
	Stopped []rankwright.EntryID `json:"stopped"`
	// Presence is who is here or away; who is still expected is left out.
	Presence map[rankwright.EntryID]string `json:"presence"`
	// Sheets names, by rank, who is entered in which squad and what is waived: a
	// page whose own is another one is old.
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
	}
	for _, w := range waivers {
		fmt.Fprintf(of(w.Rank), "%q %q\n", w.Entry, w.Requirement)
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

// StopChild stops a child for safety: nothing more is asked of them today.
// Everybody on the mat may, since whoever sees the fall acts.
func (a *App) StopChild(ctx context.Context, who Actor, id rankwright.GradingID, entry rankwright.EntryID) error {
	return a.do(ctx, who, StopChild, on{"entry", string(entry), id}, func(tx *store.Tx) (any, error) {
		e, err := tx.Entry(entry)
		if err != nil {
			return nil, err
		}
		if e.Grading != id {
			return nil, rankwright.Faultf(rankwright.NotFound, "no_entry", "load the page again", "this child is not entered in this grading")
		}
		before := e.Presence
		e.Presence = "stopped"
		return map[string]string{"before": before, "after": e.Presence}, tx.PutEntry(e)
	})
}

// Board returns the live board of a grading.
func (a *App) Board(ctx context.Context, who Actor, id rankwright.GradingID) (b Board, err error) {
	err = a.see(ctx, who, SeeBoard, on{kind: "grading", id: string(id)}, func(tx *store.Tx) error {
		if b.Grading, err = a.grading(tx, id); err != nil {
			return err
		}
		outcomes, err := a.judgeFor(tx, b.Grading, who)
		if err != nil {
			return err
		}
		came, err := tx.Arrivals(id)
		if err != nil {
			return err
		}
		if b.stations, err = tx.Stations(id); err != nil {
			return err
		}
		since := map[rankwright.EntryID]store.Moment{}
		for _, c := range came {
			since[c.Entry] = c.At
		}
		for i := range outcomes {
			b.add(&outcomes[i], since)
		}
		for i := range b.Groups { // nothing may be asked at a station
			g := &b.Groups[i]
			g.Stations = slices.DeleteFunc(g.Stations, func(st BoardStation) bool { return st.Asked == 0 })
		}
		slices.SortStableFunc(b.Unscored, func(x, y BoardChild) int { return len(y.Missing) - len(x.Missing) })
		slices.SortStableFunc(b.Waiting, func(x, y BoardWait) int { return int(x.Since - y.Since) })
		all, err := a.devices(tx, id)
		if err != nil {
			return err
		}
		for _, d := range a.others(id) {
			all = append(all, d.DeviceView)
		}
		for _, d := range all {
			if d.Ended == 0 || d.Unsent > 0 {
				b.Devices = append(b.Devices, d)
			}
		}
		if b.Missing, err = a.missing(tx, id); err != nil {
			return err
		}
		if b.Refused, err = refusedMarks(tx, &b.Grading, who); err != nil {
			return err
		}
		if State(b.Grading.State) == OnTheMat {
			if b.Rounds, err = a.rounds(tx, id, outcomes); err != nil {
				return err
			}
		}
		b.Arrival, err = tx.LastArrival(id)
		return err
	})
	squads := map[rankwright.RankID]int{}
	for _, g := range b.Groups {
		squads[g.Rank.ID]++
	}
	for i := range b.Groups {
		b.Groups[i].Several = squads[b.Groups[i].Rank.ID] > 1
	}
	return b, err
}

// add puts one child on the board.
func (b *Board) add(o *Outcome, since map[rankwright.EntryID]store.Moment) {
	switch o.Entry.Presence {
	case "stopped":
		b.Stopped = append(b.Stopped, o.Entry)
		return
	case "absent", "unwell":
		return
	case "expected":
		b.Expected = append(b.Expected, o.Entry)
	}
	here := o.Entry.Presence == "present"
	g := b.group(o)
	if here {
		g.Here++
	}
	child := BoardChild{Entry: o.Entry}
	given := 0
	again := BoardAgain{Entry: o.Entry, Rank: o.Rank}
	for i := range o.Rank.Requirements {
		q := &o.Rank.Requirements[i]
		if q.Bonus || b.waived(o.Entry, q.ID) {
			continue
		}
		st := g.station(q.Section)
		seen := o.Case.Card.Seen[i]
		st.Asked++
		b.Asked++
		if len(seen) > 0 {
			st.Given++
			b.Given++
			given++
			if q.Must && low(q, seen, o.Case.Band) {
				again.Low = append(again.Low, q)
			}
			continue
		}
		child.Missing = append(child.Missing, q)
		if n := len(st.Missing); n > 0 && st.Missing[n-1].Entry.Entry.ID == o.Entry.Entry.ID {
			st.Missing[n-1].Missing = append(st.Missing[n-1].Missing, q)
		} else {
			st.Missing = append(st.Missing, BoardChild{o.Entry, []*syllabus.Requirement{q}})
		}
	}
	if here && given == 0 {
		b.Waiting = append(b.Waiting, BoardWait{o.Entry, since[o.Entry.Entry.ID]})
	}
	if (here || given > 0) && len(child.Missing) > 0 {
		b.Unscored = append(b.Unscored, child)
	}
	for _, l := range o.Verdict.SecondLook {
		if l.Key == decide.MarksApart || l.Key != decide.MissingMarks && len(child.Missing) == 0 {
			again.Looks = append(again.Looks, l)
		}
	}
	if len(again.Low)+len(again.Looks) > 0 && (o.Decision == nil || o.Decision.Override == "") {
		b.Again = append(b.Again, again)
	}
}

// low says that no examiner saw as much of a must as is asked.
func low(q *syllabus.Requirement, seen []scoring.Seen, band int) bool {
	want := q.Expected(band)
	for _, s := range seen {
		switch {
		case s.Value.Sort != scoring.Number:
			return false
		case q.AtMost && s.Value.Num <= want, !q.AtMost && s.Value.Num >= want:
			return false
		}
	}
	return true
}

func (b *Board) waived(e EntryView, q rankwright.RequirementID) bool {
	return b.Grading.Waived(&e, q)
}

func (b *Board) group(o *Outcome) *BoardGroup {
	for i := range b.Groups {
		if g := &b.Groups[i]; g.Rank.ID == o.Rank.ID && g.Squad == o.Entry.Squad {
			return g
		}
	}
	g := BoardGroup{Rank: o.Rank, Squad: o.Entry.Squad}
	for _, st := range stationsOf(b.stations, b.Grading.Syllabus, o.Rank) {
		g.Stations = append(g.Stations, BoardStation{SheetStation: st})
	}
	b.Groups = append(b.Groups, g)
	return &b.Groups[len(b.Groups)-1]
}

// station is where a section of the group's rank is shown.
func (g *BoardGroup) station(id rankwright.SectionID) *BoardStation {
	return &g.Stations[slices.IndexFunc(g.Stations, func(st BoardStation) bool { return slices.Contains(st.Sections, id) })]
}
