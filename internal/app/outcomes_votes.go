package app

import (
	"maps"
	"slices"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/scoring"
	"rankwright/syllabus"
)

// Votes says how many votes of a panel are in where they are not shown yet.
type Votes struct {
	Requirement rankwright.RequirementID
	In, Need    int
}

// Panelists are those of the grading's panel who may examine a rank.
func (v *GradingView) panelists(k *syllabus.Rank) (out []rankwright.ExaminerID) {
	_, place := v.Syllabus.Rank(k.ID)
	for _, x := range v.Panel {
		if _, most := v.Syllabus.Rank(rankwright.RankID(x.HighestRank)); most < 0 || place <= most {
			out = append(out, rankwright.ExaminerID(x.Person))
		}
	}
	return out
}

// votes is how many votes a student's panel has: the size that the rank asks
// for, or everybody of the grading's panel who may examine it.
func (v *GradingView) votes(k *syllabus.Rank) int {
	may, size := len(v.panelists(k)), 0
	for _, p := range k.Panel {
		size = max(size, p.Size)
	}
	if size > 0 {
		return min(size, may)
	}
	return may
}

// sealed says whether the votes of some are not shown yet to somebody: until
// all of the panel have voted. Once the grading is being decided the votes of
// any panel that the rank may have are enough, unless the one who asks is on
// the panel and has not voted: whoever is still to vote sees no other vote.
func (v *GradingView) sealed(k *syllabus.Rank, in []rankwright.ExaminerID, who Actor) bool {
	state := State(v.State)
	if len(in) == 0 || state == Closed || len(in) >= v.votes(k) {
		return false
	}
	me := rankwright.ExaminerID(who.ID)
	if state != Deciding || slices.Contains(v.panelists(k), me) && !slices.Contains(in, me) {
		return true
	}
	return len(k.Panel) > 0 && !slices.ContainsFunc(k.Panel, func(p syllabus.Panel) bool { return p.Size == len(in) })
}

// seal takes the votes out that somebody may not see yet, their own with them
// unless own is kept, and says of which there are some.
func (v *GradingView) seal(by map[rankwright.EntryID][]scoring.Mark, who Actor, own bool) map[rankwright.EntryID][]Votes {
	var out map[rankwright.EntryID][]Votes
	for _, e := range v.Entries {
		k, _ := v.Syllabus.Rank(e.Rank)
		if k == nil || !slices.ContainsFunc(k.Requirements, func(q syllabus.Requirement) bool { return q.Kind == syllabus.Consent }) {
			continue
		}
		card := scoring.NewIndex(k).Fold(by[e.Entry.ID])
		for i := range k.Requirements {
			q := &k.Requirements[i]
			if q.Kind != syllabus.Consent {
				continue
			}
			in := map[rankwright.ExaminerID]bool{}
			for _, s := range card.Seen[i] {
				in[s.Examiner] = true
			}
			if !v.sealed(k, slices.Collect(maps.Keys(in)), who) {
				continue
			}
			by[e.Entry.ID] = slices.DeleteFunc(slices.Clone(by[e.Entry.ID]), func(m scoring.Mark) bool {
				return m.Requirement == q.ID && !(own && string(m.Examiner) == who.ID)
			})
			if out == nil {
				out = map[rankwright.EntryID][]Votes{}
			}
			out[e.Entry.ID] = append(out[e.Entry.ID], Votes{q.ID, len(in), v.votes(k)})
		}
	}
	return out
}

// judgeFor is judge as somebody may see it: of a panel whose votes are still
// sealed to them none counts.
func (a *App) judgeFor(tx *store.Tx, v GradingView, who Actor) ([]Outcome, error) {
	by, err := marksOf(tx, v)
	if err != nil {
		return nil, err
	}
	sealed := v.seal(by, who, false)
	out, err := a.judgeBy(tx, v, by)
	for i := range out {
		out[i].Sealed = sealed[out[i].Entry.Entry.ID]
	}
	return out, err
}

// unsealed are the marks of one entry without the votes that somebody may not
// see yet.
func (a *App) unsealed(tx *store.Tx, e store.Entry, marks []store.MarkRow, who Actor) ([]store.MarkRow, error) {
	v, err := a.grading(tx, e.Grading)
	if err != nil {
		return nil, err
	}
	v.Entries = slices.DeleteFunc(v.Entries, func(x EntryView) bool { return x.Entry.ID != e.ID })
	by := map[rankwright.EntryID][]scoring.Mark{}
	for _, m := range marks {
		by[e.ID] = append(by[e.ID], m.Mark)
	}
	for _, s := range v.seal(by, who, true)[e.ID] {
		marks = slices.DeleteFunc(marks, func(m store.MarkRow) bool {
			return m.Requirement == s.Requirement && string(m.Examiner) != who.ID
		})
	}
	return marks, nil
}
