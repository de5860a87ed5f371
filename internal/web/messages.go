package web

import (
	"io"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
	"rankwright/internal/wording"
)

// Messages to families: what could be sent, what waits for a yes, what became
// of it. Nothing leaves without a person's yes.
var messageRoutes = []Route{
	{Pattern: "GET /gradings/{id}/messages", Act: app.SeeMessages, Do: messagesShow},
	{Pattern: "POST /gradings/{id}/messages/prepare", Act: app.SendMessages, Do: messagesPrepare},
	{Pattern: "GET /gradings/{id}/messages/write", Act: app.SendMessages, Do: messagesWrite},
	{Pattern: "POST /gradings/{id}/messages/write", Act: app.SendMessages, Do: messagesWrite},
	{Pattern: "GET /gradings/{id}/messages/preview", Act: app.SendMessages, Do: messagesPreview},
	{Pattern: "POST /gradings/{id}/messages/send", Act: app.SendMessages, Do: messagesSend},
	{Pattern: "POST /gradings/{id}/messages/discard", Act: app.SendMessages, Do: messagesDiscard},
	{Pattern: "POST /gradings/{id}/messages/halt", Act: app.SendMessages, Do: messagesHalt},
	{Pattern: "POST /gradings/{id}/messages/decide", Act: app.HandMessages, Do: messagesDecide},
	{Pattern: "POST /gradings/{id}/messages/way", Act: app.HandMessages, Do: messagesWay},
	{Pattern: "GET /gradings/{id}/messages/hand", Act: app.HandMessages, Do: messagesHand},
	{Pattern: "POST /gradings/{id}/messages/hand", Act: app.HandMessages, Do: messagesHandLinks},
	{Pattern: "POST /gradings/{id}/messages/handed", Act: app.HandMessages, Do: messagesHanded},
	{Pattern: "GET /gradings/{id}/messages/letters.pdf", Act: app.HandMessages, Do: messagesLetters},
	{Pattern: "GET /gradings/{id}/messages/report", Act: app.HandMessages, Do: messagesReport},
	{Pattern: "POST /gradings/{id}/messages/report", Act: app.HandMessages, Large: true, Do: messagesReport},
	{Pattern: "GET /gradings/{id}/messages/read", Act: app.SeeMessages, Do: messagesRead},
	{Pattern: "GET /gradings/{id}/messages/file", Act: app.SeeMessages, Do: messagesFile},
}

func messagesHref(id rankwright.GradingID) string {
	return "/gradings/" + url.PathEscape(string(id)) + "/messages"
}

// messageWords are what a kind of message is called where it is due, for one
// family and for several.
var messageWords = map[wording.Kind][2]string{
	wording.Link:        {"family has not had the link to its page", "families have not had the link to their page"},
	wording.NotAnswered: {"family has not said which times suit", "families have not said which times suit"},
	wording.NotSigned:   {"family has something to sign", "families have something to sign"},
	wording.YourTime:    {"family has not been told its time", "families have not been told their time"},
	wording.TimeChanged: {"family has not been told that its time changed", "families have not been told that their time changed"},
	wording.Tomorrow:    {"family comes tomorrow", "families come tomorrow"},
	wording.ResultReady: {"family may see its result and does not know it", "families may see their result and do not know it"},
}

// messageCalls are links to what waits for a person, each with what it is.
func messageCalls(c app.PostCalls, at, after string) (out []look.Link) {
	add := func(n int, one, many, where string) {
		if n > 0 {
			out = append(out, look.Link{Href: at + where, Text: plural(n, one, many) + after})
		}
	}
	add(c.Unsure, "message may have gone or not", "messages may have gone or not", "#doubts")
	add(c.Failed, "message did not arrive", "messages did not arrive", "#failed")
	for _, d := range c.Due {
		w := messageWords[d.Kind]
		do := "; tell them"
		if app.Stops(d.Kind) {
			do = "; remind them"
		}
		add(d.Families, w[0]+do, w[1]+do, "#due")
	}
	add(c.Hand, "message is to be handed over", "messages are to be handed over", "/hand")
	return out
}

func kindTitle(k string) string {
	if wording.Kind(k) == app.FreeWord {
		return "Your own words"
	}
	return wording.Kind(k).Title()
}

// messageStates are what a state is called, and how it looks.
var messageStates = map[string][2]string{
	app.Draft: {"prepared", "badge-soft"}, app.InQueue: {"waits its turn", "badge-soft"}, app.BeingSent: {"being sent", "badge-soft"}, app.WasSent: {"sent", "badge-good"},
	app.RunDry: {"rehearsed, not sent", "badge-accent"}, app.MayBeGone: {"may have gone", "badge-attention"}, app.WasRefused: {"refused", "badge-stop"},
	app.CameBack: {"came back", "badge-stop"}, app.Dropped: {"not sent", "badge-soft"}, app.ToHand: {"to hand over", "badge-attention"}, app.WasHanded: {"handed over", "badge-good"},
}

