package app

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/internal/wording"
	"rankwright/internal/words"
)

// Message is a message to a family, to one address or to be handed over.
type Message = store.Message

// FreeWord is a message in the school's own words, beside the kinds that
// package wording has.
const FreeWord wording.Kind = "word"

// The states of a message.
const (
	Draft        = "draft"   // waits for a person's yes
	InQueue      = "waits"   // goes as soon as it is its turn
	BeingSent    = "sending" // written down before the server is spoken to
	WasSent      = "sent"
	RunDry       = "dry"     // everything but the sending
	MayBeGone    = "unsure"  // nobody knows whether the server took it
	WasRefused   = "refused" // for good, or given up
	CameBack     = "bounced" // could not be delivered
	Dropped      = "dropped" // no longer due, or a person dropped it
	ToHand       = "hand"    // to be printed or copied
	WasHanded    = "handed"
	LinkStandIn  = "{link}" // where the family's link belongs: it is made when the message goes
	stopStandIn  = "{stop}"
	reminderRest = 3 * 24 * time.Hour // a family is not reminded of the same thing before
)

// The flags of an address.
const (
	noReminders = "reminder"
	noWords     = "word"
	bounced     = "bounced"
)

// messageRow is what is settled for a kind of message.
type messageRow struct {
	kind   wording.Kind
	states []State
	// stops is the flag with which whoever reads an address ends such messages,
	// "" where the family must know what they say.
	stops string
}

var messageRows = []messageRow{
	{wording.Link, []State{Families, Timetabled}, ""},
	{wording.NotAnswered, []State{Families, Timetabled}, noReminders},
	{wording.NotSigned, []State{Families, Timetabled, OnTheMat}, noReminders},
	{wording.YourTime, []State{Timetabled}, ""},
	{wording.TimeChanged, []State{Timetabled}, ""},
	{wording.Tomorrow, []State{Families, Timetabled}, noReminders},
	{wording.ResultReady, []State{Closed}, ""},
	{FreeWord, []State{Families, Timetabled, OnTheMat, Deciding, Closed}, noWords},
}

func rowOf(k wording.Kind) *messageRow {
	for i := range messageRows {
		if messageRows[i].kind == k {
			return &messageRows[i]
		}
	}
	return nil
}

// Stops says whether whoever reads a kind of message may end it with a click.
func Stops(k wording.Kind) bool { r := rowOf(k); return r != nil && r.stops != "" }

// reminder says whether a kind is sent again and again until it is done.
func reminder(k wording.Kind) bool { return k == wording.NotAnswered || k == wording.NotSigned }

// MailState is how messages leave the school.
type MailState struct {
	On      bool // a mail server is set up
	Dry     bool // everything is done but the sending
	Address bool // it is written down where families reach the pages
}

// Rehearsal says whether everything is done but the sending.
func (a *App) Rehearsal() bool { return a.mail != nil && a.dry }

// outbox is a grading with everything that decides who gets which message.
type outbox struct {
	*Timetable
	mail     MailState
	check    func(string) error // of an address
	school   School
	langs    Languages
	signed   signed
	shown    []store.ResultShown
	messages []Message
	opened   map[rankwright.HouseholdID]bool         // have used a link
	since    map[rankwright.HouseholdID]store.Moment // have had one
	flags    map[store.AddressFlag]store.Moment      // by hash and flag, At left out
	byHand   map[rankwright.HouseholdID]bool
	today    rankwright.Day
	now      store.Moment
}

