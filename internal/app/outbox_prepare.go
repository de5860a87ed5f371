package app

import (
	"context"
	"errors"
	"slices"
	"strings"
	"unicode/utf8"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/internal/wording"
	"rankwright/internal/words"
)

// linkPlace is what stands for the family's link while a wording is filled in.
const linkPlace = "https://link.invalid/"

// Preparing is what a person wants to send.
type Preparing struct {
	Kind wording.Kind
	// Subject and Body are the words of a FreeWord, in the school's language.
	Subject, Body string
	// Only are the families that are to get it; none is all whom it concerns.
	Only []rankwright.HouseholdID
}

// Prepare writes drafts of a message to all families whom it concerns, in place
// of the drafts that are there. Nothing leaves before Agree.
func (a *App) Prepare(ctx context.Context, who Actor, id rankwright.GradingID, p Preparing) (made int, err error) {
	err = a.do(ctx, who, SendMessages, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		o, err := a.outboxOf(tx, id)
		if err != nil {
			return nil, err
		}
		if err := o.mayPrepare(p.Kind); err != nil {
			return nil, err
		}
		word, over, err := o.freeWord(p)
		if err != nil {
			return nil, err
		}
		if _, err := tx.RemoveMessages(id, Draft); err != nil {
			return nil, err
		}
		wordings, err := a.wordings(tx)
		if err != nil {
			return nil, err
		}
		batch, err := a.newID("batch")
		if err != nil {
			return nil, err
		}
		made = 0
		for i := range o.Families {
			f := &o.Families[i]
			if len(p.Only) > 0 && !slices.Contains(p.Only, f.ID) {
				continue
			}
			to, about, _ := o.recipients(p.Kind, f, over)
			if len(to) == 0 {
				continue
			}
			w, err := word, error(nil)
			lang := o.langs.School()
			if w == nil {
				lang = o.langs.Of(f.ID)
				if w, err = wordings.Of(p.Kind, lang); err != nil {
					return nil, err
				}
			}
			filled, err := w.Fill(o.values(p.Kind, f, o.school.Say(lang)))
			if err != nil {
				return nil, err
			}
			for _, mail := range to {
				m := Message{Grading: id, Household: f.ID, Batch: batch, Kind: string(p.Kind), About: about, Lang: string(lang), Channel: "mail", State: Draft,
					Created: a.moment(), By: who.ID, Address: mail, Subject: filled.Subject, Body: strings.ReplaceAll(filled.Plain(), linkPlace, LinkStandIn)}
				if mail == "" {
					m.Channel = "paper"
				} else if Stops(p.Kind) {
					m.Body += "\n" + words.In(lang).It("message.stop") + "\n" + stopStandIn + "\n"
				}
				if m.ID, err = a.newID("message"); err != nil {
					return nil, err
				}
				if err := tx.AddMessage(m); err != nil {
					return nil, err
				}
				made++
			}
		}
		return map[string]any{"kind": p.Kind, "prepared": made}, nil
	})
	return made, err
}

func (o *outbox) mayPrepare(k wording.Kind) error {
	row := rowOf(k)
	if row == nil {
		return rankwright.Faultf(rankwright.NotFound, "no_kind", "choose one of those that there are", "there is no message %q", string(k))
	}
	if st := State(o.Grading.State); !slices.Contains(row.states, st) {
		var names []string
		for _, s := range row.states {
			names = append(names, "“"+s.Row().Name+"”")
		}
		return rankwright.Faultf(rankwright.Conflict, "not_now", "it is possible while the grading is "+strings.Join(names, " or "), "this message does not fit while the grading is %q", st.Row().Name)
	}
	if o.mail.On && !o.mail.Dry && !o.mail.Address {
		return rankwright.Faultf(rankwright.Conflict, "no_address", "the head instructor writes it down under The school", "it is not written down where families reach the pages, and the links in e-mail would lead nowhere")
	}
	return nil
}

