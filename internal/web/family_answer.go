package web

import (
	"errors"
	"net/http"
	"strings"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
	"rankwright/internal/words"
)

type familyTimesPage struct {
	familyFrame
	Fields []look.Field
	Note   look.Field
	None   string
}

// familyTimes asks of each session whether it suits.
func familyTimes(f *familyQuery) (Answer, error) {
	v, err := f.App().FamilyPage(f.Context(), f.who)
	if err != nil {
		return nil, err
	}
	p := &familyTimesPage{familyFrame: f.frame(f.say.It("times.title"))}
	p.back(f)
	p.Kicker = f.say.Apart(v.Grading.Title)
	if !asksTimes(v) {
		p.None = f.say.It("times.none")
		return Page("family-times", p), nil
	}
	p.Lead = f.say.It("times.lead")
	suits := map[string]string{}
	for i := range v.Sessions {
		s := &v.Sessions[i]
		now := v.Family.SuitsOf(s.ID)
		if posted := f.FormValue("suits." + s.ID); f.Method == http.MethodPost && posted != "" {
			if now != "best" || posted != "yes" { // a yes that the desk knows to be dearer stays so
				suits[s.ID] = posted
			}
			now = posted
		}
		field := look.Field{Name: "suits." + s.ID, Kind: "segments", Label: f.session(s)}
		for _, x := range []string{"yes", "if_need_be", "no"} {
			field.Options = append(field.Options, look.Option{Value: x, Text: f.say.It(words.Key("times." + x)), Selected: x == now || x == "yes" && now == "best"})
		}
		p.Fields = append(p.Fields, field)
	}
	p.Note = look.Field{Name: "note", Kind: "textarea", Rows: 2, Label: f.say.It("times.note"), Hint: f.say.It("times.note-hint"), Optional: true, Value: v.Family.Note, MaxLength: 300}
	if f.Method != http.MethodPost {
		return Page("family-times", p), nil
	}
	p.Note.Value = f.FormValue("note")
	err = f.App().FamilyWishes(f.Context(), f.who, suits, p.Note.Value)
	var fault *rankwright.Fault
	if errors.As(err, &fault) && fault.Where.Name == "note" {
		p.Note.Error = f.told(fault)
		p.Errors = look.ErrorsOf(p.Note)
		return Again("family-times", p), nil
	}
	if err != nil {
		return nil, err
	}
	f.Flash("good", f.say.It("times.thanks"))
	return f.next()
}

// session is a session's name, day and time.
func (f *familyQuery) session(s *app.Session) string {
	when := f.say.Day(s.Day) + f.say.Comma() + f.say.Times(s.Begins, s.Begins+s.Minutes)
	if s.MakeUp {
		when += " (" + f.say.It("times.make-up") + ")"
	}
	return when
}

type familySignPage struct {
	familyFrame
	Open   []familyToSign
	Signed []familySigned
	Name   look.Field
	None   string
	Own    words.Lang // of the school's own words
}

type familyToSign struct {
	Given, Title string
	Body         []string // its paragraphs
	Key          string   // entry and clearance
	Read         string   // the hash of the words
	Field        look.Field
	Talk         string // what was said before
}

type familySigned struct {
	Title, When, Key string
	Body             []string
	Back             bool
}

func paragraphs(body string) (out []string) {
	for _, s := range strings.Split(body, "\n") {
		if s = strings.TrimSpace(s); s != "" {
			out = append(out, s)
		}
	}
	return out
}