func (a *App) outboxOf(tx *store.Tx, id rankwright.GradingID) (*outbox, error) {
	t, err := a.timetable(tx, id)
	if err != nil {
		return nil, err
	}
	o := &outbox{Timetable: t, today: a.Today(), now: a.moment(), opened: map[rankwright.HouseholdID]bool{}, since: map[rankwright.HouseholdID]store.Moment{}, flags: map[store.AddressFlag]store.Moment{}, byHand: map[rankwright.HouseholdID]bool{}}
	if o.school, err = schoolOf(tx); err != nil {
		return nil, err
	}
	o.mail = MailState{On: a.mail != nil, Dry: a.dry, Address: o.school.Address != ""}
	if a.mail != nil {
		o.check = a.mail.Check
	}
	if o.langs, err = a.languages(tx); err != nil {
		return nil, err
	}
	if o.signed, err = a.signedAt(tx, t.Grading); err != nil {
		return nil, err
	}
	if o.shown, err = tx.ResultsShown(id); err != nil {
		return nil, err
	}
	if o.messages, err = tx.Messages(id); err != nil {
		return nil, err
	}
	links, err := tx.FamilyLinks(id)
	if err != nil {
		return nil, err
	}
	for _, l := range links {
		if o.since[l.Household] == 0 {
			o.since[l.Household] = l.Created
		}
		o.opened[l.Household] = o.opened[l.Household] || l.Used != 0 && a.lives(l, t.Grading.Grading)
	}
	flags, err := tx.AddressFlags()
	if err != nil {
		return nil, err
	}
	for _, f := range flags {
		o.flags[store.AddressFlag{Address: f.Address, Flag: f.Flag}] = f.At
	}
	hands, err := tx.HouseholdsByHand()
	for _, h := range hands {
		o.byHand[h.Household] = true
	}
	return o, err
}

// addressHash is by what an address is known where it need not be read.
func addressHash(address string) string {
	return hashOf(strings.ToLower(strings.TrimSpace(address)))
}

func (o *outbox) flag(address, flag string) (store.Moment, bool) {
	at, ok := o.flags[store.AddressFlag{Address: addressHash(address), Flag: flag}]
	return at, ok
}

// addresses are those of a family's guardians, each once.
func addresses(f *Family) (out []string) {
	for i := range f.Entries {
		for _, g := range f.Entries[i].Student.Guardians {
			mail := strings.TrimSpace(g.Email)
			if mail != "" && !slices.ContainsFunc(out, func(x string) bool { return strings.EqualFold(x, mail) }) {
				out = append(out, mail)
			}
		}
	}
	return out
}

// counts says whether a message has reached its family, or is on its way.
func (o *outbox) counts(m *Message) bool {
	switch m.State {
	case InQueue, BeingSent, WasSent, MayBeGone, ToHand, WasHanded:
		return true
	case RunDry:
		return o.mail.Dry // a rehearsal counts in a rehearsal
	}
	return false
}

// has finds the last message of a kind that an address of a family has of the
// same thing. Without an address it is any of the family's; so is a message
// whose words are gone.
func (o *outbox) has(k wording.Kind, about string, f *Family, address string) *Message {
	for i := len(o.messages) - 1; i >= 0; i-- {
		m := &o.messages[i]
		if m.Household != f.ID || m.Kind != string(k) || m.About != about || !o.counts(m) ||
			address != "" && m.Address != "" && !strings.EqualFold(m.Address, address) {
			continue
		}
		if reminder(k) && m.State != InQueue && m.State != BeingSent && m.State != ToHand &&
			o.now.Time().Sub(max(m.Created, m.Ended).Time()) >= reminderRest {
			continue
		}
		return m
	}
	return nil
}

// timesAbout names the times of a family as they are told now, a line each, so
// that what was said before can be read out of an earlier message.
func (o *outbox) timesAbout(f *Family) string {
	var out []string
	for _, x := range o.FamilyTold(f.ID) {
		if x.Cancelled {
			out = append(out, string(x.Entry))
		} else {
			out = append(out, fmt.Sprintf("%s\t%s\t%d\t%s", x.Entry, x.Day, x.Begins, x.Mat))
		}
	}
	slices.Sort(out)
	return strings.Join(out, "\n")
}

// told is what a family's last message about its times said.
func (o *outbox) lastTold(f *Family) (about string, ok bool) {
	for i := len(o.messages) - 1; i >= 0; i-- {
		m := &o.messages[i]
		if m.Household == f.ID && (m.Kind == string(wording.YourTime) || m.Kind == string(wording.TimeChanged)) && o.counts(m) {
			return m.About, true
		}
	}
	return "", false
}

