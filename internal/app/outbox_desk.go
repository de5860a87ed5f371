package app

import (
	"context"
	"slices"
	"strings"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/internal/wording"
	"rankwright/internal/words"
)

// OutboxView is a grading's messages as the desk sees them.
type OutboxView struct {
	Grading  Grading
	Mail     MailState
	Messages []MessageView // the latest first, drafts too
	Drafts   []MessageView
	Left     []LeftOut // of the drafts' kind: who gets none, and why
	Due      []DueKind // what could be sent now
	Families []FamilyWay
}

// MessageView is a message with whose it is.
type MessageView struct {
	Message
	Family string // "" once nobody of it is entered any more
	// Secret opens the link of a message that is handed over, for half an hour
	// after it was made.
	Secret string
	Why    WhyNot // of a draft by hand: why not by e-mail
}

// LeftOut is a family that gets no message.
type LeftOut struct {
	Family string
	Why    WhyNot
}

// DueKind is a kind of message with the number of families whom it concerns.
type DueKind struct {
	Kind     wording.Kind
	Families int
}

// FamilyWay is how a family can be written to.
type FamilyWay struct {
	Family
	Addresses []AddressAtDesk
	ByHand    bool
}

// AddressAtDesk is an address with what is known of it.
type AddressAtDesk struct {
	Mail     string
	BadForm  bool
	Bounced  store.Moment
	NoRemind store.Moment
	NoWords  store.Moment
}

// Outbox returns a grading's messages.
func (a *App) Outbox(ctx context.Context, who Actor, id rankwright.GradingID) (v OutboxView, err error) {
	err = a.see(ctx, who, SeeMessages, on{kind: "grading", id: string(id)}, func(tx *store.Tx) error {
		o, err := a.outboxOf(tx, id)
		if err != nil {
			return err
		}
		v = OutboxView{Grading: o.Grading.Grading, Mail: o.mail, Due: o.dueKinds(false)}
		for i := len(o.messages) - 1; i >= 0; i-- {
			x := MessageView{Message: o.messages[i]}
			if f := o.Family(x.Household); f != nil {
				x.Family = f.Name
			}
			if x.State == ToHand && who.Role.May(HandMessages) {
				x.Secret = a.fresh.get(x.Link, a.now())
			}
			v.Messages = append(v.Messages, x)
		}
		for i := range o.Families {
			v.Families = append(v.Families, o.way(&o.Families[i]))
		}
		o.drafts(&v)
		return nil
	})
	return v, err
}

// drafts gathers what waits for a yes, and who gets none of it.
func (o *outbox) drafts(v *OutboxView) {
	for _, m := range v.Messages {
		if m.State == Draft {
			v.Drafts = append(v.Drafts, m)
		}
	}
	slices.Reverse(v.Drafts)
	if len(v.Drafts) == 0 {
		return
	}
	k, about := wording.Kind(v.Drafts[0].Kind), v.Drafts[0].About
	for i := range o.Families {
		f := &o.Families[i]
		_, _, why := o.recipients(k, f, about)
		there := false
		for j := range v.Drafts {
			if v.Drafts[j].Household == f.ID {
				v.Drafts[j].Why, there = why, true
			}
		}
		if !there {
			if why == "" {
				why = NotDue // not chosen, or due only since
			}
			v.Left = append(v.Left, LeftOut{f.Name, why})
		}
	}
	order := map[string]int{}
	for i := range o.Families {
		order[o.Families[i].Name] = i
	}
	slices.SortStableFunc(v.Drafts, func(x, y MessageView) int { return order[x.Family] - order[y.Family] })
}

func (o *outbox) way(f *Family) FamilyWay {
	w := FamilyWay{Family: *f, ByHand: o.byHand[f.ID]}
	for _, mail := range addresses(f) {
		x := AddressAtDesk{Mail: mail, BadForm: o.check != nil && o.check(mail) != nil}
		x.Bounced, _ = o.flag(mail, bounced)
		x.NoRemind, _ = o.flag(mail, noReminders)
		x.NoWords, _ = o.flag(mail, noWords)
		w.Addresses = append(w.Addresses, x)
	}
	return w
}

// dueKinds counts the families that each kind of message would reach now; as
// calls to the head instructor only those who have had a few days to answer.
func (o *outbox) dueKinds(calls bool) (out []DueKind) {
	for _, row := range messageRows {
		if row.kind == FreeWord || !slices.Contains(row.states, State(o.Grading.State)) {
			continue
		}
		n := 0
		for i := range o.Families {
			f := &o.Families[i]
			if calls && reminder(row.kind) && (o.since[f.ID] == 0 || o.now.Time().Sub(o.since[f.ID].Time()) < reminderRest) {
				continue
			}
			if to, _, _ := o.recipients(row.kind, f, ""); len(to) > 0 {
				n++
			}
		}
		if n > 0 {
			out = append(out, DueKind{row.kind, n})
		}
	}
	return out
}