// whyNot says for what reason a family gets no message, or gets it by hand.
func whyNot(why app.WhyNot) string {
	return map[app.WhyNot]string{
		app.NotDue: "no longer needed", app.NotShown: "may not see a result yet", app.HasIt: "has it already", app.WantsNone: "wants none of these by e-mail",
		app.NoAddress: "no e-mail address", app.BadForm: "the e-mail address cannot be right", app.NotWork: "mail came back from the address",
		app.WantsHand: "wants no e-mail", app.NoServer: "no mail server is set up", app.LinksEnd: "the links were withdrawn meanwhile",
	}[why]
}

type messagesPage struct {
	Frame
	At       string
	Notices  []look.Notice
	Due      []messageDue
	Drafts   int
	MaySend  bool
	MayHand  bool
	Doubts   []messageRow // unsure
	Failed   []messageRow // refused or come back
	Hand     int
	Waiting  int
	Batches  []messageBatch
	Ways     []messageWay
	Troubled int  // families with an address that does not work
	Reports  bool // letters that came back can be handed in
	None     *look.Empty
}

type messageDue struct{ Kind, Text, When string }

type messageRow struct {
	ID, Family, To, Kind, When string
	State, Badge, Note         string
	Again                      bool // may be tried once more
}

type messageBatch struct {
	Title, When, Count string
	Rows               []messageRow
}

type messageWay struct {
	ID, Name  string
	Addresses []messageAddress
	ByHand    bool
	Bounced   bool
}

type messageAddress struct {
	Mail  string
	Flags []string
}

// moment writes a moment as people say it, "" where there is none.
func moment(m interface{ Time() time.Time }) string {
	t := m.Time()
	if t.IsZero() {
		return ""
	}
	t = t.Local()
	y, mo, d := t.Date()
	return rankwright.NewDay(y, mo, d).Long() + ", " + t.Format("15:04")
}

// outbox are the messages of the grading that an address names.
func (q *Query) outbox() (id rankwright.GradingID, v app.OutboxView, err error) {
	id = rankwright.GradingID(q.PathValue("id"))
	v, err = q.App().Outbox(q.Context(), q.Who, id)
	return id, v, err
}

func messagesShow(q *Query) (Answer, error) {
	id, v, err := q.outbox()
	if err != nil {
		return nil, err
	}
	p := &messagesPage{At: messagesHref(id), Drafts: len(v.Drafts), MaySend: q.Who.Role.May(app.SendMessages) && app.State(v.Grading.State).Allows(app.SendMessages), MayHand: q.Who.Role.May(app.HandMessages)}
	p.Title, p.Kicker, p.Back, p.Width = "Messages", v.Grading.Title, gradingBack(id, v.Grading.Title), "wide"
	p.Styles = []string{look.AssetPath() + "family.css"}
	p.Lead = "Nothing leaves without your yes, and nobody gets the same twice."
	p.Notices = mailNotices(q, v)
	for _, d := range v.Due {
		w := messageWords[d.Kind]
		p.Due = append(p.Due, messageDue{string(d.Kind), plural(d.Families, w[0], w[1]), d.Kind.When()})
	}
	p.Reports = v.Mail.On && p.MayHand
	p.gather(v)
	for _, f := range v.Families {
		p.Ways = append(p.Ways, wayOf(f))
		if p.Ways[len(p.Ways)-1].Bounced {
			p.Troubled++
		}
	}
	if len(v.Families) == 0 && len(v.Messages) == 0 {
		p.None = &look.Empty{Title: "Nobody is entered yet", Text: "Messages go to the families of the students who are entered."}
	}
	return Page("messages", p), nil
}

// mailNotices say how messages leave the school, where that is not plainly by
// e-mail.
func mailNotices(q *Query, v app.OutboxView) (out []look.Notice) {
	switch m := v.Mail; {
	case app.State(v.Grading.State) == app.Planning:
		out = append(out, look.Notice{Kind: "info", Title: "Not open to families yet", Text: "Messages can be sent once the grading is open to families."})
	case !m.On:
		out = append(out, look.Notice{Kind: "info", Title: "No mail server is set up", Text: "Every message is a letter to print or a text to copy. Whoever runs the program can set the school's mail server up."})
	case m.Dry:
		out = append(out, look.Notice{Kind: "attention", Title: "This is a rehearsal", Text: "The program was started dry: everything is done but the sending. Each message can be saved as a file and opened with a mail program."})
	case !m.Address:
		n := look.Notice{Kind: "attention", Title: "The links would lead nowhere", Text: "It is not written down where families reach these pages, and no e-mail can be prepared before."}
		if q.Who.Role.May(app.EditSchool) {
			n.Links = []look.Link{{Href: "/school", Text: "Write it down under The school"}}
		}
		out = append(out, n)
	}
	return out
}

