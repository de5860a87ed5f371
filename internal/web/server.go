// Package web shows the product: pages rendered on the server, one struct a
// page, every address in one table with who may see it. Handlers return
// errors; one place turns them into pages.
package web

import (
	"bytes"
	"context"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"log/slog"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"time"

	"github.com/alexedwards/scs/v2"
	"github.com/klauspost/compress/gzhttp"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/lean"
	"rankwright/internal/web/look"
	"rankwright/internal/words"
)

// Options are what differs between the product, the demo and tests.
type Options struct {
	Sessions scs.CtxStore
	Log      *slog.Logger
	Secure   bool // the pages are served over TLS: cookies stay on it
	Demo     bool // says on every page that the people are invented
	// Reach lists the addresses at which devices in the hall reach the pages,
	// such as http://192.168.1.20:8390; nil is the one that the visitor used.
	Reach func() []string
	// Trust lists the addresses of the page on which a device is told to trust
	// the school's own authority; none where that is not needed.
	Trust []string
	// TestLanguage offers families the test language, which is for trying
	// pages from right to left and for nobody's eyes.
	TestLanguage bool
}

// Server serves the pages of one school.
type Server struct {
	app      *app.App
	sessions *scs.SessionManager
	log      *slog.Logger
	pages    map[string]*template.Template
	uploads  *uploads
	demo     bool
	langs    []words.Lang // that families are offered
	reach    func() []string
	trust    []string
	ended    chan struct{} // closed when open streams must end
	end      sync.Once
	quick    quick
	cleaning chan struct{} // whoever has put something in it unfolds a picture
	pace     pace
	handler  http.Handler
}

// gzipLevel is where the scoring page is lightest before a page of the grid takes
// more than a third of a millisecond. The library's Zstandard, which browsers
// take where they may choose, is a fifth heavier.
const gzipLevel = 7

//go:embed pages/*.html
var pageFiles embed.FS

//go:embed mat/*.js
var matFiles embed.FS

// matServed is matFiles as they travel.
var matServed = lean.FS(matFiles)

// New returns a server; a page that cannot be read is a fault of the program.
func New(a *app.App, o Options) (*Server, error) {
	s := &Server{app: a, log: o.Log, demo: o.Demo, uploads: newUploads(), reach: o.Reach, trust: o.Trust, ended: make(chan struct{}), cleaning: make(chan struct{}, 1)}
	s.langs = words.Langs()
	if o.TestLanguage {
		s.langs = words.All()
	}
	if s.log == nil {
		s.log = slog.New(slog.DiscardHandler)
	}
	s.sessions = scs.New()
	if o.Sessions != nil {
		s.sessions.Store = o.Sessions.(scs.Store)
	}
	s.sessions.Store = newEndedStore(s.sessions.Store, a.Now)
	s.sessions.HashTokenInStore = true
	s.sessions.Lifetime = 14 * 24 * time.Hour
	s.sessions.IdleTimeout = 3 * 24 * time.Hour
	s.sessions.Cookie.Name = "rankwright"
	s.sessions.Cookie.SameSite = http.SameSiteLaxMode
	s.sessions.Cookie.Secure = o.Secure
	s.sessions.ErrorFunc = func(w http.ResponseWriter, r *http.Request, err error) {
		s.fail(&Query{Request: r, w: w, srv: s}, err)
	}
	var err error
	if s.pages, err = parsed(); err != nil {
		return nil, err
	}
	mux := http.NewServeMux()
	for _, r := range Routes() {
		mux.Handle(r.Pattern, s.serve(r))
	}
	assets := http.StripPrefix(look.AssetPath(), http.FileServerFS(look.Served))
	mux.Handle("GET "+look.AssetPath(), forEver(assets))
	mat, err := fs.Sub(matServed, "mat")
	if err != nil {
		return nil, err
	}
	mux.Handle("GET "+matPath(), forEver(http.StripPrefix(matPath(), http.FileServerFS(mat))))
	mux.Handle("/", s.serve(Route{Pattern: "/", Open: true, Do: func(*Query) (Answer, error) {
		return nil, rankwright.Faultf(rankwright.NotFound, "no_page", "go back to the first page", "there is no page at this address")
	}}))
	gz, err := gzhttp.NewWrapper(gzhttp.MinSize(500), gzhttp.CompressionLevel(gzipLevel), gzhttp.EnableZstd(false), gzhttp.ExceptContentTypes([]string{"text/event-stream", "application/pdf", "image/jpeg", "font/woff2", "video/mp4", "video/webm"}))
	if err != nil {
		return nil, err
	}
	s.quick.of = map[string]quickOne{}
	own := http.NewCrossOriginProtection().Handler(mux)
	s.handler = newCrowd().behind(gz(guarded(s.shortcut(own, s.sessions.LoadAndSave(own)))))
	return s, nil
}

