package web

import (
	"net/http"
	"slices"
	"strings"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
	"rankwright/internal/wording"
)

// messagesPrepare prepares a kind of message and leads to its preview.
func messagesPrepare(q *Query) (Answer, error) {
	id := rankwright.GradingID(q.PathValue("id"))
	made, err := q.App().Prepare(q.Context(), q.Who, id, app.Preparing{Kind: wording.Kind(q.FormValue("kind"))})
	if err != nil {
		return nil, err
	}
	if made == 0 {
		q.Flash("info", "Nobody has to hear that: it is done, or on its way.")
		return To(messagesHref(id)), nil
	}
	return To(messagesHref(id) + "/preview"), nil
}

// messagesWrite asks for the school's own words.
func messagesWrite(q *Query) (Answer, error) {
	id, v, err := q.outbox()
	if err != nil {
		return nil, err
	}
	p := &formPage{Submit: "Look at it"}
	p.Title, p.Width, p.Kicker = "In your own words", "narrow", v.Grading.Title
	p.Back = &look.Link{Href: messagesHref(id), Text: "Messages"}
	p.Lead = "It goes to the families that you choose, in the language in which you write it. You look at each before it goes."
	var families []look.Option
	for _, f := range v.Families {
		families = append(families, look.Option{Value: string(f.ID), Text: f.Name, Selected: slices.Contains(q.Form["family"], string(f.ID))})
	}
	p.Fields = []look.Field{
		{Name: "subject", Label: "What it is about", Value: q.FormValue("subject"), Required: true, MaxLength: wording.MaxSubject},
		{Name: "body", Label: "Your words", Kind: "textarea", Rows: 10, Value: q.FormValue("body"), Required: true, MaxLength: wording.MaxBody,
			Hint: "{children} stands for the children's given names, {grading}, {day} and {school} for what they say, {link} for the family's own page; without it the link stands at the end. Write nothing about one child that another family should not read."},
		{Name: "family", Label: "To whom", Kind: "checks", Optional: true, Options: families, Hint: "Choose none, and it goes to every family."},
	}
	if q.Method == http.MethodGet {
		return Page("form", p), nil
	}
	w := app.Preparing{Kind: app.FreeWord, Subject: q.FormValue("subject"), Body: q.FormValue("body")}
	for _, f := range q.Form["family"] {
		w.Only = append(w.Only, rankwright.HouseholdID(f))
	}
	made, err := q.App().Prepare(q.Context(), q.Who, id, w)
	switch {
	case err != nil && p.wrong(err):
		return Again("form", p), nil
	case err != nil:
		return nil, err
	case made == 0:
		q.Flash("info", "They have exactly these words already, or want no such messages.")
		return To(messagesHref(id)), nil
	}
	return To(messagesHref(id) + "/preview"), nil
}

type previewPage struct {
	Frame
	At, Batch string
	Notices   []look.Notice
	Rows      []previewRow
	Left      []messageDue // why, and who
	Send      string
	Words     string // where the school changes what it says, "" where it cannot
	None      *look.Empty
}

type previewRow struct {
	ID, Family, To, Why, Subject, Text, Lang string
	Open                                     bool
}

func messagesPreview(q *Query) (Answer, error) {
	id, v, err := q.outbox()
	if err != nil {
		return nil, err
	}
	p := &previewPage{At: messagesHref(id), Notices: mailNotices(q, v)}
	p.Title, p.Kicker = "Look before it goes", v.Grading.Title
	p.Back = &look.Link{Href: messagesHref(id), Text: "Messages"}
	p.Styles = []string{look.AssetPath() + "family.css"}
	if len(v.Drafts) == 0 {
		p.None = &look.Empty{Title: "Nothing is prepared", Text: "Choose a message first; then you see each one here before it goes.", Action: &look.Link{Href: p.Back.Href, Text: "Messages"}}
		return Page("messages-preview", p), nil
	}
	p.Batch = v.Drafts[0].Batch
	if wording.Kind(v.Drafts[0].Kind) != app.FreeWord && q.Who.Role.May(app.EditWordings) {
		p.Words = wordingsHref
	}
	mail, hand := 0, 0
	for i, m := range v.Drafts {
		r := previewRow{ID: m.ID, Family: m.Family, To: m.Address, Subject: m.Subject, Text: app.Shown(&m.Message, ""), Lang: m.Lang, Open: i == 0}
		if m.Channel == "mail" {
			mail++
		} else {
			hand++
			r.Why = whyNot(m.Why)
		}
		p.Rows = append(p.Rows, r)
	}
	p.Lead = kindTitle(v.Drafts[0].Kind) + ": " + plural(mail, "e-mail", "e-mails") + ", " + itoa(hand) + " to hand over."
	p.Send = "Yes, send " + plural(mail, "e-mail", "e-mails")
	switch {
	case mail == 0:
		p.Send = "Yes, these are to be handed over"
	case hand > 0:
		p.Send += " and set out " + itoa(hand) + " to hand over"
	}
	if v.Mail.Dry && mail > 0 {
		p.Send = "Yes, rehearse it"
	}
	who := map[app.WhyNot][]string{}
	for _, l := range v.Left {
		who[l.Why] = append(who[l.Why], l.Family)
	}
	for _, why := range []app.WhyNot{app.WantsNone, app.NotShown, app.HasIt, app.NotDue} {
		if names := who[why]; len(names) > 0 {
			p.Left = append(p.Left, messageDue{Text: leftOut(why), When: strings.Join(names, ", ")})
		}
	}
	return Page("messages-preview", p), nil
}

func leftOut(why app.WhyNot) string {
	if why == app.NotDue {
		return "It does not concern them, or you did not choose them."
	}
	return sentence(whyNot(why))
}

func messagesSend(q *Query) (Answer, error) {
	id := rankwright.GradingID(q.PathValue("id"))
	if len(q.Form["take"]) == 0 {
		return nil, rankwright.Faultf(rankwright.Invalid, "no_message", "go back and leave at least one ticked, or throw them all away", "no message was chosen")
	}
	gone, late, err := q.App().Agree(q.Context(), q.Who, id, q.FormValue("batch"), q.Form["take"])
	if err != nil {
		return nil, err
	}
	text := plural(gone, "message is", "messages are") + " on the way. They go one after the other; this page says what became of each."
	if q.App().Rehearsal() {
		text = "You said yes to " + plural(gone, "message", "messages") + ". This is a rehearsal: no e-mail leaves, and this page says what would have become of each."
	}
	if late > 0 {
		text += " " + plural(late, "is", "are") + " not needed any more and left out."
	}
	q.Flash("good", text)
	return To(messagesHref(id)), nil
}

func messagesDiscard(q *Query) (Answer, error) {
	id := rankwright.GradingID(q.PathValue("id"))
	if err := q.App().Discard(q.Context(), q.Who, id); err != nil {
		return nil, err
	}
	q.Flash("good", "Thrown away. Nothing was sent.")
	return To(messagesHref(id)), nil
}
