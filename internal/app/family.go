package app

import (
	"context"
	"slices"
	"sync"
	"time"

	"rankwright"
	"rankwright/coach"
	"rankwright/internal/store"
	"rankwright/syllabus"
)

// A family has no account but a link, for one household at one grading. What
// opens it is a random text of 160 bits, of which the base keeps the hash. It
// works until it is withdrawn or ends by itself. Since nobody can read a link
// again, each message brings one of its own, beside those that the family has;
// withdrawing ends all of them.

// The days on which a link ends by itself, where no day was set.
const (
	linkAfterResults = 30 // days after the grading was signed
	linkAfterDay     = 60 // days after its day, where it is never signed
	freshFor         = 30 * time.Minute
)

// Records of the store that pages read and hand back.
type (
	FamilyLink    = store.FamilyLink
	FamilyMessage = store.FamilyMessage
	Signature     = store.Signature
)

// fresh keeps the links that were just made, so that they can be printed. Only
// the hash is in the base, and so a restart forgets them.
type fresh struct {
	mu sync.Mutex
	of map[string]freshLink // by the link's id
}

type freshLink struct {
	secret string
	at     time.Time
}

func (f *fresh) put(id, secret string, now time.Time) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for k, l := range f.of {
		if now.Sub(l.at) > freshFor {
			delete(f.of, k)
		}
	}
	f.of[id] = freshLink{secret, now}
}

func (f *fresh) get(id string, now time.Time) string {
	f.mu.Lock()
	defer f.mu.Unlock()
	if l, ok := f.of[id]; ok && now.Sub(l.at) <= freshFor {
		return l.secret
	}
	return ""
}

// linkEnds is the last day of a link.
func linkEnds(l store.FamilyLink, g store.Grading) rankwright.Day {
	switch {
	case l.Until != 0:
		return l.Until
	case State(g.State) == Closed && g.Signed != 0:
		return dayAt(g.Signed.Time()) + linkAfterResults
	}
	return g.Day + linkAfterDay
}

func dayAt(t time.Time) rankwright.Day {
	y, m, d := t.Local().Date()
	return rankwright.NewDay(y, m, d)
}

func (a *App) lives(l store.FamilyLink, g store.Grading) bool {
	return l.Withdrawn == 0 && a.Today() <= linkEnds(l, g)
}

// noLink is the one answer to a link that is wrong, old or withdrawn: it says
// nothing about anybody.
func noLink() error {
	return rankwright.Faultf(rankwright.NotFound, "link_ended", "ask your school for a new one", "this link does not open anything")
}

// MakeLinks makes a link for each of the households, or for every household of
// the grading where none is named, and ends those that they had. Without anew
// a household that has one keeps it. until is the last day, none is thirty days
// after the results. It returns how many were made; what opens them is in
// Families for half an hour.
func (a *App) MakeLinks(ctx context.Context, who Actor, id rankwright.GradingID, households []rankwright.HouseholdID, until rankwright.Day, anew bool) (made int, err error) {
	if until != 0 && until < a.Today() {
		return 0, invalid("until", "choose today or a later day, or leave it empty", "a link cannot end on %s, which is past", until.Long())
	}
	secrets := map[string]string{}
	err = a.do(ctx, who, MakeLinks, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		t, err := a.timetable(tx, id)
		if err != nil {
			return nil, err
		}
		links, err := tx.FamilyLinks(id)
		if err != nil {
			return nil, err
		}
		for _, h := range households {
			if t.Family(h) == nil {
				return nil, noFamily()
			}
		}
		made = 0
		for i := range t.Families {
			h := t.Families[i].ID
			if len(households) > 0 && !slices.Contains(households, h) {
				continue
			}
			has := false
			for _, l := range links {
				if l.Household != h || !a.lives(l, t.Grading.Grading) {
					continue
				}
				if has = !anew; has {
					break
				}
				if err := tx.WithdrawFamilyLink(l.ID, a.moment(), who.ID); err != nil {
					return nil, err
				}
			}
			if has {
				continue
			}
			lid, err := a.newID("link")
			if err != nil {
				return nil, err
			}
			secret, err := a.secret(20)
			if err != nil {
				return nil, err
			}
			if err := tx.AddFamilyLink(store.FamilyLink{ID: lid, Grading: id, Household: h, Hash: hashOf(secret), Until: until, Created: a.moment(), By: who.ID}); err != nil {
				return nil, err
			}
			secrets[lid] = secret
			made++
		}
		return map[string]any{"made": made, "until": until.String()}, nil
	})
	if err != nil {
		return 0, err
	}
	for lid, secret := range secrets {
		a.fresh.put(lid, secret, a.now())
	}
	return made, nil
}