// tomorrows are the children of a family whose day is tomorrow.
func (o *outbox) tomorrows(f *Family) (out []*EntryView) {
	for i := range f.Entries {
		e := &f.Entries[i]
		if x := o.ToldOf(e.Entry.ID); x != nil && x.Day == o.today+1 || x == nil && len(o.Sessions) == 0 && o.Grading.Day == o.today+1 {
			out = append(out, e)
		}
	}
	return out
}

// unsigned lists what of a family's sheets is open: neither signed, nor settled,
// nor to be talked about first.
func (o *outbox) unsigned(f *Family) (out []string) {
	for i := range f.Entries {
		e := &f.Entries[i]
		for _, sheet := range o.signed.of(o.Grading, e) {
			if sheet.State == "" {
				out = append(out, e.Student.GivenName+": "+sheet.Name)
			}
		}
	}
	return out
}

// due says of what a family is to hear by a kind of message, or why it need not.
func (o *outbox) due(k wording.Kind, f *Family) (about string, why WhyNot) {
	switch k {
	case wording.Link:
		if o.opened[f.ID] {
			return "", HasIt
		}
	case wording.NotAnswered:
		waits := slices.ContainsFunc(f.Entries, func(e EntryView) bool { return o.ToldOf(e.Entry.ID) == nil })
		if len(o.Sessions) == 0 || !waits || f.Answered() >= len(o.Sessions) {
			return "", NotDue
		}
	case wording.NotSigned:
		if len(o.unsigned(f)) == 0 {
			return "", NotDue
		}
	case wording.YourTime, wording.TimeChanged:
		told := o.FamilyTold(f.ID)
		if len(told) == 0 {
			return "", NotDue
		}
		about = o.timesAbout(f)
		last, before := o.lastTold(f)
		changed := before && last != about || !before && slices.ContainsFunc(told, func(x PublishedTime) bool { return x.Sequence > 0 })
		if before && last == about {
			// Whoever of the family has no message of it yet gets the same kind.
			changed = slices.ContainsFunc(o.messages, func(m Message) bool {
				return m.Household == f.ID && m.Kind == string(wording.TimeChanged) && m.About == about && o.counts(&m)
			})
		}
		if changed != (k == wording.TimeChanged) {
			return "", NotDue
		}
	case wording.Tomorrow:
		if len(o.tomorrows(f)) == 0 {
			return "", NotDue
		}
		about = (o.today + 1).String()
	case wording.ResultReady:
		var ids []string
		for _, r := range o.shown {
			if slices.ContainsFunc(f.Entries, func(e EntryView) bool { return e.Entry.ID == r.Entry }) {
				ids = append(ids, string(r.Entry))
			}
		}
		if len(ids) == 0 {
			return "", NotShown
		}
		about = strings.Join(ids, " ")
	}
	return about, ""
}

// WhyNot is a reason for which a family gets no message, or gets it by hand.
type WhyNot string

// The reasons.
const (
	NotDue    WhyNot = "not due"    // it has nothing to hear of it
	NotShown  WhyNot = "not shown"  // the family may not see a result yet
	HasIt     WhyNot = "has it"     // or it is on its way
	WantsNone WhyNot = "wants none" // ended such messages with a click
	NoAddress WhyNot = "no address"
	BadForm   WhyNot = "bad form"  // the address cannot be one
	NotWork   WhyNot = "not work"  // it came back from the address
	WantsHand WhyNot = "by hand"   // wants no e-mail
	NoServer  WhyNot = "no server" // the school has no mail server set up
	LinksEnd  WhyNot = "links end" // the family's links were withdrawn meanwhile
)