// PostCalls is what of a grading's messages waits for a person.
type PostCalls struct {
	Due    []DueKind // reminders, and news of times and results
	Unsure int
	Failed int // refused or come back
	Hand   int // to be printed or copied
}

// MessageCalls says what of a grading's messages waits for a person.
func (a *App) MessageCalls(ctx context.Context, who Actor, id rankwright.GradingID) (c PostCalls, err error) {
	err = a.see(ctx, who, SeeMessages, on{kind: "grading", id: string(id)}, func(tx *store.Tx) error {
		o, err := a.outboxOf(tx, id)
		if err != nil {
			return err
		}
		c = PostCalls{Due: o.dueKinds(true)}
		for _, m := range o.messages {
			switch m.State {
			case MayBeGone:
				c.Unsure++
			case WasRefused, CameBack:
				if !o.replaced(&m) {
					c.Failed++
				}
			case ToHand:
				c.Hand++
			}
		}
		return nil
	})
	return c, err
}

// replaced says whether a family has by now what a message that failed was to
// tell it.
func (o *outbox) replaced(m *Message) bool {
	f := o.Family(m.Household)
	return f == nil || o.has(wording.Kind(m.Kind), m.About, f, m.Address) != nil
}

// What a person decides about a single message.
const (
	SendAgain  = "again" // of one that is unsure or was refused
	TakeAsGone = "gone"  // of one that is unsure
	DropIt     = "drop"  // of one that waits, is to be handed over, or failed
	ItCameBack = "back"  // of one that was sent, as the school's mailbox says
)

// Decide does what a person decided about one message.
func (a *App) Decide(ctx context.Context, who Actor, id rankwright.GradingID, message, what string) error {
	act := SendMessages
	if what == DropIt || what == ItCameBack {
		act = HandMessages
	}
	err := a.do(ctx, who, act, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		m, err := messageOf(tx, id, message)
		if err != nil {
			return nil, err
		}
		from := m.State
		switch {
		case what == SendAgain && (from == MayBeGone || from == WasRefused):
			if m.Body == "" {
				return nil, rankwright.Faultf(rankwright.Conflict, "no_words", "take it as gone", "its words were erased with the child")
			}
			m.State, m.Next, m.Agreed, m.AgreedBy, m.Ended = InQueue, a.moment(), a.moment(), who.ID, 0
			if from == WasRefused {
				m.Tries = 0
			}
		case what == TakeAsGone && from == MayBeGone:
			m.State, m.Ended = WasSent, a.moment()
		case what == DropIt && (from == InQueue || from == ToHand || from == WasRefused || from == CameBack):
			m.State, m.Ended = Dropped, a.moment()
		case what == ItCameBack && m.Channel == "mail" && (from == WasSent || from == MayBeGone):
			return map[string]string{"message": m.ID, "what": what}, a.cameBack(tx, m)
		default:
			return nil, rankwright.Faultf(rankwright.Conflict, "moved_on", "look at it once more", "this message has moved on meanwhile")
		}
		if _, err := tx.MoveMessage(m, from); err != nil {
			return nil, err
		}
		return map[string]string{"message": m.ID, "what": what}, nil
	})
	if err == nil {
		a.post.wake()
	}
	return err
}

// DropWaiting drops everything of a grading that waits to be sent.
func (a *App) DropWaiting(ctx context.Context, who Actor, id rankwright.GradingID) (n int, err error) {
	err = a.do(ctx, who, SendMessages, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		n = 0
		list, err := tx.Messages(id)
		if err != nil {
			return nil, err
		}
		for _, m := range list {
			if m.State != InQueue {
				continue
			}
			m.State, m.Ended = Dropped, a.moment()
			if _, err := tx.MoveMessage(m, InQueue); err != nil {
				return nil, err
			}
			n++
		}
		return map[string]int{"dropped": n}, nil
	})
	return n, err
}

func messageOf(tx *store.Tx, id rankwright.GradingID, message string) (Message, error) {
	m, err := tx.Message(message)
	if err == nil && m.Grading != id {
		err = rankwright.Faultf(rankwright.NotFound, "not_found", "go back and choose from the list", "there is no message %q", message)
	}
	return m, err
}