// ServeHTTP answers one request.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) { s.handler.ServeHTTP(w, r) }

func forEver(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
		h.ServeHTTP(w, r)
	})
}

// guarded sets the headers that keep a page to itself.
func guarded(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		head := w.Header()
		head.Set("Content-Security-Policy", "default-src 'self'; img-src 'self' data:; object-src 'none'; base-uri 'none'; frame-ancestors 'none'; form-action 'self'")
		head.Set("X-Content-Type-Options", "nosniff")
		head.Set("Referrer-Policy", "same-origin")
		head.Set("Cache-Control", "no-store")
		h.ServeHTTP(w, r)
	})
}

// Query is one request on its way through a handler.
type Query struct {
	*http.Request
	Who    app.Actor
	School app.School
	w      http.ResponseWriter
	srv    *Server
}

// App is what the handler asks for everything.
func (q *Query) App() *app.App { return q.srv.app }

// Flash keeps an answer for the next page.
func (q *Query) Flash(kind, text string) {
	q.srv.sessions.Put(q.Context(), "flash", kind+"\n"+text)
}

// Answer is what a handler gives back: a page, a way on, or a file.
type Answer interface{ send(q *Query) error }

// Page shows the page of a name with its struct, which embeds Frame.
func Page(name string, data framed) Answer { return pageAnswer{name, data, http.StatusOK} }

// Again shows a form once more with what was wrong; what was typed stays.
func Again(name string, data framed) Answer {
	return pageAnswer{name, data, http.StatusUnprocessableEntity}
}

type framed interface{ frame() *look.Base }

// Frame is embedded in every page's struct: what the layout needs.
type Frame struct{ look.Base }

func (f *Frame) frame() *look.Base { return &f.Base }

type pageAnswer struct {
	name   string
	data   framed
	status int
}

func (a pageAnswer) send(q *Query) error {
	t := q.srv.pages[a.name]
	if t == nil {
		return fmt.Errorf("there is no page %q", a.name)
	}
	base := a.data.frame()
	if other := q.srv.pages[a.name+"@"+base.Lang]; other != nil {
		t = other
	}
	q.srv.dress(q, base)
	var b bytes.Buffer
	if err := t.ExecuteTemplate(&b, "page", a.data); err != nil {
		return fmt.Errorf("page %s: %w", a.name, err)
	}
	q.w.Header().Set("Content-Type", "text/html; charset=utf-8")
	q.w.WriteHeader(a.status)
	_, err := q.w.Write(b.Bytes())
	return err
}

// dress fills in what is the same on every page.
func (s *Server) dress(q *Query, b *look.Base) {
	b.School = q.School.Name
	if b.School == "" {
		b.School = "Rankwright"
	}
	if q.Who.ID != "" {
		b.Person, b.Role, b.SignOut = q.Who.Name, roleName(q.Who.Role), "/sign-out"
		if q.Who.Only != "" {
			b.Nav = []look.NavItem{{Href: string(pairHome(q.Who)), Text: "Marks", Current: true}}
		}
		if b.Nav == nil {
			for _, n := range places {
				if q.Who.Role.May(n.act) {
					b.Nav = append(b.Nav, look.NavItem{Href: n.href, Text: n.text, Current: n.href == "/"+firstPart(q.URL.Path)})
				}
			}
		}
	}
	if b.Flash == nil {
		if kind, text, ok := strings.Cut(s.sessions.PopString(q.Context(), "flash"), "\n"); ok {
			b.Flash = &look.Notice{Kind: kind, Text: text}
		}
	}
}