// gather sorts the messages into what needs a person and what is done, a batch
// at a time.
func (p *messagesPage) gather(v app.OutboxView) {
	at, place := map[string]int{}, map[string]int{}
	for i, f := range v.Families {
		place[f.Name] = i - len(v.Families) // who is not entered any more comes last
	}
	for _, m := range v.Messages {
		if m.State == app.Draft {
			continue
		}
		r := messageRowOf(m)
		switch m.State {
		case app.MayBeGone:
			p.Doubts = append(p.Doubts, r)
		case app.WasRefused, app.CameBack:
			p.Failed = append(p.Failed, r)
		case app.ToHand:
			p.Hand++
		case app.InQueue, app.BeingSent:
			p.Waiting++
		}
		i, ok := at[m.Batch]
		if !ok {
			i = len(p.Batches)
			at[m.Batch] = i
			p.Batches = append(p.Batches, messageBatch{Title: kindTitle(m.Kind), When: moment(m.Created)})
		}
		p.Batches[i].Rows = append(p.Batches[i].Rows, r)
	}
	for i := range p.Batches {
		b := &p.Batches[i]
		count := map[string]int{}
		var order []string
		for _, r := range b.Rows {
			if count[r.State]++; count[r.State] == 1 {
				order = append(order, r.State)
			}
		}
		slices.SortStableFunc(order, func(x, y string) int { return count[y] - count[x] })
		var parts []string
		for _, s := range order {
			parts = append(parts, itoa(count[s])+" "+s)
		}
		b.Count = strings.Join(parts, ", ")
		slices.SortStableFunc(b.Rows, func(x, y messageRow) int { return place[x.Family] - place[y.Family] })
	}
}

func messageRowOf(m app.MessageView) messageRow {
	s := messageStates[m.State]
	r := messageRow{ID: m.ID, Family: m.Family, To: m.Address, Kind: kindTitle(m.Kind), When: moment(max(m.Ended, m.Agreed, m.Created)), State: s[0], Badge: s[1], Note: m.Answer, Again: m.Body != ""}
	switch {
	case m.State == app.Dropped:
		r.Note = whyNot(app.WhyNot(m.Answer))
	case m.State == app.InQueue && m.Tries > 0:
		r.Note = "refused for now, tried again at " + m.Next.Time().Local().Format("15:04") + ": " + m.Answer
	case m.State == app.WasHanded && m.Channel == "paste":
		r.State = "passed on as a text"
	}
	if r.Family == "" {
		r.Family = "a family that is not entered any more"
	}
	if r.To == "" && m.Channel == "mail" {
		r.To = "erased"
	}
	return r
}

func wayOf(f app.FamilyWay) messageWay {
	w := messageWay{ID: string(f.ID), Name: f.Name, ByHand: f.ByHand}
	for _, a := range f.Addresses {
		x := messageAddress{Mail: a.Mail}
		if a.BadForm {
			x.Flags = append(x.Flags, "cannot be right")
		}
		if a.Bounced != 0 {
			x.Flags = append(x.Flags, "came back on "+moment(a.Bounced))
			w.Bounced = true
		}
		if a.NoRemind != 0 {
			x.Flags = append(x.Flags, "wants no reminders")
		}
		if a.NoWords != 0 {
			x.Flags = append(x.Flags, "wants no general messages")
		}
		w.Addresses = append(w.Addresses, x)
	}
	return w
}

func messagesHalt(q *Query) (Answer, error) {
	id := rankwright.GradingID(q.PathValue("id"))
	n, err := q.App().DropWaiting(q.Context(), q.Who, id)
	if err != nil {
		return nil, err
	}
	q.Flash("good", plural(n, "message that waited is", "messages that waited are")+" not sent. What had gone before has gone.")
	return To(messagesHref(id)), nil
}

func messagesDecide(q *Query) (Answer, error) {
	id := rankwright.GradingID(q.PathValue("id"))
	what := q.FormValue("what")
	if err := q.App().Decide(q.Context(), q.Who, id, q.FormValue("message"), what); err != nil {
		return nil, err
	}
	q.Flash("good", map[string]string{app.SendAgain: "It is sent once more.", app.TakeAsGone: "It counts as sent.", app.DropIt: "It is put aside and not sent.", app.ItCameBack: "Written down. Until somebody says that the address works again, the family is told by hand."}[what])
	return To(messagesHref(id)), nil
}

