package app

import (
	"context"
	"slices"

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
	Idle     []BoardIdle // squads that wait, while marks are taken
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
	StationRow
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
	Asks  []Ask                   // of examiners
	Low   []*syllabus.Requirement // musts that are not reached by the marks so far
	Looks []decide.Look
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
			latest, err := tx.LatestMarks(id)
			if err != nil {
				return err
			}
			b.idle(latest, a.now())
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
	given, begun := 0, 0
	again := BoardAgain{Entry: o.Entry, Rank: o.Rank, Asks: o.Asks()}
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
			if !q.Before {
				begun++
			}
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
	if here && begun == 0 {
		b.Waiting = append(b.Waiting, BoardWait{o.Entry, since[o.Entry.Entry.ID]})
	}
	if (here || given > 0) && len(child.Missing) > 0 {
		b.Unscored = append(b.Unscored, child)
	}
	for _, l := range o.Looks() {
		if l.Key == decide.MarksApart || l.Key != decide.MissingMarks && len(child.Missing) == 0 {
			again.Looks = append(again.Looks, l)
		}
	}
	if len(again.Asks)+len(again.Low)+len(again.Looks) > 0 && (o.Decision == nil || o.Decision.Override == "") {
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
	for _, st := range sheetStations(b.stations, b.Grading.Syllabus, o.Rank) {
		g.Stations = append(g.Stations, BoardStation{StationRow: st})
	}
	b.Groups = append(b.Groups, g)
	return &b.Groups[len(b.Groups)-1]
}

// station is where a section of the group's rank is shown.
func (g *BoardGroup) station(id rankwright.SectionID) *BoardStation {
	return &g.Stations[slices.IndexFunc(g.Stations, func(st BoardStation) bool {
		return slices.ContainsFunc(st.Of, func(x syllabus.Section) bool { return x.ID == id })
	})]
}
