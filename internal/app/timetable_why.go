package app

import (
	"context"
	"slices"
	"strings"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/timetable"
)

// Why says why somebody waits, and what would help.
type Why struct {
	Say      []string // sentences
	Remedies []Remedy
}

// Remedy is a change of which it was tried that it helps.
type Remedy struct {
	timetable.Remedy
	Household rankwright.HouseholdID // to be asked, "" where none is
	Say       string                 // what to do, without a full stop
}

// How long the search for a reason may take: a page waits for it.
const (
	whyRounds = 1500
	whyNodes  = 20_000
)

// Why says why an entry waits in the plan that stands.
func (t *Timetable) Why(entry rankwright.EntryID) (*Why, error) {
	q, err := t.problem(agreed)
	if err != nil {
		return nil, err
	}
	return q.why(entry)
}

func (q *problem) why(entry rankwright.EntryID) (*Why, error) {
	who, err := q.find([]rankwright.EntryID{entry})
	if err != nil {
		return nil, err
	}
	x := timetable.Explain(q.Prepared, q.read(q.t.Current()), who[0], timetable.Judge(whyRounds, whyNodes), uint64(q.t.Seed), whyRounds)
	out := &Why{}
	out.Say = []string{q.SayWhy(x)}
	if x.Dear && x.More <= 0 {
		out.Say = []string{q.Problem.Entries[who[0]].Name + " can be placed as things stand. Choose where to, or let it be planned anew."}
	}
	if !x.Proven {
		out.Say = append(out.Say, "This was found by search and is not proven.")
	}
	for _, r := range x.Remedies {
		m := Remedy{Remedy: r, Say: q.SayRemedy(r)}
		if r.Household >= 0 {
			h := q.Problem.Households[r.Household].ID
			if e, ok := strings.CutPrefix(string(h), "apart:"); ok {
				if _, f := q.t.Entry(rankwright.EntryID(e)); f != nil {
					h = f.ID
				}
			}
			m.Household = h
		}
		out.Remedies = append(out.Remedies, m)
	}
	return out, nil
}

// Help does what a remedy says that Why named for an entry, by its number and
// its words: where something changed meanwhile, nothing is done.
func (a *App) Help(ctx context.Context, who Actor, id rankwright.GradingID, entry rankwright.EntryID, no int, say string) error {
	return a.do(ctx, who, PlanTimes, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		t, err := a.timetable(tx, id)
		if err != nil {
			return nil, err
		}
		q, err := t.problem(agreed)
		if err != nil {
			return nil, err
		}
		why, err := q.why(entry)
		if err != nil {
			return nil, err
		}
		if no < 0 || no >= len(why.Remedies) || !strings.EqualFold(why.Remedies[no].Say, strings.TrimSuffix(say, ".")) {
			return nil, rankwright.Faultf(rankwright.Conflict, "other_remedy", "load the page again and look at what would help now", "what would help is something else now")
		}
		r := why.Remedies[no]
		if err := a.help(tx, t, q, r); err != nil {
			return nil, err
		}
		return map[string]any{"entry": entry, "remedy": r.Kind}, touch(tx, id)
	})
}

func (a *App) help(tx *store.Tx, t *Timetable, q *problem, r Remedy) error {
	var s Sitting
	if r.Sitting >= 0 {
		s = t.Sittings[r.Sitting]
	}
	switch r.Kind {
	case timetable.OpenSitting:
		s.Lost = false
	case timetable.RaiseMost:
		s.Most += r.By
	case timetable.LowerLeast:
		s.Least -= r.By
	case timetable.WidenRanks:
		s.Mixed = max(1, r.By)
		if len(s.Ranks) > 0 && r.Rank != "" && !slices.Contains(s.Ranks, r.Rank) {
			s.Ranks = append(slices.Clone(s.Ranks), r.Rank)
		}
	case timetable.AddSitting:
		n := r.New
		like := slices.IndexFunc(t.Sittings, func(o Sitting) bool { return o.Session == string(n.Session) && o.Mat == string(n.Mat) })
		if like >= 0 {
			s = t.Sittings[like]
		} else {
			s = LikeUsual()
		}
		id, err := a.newID("w")
		if err != nil {
			return err
		}
		s.ID, s.Session, s.Mat, s.Begins, s.Minutes, s.Least, s.Most, s.Panel, s.Mixed, s.Ranks, s.Lost =
			id, string(n.Session), string(n.Mat), int(n.Start), n.Minutes, n.Least, n.Most, n.Panel, max(1, n.Width), n.Ranks, false
	case timetable.AskPresence:
		return tx.SetExaminerAway(store.ExaminerAway{Person: t.Examiners[r.Examiner].Person, Session: t.Sessions[r.Session].ID}, false)
	case timetable.UnlockEntry:
		return tx.SetPlacementLock(store.PlacementLock{Entry: q.Problem.Entries[r.Entry].ID}, false)
	case timetable.FindExaminer:
		return rankwright.Faultf(rankwright.Conflict, "find_first", "enter them among the people, and say in which sessions they are there", "somebody has to be found first")
	default:
		return rankwright.Faultf(rankwright.Conflict, "ask_first", "ask the family, and write down what they say", "this is the family's to say")
	}
	if err := checkSitting(&s); err != nil {
		return err
	}
	if err := a.freeMats(tx, t.Grading.ID, *t.Session(s.Session), []Sitting{s}); err != nil {
		return err
	}
	return tx.PutSitting(s)
}