// WithdrawLinks ends the links of one household, or of every household where
// none is named, at once. Messages that have not gone yet are dropped.
func (a *App) WithdrawLinks(ctx context.Context, who Actor, id rankwright.GradingID, household rankwright.HouseholdID) error {
	return a.do(ctx, who, MakeLinks, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		links, err := tx.FamilyLinks(id)
		if err != nil {
			return nil, err
		}
		n := 0
		for _, l := range links {
			if l.Withdrawn == 0 && (household == "" || l.Household == household) {
				n++
				if err := tx.WithdrawFamilyLink(l.ID, a.moment(), who.ID); err != nil {
					return nil, err
				}
			}
		}
		// What is on its way would bring a new link.
		messages, err := tx.Messages(id)
		if err != nil {
			return nil, err
		}
		for _, m := range messages {
			if from := m.State; (from == InQueue || from == ToHand) && (household == "" || m.Household == household) {
				m.State, m.Answer, m.Ended = Dropped, string(LinksEnd), a.moment()
				if _, err := tx.MoveMessage(m, from); err != nil {
					return nil, err
				}
			}
		}
		return map[string]int{"withdrawn": n}, nil
	})
}

// CheckLink says whether what stands in a link opens a family's page, and
// changes nothing: programs that look at mail open links too.
func (a *App) CheckLink(ctx context.Context, secret string) error {
	return a.st.Peek(ctx, func(tx *store.Tx) error {
		_, _, err := a.linkOf(tx, secret)
		return err
	})
}

func (a *App) linkOf(tx *store.Tx, secret string) (l store.FamilyLink, g store.Grading, err error) {
	l, err = tx.FamilyLinkByHash(hashOf(secret))
	if err == nil {
		g, err = tx.Grading(l.Grading)
	}
	switch {
	case rankwright.KindOf(err) == rankwright.NotFound && err != nil, err == nil && !a.lives(l, g):
		return l, g, noLink()
	}
	return l, g, err
}

// OpenLink exchanges what stands in a link for the family that may use it. The
// day of use is kept, and nothing finer.
func (a *App) OpenLink(ctx context.Context, secret string) (who Actor, err error) {
	err = a.st.Write(ctx, func(tx *store.Tx) error {
		l, _, err := a.linkOf(tx, secret)
		if err != nil {
			return err
		}
		if who, err = guardian(tx, l); err != nil || l.Used == a.Today() {
			return err
		}
		return tx.UsedFamilyLink(l.ID, a.Today())
	})
	return who, err
}

// RecallFamily returns the family behind a session, if its link still works.
func (a *App) RecallFamily(ctx context.Context, id string) (who Actor, ok bool, err error) {
	if id == "" {
		return Actor{}, false, nil
	}
	err = a.st.Peek(ctx, func(tx *store.Tx) error {
		l, err := tx.FamilyLink(id)
		if rankwright.KindOf(err) == rankwright.NotFound && err != nil {
			return nil
		}
		if err != nil {
			return err
		}
		g, err := tx.Grading(l.Grading)
		if err != nil || !a.lives(l, g) {
			return err
		}
		who, err = guardian(tx, l)
		ok = err == nil
		return err
	})
	return who, ok, err
}

// own is the subject of what a family does.
func (w Actor) own() on { return on{"family", w.ID, w.Only} }

// FamilyPage is what one family sees of one grading.
type FamilyPage struct {
	Grading  store.Grading
	Syllabus *syllabus.Syllabus
	// Open says that the school has opened the grading to families; before,
	// there is nothing to see yet.
	Open      bool
	MayAnswer bool // what suits can be said
	MaySign   bool
	Family    Family
	Children  []FamilyChild
	Sessions  []Session
	// Move is a change of the told time about which the family was asked, nil
	// where there is none.
	Move     *Change
	Told     []PublishedTime
	Messages []FamilyMessage
}

// Place says where on the ground a mat is; both may be "".
func (p *FamilyPage) Place() string { return p.Grading.Place }

// FamilyChild is one child of the family at the grading.
type FamilyChild struct {
	EntryView
	Of       *syllabus.Rank
	Band     int // of the age on the day, -1 where unknown
	Asked    []*syllabus.Requirement
	NotAsked []*syllabus.Requirement // waived this time
	Stands   []*syllabus.Requirement // from last time
	Weak     coach.Weak
	From     rankwright.Day // on which practice at home begins
	Until    rankwright.Day // the day of the examination
	Sheets   []FamilySheet
	Told     *PublishedTime
	// Result is the signed outcome, where the head instructor lets the family
	// see it; nil before.
	Result *Outcome
}

