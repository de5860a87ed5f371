package app

import (
	"context"
	"log/slog"
	"strings"
	"sync"
	"time"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/internal/wording"
	"rankwright/internal/words"
)

// The pace of the outbox. Servers of small schools refuse who comes too fast.
const (
	postGap     = 2 * time.Second  // between two letters, where nothing else is said
	postIdle    = 30 * time.Second // how long to rest where nothing waits
	postTimeout = 15 * time.Minute // for one letter; a sender has limits of its own for each step
	mostAnswer  = 300              // characters of a server's answer that are kept
)

// retryAfter is how long a letter rests after each refusal for now, the last for
// all that follow; downRest is how long all letters rest while the server takes
// none. After giveUp since a person said yes it is given up.
var (
	retryAfter = []time.Duration{time.Minute, 5 * time.Minute, 15 * time.Minute, time.Hour, 4 * time.Hour, 12 * time.Hour}
	downRest   = []time.Duration{30 * time.Second, 2 * time.Minute, 10 * time.Minute, 30 * time.Minute}
	giveUp     = 48 * time.Hour
)

// posting is what the worker remembers between its steps.
type posting struct {
	mu    sync.Mutex // held during a step: there is one worker
	begun bool
	last  time.Time // when it last spoke to the server
	downs int       // in a row
	until time.Time // rests until then
	woken chan struct{}
}

func (p *posting) wake() {
	select {
	case p.woken <- struct{}{}:
	default: // it is awake
	}
}

// RunPost sends what waits, one letter at a time, until the context ends. Where
// no sender was handed in it does nothing.
func (a *App) RunPost(ctx context.Context, log *slog.Logger) {
	if a.mail == nil {
		return
	}
	for ctx.Err() == nil {
		rest, err := a.StepPost(ctx)
		if err != nil {
			if ctx.Err() != nil {
				return
			}
			log.Error("the outbox could not go on", "error", err.Error())
			rest = postIdle
		}
		select {
		case <-ctx.Done():
		case <-time.After(rest):
		case <-a.post.woken:
		}
	}
}

// StepPost does the next thing in the outbox, at most one letter, and returns
// how long to rest before the step after it.
//
// That a letter is being sent is written down, and on the disk, before the
// server is spoken to, and what came of it afterwards. A letter that stands as
// being sent when the program starts may have gone or not: it becomes unsure
// and is never sent again unless a person says so.
func (a *App) StepPost(ctx context.Context) (time.Duration, error) {
	p := &a.post
	p.mu.Lock()
	defer p.mu.Unlock()
	if a.mail == nil {
		return postIdle, nil
	}
	if !p.begun {
		if err := a.st.Write(ctx, a.doubt); err != nil {
			return 0, err
		}
		p.begun = true
	}
	if rest := max(p.until.Sub(a.now()), p.last.Add(a.gap).Sub(a.now())); rest > 0 && !p.last.IsZero() {
		return rest, nil
	}
	var m Message
	why, rest := WhyNot(""), postIdle
	if err := a.st.Read(ctx, func(tx *store.Tx) error {
		next, ok, err := tx.NextMessage(InQueue)
		if err != nil || !ok {
			return err
		}
		if wait := next.Next.Time().Sub(a.now()); wait > 0 {
			rest = min(wait, postIdle)
			return nil
		}
		o, err := a.outboxOf(tx, next.Grading)
		if err != nil {
			return err
		}
		m, why = next, o.stillDue(&next)
		return nil
	}); err != nil || m.ID == "" {
		return rest, err
	}
	if why != "" {
		return 0, a.st.Write(ctx, func(tx *store.Tx) error {
			m.State, m.Answer, m.Ended = Dropped, string(why), a.moment()
			_, err := tx.MoveMessage(m, InQueue)
			return err
		})
	}
	letter, ok, err := a.begin(ctx, &m)
	if err != nil || !ok || a.dry {
		return 0, err
	}
	sending, cancel := context.WithTimeout(ctx, postTimeout)
	got := a.mail.Send(sending, letter)
	cancel()
	p.last = a.now()
	if p.downs++; !got.Down || got.Fate != Later {
		p.downs = 0
	} else {
		p.until = a.now().Add(downRest[min(p.downs, len(downRest))-1])
	}
	// Also where the program is being stopped: what came of it is known now.
	if err := a.ended(context.WithoutCancel(ctx), m, got); err != nil {
		p.begun = false // it stands as being sent, and nobody is sending it
		return 0, err
	}
	return a.gap, nil
}

// doubt makes every letter that stands as being sent unsure.
func (a *App) doubt(tx *store.Tx) error {
	list, err := tx.MessagesIn(BeingSent)
	if err != nil {
		return err
	}
	for _, m := range list {
		m.State, m.Ended = MayBeGone, a.moment()
		if _, err := tx.MoveMessage(m, BeingSent); err != nil {
			return err
		}
	}
	return nil
}