// messagesWay writes down how a family is written to.
func messagesWay(q *Query) (Answer, error) {
	id, family := rankwright.GradingID(q.PathValue("id")), rankwright.HouseholdID(q.FormValue("family"))
	var err error
	switch q.FormValue("way") {
	case "works":
		err = q.App().AddressWorks(q.Context(), q.Who, id, family)
	case "hand", "mail":
		err = q.App().SetByHand(q.Context(), q.Who, id, family, q.FormValue("way") == "hand")
	default:
		err = rankwright.Faultf(rankwright.Invalid, "no_way", "go back and choose one", "it was not said how the family is written to")
	}
	if err != nil {
		return nil, err
	}
	q.Flash("good", "Written down.")
	return To(messagesHref(id) + "#ways"), nil
}

type messageReadPage struct {
	Frame
	Facts         []look.Fact
	Subject, Text string
	Lang          string
	File          string
	Returned      string // where it is written down that it came back, "" where it cannot
	ID            string
}

func messagesRead(q *Query) (Answer, error) {
	id, v, err := q.outbox()
	if err != nil {
		return nil, err
	}
	i := slices.IndexFunc(v.Messages, func(m app.MessageView) bool { return m.ID == q.FormValue("message") })
	if i < 0 {
		return nil, rankwright.Faultf(rankwright.NotFound, "no_message", "go back and choose from the list", "this message is not there any more")
	}
	m := v.Messages[i]
	r := messageRowOf(m)
	p := &messageReadPage{Subject: m.Subject, Text: app.Shown(&m.Message, ""), Lang: m.Lang}
	p.Title, p.Kicker, p.Width = r.Kind, r.Family, "narrow"
	p.Back = &look.Link{Href: messagesHref(id), Text: "Messages"}
	p.Styles = []string{look.AssetPath() + "family.css"}
	add := func(term, value string) {
		if value != "" {
			p.Facts = append(p.Facts, look.Fact{Term: term, Text: value})
		}
	}
	add("To", r.To)
	add("State", r.State)
	add("Prepared", moment(m.Created))
	add("A person said yes", moment(m.Agreed))
	add("Last tried", moment(m.Began))
	add("Tries", map[bool]string{true: itoa(m.Tries)}[m.Tries > 0])
	add("Came to rest", moment(m.Ended))
	add("What the mail server said", r.Note)
	if m.Body == "" {
		p.Text = "The words were erased with the child."
	} else if m.Channel == "mail" && v.Mail.On {
		p.File = messagesHref(id) + "/file?message=" + url.QueryEscape(m.ID)
	}
	if m.Channel == "mail" && (m.State == app.WasSent || m.State == app.MayBeGone) && q.Who.Role.May(app.HandMessages) {
		p.Returned, p.ID = messagesHref(id)+"/decide", m.ID
	}
	return Page("messages-read", p), nil
}

type messageReportPage struct {
	Frame
	File look.Field
}

// messagesReport takes what a mail server reported of a letter.
func messagesReport(q *Query) (Answer, error) {
	id, v, err := q.outbox()
	if err != nil {
		return nil, err
	}
	p := &messageReportPage{}
	p.Title, p.Kicker, p.Width = "A message came back", v.Grading.Title, "narrow"
	p.Back = &look.Link{Href: messagesHref(id), Text: "Messages"}
	p.Lead = "A mail server that cannot deliver a message writes to the school's mailbox. Save that letter as a file with your mail program and hand it in; the file is read and not kept."
	p.File = look.Field{Name: "file", Label: "The letter that came back", Type: "file", Accept: ".eml,message/rfc822", Required: true}
	if q.Method == http.MethodGet {
		return Page("messages-report", p), nil
	}
	again := func(why string) (Answer, error) {
		p.File.Error = why
		p.Errors = look.ErrorsOf(p.File)
		return Again("messages-report", p), nil
	}
	f, _, err := q.FormFile("file")
	if err != nil {
		return again("No file was chosen. Choose the letter that came back.")
	}
	defer f.Close()
	report, err := io.ReadAll(f)
	if err != nil {
		return nil, err
	}
	known, failed, err := q.App().TakeReport(q.Context(), q.Who, id, report)
	switch {
	case rankwright.KindOf(err) == rankwright.Invalid && err != nil:
		say, do := told(err)
		return again(say + " " + do)
	case err != nil:
		return nil, err
	case known == 0:
		q.Flash("info", "That is about none of the messages that went out from here.")
	case failed == 0:
		q.Flash("info", "The mail server is still trying. Nothing has to be done yet.")
	default:
		q.Flash("good", plural(failed, "message", "messages")+" did not arrive. Until somebody says that the address works again, the family is told by hand.")
	}
	return To(messagesHref(id)), nil
}

func messagesFile(q *Query) (Answer, error) {
	data, err := q.App().MessageFile(q.Context(), q.Who, rankwright.GradingID(q.PathValue("id")), q.FormValue("message"))
	if err != nil {
		return nil, err
	}
	return File{Name: "message.eml", Type: "message/rfc822", Data: data}, nil
}
