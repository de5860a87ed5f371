package app

import (
	"context"
	"slices"
	"strings"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/ready"
	"rankwright/roster"
	"rankwright/syllabus"
)

// Candidate is a student and whether they may enter for their next rank.
type Candidate struct {
	Student roster.Student
	Rank    *syllabus.Rank
	Answer  ready.Answer
	Entry   *store.Entry // where they are entered
	// Held is an entry at a signed grading that showed this rank and waits
	// only for a clearance; "" where there is none.
	Held rankwright.EntryID
}

// Candidates lists every student of the grading's ladder whose next rank is
// examined, with yes, or no and the reasons.
func (a *App) Candidates(ctx context.Context, who Actor, id rankwright.GradingID) (out []Candidate, err error) {
	err = a.see(ctx, who, EnterStudents, on{kind: "grading", id: string(id)}, func(tx *store.Tx) error {
		v, err := a.grading(tx, id)
		if err != nil {
			return err
		}
		all, err := students(tx)
		if err != nil {
			return err
		}
		byName(all)
		for _, st := range all {
			if st.Ladder != v.Syllabus.Ladder {
				continue
			}
			k := v.Syllabus.Next(st.Rank)
			for i := range v.Entries {
				if v.Entries[i].Entry.Student == st.ID {
					k, _ = v.Syllabus.Rank(v.Entries[i].Rank)
				}
			}
			if k == nil || !slices.Contains(v.Ranks, k.ID) {
				continue
			}
			c := Candidate{Student: st, Rank: k}
			for i := range v.Entries {
				if v.Entries[i].Entry.Student == st.ID {
					c.Entry = &v.Entries[i].Entry
				}
			}
			if c.Held, err = heldAt(tx, st.ID, k.ID); err != nil {
				return err
			}
			if c.Answer, err = a.admit(tx, v.Syllabus, st, k.ID, v.Day, v.ID); err != nil {
				return err
			}
			out = append(out, c)
		}
		return nil
	})
	return out, err
}

// heldAt finds the latest entry of a student whose promotion to the rank is
// signed and held.
func heldAt(tx *store.Tx, id rankwright.StudentID, rank rankwright.RankID) (rankwright.EntryID, error) {
	entries, err := tx.EntriesOf(id)
	if err != nil {
		return "", err
	}
	held := rankwright.EntryID("")
	for _, e := range entries {
		if e.Rank != rank {
			continue
		}
		d, err := tx.Decision(e.ID)
		if rankwright.KindOf(err) == rankwright.NotFound && err != nil {
			continue
		}
		if err != nil {
			return "", err
		}
		if d.Outcome == syllabus.Held.String() {
			held = e.ID
		}
	}
	return held, nil
}

// admit asks the rules whether a student may enter. Clearances before entry
// are those met on an entry of this grading.
func (a *App) admit(tx *store.Tx, s *syllabus.Syllabus, st roster.Student, rank rankwright.RankID, day rankwright.Day, grading rankwright.GradingID) (ready.Answer, error) {
	standing := ready.Standing{Ladder: st.Ladder, Rank: st.Rank, Since: st.RankSince, Classes: st.ClassesSinceRank}
	lines, err := tx.LedgerOf(st.ID)
	if err != nil {
		return ready.Answer{}, err
	}
	for _, l := range lines {
		standing.History = append(standing.History, ready.Given{Rank: l.Rank, On: l.Day})
	}
	entries, err := tx.EntriesOf(st.ID)
	if err != nil {
		return ready.Answer{}, err
	}
	for _, e := range entries {
		if e.Grading == grading {
			cl, err := tx.ClearancesOf(e.ID)
			if err != nil {
				return ready.Answer{}, err
			}
			met := map[rankwright.ClearanceID]bool{}
			for _, c := range cl {
				met[c.Clearance] = c.Met
			}
			for _, c := range s.Clearances {
				if met[c.ID] {
					standing.Cleared = append(standing.Cleared, c.ID)
				}
			}
			continue
		}
		d, err := tx.Decision(e.ID)
		if err != nil {
			if rankwright.KindOf(err) == rankwright.NotFound {
				continue
			}
			return ready.Answer{}, err
		}
		g, err := tx.Grading(e.Grading)
		if err != nil {
			return ready.Answer{}, err
		}
		if o, ok := syllabus.ParseOutcome(d.Outcome); ok && State(g.State) == Closed {
			standing.Results = append(standing.Results, ready.Result{Rank: e.Rank, On: g.Day, Outcome: o, Label: d.Label})
		}
	}
	return ready.Admit(ready.Question{Syllabus: s, Rank: rank, Born: st.BirthDate, Standing: standing, On: day})
}

// Enter enters students for their next rank. Every one must be allowed to; if
// one is not, nobody is entered and the fault says who and why.
func (a *App) Enter(ctx context.Context, who Actor, id rankwright.GradingID, students []rankwright.StudentID) error {
	return a.do(ctx, who, EnterStudents, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		for _, sid := range students {
			if err := a.enter(tx, who, id, sid, ""); err != nil {
				return nil, err
			}
		}
		return map[string]any{"students": students}, nil
	})
}