// begin writes down that a letter is being sent, makes its link, and returns the
// letter. In a rehearsal there is neither a link nor a letter. Where somebody
// took it back meanwhile, ok is false.
func (a *App) begin(ctx context.Context, m *Message) (l Letter, ok bool, err error) {
	err = a.st.Write(ctx, func(tx *store.Tx) error {
		now, err := tx.Message(m.ID)
		if ok = now.State == InQueue && now.Body != ""; err != nil || !ok {
			return err
		}
		sc, err := schoolOf(tx)
		if err != nil {
			return err
		}
		*m = now
		m.State, m.Tries, m.Began = BeingSent, m.Tries+1, a.moment()
		if a.dry {
			return a.rehearse(tx, m, sc)
		}
		secret, stop := "", ""
		if m.Link, secret, err = a.addLink(tx, m, m.AgreedBy); err != nil {
			return err
		}
		if Stops(wording.Kind(m.Kind)) {
			if stop, err = a.secret(20); err != nil {
				return err
			}
			if err := tx.AddMessageStop(hashOf(stop), m.ID); err != nil {
				return err
			}
			stop = sc.Address + StopPath + stop
		}
		l = a.letter(m, sc, sc.Address+LinkPath+secret, stop)
		_, err = tx.MoveMessage(*m, InQueue)
		return err
	})
	return l, ok, err
}

// rehearse writes a letter and sends nothing.
func (a *App) rehearse(tx *store.Tx, m *Message, sc School) error {
	m.State, m.Ended, m.Answer = RunDry, a.moment(), ""
	stop := ""
	if sc.Address != "" && Stops(wording.Kind(m.Kind)) {
		stop = sc.Address + StopPath
	}
	l := a.letter(m, sc, sc.Address+LinkPath, stop)
	if _, err := a.mail.EML(l); err != nil {
		m.State, m.Answer = WasRefused, answerOf(err.Error())
	}
	_, err := tx.MoveMessage(*m, InQueue)
	return err
}

// Where the pages for a family's link and for the end of reminders are.
const (
	LinkPath = "/f/"
	StopPath = "/stop/"
)

func (a *App) letter(m *Message, sc School, link, stop string) Letter {
	body := strings.NewReplacer(LinkStandIn, link, stopStandIn, stop).Replace(m.Body)
	return Letter{ID: m.ID, To: m.Address, From: sc.Name, Subject: m.Subject, Text: body, Lang: m.Lang, Date: a.now(), Stop: stop}
}

// addLink makes a link for the household of a message, beside those that it
// has, and returns its id and what opens it.
func (a *App) addLink(tx *store.Tx, m *Message, by string) (id, secret string, err error) {
	if id, err = a.newID("link"); err != nil {
		return "", "", err
	}
	if secret, err = a.secret(20); err != nil {
		return "", "", err
	}
	return id, secret, tx.AddFamilyLink(store.FamilyLink{ID: id, Grading: m.Grading, Household: m.Household, Hash: hashOf(secret), Created: a.moment(), By: by})
}

// ended writes down what came of a letter. Whoever made it unsure meanwhile, at
// the start of another program on the same base, is put right.
func (a *App) ended(ctx context.Context, m Message, got Delivery) error {
	return a.st.Write(ctx, func(tx *store.Tx) error {
		now, err := tx.Message(m.ID)
		if err != nil {
			return err
		}
		if now.Tries != m.Tries || now.State != BeingSent && now.State != MayBeGone {
			return nil
		}
		from := now.State
		now.Answer, now.Ended = answerOf(got.Answer), a.moment()
		if now.Body == "" {
			now.Answer = "" // the child was erased meanwhile, and the answer may hold the address
		}
		switch got.Fate {
		case Sent:
			now.State = WasSent
		case Refused:
			now.State = WasRefused
		case Later:
			a.again(&now, got.Down)
		default:
			now.State = MayBeGone
		}
		if got.Fate == Later || got.Fate == Refused { // nobody has got this link
			if err := tx.WithdrawFamilyLink(now.Link, a.moment(), now.AgreedBy); err != nil {
				return err
			}
		}
		_, err = tx.MoveMessage(now, from)
		return err
	})
}

// again says when a letter that was refused for now is tried next, or gives it
// up.
func (a *App) again(m *Message, down bool) {
	now := a.now()
	switch {
	case m.Body == "":
		m.State = Dropped
	case now.Sub(m.Agreed.Time()) >= giveUp:
		m.State = WasRefused
	case down:
		m.State, m.Next = InQueue, store.At(now) // all rest
	default:
		m.State, m.Next = InQueue, store.At(now.Add(retryAfter[min(m.Tries, len(retryAfter))-1]))
	}
}

