package web

import (
	"errors"
	"net"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
	"rankwright/internal/words"
)

// The pages of a family are open: what stands in the link lets it in, and a
// session from then on. They speak the family's language.
var familyRoutes = []Route{
	{Pattern: "GET /f/{secret}", Open: true, Do: familyDoor},
	{Pattern: "POST /f/{secret}", Open: true, Do: familyDoor},
	{Pattern: "GET /family", Open: true, Do: family(familyHome)},
	{Pattern: "GET /family/child/{entry}", Open: true, Do: family(familyGuide)},
	{Pattern: "GET /family/child/{entry}/practice", Open: true, Do: family(familyPractice)},
	{Pattern: "GET /family/child/{entry}/result", Open: true, Do: family(familyResultShow)},
	{Pattern: "GET /family/child/{entry}/guide", Open: true, Do: family(familyRank)},
	{Pattern: "GET /family/child/{entry}/guide/{rank}", Open: true, Do: family(familyRank)},
	{Pattern: "GET /family/child/{entry}/guide/{rank}/pdf", Open: true, Do: family(familyRankPDF)},
	{Pattern: "GET /family/child/{entry}/letter.pdf", Open: true, Do: family(familyLetter)},
	{Pattern: "GET /family/times", Open: true, Do: family(familyTimes)},
	{Pattern: "POST /family/names", Open: true, Do: family(familyNames)},
	{Pattern: "POST /family/times", Open: true, Do: family(familyTimes)},
	{Pattern: "POST /family/move", Open: true, Do: family(familyMove)},
	{Pattern: "GET /family/sign", Open: true, Do: family(familySign)},
	{Pattern: "POST /family/sign", Open: true, Do: family(familySign)},
	{Pattern: "POST /family/sign/back", Open: true, Do: family(familySignBack)},
	{Pattern: "GET /family/ask", Open: true, Do: family(familyAsk)},
	{Pattern: "POST /family/ask", Open: true, Do: family(familyAsk)},
	{Pattern: "GET /family/calendar", Open: true, Do: family(familyCalendar)},
	{Pattern: "POST /family/language", Open: true, Do: family(familyLanguage)},
	{Pattern: "POST /family/leave", Open: true, Do: familyLeave},
}

// How often a family and an address may ask in a minute. Nobody guesses 160 bits;
// this keeps one that asks without end from the others. Many families may come
// from one address, that of a hall or of a server in front.
const (
	familyPace = 120
	doorPace   = 300
)

// pace counts requests by key and minute.
type pace struct {
	mu     sync.Mutex
	minute int64
	of     map[string]int
}

func (p *pace) allow(key string, most int, now time.Time) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	if m := now.Unix() / 60; p.of == nil || m != p.minute || len(p.of) > 10000 {
		p.minute, p.of = m, map[string]int{}
	}
	p.of[key]++
	return p.of[key] <= most
}

// familyQuery is a request to a family's page.
type familyQuery struct {
	*Query
	who app.Actor // the zero Actor at the door
	say *words.Say
}

// familyFrame is what each of the family's pages has.
type familyFrame struct {
	Frame
	Foot familyFoot
}

type familyFoot struct {
	In    bool // a session is on
	Here  string
	Langs []familyLang
}

type familyLang struct {
	Lang, Name, Href string
	Current          bool
}

// asFamily gives a request its language: the one that was said for the
// household, else the one of the session, which is that of the browser.
func (q *Query) asFamily(who app.Actor) *familyQuery {
	chosen := q.URL.Query().Get("lang")
	if kept := q.srv.sessions.GetString(q.Context(), "lang"); kept != "" && who.ID != "" {
		chosen = kept
	}
	if who.Lang != "" {
		chosen = string(who.Lang)
	}
	lang := words.Pick(chosen, q.Header.Get("Accept-Language"))
	if chosen == string(words.Mirror) && slices.Contains(q.srv.langs, words.Mirror) {
		lang = words.Mirror
	}
	who.Lang = lang
	return &familyQuery{q, who, q.School.Say(lang)}
}

// familyHeaders keep a family's page out of every index. The referrer stays
// within the site, as everywhere: without any, browsers send forms over plain
// HTTP with the origin "null", which is refused as foreign.
func (q *Query) familyHeaders() {
	q.w.Header().Set("X-Robots-Tag", "noindex, nofollow, noarchive")
}