// freeWord reads what the school wants to say in its own words, nil for the
// other kinds, and gives a name for exactly these words.
func (o *outbox) freeWord(p Preparing) (w *wording.Wording, over string, err error) {
	if p.Kind != FreeWord {
		return nil, "", nil
	}
	t := wording.Text{Subject: p.Subject, Body: p.Body}.Tidy()
	switch {
	case t.Subject == "":
		return nil, "", invalid("subject", "write what it is about", "there is no line at the top")
	case t.Body == "":
		return nil, "", invalid("body", "write a sentence first", "there is nothing to send")
	case utf8.RuneCountInString(t.Subject) > wording.MaxSubject:
		return nil, "", invalid("subject", "write it in at most 120 characters", "the line at the top is too long")
	}
	over = hashOf(t.Subject + "\n" + t.Body)[:16]
	if lang := o.langs.School(); !strings.Contains(t.Body, LinkStandIn) {
		t.Body += "\n\n" + words.In(lang).It("message.page") + "\n" + LinkStandIn
	}
	// It may name what the shortest of the messages may.
	if w, err = wording.Compile(wording.ResultReady, o.langs.School(), t); err != nil {
		var faults rankwright.Faults
		if errors.As(err, &faults) && len(faults) > 0 {
			f := *faults[0]
			field := map[string]string{wording.InSubject: "subject"}[f.Where.File]
			if field == "" {
				field = "body"
			}
			f.Where.Name = field
			return nil, "", &f
		}
	}
	return w, over, err
}

// Agree lets the drafts of a batch go that a person has looked at and taken, and
// removes the others of it. What is no longer due by now does not go; late is how
// many those are.
func (a *App) Agree(ctx context.Context, who Actor, id rankwright.GradingID, batch string, take []string) (gone, late int, err error) {
	err = a.do(ctx, who, SendMessages, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		gone, late = 0, 0
		o, err := a.outboxOf(tx, id)
		if err != nil {
			return nil, err
		}
		drafts := slices.DeleteFunc(slices.Clone(o.messages), func(m Message) bool { return m.State != Draft })
		if len(drafts) == 0 || drafts[0].Batch != batch {
			return nil, rankwright.Faultf(rankwright.Conflict, "other_batch", "look at what is prepared now", "what you looked at is not what is prepared by now")
		}
		for _, m := range drafts {
			if !slices.Contains(take, m.ID) {
				continue
			}
			if why := o.stillDue(&m); why != "" {
				late++
				continue
			}
			m.State, m.Agreed, m.AgreedBy, m.Next = InQueue, a.moment(), who.ID, a.moment()
			if m.Channel != "mail" {
				m.State, m.Next = ToHand, 0
			}
			if _, err := tx.MoveMessage(m, Draft); err != nil {
				return nil, err
			}
			gone++
		}
		if _, err := tx.RemoveMessages(id, Draft); err != nil {
			return nil, err
		}
		return map[string]any{"kind": drafts[0].Kind, "agreed": gone, "late": late}, nil
	})
	if err == nil {
		a.post.wake()
	}
	return gone, late, err
}

// stillDue says why a message that was prepared is not to go any more, "" where
// it is.
func (o *outbox) stillDue(m *Message) WhyNot {
	f := o.Family(m.Household)
	if f == nil || m.Body == "" {
		return NotDue
	}
	k := wording.Kind(m.Kind)
	if row := rowOf(k); row == nil || !slices.Contains(row.states, State(o.Grading.State)) {
		return NotDue
	}
	others := *o
	others.messages = slices.DeleteFunc(slices.Clone(o.messages), func(x Message) bool { return x.ID == m.ID || x.Batch == m.Batch })
	about, why := others.due(k, f)
	switch {
	case why != "":
		return why
	case k != FreeWord && about != m.About:
		return NotDue // what it says has changed
	case others.has(k, m.About, f, m.Address) != nil:
		return HasIt
	case m.Channel != "mail":
		return ""
	case o.byHand[f.ID]:
		return WantsHand
	case !slices.ContainsFunc(addresses(f), func(x string) bool { return strings.EqualFold(x, m.Address) }):
		return NoAddress
	}
	return o.refuses(k, m.Address)
}

// Discard removes the drafts of a grading.
func (a *App) Discard(ctx context.Context, who Actor, id rankwright.GradingID) error {
	return a.do(ctx, who, SendMessages, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		n, err := tx.RemoveMessages(id, Draft)
		return map[string]int64{"discarded": n}, err
	})
}
