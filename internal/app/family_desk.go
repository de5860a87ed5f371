package app

import (
	"context"
	"slices"

	"rankwright"
	"rankwright/internal/store"
)

// FamiliesView is a grading's families as the desk sees them.
type FamiliesView struct {
	Grading  GradingView
	Sessions []Session
	List     []FamilyAtDesk
	Sheets   int // how many sheets families may sign
}

// FamilyAtDesk is one family with its link and what it answered.
type FamilyAtDesk struct {
	Family
	// Link is the latest of the links that work, nil where there is none. Its
	// day of use is the last on which any of them was used.
	Link   *FamilyLink
	Links  int    // that work: a message brings one of its own
	Secret string // what opens one of them, for half an hour after it was made
	Ends   rankwright.Day
	Signed int // sheets signed or settled
	Of     int
	// Talk lists the children about whom the family wants to talk first, and
	// Waits counts its questions without an answer. Only the head instructor
	// sees them.
	Talk  []Talk
	Waits int
	Shown int // children whose results the family may see
}

// Talk is a sheet about which a family wants to talk first.
type Talk struct {
	Given, Sheet string
	At           store.Moment
}

// Families lists the families of a grading with their links and answers.
func (a *App) Families(ctx context.Context, who Actor, id rankwright.GradingID) (v FamiliesView, err error) {
	err = a.see(ctx, who, SeeFamilies, on{kind: "grading", id: string(id)}, func(tx *store.Tx) error {
		v, err = a.families(tx, who, id)
		return err
	})
	return v, err
}

func (a *App) families(tx *store.Tx, who Actor, id rankwright.GradingID) (v FamiliesView, err error) {
	t, err := a.timetable(tx, id)
	if err != nil {
		return v, err
	}
	v.Grading, v.Sessions = t.Grading, t.Sessions
	links, err := tx.FamilyLinks(id)
	if err != nil {
		return v, err
	}
	messages, err := tx.FamilyMessages(id)
	if err != nil {
		return v, err
	}
	shown, err := tx.ResultsShown(id)
	if err != nil {
		return v, err
	}
	s, err := a.signedAt(tx, t.Grading)
	if err != nil {
		return v, err
	}
	v.Sheets = len(s.sheets)
	for _, f := range t.Families {
		x := FamilyAtDesk{Family: f}
		for i := range links {
			l := links[i]
			if l.Household != f.ID || !a.lives(l, t.Grading.Grading) {
				continue
			}
			x.Links++
			if x.Link != nil {
				l.Used = max(l.Used, x.Link.Used)
			}
			x.Link, x.Ends = &l, max(x.Ends, linkEnds(l, t.Grading.Grading))
			if s := a.fresh.get(l.ID, a.now()); s != "" && who.Role.May(MakeLinks) {
				x.Secret = s
			}
		}
		for i := range f.Entries {
			e := &f.Entries[i]
			for _, sheet := range s.of(t.Grading, e) {
				x.Of++
				switch {
				case sheet.State == Signed || sheet.State == "settled":
					x.Signed++
				case sheet.State == TalkFirst && who.Role.May(AnswerFamilies):
					x.Talk = append(x.Talk, Talk{e.Student.GivenName, sheet.Name, sheet.Last.At})
				}
			}
			if slices.ContainsFunc(shown, func(r store.ResultShown) bool { return r.Entry == e.Entry.ID }) {
				x.Shown++
			}
		}
		if who.Role.May(AnswerFamilies) {
			x.Waits = waits(slices.DeleteFunc(slices.Clone(messages), func(m FamilyMessage) bool { return m.Household != f.ID }))
		}
		v.List = append(v.List, x)
	}
	return v, nil
}

// Calls counts the families that wait for the head instructor.
type Calls struct {
	Questions int // with a question that is not answered
	Talks     int // that would rather talk before they sign
}

// FamilyCalls counts who waits for the head instructor at a grading.
func (a *App) FamilyCalls(ctx context.Context, who Actor, id rankwright.GradingID) (c Calls, err error) {
	err = a.see(ctx, who, AnswerFamilies, on{kind: "grading", id: string(id)}, func(tx *store.Tx) error {
		messages, err := tx.FamilyMessages(id)
		if err != nil {
			return err
		}
		said, err := tx.Signatures(id)
		if err != nil || len(messages)+len(said) == 0 {
			return err
		}
		v, err := a.families(tx, who, id)
		for _, x := range v.List {
			c.Questions += min(x.Waits, 1)
			c.Talks += min(len(x.Talk), 1)
		}
		return err
	})
	return c, err
}

// ShowResults lets a family see the results of its children in a signed
// grading, or no longer; without a household all families. Parents who are to
// hear it from the head instructor first are left for later.
func (a *App) ShowResults(ctx context.Context, who Actor, id rankwright.GradingID, household rankwright.HouseholdID, show bool) error {
	return a.do(ctx, who, ShowResults, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		t, err := a.timetable(tx, id)
		if err != nil {
			return nil, err
		}
		if household != "" && t.Family(household) == nil {
			return nil, noFamily()
		}
		var entries []rankwright.EntryID
		for i := range t.Families {
			f := &t.Families[i]
			if household != "" && f.ID != household {
				continue
			}
			for _, e := range f.Entries {
				if err := tx.ShowResult(store.ResultShown{Entry: e.Entry.ID, By: who.ID, At: a.moment()}, show); err != nil {
					return nil, err
				}
				entries = append(entries, e.Entry.ID)
			}
		}
		return map[string]any{"entries": entries, "show": show}, nil
	})
}

// familyExport adds what the family said for a child. That it would rather
// talk first is for the head instructor alone, and so are its questions.
func familyExport(tx *store.Tx, who Actor, e *Export) error {
	said, err := tx.SignaturesOf(e.Student.ID)
	if err != nil {
		return err
	}
	for _, s := range said {
		if s.Said != TalkFirst || who.Role.May(AnswerFamilies) {
			e.Signatures = append(e.Signatures, s)
		}
	}
	off, err := tx.OffTheDoor()
	if err != nil {
		return err
	}
	e.OffTheDoor = slices.ContainsFunc(off, func(o store.OffTheDoor) bool { return o.Student == e.Student.ID })
	h := householdOf(&EntryView{Student: e.Student})
	for _, en := range e.Entries {
		if who.Role.May(AnswerFamilies) {
			thread, err := threadOf(tx, en.Grading, h)
			if err != nil {
				return err
			}
			e.Asked = append(e.Asked, thread...)
		}
		messages, err := tx.Messages(en.Grading)
		if err != nil {
			return err
		}
		e.Messages = append(e.Messages, slices.DeleteFunc(messages, func(m Message) bool { return m.Household != h || m.State == Draft })...)
		note, err := tx.FamilyNotes(en.Grading)
		if err != nil {
			return err
		}
		e.Notes = append(e.Notes, slices.DeleteFunc(note, func(n store.FamilyNote) bool { return n.Household != h })...)
	}
	return nil
}