func (f *familyQuery) frame(title string) familyFrame {
	var x familyFrame
	x.Title, x.Width, x.Lang, x.Dir, x.Home = title, "narrow", string(f.say.Lang()), f.say.Lang().Dir(), "#content"
	x.Styles = []string{look.AssetPath() + "family.css"}
	if f.who.ID != "" {
		x.Home, x.Foot.In = "/family", true
	}
	x.Foot.Here = f.URL.Path
	for _, l := range f.srv.langs {
		x.Foot.Langs = append(x.Foot.Langs, familyLang{string(l), l.Name(), "?lang=" + string(l), l == f.say.Lang()})
	}
	return x
}

func (x *familyFrame) back(f *familyQuery) {
	x.Back = &look.Link{Href: "/family", Text: f.say.It("back")}
}

// family runs a page of a family for whoever has its session. Without one, or
// with one whose link has ended, there is one kind page.
func family(do func(*familyQuery) (Answer, error)) func(*Query) (Answer, error) {
	return familyPaced("family", familyPace, do)
}

// familyPaced is family for what is asked for more often than pages, and is
// counted by a name of its own.
func familyPaced(what string, most int, do func(*familyQuery) (Answer, error)) func(*Query) (Answer, error) {
	return func(q *Query) (Answer, error) {
		q.familyHeaders()
		who, ok, err := q.App().RecallFamily(q.Context(), q.srv.sessions.GetString(q.Context(), "family"))
		if err != nil {
			return nil, err
		}
		f := q.asFamily(who)
		if !ok {
			return f.gone(), nil
		}
		if !q.srv.pace.allow(what+" "+who.ID, most, q.App().Now()) {
			return f.slower(), nil
		}
		a, err := do(f)
		var fault *rankwright.Fault
		var faults rankwright.Faults
		if errors.As(err, &faults) && len(faults) > 0 {
			err = faults[0]
		}
		if errors.As(err, &fault) && fault.Kind != rankwright.Internal && fault.Kind != rankwright.Unavailable {
			return f.fault(fault), nil
		}
		return a, err
	}
}

type familyNotePage struct {
	familyFrame
	Notice look.Notice
	On     *look.Link
}

// gone is the one page for a link that is wrong, old or withdrawn, and for
// somebody who has no session. It says nothing about anybody.
func (f *familyQuery) gone() Answer {
	f.who = app.Actor{}
	p := &familyNotePage{familyFrame: f.frame(f.say.It("gone.title"))}
	p.Notice = look.Notice{Kind: "info", Title: f.say.It("gone.what"), Text: f.say.It("gone.do")}
	return pageAnswer{"family-note", p, http.StatusNotFound}
}

func (f *familyQuery) slower() Answer {
	f.w.Header().Set("Retry-After", "60")
	p := &familyNotePage{familyFrame: f.frame(f.say.It("slower.title"))}
	p.Notice = look.Notice{Kind: "info", Title: f.say.It("slower.what"), Text: f.say.It("slower.do")}
	return pageAnswer{"family-note", p, http.StatusTooManyRequests}
}

// told says in the family's language what went wrong.
func (f *familyQuery) told(fault *rankwright.Fault) string {
	for _, key := range []string{fault.Where.Name, fault.Code} {
		if k := words.Key("fault." + key); key != "" && f.say.Has(k) {
			return f.say.It(k)
		}
	}
	return f.say.It("fault.other")
}

func (f *familyQuery) fault(fault *rankwright.Fault) Answer {
	status := http.StatusConflict
	switch fault.Kind {
	case rankwright.NotFound, rankwright.Forbidden:
		status = http.StatusNotFound // of another family it is not even said that it is there
	case rankwright.Invalid, rankwright.TooLarge:
		status = http.StatusUnprocessableEntity
	}
	p := &familyNotePage{familyFrame: f.frame(f.say.It("fault.title")), On: &look.Link{Href: "/family", Text: f.say.It("back")}}
	p.Notice = look.Notice{Kind: "attention", Title: f.say.It("fault.what"), Text: f.told(fault)}
	return pageAnswer{"family-note", p, status}
}

type familyDoorPage struct {
	familyFrame
	Send string
}

