package web_test

import (
	"bytes"
	"fmt"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"
)

// versions serves the same program as two versions of it: a newer one whose
// files have other names and another content, and which knows nothing of the
// older one's files.
type versions struct {
	mu     sync.Mutex
	newer  bool
	failed []string // files that were asked for and not there
}

func (v *versions) set(newer bool) { v.mu.Lock(); v.newer = newer; v.mu.Unlock() }

func (v *versions) missed() []string {
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.failed
}

var assetName = regexp.MustCompile(`/([am])/([A-Za-z0-9_-]{12}/)`)

func (v *versions) around(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		v.mu.Lock()
		newer := v.newer
		v.mu.Unlock()
		asset := strings.HasPrefix(r.URL.Path, "/a/") || strings.HasPrefix(r.URL.Path, "/m/")
		page := r.Method == http.MethodGet && (r.URL.Path == "/worker.js" || strings.Contains(r.Header.Get("Accept"), "text/html"))
		worker := r.URL.Path == "/worker.js" || r.Header.Get("Sec-Fetch-Dest") == "empty" && strings.Contains(r.URL.Path, "/marks/")
		if !asset && !(newer && (page || worker && r.Method == http.MethodGet)) {
			next.ServeHTTP(w, r)
			return
		}
		own := r.Clone(r.Context())
		own.Header.Del("Accept-Encoding")
		if asset && newer {
			own.URL.Path = "/none/" // an older name
			if at, name, ok := strings.Cut(r.URL.Path, "/newer-"); ok {
				own.URL.Path = at + "/" + name
			}
		}
		rec := httptest.NewRecorder()
		next.ServeHTTP(rec, own)
		body := rec.Body.Bytes()
		switch {
		case asset && rec.Code >= 300 && rec.Code != http.StatusNotModified:
			v.mu.Lock()
			v.failed = append(v.failed, fmt.Sprint(rec.Code, " ", r.URL.Path))
			v.mu.Unlock()
		case asset && newer && strings.HasSuffix(r.URL.Path, ".js"):
			body = append(body, "\nglobalThis.newerVersion = true;\n"...)
		case !asset:
			body = assetName.ReplaceAll(body, []byte("/$1/newer-$2"))
			body = bytes.Replace(body, []byte(`"version":"`), []byte(`"version":"newer-`), 1)
		}
		for k, x := range rec.Header() {
			w.Header()[k] = x
		}
		w.Header().Del("Content-Length")
		w.WriteHeader(rec.Code)
		_, _ = w.Write(body)
	})
}