// recipients are the addresses of a family to which a message would go; one
// that is empty is by hand, and why says for what reason. Without any, why says
// that too.
func (o *outbox) recipients(k wording.Kind, f *Family, over string) (to []string, about string, why WhyNot) {
	if about, why = o.due(k, f); why != "" {
		return nil, about, why
	}
	if k == FreeWord {
		about = over
	}
	hand := func(why WhyNot) ([]string, string, WhyNot) {
		if o.has(k, about, f, "") != nil {
			return nil, about, HasIt
		}
		return []string{""}, about, why
	}
	switch all := addresses(f); {
	case o.byHand[f.ID]:
		return hand(WantsHand)
	case len(all) == 0:
		return hand(NoAddress)
	case o.check == nil:
		return hand(NoServer)
	default:
		seen := map[WhyNot]bool{}
		for _, mail := range all {
			if why := o.refuses(k, mail); why != "" {
				seen[why] = true
			} else if o.has(k, about, f, mail) != nil {
				seen[HasIt] = true
			} else {
				to = append(to, mail)
			}
		}
		switch {
		case len(to) > 0:
			return to, about, ""
		case seen[HasIt]:
			return nil, about, HasIt
		case seen[WantsNone]:
			return nil, about, WantsNone
		case seen[NotWork]:
			return hand(NotWork)
		}
		return hand(BadForm)
	}
}

// refuses says why nothing of a kind goes to an address.
func (o *outbox) refuses(k wording.Kind, mail string) WhyNot {
	stops := rowOf(k).stops
	if o.check != nil && o.check(mail) != nil {
		return BadForm
	}
	if _, ok := o.flag(mail, bounced); ok {
		return NotWork
	}
	if _, ok := o.flag(mail, stops); ok && stops != "" {
		return WantsNone
	}
	return ""
}

// values are what stands in the fields of a family's message.
func (o *outbox) values(k wording.Kind, f *Family, say *words.Say) wording.Values {
	given := func(e *EntryView) string { return e.Student.GivenName }
	v := wording.Values{"grading": {o.Grading.Title}, "day": {say.Day(o.Grading.Day)}, "school": {o.school.Name}, "link": {linkPlace}}
	for i := range f.Entries {
		v["children"] = append(v["children"], given(&f.Entries[i]))
	}
	at := func(child string, day rankwright.Day, begins int, mat string) string {
		return say.It("message.time", words.Set{Name: "Child", Value: child}, words.Set{Name: "Day", Value: say.Day(day)},
			words.Set{Name: "Time", Value: say.Time(begins)}, words.Set{Name: "Mat", Value: mat})
	}
	list := f.Entries
	switch k {
	case wording.NotSigned:
		v["unsigned"] = o.unsigned(f)
	case wording.Tomorrow:
		list = nil
		for _, e := range o.tomorrows(f) {
			list = append(list, *e)
		}
		v["day"] = []string{say.Day(o.today + 1)}
		fallthrough
	case wording.YourTime, wording.TimeChanged:
		for i := range list {
			e := &list[i]
			switch x := o.ToldOf(e.Entry.ID); {
			case x != nil:
				v["times"] = append(v["times"], at(given(e), x.Day, x.Begins, x.Mat))
			case len(o.Sessions) == 0:
				v["times"] = append(v["times"], say.It("message.day", words.Set{Name: "Child", Value: given(e)}, words.Set{Name: "Day", Value: say.Day(o.Grading.Day)}))
			default:
				v["times"] = append(v["times"], say.It("message.no-time", words.Set{Name: "Child", Value: given(e)}))
			}
		}
	}
	if k == wording.TimeChanged {
		last, _ := o.lastTold(f)
		for line := range strings.Lines(last) {
			x := strings.Split(strings.TrimSpace(line), "\t")
			i := slices.IndexFunc(f.Entries, func(e EntryView) bool { return string(e.Entry.ID) == x[0] })
			if i < 0 || len(x) < 4 {
				continue
			}
			d, err := rankwright.ParseDay(x[1])
			begins, no := strconv.Atoi(x[2])
			if err == nil && no == nil {
				v["before"] = append(v["before"], at(given(&f.Entries[i]), d, begins, x[3]))
			}
		}
	}
	if takes(k, "place") {
		v["place"] = []string{o.Grading.Place}
	}
	// The list at the door is in the school's own words.
	if takes(k, "bring") && o.school.Door != "" && o.langs.School() == say.Lang() {
		v["bring"] = o.school.DoorLines()
	}
	return v
}

// takes says whether a wording of a kind may name a field.
func takes(k wording.Kind, field string) bool {
	return slices.ContainsFunc(k.Fields(), func(f wording.Field) bool { return f.Name == field })
}