// familyDoor is where a link leads. To look at it changes nothing and shows
// nobody's name, since programs that look at mail follow links too; the button
// exchanges what stands in the link for a session.
func familyDoor(q *Query) (Answer, error) {
	q.familyHeaders()
	f := q.asFamily(app.Actor{})
	from, _, err := net.SplitHostPort(q.RemoteAddr)
	if err != nil {
		from = q.RemoteAddr
	}
	if !q.srv.pace.allow("door "+from, doorPace, q.App().Now()) {
		return f.slower(), nil
	}
	secret := q.PathValue("secret")
	if q.Method != http.MethodPost {
		if err := q.App().CheckLink(q.Context(), secret); err != nil {
			return f.noDoor(err)
		}
		p := &familyDoorPage{familyFrame: f.frame(f.say.It("door.title")), Send: q.URL.Path}
		if lang := q.URL.Query().Get("lang"); lang != "" {
			p.Send += "?lang=" + string(f.say.Lang())
		}
		p.Lead = f.say.It("door.lead")
		return Page("family-door", p), nil
	}
	who, err := q.App().OpenLink(q.Context(), secret)
	if err != nil {
		return f.noDoor(err)
	}
	if err := q.srv.sessions.RenewToken(q.Context()); err != nil {
		return nil, err
	}
	q.srv.sessions.Put(q.Context(), "family", who.ID)
	q.srv.sessions.Put(q.Context(), "lang", string(f.say.Lang()))
	if words.Offered(words.Lang(q.URL.Query().Get("lang"))) { // a button at the door was pressed
		if err := q.App().ChooseLanguage(q.Context(), who, f.say.Lang()); err != nil {
			return nil, err
		}
	}
	return To("/family"), nil
}

func (f *familyQuery) noDoor(err error) (Answer, error) {
	if rankwright.KindOf(err) == rankwright.NotFound {
		return f.gone(), nil
	}
	return nil, err
}

func familyLanguage(f *familyQuery) (Answer, error) {
	lang := words.Lang(f.FormValue("lang"))
	if lang != words.Mirror || !slices.Contains(f.srv.langs, lang) { // which is remembered for nobody
		lang = words.Pick(string(lang), "")
		if err := f.App().ChooseLanguage(f.Context(), f.who, lang); err != nil {
			return nil, err
		}
	} else if err := f.App().ChooseLanguage(f.Context(), f.who, ""); err != nil {
		return nil, err
	}
	f.srv.sessions.Put(f.Context(), "lang", string(lang))
	to := f.FormValue("to")
	if to != "/family" && !strings.HasPrefix(to, "/family/") || strings.ContainsAny(to, "\\?#") {
		to = "/family"
	}
	return To(to), nil
}

// familyLeave ends the family's session on this device. Somebody who is signed
// in beside it stays so.
func familyLeave(q *Query) (Answer, error) {
	q.familyHeaders()
	f := q.asFamily(app.Actor{})
	if lang := q.srv.sessions.GetString(q.Context(), "lang"); lang != "" {
		f.say = q.School.Say(words.Lang(lang))
	}
	if q.srv.sessions.GetString(q.Context(), "family") != "" { // nobody else gets a session by this
		for _, key := range []string{"family", "lang"} {
			q.srv.sessions.Remove(q.Context(), key)
		}
		if err := q.srv.sessions.RenewToken(q.Context()); err != nil {
			return nil, err
		}
	}
	p := &familyNotePage{familyFrame: f.frame(f.say.It("left.title"))}
	p.Notice = look.Notice{Kind: "info", Title: f.say.It("left.what"), Text: f.say.It("left.do")}
	return Page("family-note", p), nil
}

// child finds one of the family's own children by the entry in the address.
func (f *familyQuery) child() (*app.FamilyPage, *app.FamilyChild, error) {
	p, err := f.App().FamilyPage(f.Context(), f.who)
	if err != nil {
		return nil, nil, err
	}
	i := slices.IndexFunc(p.Children, func(c app.FamilyChild) bool { return string(c.Entry.ID) == f.PathValue("entry") })
	if i < 0 {
		return nil, nil, rankwright.Faultf(rankwright.NotFound, "no_entry", "go back", "this is none of the family's children")
	}
	return p, &p.Children[i], nil
}
