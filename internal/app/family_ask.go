package app

import (
	"context"
	"slices"
	"strings"
	"unicode/utf8"

	"rankwright"
	"rankwright/internal/store"
)

const (
	mostOfNote     = 300  // characters
	mostOfQuestion = 1000 // characters
	mostWaiting    = 10   // questions of one family without an answer
)

// FamilyWishes keeps what suits a family, session by session, and its note. A
// session that is not in suits stays as it was.
func (a *App) FamilyWishes(ctx context.Context, who Actor, suits map[string]string, note string) error {
	note = strings.TrimSpace(strings.ReplaceAll(note, "\r\n", "\n"))
	if utf8.RuneCountInString(note) > mostOfNote {
		return invalid("note", "write it in at most 300 characters", "the note is too long")
	}
	return a.do(ctx, who, AnswerOwn, who.own(), func(tx *store.Tx) (any, error) {
		t, f, err := a.familyAt(tx, who.Only, who.household)
		if err != nil {
			return nil, err
		}
		changed := 0
		for _, s := range t.Sessions {
			now, ok := suits[s.ID]
			if !ok || now == f.SuitsOf(s.ID) {
				continue
			}
			if now != "" && !slices.Contains(Suits, now) {
				return nil, invalid("suits", "choose one of the answers", "a session cannot suit as %q", now)
			}
			if err := a.putAnswer(tx, who, t, who.household, s.ID, now); err != nil {
				return nil, err
			}
			changed++
		}
		if f.Note != note {
			if err := tx.PutFamilyNote(store.FamilyNote{Grading: who.Only, Household: who.household, Body: note, At: a.moment()}); err != nil {
				return nil, err
			}
		}
		detail := map[string]any{"entries": entryIDs(f), "answers": changed, "note": f.Note != note}
		if changed == 0 {
			return detail, nil
		}
		return detail, touch(tx, who.Only)
	})
}

// AskMoves puts the changes of the draft that need a yes before their families,
// on their own pages; the others stay with the school. It returns how many are
// asked anew.
func (a *App) AskMoves(ctx context.Context, who Actor, id rankwright.GradingID) (asked int, err error) {
	err = a.do(ctx, who, TakeAnswers, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		t, err := a.timetable(tx, id)
		if err != nil {
			return nil, err
		}
		asked = 0
		for _, c := range t.Changes() {
			if !c.Needs || c.Said != "" || c.Asked {
				continue
			}
			if err := tx.PutMoveAsk(store.MoveAsk{Grading: id, Household: c.Family.ID, Change: c.Key, By: who.ID, At: a.moment()}); err != nil {
				return nil, err
			}
			asked++
		}
		return map[string]int{"asked_on_their_pages": asked}, nil
	})
	return asked, err
}

// askedMove is the change about which a family was asked, as long as the draft
// has it.
func (t *Timetable) askedMove(h rankwright.HouseholdID) *Change {
	for _, c := range t.Changes() {
		if c.Family.ID == h && c.Needs && c.Asked {
			return &c
		}
	}
	return nil
}

// AnswerMove keeps a family's yes or no to the change about which it was asked.
func (a *App) AnswerMove(ctx context.Context, who Actor, key string, yes bool) error {
	return a.do(ctx, who, AnswerOwn, who.own(), func(tx *store.Tx) (any, error) {
		t, err := a.timetable(tx, who.Only)
		if err != nil {
			return nil, err
		}
		c := t.askedMove(who.household)
		if c == nil || c.Key != key {
			return nil, rankwright.Faultf(rankwright.Conflict, "other_change", "load the page again", "the time that was asked about is another by now")
		}
		if err := tx.PutMoveAnswer(store.MoveAnswer{Grading: who.Only, Household: who.household, Change: key, Yes: yes, By: who.ID, At: a.moment()}); err != nil {
			return nil, err
		}
		return map[string]any{"entries": entryIDs(c.Family), "change": key, "yes": yes}, touch(tx, who.Only)
	})
}

func threadOf(tx *store.Tx, id rankwright.GradingID, h rankwright.HouseholdID) ([]FamilyMessage, error) {
	all, err := tx.FamilyMessages(id)
	return slices.DeleteFunc(all, func(m FamilyMessage) bool { return m.Household != h }), err
}

func question(body string) (string, error) {
	body = strings.TrimSpace(strings.ReplaceAll(body, "\r\n", "\n"))
	switch {
	case body == "":
		return "", invalid("body", "write a sentence first", "there is nothing to send")
	case utf8.RuneCountInString(body) > mostOfQuestion:
		return "", invalid("body", "write it in at most 1000 characters, or call", "that is too long")
	}
	return body, nil
}

// AskSchool sends a question of a family to the head instructor.
func (a *App) AskSchool(ctx context.Context, who Actor, body string) error {
	body, err := question(body)
	if err != nil {
		return err
	}
	return a.do(ctx, who, AskOwn, who.own(), func(tx *store.Tx) (any, error) {
		thread, err := threadOf(tx, who.Only, who.household)
		if err != nil {
			return nil, err
		}
		if waits(thread) >= mostWaiting {
			return nil, rankwright.Faultf(rankwright.Conflict, "many_questions", "wait for an answer, or call the school", "%d questions of yours wait already", mostWaiting)
		}
		return nil, tx.AddFamilyMessage(FamilyMessage{Grading: who.Only, Household: who.household, Sender: "family", Body: body, By: who.ID, At: a.moment()})
	})
}

// waits counts the questions since the last answer.
func waits(thread []FamilyMessage) int {
	n := 0
	for _, m := range thread {
		if n++; m.Sender == "school" {
			n = 0
		}
	}
	return n
}

// Thread is what one family asked and was answered.
type Thread struct {
	Family   Family
	Messages []FamilyMessage
	Waits    int // questions without an answer
}

// Inbox lists the questions of a grading's families, those that wait first.
func (a *App) Inbox(ctx context.Context, who Actor, id rankwright.GradingID) (out []Thread, err error) {
	err = a.see(ctx, who, AnswerFamilies, on{kind: "grading", id: string(id)}, func(tx *store.Tx) error {
		t, err := a.timetable(tx, id)
		if err != nil {
			return err
		}
		all, err := tx.FamilyMessages(id)
		if err != nil {
			return err
		}
		for _, f := range t.Families {
			x := Thread{Family: f}
			for _, m := range all {
				if m.Household == f.ID {
					x.Messages = append(x.Messages, m)
				}
			}
			x.Waits = waits(x.Messages)
			if len(x.Messages) > 0 {
				out = append(out, x)
			}
		}
		return nil
	})
	slices.SortStableFunc(out, func(x, y Thread) int { return min(y.Waits, 1) - min(x.Waits, 1) })
	return out, err
}

// AnswerFamily answers a family's questions; the answer stands on its page.
func (a *App) AnswerFamily(ctx context.Context, who Actor, id rankwright.GradingID, household rankwright.HouseholdID, body string) error {
	body, err := question(body)
	if err != nil {
		return err
	}
	return a.do(ctx, who, AnswerFamilies, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		_, f, err := a.familyAt(tx, id, household)
		if err != nil {
			return nil, err
		}
		return map[string]any{"entries": entryIDs(f)}, tx.AddFamilyMessage(FamilyMessage{Grading: id, Household: household, Sender: "school", Body: body, By: who.ID, At: a.moment()})
	})
}
