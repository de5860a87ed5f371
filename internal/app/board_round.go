package app

import (
	"slices"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/timetable"
)

// BoardRound is a sitting of today that has begun, and where its squads are.
type BoardRound struct {
	Sitting Sitting
	Squads  []BoardSquad // those of whom somebody is here
}

// BoardSquad is where a squad of a sitting is by its marks.
type BoardSquad struct {
	No          int
	Ranks       []string // the names of the ranks that are examined in it
	Station     string   // where it is, or goes next; "" where it has been everywhere
	Until       timetable.Minute
	Given       int // there, of those who are here
	Asked       int
	Due         string   // the first station that it still has to do
	Late        int      // minutes since its time there was over
	Left        []string // where it has been and marks are missing
	LeftMissing int      // how many marks
}

// Behind says that a squad is late by more than what marks lag behind what they
// are for.
func (s *BoardSquad) Behind() bool { return s.Late >= timetable.Lag }

// roundsFor is how many minutes after its end a sitting is still followed.
const roundsFor = 120

// rounds follows the published rounds of today.
func (a *App) rounds(tx *store.Tx, id rankwright.GradingID, outcomes []Outcome) (out []BoardRound, err error) {
	now, today := a.now(), a.Today()
	minute := timetable.Minute(60*now.Hour() + now.Minute())
	sittings, err := tx.Sittings(id)
	if err != nil || len(sittings) == 0 { // most gradings have none, and pay for nothing more
		return nil, err
	}
	t, err := a.timetable(tx, id)
	if err != nil || t.Published == nil {
		return nil, err
	}
	t.Draft = nil // what was told counts today, not what is worked on
	var rows []store.MarkRow
	for i := range t.Sittings {
		w := &t.Sittings[i]
		if w.Lost || t.Session(w.Session).Day != today || minute < timetable.Minute(w.Begins) || minute > timetable.Minute(w.Begins+w.Minutes+roundsFor) {
			continue
		}
		if rows == nil {
			if rows, err = tx.MarksOfGrading(id); err != nil {
				return nil, err
			}
		}
		if r := t.roundNow(w, outcomes, rows, minute); len(r.Squads) > 0 {
			out = append(out, r)
		}
	}
	return out, nil
}

// roundNow follows a sitting's round by the marks of those who are here. rows
// are all marks of the grading, as they arrived.
func (t *Timetable) roundNow(w *Sitting, outcomes []Outcome, rows []store.MarkRow, now timetable.Minute) BoardRound {
	out := BoardRound{Sitting: *w}
	x := t.Round(w)
	if x.Rotation == nil {
		return out
	}
	place := map[rankwright.SectionID]int{}
	for i, s := range x.Stations {
		for _, sec := range s.Of {
			place[sec.ID] = i
		}
	}
	squadOf := map[rankwright.EntryID]int{}
	at := map[rankwright.RequirementID]int{} // the stations of what is asked
	progress := make([][]timetable.Progress, len(x.Squads))
	for i := range progress {
		progress[i] = make([]timetable.Progress, len(x.Stations))
	}
	for i := range outcomes {
		o := &outcomes[i]
		if o.Entry.Presence != "present" || t.Published.At(o.Entry.Entry.ID) != w.ID {
			continue
		}
		no := func(n int) int { return slices.IndexFunc(x.Squads, func(q RoundSquad) bool { return q.No == n }) }
		squad := no(o.Entry.Squad) // as the desk put them today
		if squad < 0 {
			squad = no(t.Published.Squad(o.Entry.Entry.ID))
		}
		if squad < 0 {
			continue
		}
		squadOf[o.Entry.Entry.ID] = squad
		for j := range o.Rank.Requirements {
			q := &o.Rank.Requirements[j]
			stop, there := place[q.Section]
			if !there || !q.AtStation() || t.Grading.Waived(&o.Entry, q.ID) {
				continue
			}
			at[q.ID] = stop
			p := &progress[squad][stop]
			p.Asked++
			if len(o.Case.Card.Seen[j]) > 0 {
				p.Given++
			}
		}
	}
	done := func(squad, stop int) timetable.Progress { return progress[squad][stop] }
	// A correction is made wherever the examiner is by then: only what had no
	// mark before says where a squad is.
	latest := slices.Repeat([]int{-1}, len(x.Squads))
	type shown struct {
		of   rankwright.EntryID
		what rankwright.RequirementID
	}
	seen := map[shown]bool{}
	for _, m := range rows {
		squad, here := squadOf[m.Entry]
		stop, asked := at[m.Requirement]
		if k := (shown{m.Entry, m.Requirement}); here && asked && !seen[k] {
			seen[k], latest[squad] = true, stop
		}
	}
	last := func(squad int) int { return latest[squad] }
	for i, s := range timetable.Follow(x.Rotation, len(x.Squads), done, last, now) {
		if !slices.ContainsFunc(progress[i], func(p timetable.Progress) bool { return p.Asked > 0 }) {
			continue
		}
		q := BoardSquad{No: x.Squads[i].No, Late: s.Late}
		for _, e := range x.Squads[i].Entries {
			if k, _ := t.Grading.Syllabus.Rank(e.Rank); !slices.Contains(q.Ranks, k.Name) {
				q.Ranks = append(q.Ranks, k.Name)
			}
		}
		if s.At >= 0 {
			v := x.Rotation.Visits[s.At]
			p := progress[i][v.Stop]
			q.Station, q.Until, q.Given, q.Asked = x.Stations[v.Stop].Name, v.Until, p.Given, p.Asked
			q.Due = x.Stations[x.Rotation.Visits[s.Due].Stop].Name
		}
		for _, left := range s.Left {
			stop := x.Rotation.Visits[left].Stop
			q.Left = append(q.Left, x.Stations[stop].Name)
			q.LeftMissing += progress[i][stop].Asked - progress[i][stop].Given
		}
		out.Squads = append(out.Squads, q)
	}
	return out
}
