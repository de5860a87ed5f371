package web

import (
	"net"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/piglig/go-qr"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
)

var pairRoutes = []Route{
	{Pattern: "GET /gradings/{id}/pair", Act: app.PairDevices, Do: pairShow},
	{Pattern: "POST /gradings/{id}/pair", Act: app.PairDevices, Do: pairCode},
	{Pattern: "POST /gradings/{id}/pair/pin", Act: app.PairDevices, Do: pairPIN},
	{Pattern: "POST /gradings/{id}/pair/free", Act: app.PairDevices, Do: pairFree},
	{Pattern: "POST /gradings/{id}/pair/end", Act: app.PairDevices, Do: pairEnd},
	{Pattern: "GET /pair/{secret}", Open: true, Do: pairDoor},
	{Pattern: "POST /pair/{secret}", Open: true, Do: pairDoor},
}

// recall finds who is behind a session: the examiner of a paired device, or
// somebody who signed in.
func (s *Server) recall(q *Query) (app.Actor, bool, error) {
	if d := s.sessions.GetString(q.Context(), "device"); d != "" {
		return s.app.RecallDevice(q.Context(), rankwright.DeviceID(d))
	}
	return s.app.Recall(q.Context(), s.sessions.GetString(q.Context(), "person"), s.sessions.GetString(q.Context(), "stamp"))
}

// kept keeps a paired device to the pages of its grading: the first page leads
// there, any other is refused. The app's gate refuses the same once more.
func (q *Query) kept() (Answer, error) {
	if q.Who.Only == "" {
		return nil, nil
	}
	if q.Method == http.MethodGet && (q.URL.Path == "/" || q.URL.Path == "/gradings") {
		return pairHome(q.Who), nil
	}
	if strings.HasPrefix(q.URL.Path, "/gradings/") && q.PathValue("id") == string(q.Who.Only) {
		return nil, nil
	}
	return nil, rankwright.Faultf(rankwright.Forbidden, "other_grading", "sign in with a password for anything else", "this device is paired for the marks of one grading only")
}

func pairHome(who app.Actor) toAnswer { return toAnswer(matHref(who.Only, "", nil)) }

type pairPage struct {
	Frame
	Send    string
	Code    *pairCodeView
	Places  []pairPlace
	Alone   bool   // only this machine can open the pages
	Plain   bool   // the address is plain HTTP
	Trust   string // where a device is told to trust the school's authority
	People  []pairPerson
	Drawn   []pairDrawn
	Bare    bool // somebody has no PIN yet
	Devices []pairDevice
	Gone    []pairDevice
}

type pairCodeView struct {
	Side    int // of the picture in modules, the quiet zone included
	Path    string
	Address string
	Until   string
}

type pairPlace struct {
	Text, Href string
	Chosen     bool
}

type pairPerson struct {
	ID, Name    string
	Set, Locked bool
	Field       look.Field
}

type pairDrawn struct{ Name, PIN string }

type pairDevice struct {
	ID, Name, Examiner, Seen, Unsent string
}

func pairShow(q *Query) (Answer, error) {
	p, err := pairPageOf(q)
	if err != nil {
		return nil, err
	}
	return Page("pair", p), nil
}

func pairPageOf(q *Query) (*pairPage, error) {
	v, err := q.grading()
	if err != nil {
		return nil, err
	}
	view, err := q.App().Pairing(q.Context(), q.Who, v.ID)
	if err != nil {
		return nil, err
	}
	p := &pairPage{Send: "/gradings/" + url.PathEscape(string(v.ID)) + "/pair"}
	p.Title, p.Back = "Devices for the mat", gradingBack(v.ID, v.Title)
	p.Styles = boardStyle()
	if !app.State(v.State).Allows(app.PairDevices) {
		p.Lead = "This grading is closed; no device can be paired any more."
	}
	base := q.places(p)
	p.Plain = strings.HasPrefix(base, "http://")
	p.Trust = trustAt(q.srv.trust, base)
	if view.Code != nil {
		p.Code = &pairCodeView{Address: base + "/pair/" + view.Code.Secret, Until: view.Code.Until.Format("15:04")}
		if p.Code.Side, p.Code.Path, err = qrPath(p.Code.Address); err != nil {
			return nil, err
		}
	}
	for _, x := range v.Panel {
		st := view.PINs[x.Person]
		p.Bare = p.Bare || !st.Set
		p.People = append(p.People, pairPerson{x.Person, x.Name, st.Set, st.Locked,
			look.Field{ID: "pin-" + x.Person, Name: "pin", Label: "A PIN of their own choice, four to six digits", InputMode: "numeric", Autocomplete: "off", MaxLength: 6, Size: "short"}})
	}
	for _, d := range view.Devices {
		x := pairDevice{ID: string(d.ID), Name: d.Name, Examiner: d.Examiner, Seen: ago(q.App(), int64(d.Seen))}
		if d.Unsent > 0 {
			x.Unsent = plural(d.Unsent, "mark not sent", "marks not sent")
		}
		if d.Ended != 0 {
			p.Gone = append(p.Gone, x)
		} else {
			p.Devices = append(p.Devices, x)
		}
	}
	return p, nil
}