// familySign puts every sheet before the family, to be signed or talked about
// first.
func familySign(f *familyQuery) (Answer, error) {
	v, err := f.App().FamilyPage(f.Context(), f.who)
	if err != nil {
		return nil, err
	}
	p := &familySignPage{familyFrame: f.frame(f.say.It("sign.title"))}
	p.back(f)
	p.Kicker, p.Lead, p.Own = f.say.Apart(v.Grading.Title), f.say.It("sign.lead"), words.Pick(f.School.Lang, "")
	p.Name = look.Field{Name: "name", Label: f.say.It("sign.name"), Hint: f.say.It("sign.name-hint"), Autocomplete: "name", Value: f.FormValue("name"), MaxLength: 80}
	var list []app.Signing
	signs := false
	for i := range v.Children {
		c := &v.Children[i]
		for _, s := range c.Sheets {
			key := string(c.Entry.ID) + "/" + string(s.Clearance)
			title := f.say.Apart(c.Student.GivenName) + ": " + f.say.Apart(s.Name)
			if s.State == app.Signed || s.State == "settled" {
				p.Signed = append(p.Signed, f.signed(title, key, s))
				continue
			}
			x := familyToSign{Given: c.Student.GivenName, Title: title, Body: paragraphs(s.Body), Key: key, Read: s.Hash}
			said := f.FormValue("said " + key)
			if s.State == app.TalkFirst {
				x.Talk = f.say.It("sign.talks")
			}
			x.Field = look.Field{ID: "said-" + itoa(len(p.Open)), Name: "said " + key, Kind: "radios", Label: f.say.It("sign.choose", words.Set{Name: "Name", Value: c.Student.GivenName}), Options: []look.Option{
				{Value: app.Signed, Text: f.say.It("sign.sign"), Selected: said == app.Signed},
				{Value: app.TalkFirst, Text: f.say.It("sign.talk"), Selected: said == app.TalkFirst || said == "" && s.State == app.TalkFirst}}}
			p.Open = append(p.Open, x)
			if said != "" && said != s.State {
				signs = signs || said == app.Signed
				list = append(list, app.Signing{Entry: c.Entry.ID, Clearance: s.Clearance, Read: f.FormValue("read " + key), Said: said})
			}
		}
	}
	if len(p.Open)+len(p.Signed) == 0 {
		p.None, p.Lead = f.say.It("sign.none"), ""
	} else if len(p.Open) == 0 {
		p.Lead = f.say.It("sign.all")
	}
	if f.Method != http.MethodPost {
		return Page("family-sign", p), nil
	}
	if len(list) == 0 {
		if len(p.Open) > 0 {
			p.Open[0].Field.Error = f.say.It("sign.nothing")
			p.Errors = look.ErrorsOf(p.Open[0].Field)
		}
		return Again("family-sign", p), nil
	}
	err = f.App().SignFamily(f.Context(), f.who, p.Name.Value, list)
	var fault *rankwright.Fault
	if errors.As(err, &fault) && fault.Where.Name == "name" {
		p.Name.Error = f.told(fault)
		p.Errors = look.ErrorsOf(p.Name)
		return Again("family-sign", p), nil
	}
	if err != nil {
		return nil, err
	}
	thanks := words.Key("sign.thanks")
	if !signs {
		thanks = "sign.thanks-talk"
	}
	f.Flash("good", f.say.It(thanks))
	return f.next()
}

func (f *familyQuery) signed(title, key string, s app.FamilySheet) familySigned {
	x := familySigned{Title: title, Key: key, When: f.say.It("sign.settled")}
	if s.State == app.Signed {
		at := s.Last.At.Time()
		y, m, d := at.Date()
		x.When = f.say.It("sign.signed", words.Set{Name: "Name", Value: s.Last.Name}, words.Set{Name: "Day", Value: f.say.Day(rankwright.NewDay(y, m, d))}, words.Set{Name: "Time", Value: f.say.Time(at.Hour()*60 + at.Minute())})
		x.Body, x.Back = paragraphs(s.Last.Body), true
	}
	return x
}

// familySignBack takes back what was signed, by one button.
func familySignBack(f *familyQuery) (Answer, error) {
	entry, clearance, _ := strings.Cut(f.FormValue("key"), "/")
	err := f.App().SignFamily(f.Context(), f.who, "", []app.Signing{{Entry: rankwright.EntryID(entry), Clearance: rankwright.ClearanceID(clearance), Said: app.Withdrawn}})
	if err != nil {
		return nil, err
	}
	f.Flash("good", f.say.It("sign.back-done"))
	return To("/family/sign"), nil
}

type familyAskPage struct {
	familyFrame
	Messages []familyMessage
	Field    look.Field
}

type familyMessage struct {
	Own        bool
	From, When string
	Body       []string
}

func (f *familyQuery) messages(list []app.FamilyMessage) (out []familyMessage) {
	for _, m := range list {
		y, mo, d := m.At.Time().Date()
		x := familyMessage{Own: m.Sender == "family", From: f.School.Name, When: f.say.Day(rankwright.NewDay(y, mo, d)), Body: paragraphs(m.Body)}
		if x.Own {
			x.From = f.say.It("ask.you")
		}
		out = append(out, x)
	}
	return out
}

// familyAsk shows what was asked and answered, and takes a question.
func familyAsk(f *familyQuery) (Answer, error) {
	v, err := f.App().FamilyPage(f.Context(), f.who)
	if err != nil {
		return nil, err
	}
	p := &familyAskPage{familyFrame: f.frame(f.say.It("ask.title")), Messages: f.messages(v.Messages)}
	p.back(f)
	p.Kicker, p.Lead = f.say.Apart(v.Grading.Title), f.say.It("ask.lead")
	p.Field = look.Field{Name: "body", Kind: "textarea", Label: f.say.It("ask.field"), Hint: f.say.It("ask.hint"), Required: true, MaxLength: 1000}
	if f.Method != http.MethodPost {
		return Page("family-ask", p), nil
	}
	p.Field.Value = f.FormValue("body")
	err = f.App().AskSchool(f.Context(), f.who, p.Field.Value)
	var fault *rankwright.Fault
	if errors.As(err, &fault) && (fault.Where.Name == "body" || fault.Code == "many_questions") {
		p.Field.Error = f.told(fault)
		p.Errors = look.ErrorsOf(p.Field)
		return Again("family-ask", p), nil
	}
	if err != nil {
		return nil, err
	}
	f.Flash("good", f.say.It("ask.thanks"))
	return To("/family/ask"), nil
}
