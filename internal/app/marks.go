package app

import (
	"context"
	"fmt"
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
}

// Sheet returns the scoring sheet of a rank. An examiner sees their own marks
// only, so that two examiners judge apart.
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
			if who.Role == Examiner && string(r.Examiner) != who.ID {
				continue
			}
			by[r.Entry] = append(by[r.Entry], r.Mark)
		}
		sh.Waived = map[rankwright.RequirementID]string{}
		for _, w := range sh.Grading.Waivers {
			if w.Rank == rank && w.Entry == "" {
				sh.Waived[w.Requirement] = w.Reason
			}
		}
		ix := scoring.NewIndex(sh.Rank)
		sh.Cards = map[rankwright.EntryID]*scoring.Card{}
		for _, e := range sh.Grading.Entries {
			if e.Rank != rank {
				continue
			}
			sh.Entries = append(sh.Entries, e)
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

// AddMarks puts marks into the log, and answers each one: stored, there
// already, or refused and why. One that is refused never stops the others.
func (a *App) AddMarks(ctx context.Context, who Actor, id rankwright.GradingID, marks []scoring.Mark) (answers []store.MarkStatus, err error) {
	if len(marks) > 2000 {
		return nil, rankwright.Faultf(rankwright.TooLarge, "too_many_marks", "send them in smaller batches", "a batch may hold at most 2000 marks, not %d", len(marks))
	}
	err = a.do(ctx, who, GiveMarks, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		v, err := a.grading(tx, id)
		if err != nil {
			return nil, err
		}
		clock, err := tx.MaxClock(id)
		if err != nil {
			return nil, err
		}
		answers = make([]store.MarkStatus, len(marks))
		var rows []store.MarkRow
		var places []int
		for i, m := range marks {
			if m.ID == "" { // from a page without a log of its own
				secret, err := a.secret(10)
				if err != nil {
					return nil, err
				}
				m.ID, m.Device, m.Seq = rankwright.MarkID("m-"+secret), rankwright.DeviceID("page-"+secret), 1
			}
			if m.Clock == 0 {
				clock++
				m.Clock = clock
			}
			if m.At == 0 {
				m.At = int64(a.moment())
			}
			m.Try = max(1, m.Try)
			answers[i].ID = m.ID
			if why := acceptable(v, who, &m); why != "" {
				answers[i].Refuse = why
				continue
			}
			rows = append(rows, store.MarkRow{Mark: m, Grading: id, Received: a.moment()})
			places = append(places, i)
		}
		stored, err := tx.AppendMarks(rows)
		if err != nil {
			return nil, err
		}
		count := map[string]int{}
		for k, st := range stored {
			answers[places[k]] = st
		}
		for _, st := range answers {
			switch {
			case st.Stored:
				count["stored"]++
			case st.Double:
				count["double"]++
			default:
				count["refused"]++
			}
		}
		return count, nil
	})
	return answers, err
}

// acceptable says why a mark cannot be taken, or "".
func acceptable(v GradingView, who Actor, m *scoring.Mark) string {
	at := slices.IndexFunc(v.Entries, func(e EntryView) bool { return e.Entry.ID == m.Entry })
	if at < 0 {
		return "this child is not entered in this grading"
	}
	e := v.Entries[at]
	k, _ := v.Syllabus.Rank(e.Rank)
	q := k.Requirement(m.Requirement)
	if q == nil {
		return fmt.Sprintf("%s is not asked for %s", m.Requirement, k.Name)
	}
	if m.Value.Sort == scoring.Number && !scoring.Can(q, m.Value.Num) {
		return fmt.Sprintf("%s cannot be the mark of %s", m.Value, q.Show)
	}
	if m.Value.Sort == scoring.Abstain && q.Kind != syllabus.Consent {
		return "only a vote can be an abstention"
	}
	if m.Try > q.Tries {
		return fmt.Sprintf("%s is marked on at most %d tries", q.Show, q.Tries)
	}
	if m.Examiner == "" || who.Role == Examiner {
		m.Examiner = rankwright.ExaminerID(who.ID)
	}
	p := slices.IndexFunc(v.Panel, func(x ExaminerView) bool { return x.Person == string(m.Examiner) })
	if p < 0 {
		return "only somebody on the panel of this grading gives marks"
	}
	if high := rankwright.RankID(v.Panel[p].HighestRank); high != "" {
		_, most := v.Syllabus.Rank(high)
		_, place := v.Syllabus.Rank(k.ID)
		if most >= 0 && place > most {
			return fmt.Sprintf("%s examines up to %s", v.Panel[p].Name, rankName(v.Syllabus, high))
		}
	}
	return ""
}
