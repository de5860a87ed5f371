package web_test

import (
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"rankwright/internal/app"
	"rankwright/internal/app/apptest"
	"rankwright/internal/web"
)

// site is a school with its pages on a loopback address.
type site struct {
	*apptest.School
	URL string
}

func newSite(t *testing.T) *site {
	t.Helper()
	s := apptest.New(t)
	srv, err := web.New(s.App, web.Options{})
	if err != nil {
		t.Fatal(err)
	}
	ts := httptest.NewServer(srv)
	t.Cleanup(ts.Close)
	return &site{s, ts.URL}
}

// visitor is somebody with a browser that keeps cookies and follows no
// redirect by itself.
type visitor struct {
	t    *testing.T
	site *site
	c    *http.Client
}

func (s *site) visit(t *testing.T) *visitor {
	jar, _ := cookiejar.New(nil)
	return &visitor{t, s, &http.Client{Jar: jar, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}
}

// as signs somebody in.
func (s *site) as(t *testing.T, who app.Actor) *visitor {
	t.Helper()
	v := s.visit(t)
	r := v.post("/sign-in", url.Values{"name": {who.Name}, "password": {apptest.Password}})
	if r.status != http.StatusSeeOther {
		t.Fatalf("%s cannot sign in: %d\n%s", who.Name, r.status, r.body)
	}
	return v
}

type reply struct {
	status int
	to     string
	head   http.Header
	body   string
}

func (v *visitor) get(path string) reply {
	v.t.Helper()
	r, err := v.c.Get(v.site.URL + path)
	return v.read(r, err)
}

func (v *visitor) post(path string, form url.Values) reply {
	v.t.Helper()
	r, err := v.c.PostForm(v.site.URL+path, form)
	return v.read(r, err)
}

func (v *visitor) read(r *http.Response, err error) reply {
	v.t.Helper()
	if err != nil {
		v.t.Fatal(err)
	}
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	if err != nil {
		v.t.Fatal(err)
	}
	return reply{r.StatusCode, r.Header.Get("Location"), r.Header, string(b)}
}

// says fails unless the page holds every text.
func (r reply) says(t *testing.T, status int, texts ...string) {
	t.Helper()
	if r.status != status {
		t.Fatalf("status %d, want %d\n%s", r.status, status, r.body)
	}
	for _, x := range texts {
		if !strings.Contains(r.body, x) {
			t.Fatalf("the page does not say %q:\n%s", x, r.body)
		}
	}
}