// updated lets the browser look for a new worker and waits until it keeps one
// version alone.
func (b *tab) updated(newer bool) {
	b.t.Helper()
	soon[bool](b, `navigator.serviceWorker.getRegistration().then((r) => r.update()).then(() => true)`)
	var names []string
	for range 200 {
		if names = soon[[]string](b, `caches.keys()`); len(names) == 1 && strings.Contains(names[0], "newer-") == newer {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	b.t.Fatalf("the device keeps %q", names)
}

// A page is open without a connection and holds more than a hundred marks when
// a new version of the program is installed; later the old one comes back. In
// both tabs of the device each mark arrives once, every file that is asked for
// is there, and no page is loaded again under the examiner's finger.
func TestInTheBrowserANewVersionAndTheOldOneAgainStrandNoPageAndNoMark(t *testing.T) {
	m := newMat(t)
	v := &versions{}
	g := m.gatedTLS(t, v.around)
	one := browser(t, untrusted)
	one.phone()
	one.onMat(m, m.mira.Name)
	one.until(reopens)
	two := one.second()
	two.tablet()
	two.errors()
	two.open(m.URL + m.path("/marks/reed"))
	two.until(allSaved)
	tabs := []*tab{one, two}

	rows := eval[[]string](one, `[...document.querySelectorAll('tr[data-q]')].filter((tr) => tr.querySelector('.mat-all:not(.mat-time)')).map((tr) => tr.dataset.q)`)
	want := map[string]string{}
	made := 0
	look := func(b *tab, q string) {
		t.Helper()
		made += 6
		for i, value := range eval[[]string](b, fmt.Sprintf(`[...document.querySelectorAll('tr[data-q=%q] button.tap')].map((c) => c.dataset.v.split('|')[0])`, q)) {
			want[string(m.reed[i])+" "+q] = value
		}
	}
	tapRow := func(b *tab) { // six marks by one tap
		t.Helper()
		q := rows[0]
		rows = rows[1:]
		b.tapAll(q)
		look(b, q)
	}
	turn := func(b *tab, q string) { // six marks by six taps
		t.Helper()
		eval[bool](b, fmt.Sprintf(`document.querySelectorAll('tr[data-q=%q] button.tap').forEach((c) => c.click()), true`, q))
		look(b, q)
	}
	unsent := func(b *tab, n int) {
		t.Helper()
		b.until(fmt.Sprintf(`document.getElementById('mat-saved').textContent.startsWith('%d marks not sent yet')`, n))
	}
	stay := func() { // a page that is loaded again forgets this
		for _, b := range tabs {
			eval[bool](b, `globalThis.stayed = true`)
		}
	}
	stayed := func(when string) {
		t.Helper()
		for i, b := range tabs {
			if !eval[bool](b, `globalThis.stayed === true`) {
				t.Errorf("%s tab %d was loaded again under the examiner's finger", when, i+1)
			}
		}
	}
	whole := func(b *tab, newer bool, when string) {
		t.Helper()
		if bad := eval[[]string](b, `performance.getEntriesByType('resource').filter((r) => /\/[am]\//.test(new URL(r.name).pathname) && r.responseStatus !== 200).map((r) => r.responseStatus + ' ' + r.name)`); len(bad) > 0 {
			t.Errorf("%s the page lacks %q", when, bad)
		}
		if eval[bool](b, `globalThis.newerVersion === true`) != newer {
			t.Errorf("%s the page is of the wrong version (newer: %v)", when, !newer)
		}
	}
	online := func() {
		g.set(false)
		for _, b := range tabs {
			eval[bool](b, `dispatchEvent(new Event('online'))`)
		}
		for _, b := range tabs {
			b.until(allSaved)
		}
	}

	g.set(true)
	tapRow(one)
	tapRow(two)
	for made < 100 { // in both tabs
		turn(one, "RE-ET1")
		turn(two, "RE-ET2")
	}
	unsent(one, made)
	unsent(two, made)
	stay()
	v.set(true)
	online() // pages of the old version send to the new one
	one.updated(true)
	tapRow(two)
	online()
	stayed("after the update")
	whole(one, false, "after the update")
	whole(two, false, "after the update")

	g.set(true)
	one.open(m.URL + m.path("/marks/reed")) // without a connection: what the new version keeps
	one.until(allSaved)
	whole(one, true, "offline, after the update")
	tapRow(one)
	tapRow(two) // the second tab is still of the old version
	unsent(one, 12)
	unsent(two, 12)
	stay()
	v.set(false)
	online() // a page of the new version sends to the old one
	one.updated(false)
	tapRow(one)
	online()
	stayed("after the way back")
	whole(one, true, "after the way back")

	g.set(true)
	for _, b := range tabs {
		b.open(m.URL + m.path("/marks/reed"))
		b.until(allSaved)
		whole(b, false, "offline, after the way back")
	}
	tapRow(two)
	unsent(two, 6)
	online()

	if bad := v.missed(); len(bad) > 0 {
		t.Errorf("files were asked for in vain: %q", bad)
	}
	m.compare(t, want)
	if n := len(m.log(t)); n != made || n < 130 {
		t.Errorf("%d marks in the base, want %d: each exactly once", n, made)
	}
}