// HandLinks makes the links of the messages that are to be handed over and have
// none that can be shown now, beside those that the families have. They can be
// printed and copied for half an hour. Without a message it is for all.
func (a *App) HandLinks(ctx context.Context, who Actor, id rankwright.GradingID, message string) (n int, err error) {
	secrets := map[string]string{}
	err = a.do(ctx, who, HandMessages, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		clear(secrets)
		n = 0
		list, err := tx.Messages(id)
		if err != nil {
			return nil, err
		}
		for _, m := range list {
			if m.State != ToHand || message != "" && m.ID != message {
				continue
			}
			n++
			if a.fresh.get(m.Link, a.now()) != "" {
				continue
			}
			var secret string
			if m.Link, secret, err = a.addLink(tx, &m, who.ID); err != nil {
				return nil, err
			}
			secrets[m.Link] = secret
			if _, err := tx.MoveMessage(m, ToHand); err != nil {
				return nil, err
			}
		}
		return map[string]int{"links": len(secrets)}, nil
	})
	if err != nil {
		return 0, err
	}
	for lid, secret := range secrets {
		a.fresh.put(lid, secret, a.now())
	}
	return n, nil
}

// Handed writes down that messages were handed over, on paper or pasted into
// something else.
func (a *App) Handed(ctx context.Context, who Actor, id rankwright.GradingID, messages []string, channel string) error {
	if channel != "paper" && channel != "paste" {
		return invalid("channel", "say whether it was paper or a pasted text", "a message cannot be handed over as %q", channel)
	}
	return a.do(ctx, who, HandMessages, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		for _, one := range messages {
			m, err := messageOf(tx, id, one)
			if err != nil {
				return nil, err
			}
			m.Channel, m.State, m.Ended, m.Agreed, m.AgreedBy = channel, WasHanded, a.moment(), a.moment(), who.ID
			if ok, err := tx.MoveMessage(m, ToHand); err != nil {
				return nil, err
			} else if !ok {
				return nil, rankwright.Faultf(rankwright.Conflict, "moved_on", "look at it once more", "this message has moved on meanwhile")
			}
		}
		return map[string]any{"handed": len(messages), "as": channel}, nil
	})
}

// SetByHand writes down whether a family wants no e-mail.
func (a *App) SetByHand(ctx context.Context, who Actor, id rankwright.GradingID, household rankwright.HouseholdID, none bool) error {
	return a.do(ctx, who, HandMessages, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		_, f, err := a.familyAt(tx, id, household)
		if err != nil {
			return nil, err
		}
		return map[string]any{"entries": entryIDs(f), "by_hand": none}, tx.PutByHand(store.ByHand{Household: household, By: who.ID, At: a.moment()}, none)
	})
}

// AddressWorks takes back that the addresses of a family do not work.
func (a *App) AddressWorks(ctx context.Context, who Actor, id rankwright.GradingID, household rankwright.HouseholdID) error {
	return a.do(ctx, who, HandMessages, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		_, f, err := a.familyAt(tx, id, household)
		if err != nil {
			return nil, err
		}
		for _, mail := range addresses(f) {
			if err := tx.FlagAddress(store.AddressFlag{Address: addressHash(mail), Flag: bounced}, false); err != nil {
				return nil, err
			}
		}
		return map[string]any{"entries": entryIDs(f)}, nil
	})
}

// Shown is the text of a message as people read it: words stand where the
// link and the secret for the end of reminders belong, or the link itself.
func Shown(m *Message, link string) string {
	say := words.In(words.Lang(m.Lang))
	if link == "" {
		link = "[" + say.It("message.link-here") + "]"
	}
	return strings.NewReplacer(LinkStandIn, link, stopStandIn, "["+say.It("message.stop-here")+"]").Replace(m.Body)
}

func noServer() error {
	return rankwright.Faultf(rankwright.Conflict, "no_server", "whoever runs the program sets it up first", "no mail server is set up")
}

// MessageFile is a message as a file that mail programs open, without the
// family's link.
func (a *App) MessageFile(ctx context.Context, who Actor, id rankwright.GradingID, message string) (data []byte, err error) {
	if a.mail == nil {
		return nil, noServer()
	}
	err = a.see(ctx, who, SeeMessages, on{kind: "grading", id: string(id)}, func(tx *store.Tx) error {
		m, err := messageOf(tx, id, message)
		if err != nil {
			return err
		}
		if m.Channel != "mail" || m.Address == "" {
			return rankwright.Faultf(rankwright.Conflict, "no_mail", "copy its text", "this message is no e-mail, or its words were erased")
		}
		sc, err := schoolOf(tx)
		if err != nil {
			return err
		}
		l := a.letter(&m, sc, "", "")
		l.Text = Shown(&m, "")
		if m.Began != 0 {
			l.Date = m.Began.Time()
		}
		data, err = a.mail.EML(l)
		return err
	})
	return data, err
}
