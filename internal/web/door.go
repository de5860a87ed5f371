package web

import (
	"net/http"
	"strings"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
)

var doorRoutes = []Route{
	{Pattern: "GET /setup/{secret}", Open: true, Do: setup},
	{Pattern: "POST /setup/{secret}", Open: true, Do: setup},
	{Pattern: "GET /join/{secret}", Open: true, Do: join},
	{Pattern: "POST /join/{secret}", Open: true, Do: join},
	{Pattern: "GET /sign-in", Open: true, Do: signIn},
	{Pattern: "POST /sign-in", Open: true, Do: signIn},
	{Pattern: "POST /sign-out", Open: true, Do: signOut},
	{Pattern: "GET /pair", Open: true, Do: pairAgain},
	{Pattern: "GET /look", Open: true, Do: showLook},
	{Pattern: "GET /health", Open: true, Do: func(*Query) (Answer, error) { return JSON{Data: map[string]string{"state": "ok"}}, nil }},
}

// enter begins a session: a new token, so that one known from before is worth
// nothing.
func (q *Query) enter(who app.Actor) error {
	if err := q.srv.sessions.RenewToken(q.Context()); err != nil {
		return err
	}
	if who.Device != "" {
		q.srv.sessions.Remove(q.Context(), "person")
		q.srv.sessions.Put(q.Context(), "device", string(who.Device))
		return nil
	}
	q.srv.sessions.Remove(q.Context(), "device")
	q.srv.sessions.Put(q.Context(), "person", who.ID)
	q.srv.sessions.Put(q.Context(), "stamp", who.Stamp())
	return nil
}

type formPage struct {
	Frame
	Fields []look.Field
	Submit string
	Notes  []string
	Links  []look.Link // to what belongs to it
}

// wrong marks the field that a fault names, or puts the fault on top.
func (p *formPage) wrong(err error) bool {
	if rankwright.KindOf(err) == rankwright.Internal {
		return false
	}
	var name string
	if f, ok := err.(*rankwright.Fault); ok {
		name = f.Where.Name
	}
	say, do := told(err)
	for i := range p.Fields {
		if p.Fields[i].Name == name {
			p.Fields[i].Error = strings.TrimSpace(say + " " + do)
			p.Errors = look.ErrorsOf(p.Fields...)
			return true
		}
	}
	p.Flash = &look.Notice{Kind: "stop", Title: "That did not work", Text: say, Do: do}
	return true
}

func setup(q *Query) (Answer, error) {
	secret := q.PathValue("secret")
	if _, err := q.App().CheckToken(q.Context(), "setup", secret); err != nil {
		return nil, err
	}
	p := &formPage{Submit: "Begin", Notes: []string{"You are the head instructor here: you decide who else may sign in, and you sign the gradings."}}
	p.Title, p.Lead, p.Width = "Welcome", "Three answers, and the school is set up.", "narrow"
	p.Fields = []look.Field{
		{Name: "school", Label: "Name of the school", Hint: "As families know it; it stands on every page and certificate.", Value: q.FormValue("school"), Required: true, Autocomplete: "organization"},
		{Name: "place", Label: "Town", Optional: true, Value: q.FormValue("place")},
		{Name: "name", Label: "Your name", Value: q.FormValue("name"), Required: true, Autocomplete: "name"},
		{Name: "password", Label: "A password", Hint: "At least ten characters; three or four words are easiest to remember.", Type: "password", Required: true, Autocomplete: "new-password"},
	}
	if q.Method == http.MethodGet {
		return Page("form", p), nil
	}
	who, err := q.App().FinishSetup(q.Context(), secret, app.School{Name: q.FormValue("school"), Place: q.FormValue("place")}, q.FormValue("name"), q.FormValue("password"))
	if err != nil {
		if p.wrong(err) {
			return Again("form", p), nil
		}
		return nil, err
	}
	if err := q.enter(who); err != nil {
		return nil, err
	}
	return To("/"), nil
}