// places fills in the addresses at which devices reach the pages, and returns
// the chosen one.
func (q *Query) places(p *pairPage) string {
	own := q.address("")
	list := []string{own}
	if q.srv.reach != nil {
		list = q.srv.reach()
		if !isLoopback(own) && !slices.Contains(list, own) {
			list = append([]string{own}, list...)
		}
	}
	if len(list) == 0 {
		list = []string{own}
	}
	chosen := list[0]
	if at := q.FormValue("at"); slices.Contains(list, at) {
		chosen = at
	} else if slices.Contains(list, own) {
		chosen = own
	}
	if len(list) > 1 {
		for _, at := range list {
			p.Places = append(p.Places, pairPlace{at, p.Send + "?" + url.Values{"at": {at}}.Encode(), at == chosen})
		}
	}
	p.Alone = isLoopback(chosen)
	return chosen
}

// trustAt is the install page on the host of an address, or the first one.
func trustAt(list []string, base string) string {
	b, err := url.Parse(base)
	for _, at := range list {
		if u, e := url.Parse(at); err == nil && e == nil && u.Hostname() == b.Hostname() {
			return at
		}
	}
	if len(list) > 0 {
		return list[len(list)-1]
	}
	return ""
}

func isLoopback(address string) bool {
	u, err := url.Parse(address)
	if err != nil {
		return false
	}
	ip := net.ParseIP(u.Hostname())
	return u.Hostname() == "localhost" || ip != nil && ip.IsLoopback()
}

// qrPath draws a text as a QR code (ISO/IEC 18004): the dark modules as one
// path of an SVG, with the quiet zone of four modules that the standard asks.
func qrPath(text string) (side int, path string, err error) {
	code, err := go_qr.EncodeText(text, go_qr.Medium)
	if err != nil {
		return 0, "", err
	}
	const quiet = 4
	n := code.Size()
	var b strings.Builder
	for y := range n {
		for x := 0; x < n; x++ {
			if !code.Module(x, y) {
				continue
			}
			from := x
			for x+1 < n && code.Module(x+1, y) {
				x++
			}
			b.WriteString("M" + itoa(from+quiet) + " " + itoa(y+quiet) + "h" + itoa(x-from+1) + "v1h-" + itoa(x-from+1) + "z")
		}
	}
	return n + 2*quiet, b.String(), nil
}

// ago says how long ago something was.
func ago(a *app.App, ms int64) string {
	if ms == 0 {
		return "never"
	}
	switch d := a.Now().Sub(time.UnixMilli(ms)); {
	case d < 10*time.Second:
		return "just now"
	case d < time.Minute:
		return itoa(int(d.Seconds())) + " seconds ago"
	case d < time.Hour:
		return plural(int(d.Minutes()), "minute ago", "minutes ago")
	}
	return "at " + time.UnixMilli(ms).Format("2 Jan 15:04")
}

func pairCode(q *Query) (Answer, error) {
	id := q.PathValue("id")
	if _, err := q.App().ShowCode(q.Context(), q.Who, rankwright.GradingID(id)); err != nil {
		return nil, err
	}
	to := "/gradings/" + url.PathEscape(id) + "/pair"
	if at := q.FormValue("at"); at != "" {
		to += "?" + url.Values{"at": {at}}.Encode()
	}
	return To(to), nil
}

