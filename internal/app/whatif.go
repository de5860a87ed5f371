package app

import (
	"context"
	"slices"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/syllabus"
)

// WhatIf is what a draft would have made of earlier gradings.
type WhatIf struct {
	Draft    store.Version
	Latest   *store.Version // the published version it is held against, nil where there is none
	Gradings []WhatIfGrading
}

// WhatIfGrading is one earlier grading judged again.
type WhatIfGrading struct {
	Grading store.Grading
	Judged  int // entries that the draft can judge
	Left    int // entries whose rank the draft does not have
	// NotMarked are requirements of the draft that nobody was marked on then;
	// they are left out of the comparison.
	NotMarked []string
	Changed   []WhatIfEntry
}

// WhatIfEntry is an outcome that would have been another.
type WhatIfEntry struct {
	Entry             EntryView
	Rank              *syllabus.Rank
	Was, Would        syllabus.Outcome // by the rule, the head instructor's own decisions aside
	WasLabel, IsLabel string
}

// TryDraft judges every signed grading of a ladder again by the ladder's
// draft, and says which outcomes would have been others. Nothing is changed.
func (a *App) TryDraft(ctx context.Context, who Actor, ladder rankwright.LadderID) (out WhatIf, err error) {
	err = a.see(ctx, who, EditSyllabus, on{kind: "ladder", id: string(ladder)}, func(tx *store.Tx) error {
		if out.Draft, err = tx.Draft(ladder); err != nil {
			return err
		}
		draft, err := a.parse(out.Draft)
		if err != nil {
			return err
		}
		versions, err := tx.Versions(ladder)
		if err != nil {
			return err
		}
		mine := map[string]bool{}
		for i := range versions {
			mine[versions[i].ID] = true
			out.Latest = &versions[i]
		}
		gradings, err := tx.Gradings()
		if err != nil {
			return err
		}
		for _, g := range gradings {
			if State(g.State) != Closed || !mine[g.Version] {
				continue
			}
			x, err := a.tryOn(tx, g, draft)
			if err != nil {
				return err
			}
			out.Gradings = append(out.Gradings, x)
		}
		slices.SortStableFunc(out.Gradings, func(x, y WhatIfGrading) int { return int(y.Grading.Day) - int(x.Grading.Day) })
		return nil
	})
	return out, err
}

func (a *App) tryOn(tx *store.Tx, g store.Grading, draft *syllabus.Syllabus) (out WhatIfGrading, err error) {
	out.Grading = g
	v, err := a.grading(tx, g.ID)
	if err != nil {
		return out, err
	}
	was, err := a.judge(tx, v)
	if err != nil {
		return out, err
	}
	rows, err := tx.MarksOfGrading(g.ID)
	if err != nil {
		return out, err
	}
	type asked struct {
		rank rankwright.RankID
		id   rankwright.RequirementID
	}
	rankOf := map[rankwright.EntryID]rankwright.RankID{}
	for _, e := range v.Entries {
		rankOf[e.Entry.ID] = e.Rank
	}
	marked := map[asked]bool{}
	for _, r := range rows {
		marked[asked{rankOf[r.Entry], r.Requirement}] = true
	}
	then := v
	then.Syllabus, then.Entries, then.Waivers = draft, nil, nil
	for _, e := range v.Entries {
		if k, _ := draft.Rank(e.Rank); k != nil {
			then.Entries = append(then.Entries, e)
		} else {
			out.Left++
		}
	}
	for _, w := range v.Waivers {
		if k, _ := draft.Rank(w.Rank); k != nil && k.Requirement(w.Requirement) != nil {
			then.Waivers = append(then.Waivers, w)
		}
	}
	for i := range draft.Ranks {
		k := &draft.Ranks[i]
		if !slices.ContainsFunc(then.Entries, func(e EntryView) bool { return e.Rank == k.ID }) {
			continue
		}
		for _, q := range k.Requirements {
			if !marked[asked{k.ID, q.ID}] && !q.Bonus {
				then.Waivers = append(then.Waivers, store.Waiver{Grading: g.ID, Rank: k.ID, Requirement: q.ID})
				if !slices.ContainsFunc(v.Waivers, func(w store.Waiver) bool { return w.Rank == k.ID && w.Requirement == q.ID }) {
					out.NotMarked = append(out.NotMarked, q.Show)
				}
			}
		}
	}
	would, err := a.judge(tx, then)
	if err != nil {
		return out, err
	}
	out.Judged = len(would)
	for i := range would {
		w := &would[i]
		at := slices.IndexFunc(was, func(o Outcome) bool { return o.Entry.Entry.ID == w.Entry.Entry.ID })
		if o := &was[at]; o.Verdict.Outcome != w.Verdict.Outcome || o.Verdict.Label != w.Verdict.Label {
			out.Changed = append(out.Changed, WhatIfEntry{w.Entry, w.Rank, o.Verdict.Outcome, w.Verdict.Outcome, o.Verdict.Label, w.Verdict.Label})
		}
	}
	return out, nil
}