// EnterAnyway enters one student whom the rules do not allow in, with the
// head instructor's reason.
func (a *App) EnterAnyway(ctx context.Context, who Actor, id rankwright.GradingID, student rankwright.StudentID, reason string) error {
	if reason = strings.TrimSpace(reason); reason == "" {
		return invalid("reason", "write why, in a sentence that would stand up when another parent asks", "an entry against the rule needs a reason")
	}
	return a.do(ctx, who, Overrule, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		return map[string]any{"student": student, "what": "against the rule; the reason is kept with the entry"}, a.enter(tx, who, id, student, reason)
	})
}

func (a *App) enter(tx *store.Tx, who Actor, id rankwright.GradingID, sid rankwright.StudentID, reason string) error {
	g, s, err := a.askedAt(tx, id)
	if err != nil {
		return err
	}
	st, err := student(tx, sid)
	if err != nil {
		return err
	}
	k := s.Next(st.Rank)
	if st.Ladder != s.Ladder || k == nil || !slices.Contains(g.Ranks, k.ID) {
		return rankwright.Faultf(rankwright.Conflict, "not_examined", "add the rank to the grading, or correct the student's rank", "%s's next rank is not examined at this grading", st.FullName())
	}
	old, err := tx.EntriesOf(sid)
	if err != nil {
		return err
	}
	if slices.ContainsFunc(old, func(e store.Entry) bool { return e.Grading == id }) {
		return nil
	}
	answer, err := a.admit(tx, s, st, k.ID, g.Day, id)
	if err != nil {
		return err
	}
	eid, err := a.newID("e")
	if err != nil {
		return err
	}
	e := store.Entry{ID: rankwright.EntryID(eid), Grading: id, Student: sid, Rank: k.ID, Squad: 1, Presence: "expected"}
	if !answer.Yes {
		if reason == "" {
			return rankwright.Faultf(rankwright.Conflict, "not_admitted", "wait until the rule says yes, or let the head instructor overrule it with a reason",
				"%s may not enter for %s yet", st.FullName(), k.Name)
		}
		e.OverruledBy, e.OverruleWhy, e.OverruledAt = who.ID, reason, a.moment()
	}
	return tx.PutEntry(e)
}

// Withdraw takes an entry back that has no marks yet.
func (a *App) Withdraw(ctx context.Context, who Actor, entry rankwright.EntryID) error {
	g, err := a.gradingOf(ctx, entry)
	if err != nil {
		return err
	}
	return a.do(ctx, who, EnterStudents, on{"entry", string(entry), g}, func(tx *store.Tx) (any, error) {
		if err := a.cancelTime(tx, g, entry); err != nil {
			return nil, err
		}
		return nil, tx.RemoveEntry(entry)
	})
}

func (a *App) gradingOf(ctx context.Context, entry rankwright.EntryID) (g rankwright.GradingID, err error) {
	err = a.st.Read(ctx, func(tx *store.Tx) error {
		e, err := tx.Entry(entry)
		g = e.Grading
		return err
	})
	return g, err
}

// Presences are what can be said of a candidate on the day.
var Presences = []string{"expected", "present", "absent", "unwell", "stopped"}

// SetPresence says that a candidate is there, is not, is unwell, or was
// stopped for safety.
func (a *App) SetPresence(ctx context.Context, who Actor, entry rankwright.EntryID, presence string) error {
	if !slices.Contains(Presences, presence) {
		return invalid("presence", "choose one of the answers", "a candidate cannot be %q", presence)
	}
	return a.checkIn(ctx, who, entry, presence, false)
}

// SetClearance says that a clearance of an entry is met, or is not after all.
func (a *App) SetClearance(ctx context.Context, who Actor, entry rankwright.EntryID, id rankwright.ClearanceID, met bool) error {
	g, err := a.gradingOf(ctx, entry)
	if err != nil {
		return err
	}
	return a.do(ctx, who, SettleClear, on{"entry", string(entry), g}, func(tx *store.Tx) (any, error) {
		_, s, err := a.askedAt(tx, g)
		if err != nil {
			return nil, err
		}
		if s.Clearance(id) == nil {
			return nil, invalid("clearance", "choose one of the syllabus's", "there is no clearance %q", id)
		}
		if met && who.Role != Owner {
			if talk, err := talkFirst(tx, g, entry, id); err != nil {
				return nil, err
			} else if talk {
				return nil, rankwright.Faultf(rankwright.Conflict, "ask_first", "ask the head instructor", "only the head instructor can settle this one")
			}
		}
		return map[string]any{"clearance": id, "met": met}, tx.AddClearance(store.ClearanceRecord{Entry: entry, Clearance: id, Met: met, By: who.ID, At: a.moment()})
	})
}