func answerOf(s string) string {
	s = strings.Join(strings.Fields(strings.ReplaceAll(strings.ToValidUTF8(s, "?"), "\x00", "")), " ")
	if r := []rune(s); len(r) > mostAnswer {
		s = string(r[:mostAnswer]) + "…"
	}
	return s
}

// NoteBounce keeps what a mail server reported of a letter afterwards. Where it
// is for good the address counts as not working until the desk says otherwise,
// and the link of that letter ends: the report may lie in anybody's mailbox.
// known is false for a letter that is none of ours.
func (a *App) NoteBounce(ctx context.Context, b Bounce) (known bool, err error) {
	err = a.st.Write(ctx, func(tx *store.Tx) error {
		known, err = a.noteBounce(tx, b)
		return err
	})
	return known, err
}

func (a *App) noteBounce(tx *store.Tx, b Bounce) (known bool, err error) {
	id, _, _ := strings.Cut(strings.Trim(strings.TrimSpace(b.ID), "<>"), "@")
	m, err := tx.Message(id)
	if rankwright.KindOf(err) == rankwright.NotFound && err != nil {
		return false, nil
	}
	if err != nil || m.Channel != "mail" {
		return false, err
	}
	if m.State != WasSent && m.State != MayBeGone && m.State != BeingSent {
		return true, nil // bounced already, or being tried once more
	}
	if m.Body != "" {
		m.Answer = answerOf(b.Diagnostic)
	}
	if b.Permanent {
		return true, a.cameBack(tx, m)
	}
	from := m.State
	if from == MayBeGone {
		m.State = WasSent // a server has it and goes on trying
	}
	_, err = tx.MoveMessage(m, from)
	return true, err
}

// cameBack writes down that a message could not be delivered.
func (a *App) cameBack(tx *store.Tx, m Message) error {
	from := m.State
	m.State, m.Ended = CameBack, a.moment()
	if err := tx.WithdrawFamilyLink(m.Link, a.moment(), m.AgreedBy); err != nil {
		return err
	}
	if m.Address != "" {
		if err := tx.FlagAddress(store.AddressFlag{Address: addressHash(m.Address), Flag: bounced, At: a.moment()}, true); err != nil {
			return err
		}
	}
	_, err := tx.MoveMessage(m, from)
	return err
}

// TakeReport reads a mail server's report that somebody saved out of the
// mailbox, and returns of how many messages it says something, and of how many
// that they could not be delivered.
func (a *App) TakeReport(ctx context.Context, who Actor, id rankwright.GradingID, report []byte) (known, failed int, err error) {
	if a.mail == nil {
		return 0, 0, noServer()
	}
	list, err := a.mail.Bounces(report)
	if err != nil {
		return 0, 0, err
	}
	err = a.do(ctx, who, HandMessages, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		known, failed = 0, 0
		for _, b := range list {
			ours, err := a.noteBounce(tx, b)
			if err != nil {
				return nil, err
			}
			if ours {
				known++
				if b.Permanent {
					failed++
				}
			}
		}
		return map[string]int{"known": known, "failed": failed}, nil
	})
	return known, failed, err
}

// Stopping is what the page for the end of reminders shows.
type Stopping struct {
	Lang    words.Lang
	Words   bool // it is about the school's free words, not about reminders
	Stopped bool
}

func stopOf(tx *store.Tx, secret string) (s Stopping, m Message, flag string, err error) {
	m, err = tx.MessageByStop(hashOf(secret))
	if err != nil {
		if rankwright.KindOf(err) == rankwright.NotFound {
			err = noLink()
		}
		return s, m, "", err
	}
	s.Lang = words.Lang(m.Lang)
	if r := rowOf(wording.Kind(m.Kind)); r != nil {
		flag = r.stops
	}
	s.Words = flag == noWords
	flags, err := tx.AddressFlags()
	for _, f := range flags {
		s.Stopped = s.Stopped || f.Flag == flag && m.Address != "" && f.Address == addressHash(m.Address)
	}
	return s, m, flag, err
}

// CheckStop says what the secret in a message ends, and changes nothing.
func (a *App) CheckStop(ctx context.Context, secret string) (s Stopping, err error) {
	err = a.st.Peek(ctx, func(tx *store.Tx) error {
		s, _, _, err = stopOf(tx, secret)
		return err
	})
	return s, err
}

// Stop ends messages of that kind to the address that got the secret, or lets
// them come again. It can be done any number of times.
func (a *App) Stop(ctx context.Context, secret string, on bool) (s Stopping, err error) {
	err = a.st.Write(ctx, func(tx *store.Tx) error {
		var m Message
		var flag string
		if s, m, flag, err = stopOf(tx, secret); err != nil {
			return err
		}
		s.Stopped = on
		if m.Address == "" || flag == "" {
			return nil // erased meanwhile: nothing goes there any more
		}
		return tx.FlagAddress(store.AddressFlag{Address: addressHash(m.Address), Flag: flag, At: a.moment()}, on)
	})
	return s, err
}