func join(q *Query) (Answer, error) {
	secret := q.PathValue("secret")
	name, err := q.App().CheckToken(q.Context(), "invitation", secret)
	if err != nil {
		return nil, err
	}
	p := &formPage{Submit: "Sign in"}
	p.Title, p.Lead, p.Width = "Welcome, "+name, "Choose a password; then you are in.", "narrow"
	p.Fields = []look.Field{{Name: "password", Label: "A password", Hint: "At least ten characters; three or four words are easiest to remember. Your name to sign in with is " + name + ".", Type: "password", Required: true, Autocomplete: "new-password"}}
	if q.Method == http.MethodGet {
		return Page("form", p), nil
	}
	who, err := q.App().Join(q.Context(), secret, q.FormValue("password"))
	if err != nil {
		if p.wrong(err) {
			return Again("form", p), nil
		}
		return nil, err
	}
	if err := q.enter(who); err != nil {
		return nil, err
	}
	return To("/"), nil
}

func signIn(q *Query) (Answer, error) {
	p := &formPage{Submit: "Sign in"}
	p.Title, p.Width = "Sign in", "narrow"
	p.Fields = []look.Field{
		{Name: "name", Label: "Your name", Value: q.FormValue("name"), Required: true, Autocomplete: "username"},
		{Name: "password", Label: "Password", Type: "password", Required: true, Autocomplete: "current-password"},
	}
	if q.School.Name == "" {
		p.Flash = &look.Notice{Kind: "info", Title: "Not set up yet", Text: "This school has no head instructor yet.", Do: "Open the one-time link that the program printed when it was started."}
	}
	if strings.Contains(q.URL.Query().Get("next"), "/marks") {
		p.Notes = []string{"On a device for the mat you need no password: scan the code at the desk."}
	}
	if q.srv.demo {
		p.Flash = &look.Notice{Kind: "info", Title: "A demonstration with invented people", Text: "The names and passwords of each role were printed where the program was started."}
	}
	if q.Method == http.MethodGet {
		return Page("form", p), nil
	}
	who, err := q.App().SignIn(q.Context(), q.FormValue("name"), q.FormValue("password"))
	if err != nil {
		p.Flash = nil
		if p.wrong(err) {
			return Again("form", p), nil
		}
		return nil, err
	}
	next := q.URL.Query().Get("next")
	if err := q.enter(who); err != nil {
		return nil, err
	}
	if !strings.HasPrefix(next, "/") || strings.HasPrefix(next, "//") || strings.HasPrefix(next, "/\\") {
		next = "/"
	}
	return To(next), nil
}

// pairAgain is what a device sees whose pairing has ended: its way back is the
// code, and not a password.
func pairAgain(q *Query) (Answer, error) {
	if q.Who.Only != "" {
		return pairHome(q.Who), nil
	}
	if q.Who.ID != "" {
		return To("/"), nil
	}
	p := &emptyPage{Empty: look.Empty{Title: "Scan the code at the desk again",
		Text: "Then type your PIN. Marks that were not sent are kept on this device and go as soon as it is paired again for the same examiner."}}
	p.Title, p.Width = "This device is not paired any more", "narrow"
	p.Lead = "Its time is over, or the desk has ended its pairing."
	p.Back = &look.Link{Href: "/sign-in", Text: "Sign in with a password"}
	return Page("empty", p), nil
}

func signOut(q *Query) (Answer, error) {
	if err := q.App().LeaveDevice(q.Context(), q.Who); err != nil {
		return nil, err
	}
	if err := q.srv.sessions.Destroy(q.Context()); err != nil {
		return nil, err
	}
	return To("/sign-in"), nil
}

type lookAnswer struct{}

func showLook(*Query) (Answer, error) { return lookAnswer{}, nil }

func (lookAnswer) send(q *Query) error {
	b := look.Base{}
	q.srv.dress(q, &b)
	q.w.Header().Set("Content-Type", "text/html; charset=utf-8")
	return look.Render(q.w, b)
}