// pairPIN sets a PIN or draws it; with no person it draws one for each who has
// none. A PIN is shown on the answer to this and nowhere else.
func pairPIN(q *Query) (Answer, error) {
	p, err := pairPageOf(q)
	if err != nil {
		return nil, err
	}
	person, pin := q.FormValue("person"), strings.TrimSpace(q.FormValue("pin"))
	for i := range p.People {
		x := &p.People[i]
		if person != "" && x.ID != person || person == "" && x.Set {
			continue
		}
		got, err := q.App().SetPIN(q.Context(), q.Who, rankwright.GradingID(q.PathValue("id")), x.ID, pin)
		if err != nil {
			if rankwright.KindOf(err) != rankwright.Invalid {
				return nil, err
			}
			say, do := told(err)
			x.Field.Error = say + " " + do
			p.Errors = look.ErrorsOf(x.Field)
			return Again("pair", p), nil
		}
		x.Set, x.Locked = true, false
		p.Drawn = append(p.Drawn, pairDrawn{x.Name, got})
	}
	p.Bare = slices.ContainsFunc(p.People, func(x pairPerson) bool { return !x.Set })
	return Page("pair", p), nil
}

func pairFree(q *Query) (Answer, error) {
	id := q.PathValue("id")
	if err := q.App().FreePIN(q.Context(), q.Who, rankwright.GradingID(id), q.FormValue("person")); err != nil {
		return nil, err
	}
	q.Flash("good", "The PIN can be tried again.")
	return To("/gradings/" + url.PathEscape(id) + "/pair"), nil
}

func pairEnd(q *Query) (Answer, error) {
	id := q.PathValue("id")
	if err := q.App().EndDevice(q.Context(), q.Who, rankwright.GradingID(id), rankwright.DeviceID(q.FormValue("device"))); err != nil {
		return nil, err
	}
	q.Flash("good", "The device is out. What it had sent is kept; what it had not sent stays on it until it is paired again.")
	return To("/gradings/" + url.PathEscape(id) + "/pair"), nil
}

// pairDoor is what a device sees that has read the code: a name and a PIN.
func pairDoor(q *Query) (Answer, error) {
	secret := q.PathValue("secret")
	d, err := q.App().OpenDoor(q.Context(), secret)
	if err != nil {
		return nil, err
	}
	p := &formPage{Submit: "Go to the marks"}
	p.Title, p.Kicker, p.Width = "Who are you?", d.Title, "narrow"
	p.Notes = []string{"The desk gives you the PIN. This device then marks for you, at this grading only."}
	who := look.Field{Name: "person", Label: "Your name", Kind: "radios", Required: true}
	for _, x := range d.Panel {
		who.Options = append(who.Options, look.Option{Value: x.Person, Text: x.Name, Selected: q.FormValue("person") == x.Person || len(d.Panel) == 1})
	}
	p.Fields = []look.Field{who, {Name: "pin", Label: "PIN", Type: "password", InputMode: "numeric", Autocomplete: "one-time-code", MaxLength: 6, Size: "short", Required: true}}
	if q.Method == http.MethodGet {
		return Page("form", p), nil
	}
	actor, err := q.App().Pair(q.Context(), secret, q.FormValue("person"), strings.TrimSpace(q.FormValue("pin")), deviceKind(q.UserAgent()))
	if err != nil {
		if k := rankwright.KindOf(err); k == rankwright.Invalid && p.wrong(err) {
			return Again("form", p), nil
		}
		return nil, err
	}
	if err := q.App().LeaveDevice(q.Context(), q.Who); err != nil { // it was paired before
		return nil, err
	}
	if err := q.enter(actor); err != nil {
		return nil, err
	}
	return pairHome(actor), nil
}

// deviceKind names a device for the list at the desk, as far as its browser
// tells.
func deviceKind(agent string) string {
	has := func(s string) bool { return strings.Contains(agent, s) }
	switch {
	case has("iPhone"):
		return "iPhone"
	case has("iPad"):
		return "iPad"
	case has("Android") && has("Mobile"):
		return "Android phone"
	case has("Android"):
		return "Android tablet"
	case has("Macintosh"):
		return "Mac or iPad" // an iPad calls itself a Mac
	case has("Windows"):
		return "Windows computer"
	case has("CrOS"):
		return "Chromebook"
	case has("Linux"):
		return "Linux computer"
	}
	return "Device"
}
