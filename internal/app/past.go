package app

import (
	"slices"

	"rankwright"
	"rankwright/decide"
	"rankwright/internal/store"
	"rankwright/scoring"
	"rankwright/syllabus"
)

// marksOf reads the marks of a grading's entries, of one entry alone where the
// view holds only one.
func marksOf(tx *store.Tx, v GradingView) (map[rankwright.EntryID][]scoring.Mark, error) {
	var rows []store.MarkRow
	var err error
	if len(v.Entries) == 1 {
		rows, err = tx.MarksOf(v.Entries[0].Entry.ID)
	} else {
		rows, err = tx.MarksOfGrading(v.ID)
	}
	by := map[rankwright.EntryID][]scoring.Mark{}
	for _, r := range rows {
		by[r.Entry] = append(by[r.Entry], r.Mark)
	}
	return by, err
}

// history is what a student's earlier gradings left behind.
type history struct {
	taken   []pastEntry // at which the student was examined, the latest first
	lastWas *syllabus.Rank
}

type pastEntry struct {
	entry    store.Entry
	grading  store.Grading
	decision store.Decision
}

// lookBack collects, for each student of a grading that is not closed yet, the
// signed gradings before it. Days on which somebody was absent, unwell or
// stopped are passed over: they take nothing away that stood.
func (a *App) lookBack(tx *store.Tx, v GradingView) (map[rankwright.StudentID]*history, error) {
	out := map[rankwright.StudentID]*history{}
	if State(v.State) == Closed {
		return out, nil // what was signed has its history frozen in it
	}
	gradings, err := tx.Gradings()
	if err != nil {
		return nil, err
	}
	earlier := map[rankwright.GradingID]store.Grading{}
	for _, g := range gradings {
		if g.ID != v.ID && State(g.State) == Closed && g.Day < v.Day {
			earlier[g.ID] = g
		}
	}
	if len(earlier) == 0 {
		return out, nil
	}
	for _, e := range v.Entries {
		h := &history{}
		entries, err := tx.EntriesOf(e.Entry.Student)
		if err != nil {
			return nil, err
		}
		for _, x := range entries {
			g, ok := earlier[x.Grading]
			if !ok {
				continue
			}
			d, err := tx.Decision(x.ID)
			if err != nil {
				if rankwright.KindOf(err) == rankwright.NotFound {
					continue
				}
				return nil, err
			}
			switch o, _ := syllabus.ParseOutcome(d.Outcome); o {
			case syllabus.Promoted, syllabus.Held, syllabus.NotYet:
				h.taken = append(h.taken, pastEntry{x, g, d})
			}
		}
		if len(h.taken) == 0 {
			continue
		}
		slices.SortStableFunc(h.taken, func(x, y pastEntry) int { return int(y.grading.Day) - int(x.grading.Day) })
		s, err := a.version(tx, h.taken[0].grading.Version)
		if err != nil {
			return nil, err
		}
		h.lastWas, _ = s.Rank(h.taken[0].entry.Rank)
		out[e.Entry.Student] = h
	}
	return out, nil
}

// into fills in what an entry's case takes from the history: labels, what was
// weak last time, and what still stands from a "not yet" for the same rank. A
// mark of a requirement that is now measured otherwise stands no longer.
func (h *history) into(o *Outcome) {
	if h == nil {
		return
	}
	before := &decide.Before{}
	for _, p := range h.taken {
		before.Labels = append(before.Labels, p.decision.Label)
	}
	o.Case.Before = before
	last := h.taken[0]
	f, ok, err := thaw(&last.decision)
	if !ok || err != nil {
		return
	}
	before.Weak, before.WeakSections = f.Weak.Weak, f.Weak.WeakSections
	if last.entry.Rank != o.Entry.Rank || h.lastWas == nil {
		return
	}
	stands := false
	for _, k := range f.Stands {
		if !o.Judge.Takes(k, h.lastWas.Requirement(k.Requirement)) {
			k.Until = last.grading.Day // said on the page as no longer standing
		}
		stands = stands || o.Case.Day <= k.Until
		o.Case.Kept = append(o.Case.Kept, k)
	}
	if stands {
		o.Case.Retries = f.Retries + 1
	}
}

// shortAt says what an examiner of a rank is to look at closely: the
// requirements of that rank that fell short at the grading before this one and,
// where none is to be named, the sections in which something did.
func (h *history) shortAt(rank rankwright.RankID) (s Short) {
	if h == nil || h.lastWas == nil {
		return s
	}
	f, ok, err := thaw(&h.taken[0].decision)
	if !ok || err != nil {
		return s
	}
	var named []rankwright.SectionID // by their requirements
	for _, id := range f.Weak.Weak {
		if q := h.lastWas.Requirement(id); q != nil {
			named = append(named, q.Section)
		}
	}
	same := h.taken[0].entry.Rank == rank
	if same {
		s.Requirements = f.Weak.Weak
	} else {
		s.Sections = named
	}
	for _, id := range f.Weak.WeakSections {
		if !slices.Contains(named, id) {
			s.Sections = append(s.Sections, id)
		}
	}
	slices.Sort(s.Sections)
	s.Sections = slices.Compact(s.Sections)
	return s
}