func firstPart(path string) string {
	p, _, _ := strings.Cut(strings.TrimPrefix(path, "/"), "/")
	if p == "entries" {
		return "gradings"
	}
	return p
}

var places = []struct {
	href, text string
	act        app.Act
}{
	{"/", "Today", app.SeeGradings},
	{"/gradings", "Gradings", app.SeeGradings},
	{"/roster", "Roster", app.SeeRoster},
	{"/syllabus", "Syllabus", app.SeeSyllabus},
	{"/ledger", "Rank ledger", app.SeeLedger},
	{"/people", "People", app.ManagePeople},
}

func roleName(r app.Role) string {
	switch r {
	case app.Owner:
		return "head instructor"
	}
	return string(r)
}

// To leads on to another page after a form.
func To(address string) Answer { return toAnswer(address) }

type toAnswer string

func (a toAnswer) send(q *Query) error {
	http.Redirect(q.w, q.Request, string(a), http.StatusSeeOther)
	return nil
}

// File gives out a file. With show it opens in the browser.
type File struct {
	Name, Type string
	Data       []byte
	Show       bool
}

func (f File) send(q *Query) error {
	how := "attachment"
	if f.Show {
		how = "inline"
	}
	q.w.Header().Set("Content-Type", f.Type)
	q.w.Header().Set("Content-Disposition", fmt.Sprintf("%s; filename=%q", how, f.Name))
	_, err := q.w.Write(f.Data)
	return err
}

// JSON answers a page's own script.
type JSON struct {
	Status int
	Data   any
}

func (j JSON) send(q *Query) error {
	b, err := json.Marshal(j.Data)
	if err != nil {
		return err
	}
	q.w.Header().Set("Content-Type", "application/json")
	if j.Status != 0 {
		q.w.WriteHeader(j.Status)
	}
	_, err = q.w.Write(b)
	return err
}

// serve runs one route: who asks, whether they may, the handler, and what
// came of it.
func (s *Server) serve(r Route) http.Handler {
	limit := int64(1 << 20)
	if r.Large {
		limit = 11 << 20
	}
	if r.Stream {
		limit = 40 << 20 // more than is taken, so that the rest can be read to its end
	}
	return http.HandlerFunc(func(w http.ResponseWriter, req *http.Request) {
		q := &Query{Request: req, w: w, srv: s}
		req.Body = http.MaxBytesReader(w, req.Body, limit)
		answer, err := s.run(q, r)
		if req.MultipartForm != nil {
			defer func() { _ = req.MultipartForm.RemoveAll() }()
		}
		if err == nil {
			err = answer.send(q)
		}
		if err != nil {
			s.fail(q, err)
		}
	})
}

func (s *Server) run(q *Query, r Route) (Answer, error) {
	ask, _ := q.Context().Value(quickKey{}).(*quickAsk)
	if ask != nil && ask.who != nil {
		q.Who = *ask.who
		if answer, err := q.kept(); answer != nil || err != nil {
			return answer, err
		}
		return r.Do(q)
	}
	var err error
	if q.School, err = s.app.School(q.Context()); err != nil {
		return nil, err
	}
	who, ok, err := s.recall(q)
	if err != nil {
		return nil, err
	}
	if ok {
		q.Who = who
		if ask != nil {
			s.keep(ask, who)
		}
	}
	if !r.Open {
		if !ok {
			page := q.Method == http.MethodGet && r.Kind != "json"
			if s.sessions.GetString(q.Context(), "device") != "" {
				if page {
					return To("/pair"), nil
				}
				return nil, rankwright.Faultf(rankwright.SignIn, "pair_again", "scan the code at the desk again", "this device is not paired any more")
			}
			if page {
				// Where they were going travels in the address: a session for
				// everybody who looks in would fill the base.
				next := q.URL.RequestURI()
				if next == "/" || len(next) > 300 {
					return To("/sign-in"), nil
				}
				return To("/sign-in?next=" + url.QueryEscape(next)), nil
			}
			return nil, rankwright.Faultf(rankwright.SignIn, "sign_in", "sign in and try again", "you are not signed in any more")
		}
		if r.Act != "" && !q.Who.Role.May(r.Act) {
			return nil, rankwright.Faultf(rankwright.Forbidden, "not_allowed", "ask the head instructor", "as %s you may not %s", roleName(q.Who.Role), r.Act)
		}
		if answer, err := q.kept(); answer != nil || err != nil {
			return answer, err
		}
	}
	if q.Method == http.MethodPost {
		if err := q.parse(r); err != nil {
			return nil, err
		}
	}
	return r.Do(q)
}

