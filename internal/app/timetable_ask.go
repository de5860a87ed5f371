package app

import (
	"context"
	"slices"
	"strings"
	"unicode/utf8"

	"rankwright"
	"rankwright/internal/store"
)

// Suits are the answers a family may give for a session, from the dearest to
// the one that rules it out. "best" is a yes that is wished for more than
// another yes.
var Suits = []string{"best", "yes", "if_need_be", "no"}

// SuitsOf is the answer of a family for a session, "" where it gave none.
func (f *Family) SuitsOf(session string) string {
	a, ok := f.Answers[session]
	switch {
	case !ok:
		return ""
	case a.Answer == "yes" && a.Wish > 0:
		return "best"
	}
	return a.Answer
}

// SetAnswer writes down whether a session suits a family; "" takes back what
// was written.
func (a *App) SetAnswer(ctx context.Context, who Actor, id rankwright.GradingID, household rankwright.HouseholdID, session, suits string) error {
	if suits != "" && !slices.Contains(Suits, suits) {
		return invalid("suits", "choose one of the answers", "a session cannot suit as %q", suits)
	}
	return a.do(ctx, who, TakeAnswers, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		t, f, err := a.familyAt(tx, id, household)
		if err != nil {
			return nil, err
		}
		if err := a.putAnswer(tx, who, t, household, session, suits); err != nil {
			return nil, err
		}
		return map[string]any{"entries": entryIDs(f), "session": session, "suits": suits}, touch(tx, id)
	})
}

// putAnswer keeps one answer of a family.
func (a *App) putAnswer(tx *store.Tx, who Actor, t *Timetable, household rankwright.HouseholdID, session, suits string) error {
	if t.Session(session) == nil {
		return noSession()
	}
	x := store.SessionAnswer{Household: household, Session: session, Answer: suits, By: who.ID, At: a.moment()}
	if suits == "best" {
		x.Answer, x.Wish = "yes", 1
	}
	return tx.PutSessionAnswer(x)
}

// familyAt is the timetable of a grading and one of its families.
func (a *App) familyAt(tx *store.Tx, id rankwright.GradingID, household rankwright.HouseholdID) (*Timetable, *Family, error) {
	t, err := a.timetable(tx, id)
	if err != nil {
		return nil, nil, err
	}
	f := t.Family(household)
	if f == nil {
		return nil, nil, noFamily()
	}
	return t, f, nil
}

func noFamily() error {
	return rankwright.Faultf(rankwright.NotFound, "no_family", "load the page again", "this family has nobody entered in this grading any more")
}

func noEntry() error {
	return rankwright.Faultf(rankwright.NotFound, "no_entry", "load the page again", "this student is not entered in this grading any more")
}

// entryIDs name a family in the audit, where a household's id might be a name.
func entryIDs(f *Family) (out []rankwright.EntryID) {
	for _, e := range f.Entries {
		out = append(out, e.Entry.ID)
	}
	return out
}

// SetCannotCome says that a child cannot come on the ordinary dates after all,
// for whatever reason, or can. A make-up date is left to them; nobody is moved
// by that alone.
func (a *App) SetCannotCome(ctx context.Context, who Actor, entry rankwright.EntryID, on_ bool) error {
	g, err := a.gradingOf(ctx, entry)
	if err != nil {
		return err
	}
	return a.do(ctx, who, TakeAnswers, on{"entry", string(entry), g}, func(tx *store.Tx) (any, error) {
		if err := tx.SetCannotCome(store.CannotCome{Entry: entry, By: who.ID, At: a.moment()}, on_); err != nil {
			return nil, err
		}
		if on_ {
			if err := tx.SetPlacementLock(store.PlacementLock{Entry: entry}, false); err != nil {
				return nil, err
			}
		}
		return map[string]bool{"cannot_come": on_}, touch(tx, g)
	})
}

