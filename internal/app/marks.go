package app

import (
	"context"
	"slices"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/scoring"
	"rankwright/syllabus"
)

// Sheet is what the scoring page shows: entries of one rank, requirements,
// and every mark that counts.
type Sheet struct {
	Grading GradingView
	Rank    *syllabus.Rank
	Entries []EntryView
	Cards   map[rankwright.EntryID]*scoring.Card
	Waived  map[rankwright.RequirementID]string // with the reason
	Clock   int64                               // the largest logical clock seen
	Given   int                                 // requirements of entries with a mark
	Asked   int                                 // requirements of entries that need one
	Sealed  map[rankwright.EntryID][]Votes      // votes that are in and are not shown yet
	Short   map[rankwright.EntryID]Short        // of those of whom something fell short last time
	// Stations are where the rank is examined, in the order of the round.
	Stations []StationRow
}

// Short is what fell short at a student's latest grading before this one, and
// no more of it than an examiner needs.
type Short struct {
	Requirements []rankwright.RequirementID // where it was for the same rank
	Sections     []rankwright.SectionID
}

// Sheet returns the scoring sheet of a rank. An examiner sees their own marks
// only, so that two examiners judge apart; the votes of a panel all see when
// all of it have voted, and nobody before.
func (a *App) Sheet(ctx context.Context, who Actor, id rankwright.GradingID, rank rankwright.RankID) (sh Sheet, err error) {
	if sh.Grading, err = a.Grading(ctx, who, id); err != nil {
		return sh, err
	}
	if sh.Rank, _ = sh.Grading.Syllabus.Rank(rank); sh.Rank == nil {
		return sh, rankwright.Faultf(rankwright.NotFound, "unknown_rank", "choose one of the ranks of the grading", "the grading has no rank %q", rank)
	}
	err = a.see(ctx, who, SeeMarks, on{kind: "grading", id: string(id)}, func(tx *store.Tx) error {
		rows, err := tx.MarksOfGrading(id)
		if err != nil {
			return err
		}
		by := map[rankwright.EntryID][]scoring.Mark{}
		for _, r := range rows {
			sh.Clock = max(sh.Clock, r.Clock)
			own := who.Role != Examiner || string(r.Examiner) == who.ID
			if q := sh.Rank.Requirement(r.Requirement); own || q != nil && q.Kind == syllabus.Consent {
				by[r.Entry] = append(by[r.Entry], r.Mark)
			}
		}
		sh.Sealed = sh.Grading.seal(by, who, true)
		set, err := tx.Stations(id)
		if err != nil {
			return err
		}
		sh.Stations = sheetStations(set, sh.Grading.Syllabus, sh.Rank)
		sh.Waived = map[rankwright.RequirementID]string{}
		for _, w := range sh.Grading.Waivers {
			if w.Rank == rank && w.Entry == "" {
				sh.Waived[w.Requirement] = w.Reason
			}
		}
		ofRank := sh.Grading
		ofRank.Entries = slices.DeleteFunc(slices.Clone(sh.Grading.Entries), func(e EntryView) bool { return e.Rank != rank })
		past, err := a.lookBack(tx, ofRank)
		if err != nil {
			return err
		}
		sh.Short = map[rankwright.EntryID]Short{}
		ix := scoring.NewIndex(sh.Rank)
		sh.Cards = map[rankwright.EntryID]*scoring.Card{}
		for _, e := range sh.Grading.Entries {
			if e.Rank != rank {
				continue
			}
			sh.Entries = append(sh.Entries, e)
			if x := past[e.Entry.Student].shortAt(rank); len(x.Requirements)+len(x.Sections) > 0 {
				sh.Short[e.Entry.ID] = x
			}
			card := ix.Fold(by[e.Entry.ID])
			sh.Cards[e.Entry.ID] = card
			for i, q := range sh.Rank.Requirements {
				if _, w := sh.Waived[q.ID]; w || q.Bonus {
					continue
				}
				sh.Asked++
				if len(card.Seen[i]) > 0 {
					sh.Given++
				}
			}
		}
		return nil
	})
	return sh, err
}