// parse reads the form of a POST within its limit.
func (q *Query) parse(r Route) error {
	if r.Kind == "json" || r.Stream {
		return nil
	}
	err := q.ParseMultipartForm(2 << 20)
	if errors.Is(err, http.ErrNotMultipart) {
		err = q.ParseForm()
	}
	var large *http.MaxBytesError
	if errors.As(err, &large) {
		return rankwright.Faultf(rankwright.TooLarge, "too_large", "choose a smaller one", "what was sent is larger than %d MB", large.Limit>>20)
	}
	if err != nil {
		f := rankwright.Faultf(rankwright.Invalid, "bad_form", "go back and try again", "the form did not arrive whole")
		f.Err = err
		return f
	}
	return nil
}

type faultPage struct {
	Frame
	Say, Do string
}

// fail is the one place where an error becomes a page, or JSON for a script.
func (s *Server) fail(q *Query, err error) {
	if errors.Is(err, context.Canceled) {
		return
	}
	status := map[rankwright.Kind]int{
		rankwright.Invalid: http.StatusUnprocessableEntity, rankwright.NotFound: http.StatusNotFound, rankwright.Forbidden: http.StatusForbidden,
		rankwright.SignIn: http.StatusUnauthorized, rankwright.Conflict: http.StatusConflict, rankwright.TooLarge: http.StatusRequestEntityTooLarge,
		rankwright.Unavailable: http.StatusServiceUnavailable,
	}[rankwright.KindOf(err)]
	say, do := told(err)
	if status == http.StatusServiceUnavailable {
		q.w.Header().Set("Retry-After", "5")
		s.log.Error("not possible now", "method", q.Method, "path", logged(q), "error", errors.Join(err, errors.Unwrap(err)).Error())
	}
	if status == 0 {
		status = http.StatusInternalServerError
		say, do = "Something went wrong on our side.", "Nothing that was saved before is lost. Try again; if it happens twice, tell whoever runs this program."
		s.log.Error("request failed", "method", q.Method, "path", logged(q), "error", err.Error())
	}
	if strings.HasPrefix(q.Header.Get("Accept"), "application/json") {
		_ = JSON{status, map[string]string{"say": say, "do": do}}.send(q)
		return
	}
	title := "That did not work"
	if status == http.StatusNotFound {
		title = "Nothing here"
	}
	page := &faultPage{Say: say, Do: do}
	page.Title, page.Width = title, "narrow"
	if err := (pageAnswer{"fault", page, status}).send(q); err != nil {
		s.log.Error("the fault page failed", "error", err.Error())
	}
}

// logged is the address of a request without the secret of a link.
func logged(q *Query) string {
	if secret := q.PathValue("secret"); secret != "" {
		return strings.ReplaceAll(q.URL.Path, secret, "…")
	}
	return q.URL.Path
}

// told writes a fault as two sentences: what happened, and what to do.
func told(err error) (say, do string) {
	var f *rankwright.Fault
	if errors.As(err, &f) {
		return sentence(f.Say), sentence(f.Do)
	}
	return sentence(err.Error()), ""
}

func sentence(s string) string {
	if s == "" {
		return ""
	}
	r := []rune(s)
	out := strings.ToUpper(string(r[0])) + string(r[1:])
	if !strings.HasSuffix(out, ".") && !strings.HasSuffix(out, "?") && !strings.HasSuffix(out, "!") {
		out += "."
	}
	return out
}