// SetMoveAnswer writes down what a family said to a change of the time that it
// was told. change is Change.Key, or "any" for whatever change.
func (a *App) SetMoveAnswer(ctx context.Context, who Actor, id rankwright.GradingID, household rankwright.HouseholdID, change string, yes bool) error {
	return a.do(ctx, who, TakeAnswers, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		t, f, err := a.familyAt(tx, id, household)
		if err != nil {
			return nil, err
		}
		if change != AnyChange && !slices.ContainsFunc(t.Changes(), func(c Change) bool { return c.Family.ID == household && c.Key == change }) {
			return nil, rankwright.Faultf(rankwright.Conflict, "other_change", "load the page again and ask about the change as it is now", "the change for this family is not the one that they were asked about")
		}
		if err := tx.PutMoveAnswer(store.MoveAnswer{Grading: id, Household: household, Change: change, Yes: yes, By: who.ID, At: a.moment()}); err != nil {
			return nil, err
		}
		return map[string]any{"entries": entryIDs(f), "change": change, "yes": yes}, touch(tx, id)
	})
}

// AnyChange is the change of a family that agrees, or does not, to whatever
// other time.
const AnyChange = "any"

// ExaminerLimits are when and where an examiner can be had.
type ExaminerLimits struct {
	Mats []string
	Most int // sittings a day
	Row  int // sittings in a row
	Away []string
	Own  []rankwright.HouseholdID
}

// SetExaminerLimits writes when and where an examiner of the grading can be
// had, and whom they never examine. The households hold for every grading.
func (a *App) SetExaminerLimits(ctx context.Context, who Actor, id rankwright.GradingID, person string, l ExaminerLimits) error {
	switch {
	case l.Most < 0 || l.Most > 99:
		return invalid("most", "write 0 for any number, or up to 99", "an examiner cannot have %d sittings a day", l.Most)
	case l.Row < 0 || l.Row > 99:
		return invalid("row", "write 0 for any number, or up to 99", "an examiner cannot have %d sittings in a row", l.Row)
	}
	for i, m := range l.Mats {
		l.Mats[i] = strings.Join(strings.Fields(m), " ")
		if l.Mats[i] == "" || utf8.RuneCountInString(m) > 20 {
			return invalid("mats", "choose mats of the sittings", "there is no mat %q", m)
		}
	}
	return a.do(ctx, who, PlanTimes, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		t, err := a.timetable(tx, id)
		if err != nil {
			return nil, err
		}
		at := slices.IndexFunc(t.Examiners, func(x ExaminerTimes) bool { return x.Person == person })
		if at < 0 {
			return nil, rankwright.Faultf(rankwright.NotFound, "no_examiner", "choose who examines first", "this person is not on the panel of the grading")
		}
		if err := tx.PutExaminerTerms(store.ExaminerTerms{Grading: id, Person: person, Mats: l.Mats, Most: l.Most, Rest: l.Row}); err != nil {
			return nil, err
		}
		for _, s := range t.Sessions {
			if err := tx.SetExaminerAway(store.ExaminerAway{Person: person, Session: s.ID}, slices.Contains(l.Away, s.ID)); err != nil {
				return nil, err
			}
		}
		// Households without anybody at this grading are not on the page.
		own := slices.Clone(l.Own)
		for _, h := range t.Examiners[at].Own {
			if t.Family(h) == nil {
				own = append(own, h)
			}
		}
		if err := tx.PutOwnHouseholds(person, own); err != nil {
			return nil, err
		}
		return map[string]any{"person": person, "away": l.Away, "most": l.Most, "in_a_row": l.Row, "own_households": len(own)}, touch(tx, id)
	})
}

// ownEntries are the entries whom each examiner never examines: those of their
// own households.
func ownEntries(tx *store.Tx, id rankwright.GradingID) (map[rankwright.ExaminerID]map[rankwright.EntryID]bool, error) {
	own, err := tx.OwnEntries(id)
	out := map[rankwright.ExaminerID]map[rankwright.EntryID]bool{}
	for _, o := range own {
		x := rankwright.ExaminerID(o.Person)
		if out[x] == nil {
			out[x] = map[rankwright.EntryID]bool{}
		}
		out[x][o.Entry] = true
	}
	return out, err
}