// FamilyPage returns the page of the family that asks. The school's own texts
// are in who.Lang as far as it has translated them.
func (a *App) FamilyPage(ctx context.Context, who Actor) (p *FamilyPage, err error) {
	err = a.see(ctx, who, SeeOwn, on{kind: "family", id: who.ID}, func(tx *store.Tx) error {
		p, err = a.familyPage(tx, who)
		return err
	})
	return p, err
}

func (a *App) familyPage(tx *store.Tx, who Actor) (*FamilyPage, error) {
	t, err := a.timetable(tx, who.Only)
	if err != nil {
		return nil, err
	}
	plain := t.Grading // what is signed is in the school's own words, a rank's name too
	if t.Grading, err = a.in(tx, plain, who.Lang); err != nil {
		return nil, err
	}
	st := State(t.Grading.State)
	p := &FamilyPage{Grading: t.Grading.Grading, Syllabus: t.Grading.Syllabus, Open: st != Planning, MayAnswer: st.Allows(AnswerOwn), MaySign: st.Allows(SignOwn)}
	f := t.Family(who.household)
	if f == nil || !p.Open {
		return p, nil
	}
	p.Family, p.Sessions, p.Move = *f, t.Sessions, t.askedMove(f.ID)
	if p.Messages, err = threadOf(tx, who.Only, who.household); err != nil {
		return nil, err
	}
	begun, err := practiceBegins(tx, who.Only, who.household)
	if err != nil {
		return nil, err
	}
	signed, err := a.signedAt(tx, t.Grading)
	if err != nil {
		return nil, err
	}
	shown, err := tx.ResultsShown(who.Only)
	if err != nil {
		return nil, err
	}
	for _, e := range f.Entries {
		c, err := a.familyChild(tx, t, e)
		if err != nil {
			return nil, err
		}
		c.From = begun
		c.Sheets = signed.of(plain, &e)
		for i := range c.Sheets {
			c.Sheets[i].Name = t.Grading.Syllabus.Clearance(c.Sheets[i].Clearance).Name
		}
		if st != Closed || !slices.ContainsFunc(shown, func(s store.ResultShown) bool { return s.Entry == e.Entry.ID }) {
			c.Result = nil
		}
		p.Children = append(p.Children, c)
	}
	p.Told = t.FamilyTold(f.ID)
	return p, nil
}

// familyChild works out what is asked of one child. The Result is filled in
// for every signed grading; whether it is shown is for the caller.
func (a *App) familyChild(tx *store.Tx, t *Timetable, e EntryView) (FamilyChild, error) {
	v := t.Grading
	c := FamilyChild{EntryView: e, Band: -1, Until: v.Day, Told: t.ToldOf(e.Entry.ID)}
	c.Of, _ = v.Syllabus.Rank(e.Rank)
	if e.Age >= 0 {
		c.Band = v.Syllabus.Band(e.Age)
	}
	if c.Told != nil {
		c.Until = c.Told.Day
	}
	one := v
	one.Entries = []EntryView{e}
	var list []Outcome
	var err error
	if State(v.State) == Closed {
		list, err = a.judge(tx, one)
	} else {
		list, err = a.judgeBy(tx, one, nil) // without a mark: only what was before counts
	}
	if err != nil {
		return c, err
	}
	o := &list[0]
	if o.Decision != nil && State(v.State) == Closed {
		c.Result = o
	}
	if b := o.Case.Before; b != nil {
		c.Weak = coach.Weak{Requirements: b.Weak, Sections: b.WeakSections}
	}
	for i := range c.Of.Requirements {
		q := &c.Of.Requirements[i]
		waived := v.Waived(&e, q.ID)
		stands := false
		for _, k := range o.Case.Kept {
			stands = stands || k.Requirement == q.ID && v.Day <= k.Until
		}
		switch {
		case q.ForRelease:
		case waived:
			c.NotAsked = append(c.NotAsked, q)
		case stands:
			c.Stands = append(c.Stands, q)
		default:
			c.Asked = append(c.Asked, q)
		}
	}
	return c, nil
}

// practiceBegins is the day from which a family has its plan: that of its first
// link, so that the sheet on the fridge stays right whenever it is looked at.
func practiceBegins(tx *store.Tx, id rankwright.GradingID, h rankwright.HouseholdID) (rankwright.Day, error) {
	links, err := tx.FamilyLinks(id)
	if err != nil {
		return 0, err
	}
	for _, l := range links { // the earliest first
		if l.Household == h {
			return dayAt(l.Created.Time()), nil
		}
	}
	return 0, nil
}
