package web

import (
	"errors"
	"html/template"
	"net/http"
	"time"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
	"rankwright/internal/wording"
	"rankwright/internal/words"
)

// What the school says in its letters and messages.
var wordingRoutes = []Route{
	{Pattern: "GET /school/wordings", Act: app.EditWordings, Do: wordingList},
	{Pattern: "GET /school/wordings/{kind}/{lang}", Act: app.EditWordings, Do: wordingEdit},
	{Pattern: "POST /school/wordings/{kind}/{lang}", Act: app.EditWordings, Do: wordingEdit},
}

const wordingsHref = "/school/wordings"

func wordingHref(k wording.Kind, l words.Lang) string {
	return wordingsHref + "/" + string(k) + "/" + string(l)
}

type wordingsPage struct {
	Frame
	Groups []wordingGroup
}

type wordingGroup struct {
	Title string
	Rows  []wordingRow
}

type wordingRow struct {
	Title, When string
	Langs       []wordingLang
}

type wordingLang struct {
	Lang, Name, Href, State string
	Own, Left, Current      bool
}

func wordingList(q *Query) (Answer, error) {
	list, err := q.App().EveryWording(q.Context(), q.Who)
	if err != nil {
		return nil, err
	}
	p := &wordingsPage{Groups: []wordingGroup{{Title: "Letters about results"}, {Title: "Messages to families"}}}
	p.Title, p.Back = "What letters and messages say", &look.Link{Href: "/school", Text: "The school"}
	p.Lead = "The usual words stand by. Put them into your own where you would say it otherwise."
	for _, k := range wording.Kinds() {
		g := &p.Groups[1]
		if k.Letter() {
			g = &p.Groups[0]
		}
		r := wordingRow{Title: k.Title(), When: k.When()}
		for _, x := range list {
			if x.Kind == k {
				r.Langs = append(r.Langs, wordingLangOf(x))
			}
		}
		g.Rows = append(g.Rows, r)
	}
	return Page("wordings", p), nil
}

func wordingLangOf(x app.WordingView) wordingLang {
	l := wordingLang{Lang: string(x.Lang), Name: x.Lang.Name(), Href: wordingHref(x.Kind, x.Lang), State: "usual words", Own: x.Own, Left: x.Left != nil}
	if x.Own {
		l.State = "your own words, since " + dayOf(x.At.Time()).Long()
	}
	return l
}

func dayOf(t time.Time) rankwright.Day {
	y, m, d := t.Local().Date()
	return rankwright.NewDay(y, m, d)
}

type wordingPage struct {
	Frame
	Kind          wording.Kind
	Here          string
	Subject, Body look.Field
	Fields        []wordingField
	Faults        []wordingFault
	Look          *wordingLook
	Langs         []wordingLang
	Own, Left     bool
	State         string
}

type wordingField struct{ Name, Means, Note string }

type wordingFault struct{ Where, Say, Do string }

// wordingLook is what an invented child would get.
type wordingLook struct {
	Subject string
	Body    template.HTML
	Lang    string
}

func wordingEdit(q *Query) (Answer, error) {
	k, l := wording.Kind(q.PathValue("kind")), words.Lang(q.PathValue("lang"))
	v, err := q.App().Wording(q.Context(), q.Who, k, l)
	if err != nil {
		return nil, err
	}
	text, do := v.Text, q.FormValue("do")
	if q.Method == http.MethodPost {
		if do == "usual" {
			if err := q.App().ResetWording(q.Context(), q.Who, k, l); err != nil {
				return nil, err
			}
			q.Flash("good", "The usual words hold again.")
			return To(wordingHref(k, l)), nil
		}
		text = wording.Text{Subject: q.FormValue("subject"), Body: q.FormValue("body")}
		if do != "look" {
			err := q.App().WriteWording(q.Context(), q.Who, k, l, text)
			if err == nil {
				q.Flash("good", "Saved. What is sent and printed from now on says it in these words.")
				return To(wordingHref(k, l)), nil
			}
			if rankwright.KindOf(err) != rankwright.Invalid {
				return nil, err
			}
		}
	}
	p := q.wordingPage(k, v, text)
	if err := p.looks(q, k, l, text); err != nil {
		return nil, err
	}
	if len(p.Faults) > 0 && q.Method == http.MethodPost {
		if do != "look" {
			p.Errors = look.ErrorsOf(p.Subject, p.Body)
		}
		return Again("wording", p), nil
	}
	return Page("wording", p), nil
}

func (q *Query) wordingPage(k wording.Kind, v app.WordingView, text wording.Text) *wordingPage {
	p := &wordingPage{Kind: k, Here: wordingHref(k, v.Lang), Own: v.Own, Left: v.Left != nil}
	p.Title, p.Kicker, p.Back, p.Width = k.Title(), v.Lang.Name(), &look.Link{Href: wordingsHref, Text: "What letters and messages say"}, "wide"
	p.Lead, p.State = k.When(), wordingLangOf(v).State
	p.Styles, p.Scripts = []string{look.AssetPath() + "wording.css"}, []string{matPath() + "wording.js"}
	at := "Subject"
	if k.Letter() {
		at = "Line over the letter"
	}
	p.Subject = look.Field{Name: "subject", Label: at, Value: text.Subject, Required: true, MaxLength: wording.MaxSubject}
	p.Body = look.Field{Name: "body", Label: "Text", Kind: "textarea", Rows: 18, Value: text.Body, Required: true, MaxLength: wording.MaxBody,
		Hint: "An empty line begins a new paragraph. A paragraph that names something which is empty is left out whole."}
	for _, f := range k.Fields() {
		x := wordingField{Name: f.Name, Means: f.Means}
		switch {
		case f.Required:
			x.Note = "has to be named"
		case !f.Sure:
			x.Note = "may be empty"
		}
		if f.List {
			x.Note = joinWords(x.Note, "a list")
		}
		p.Fields = append(p.Fields, x)
	}
	for _, l := range words.Langs() {
		p.Langs = append(p.Langs, wordingLang{Lang: string(l), Name: l.Name(), Href: wordingHref(k, l), Current: l == v.Lang})
	}
	return p
}

func joinWords(a, b string) string {
	if a == "" {
		return b
	}
	return a + ", " + b
}

// looks fills the text for the invented child, or says what to mend in it.
func (p *wordingPage) looks(q *Query, k wording.Kind, l words.Lang, text wording.Text) error {
	f, err := q.App().LookAtWording(q.Context(), q.Who, k, l, text)
	var faults rankwright.Faults
	switch {
	case errors.As(err, &faults):
		for _, x := range faults {
			say, do := told(x)
			field, at := &p.Body, "Text"
			if x.Where.File == wording.InSubject {
				field, at = &p.Subject, p.Subject.Label
			}
			if x.Where.Line > 0 {
				at += ", line " + itoa(x.Where.Line) + ", column " + itoa(x.Where.Column)
			}
			if field.Error == "" {
				field.Error = at + ": " + say + " " + do
			}
			p.Faults = append(p.Faults, wordingFault{at, say, do})
		}
		return nil
	case err != nil:
		return err
	}
	body, err := f.HTML()
	p.Look = &wordingLook{Subject: f.Subject, Body: body, Lang: string(l)}
	return err
}
