package web_test

import (
	"bytes"
	"fmt"
	"io"
	"log"
	"net"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"rankwright/internal/web"
)

// untrusted lets Chromium take the test server's certificate.
var untrusted = chromedp.Flag("ignore-certificate-errors", true)

// gatedTLS serves the school's pages once more over TLS, behind a gate that
// resets connections: Chromium's own offline emulation does not reach a
// service worker. Around takes the marks on their way, and may be nil.
func (m *mat) gatedTLS(t *testing.T, around func(http.Handler) http.Handler) *gate {
	t.Helper()
	srv, err := web.New(m.App, web.Options{Secure: true})
	m.done(t, err)
	var h http.Handler = srv
	if around != nil {
		h = around(srv)
	}
	ts := httptest.NewUnstartedServer(h)
	ts.Config.ErrorLog = log.New(io.Discard, "", 0) // of the connections that are reset
	g := &gate{Listener: ts.Listener, open: map[net.Conn]bool{}}
	ts.Listener = g
	ts.StartTLS()
	t.Cleanup(ts.Close)
	m.URL = ts.URL
	return g
}

const (
	// A tap becomes a mark that the page speaks of when it is kept. Until then the page does not want to be left.
	nothingInHand = `dispatchEvent(new Event('beforeunload', { cancelable: true }))`

	allSaved = `document.getElementById('mat-saved').textContent === 'All marks are saved.' && ` + nothingInHand
	reopens  = `document.getElementById('mat-safe').textContent.includes('This page also opens without a connection')`
)

// forgotten says that the log of the device has no mark any more.
const forgotten = `(indexedDB.open('rankwright').onsuccess = (e) => { e.target.result.transaction('marks').objectStore('marks').count().onsuccess = (r) => { window.logged = r.target.result; e.target.result.close() } }, window.logged === 0)`

// onMat opens a rank's page as an examiner, signed in.
func (b *tab) onMat(m *mat, name string) {
	b.t.Helper()
	b.errors()
	b.signIn(m.URL, name, "three quiet otters")
	b.open(m.URL + m.path("/marks/reed"))
	b.until(allSaved)
	eval[bool](b, findCell)
}

// keeps waits until the worker keeps these pages and no others.
func (b *tab) keeps(want ...string) {
	b.t.Helper()
	var has []string
	for range 100 {
		if has = b.cached(); slices.Equal(slices.Sorted(slices.Values(has)), want) {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	b.t.Fatalf("the worker keeps %q, want %q", has, want)
}

// cached lists the pages that the worker keeps.
func (b *tab) cached() []string {
	b.t.Helper()
	return soon[[]string](b, `(async () => { const out = []; for (const n of await caches.keys()) for (const r of await (await caches.open(n)).keys()) if (r.url.includes('/gradings/')) out.push(new URL(r.url).pathname + new URL(r.url).search); return out })()`)
}

func TestInTheBrowserASquadIsScoredOfflineThePageIsClosedAndOpenedAgainAndNothingIsLost(t *testing.T) {
	for name, screen := range map[string]func(*tab){"on a phone": (*tab).phone, "on a tablet": (*tab).tablet} {
		t.Run(name, func(t *testing.T) {
			m := newMat(t)
			g := m.gatedTLS(t, nil)
			profile := t.TempDir()
			b := browserIn(t, profile, untrusted)
			screen(b)
			b.onMat(m, m.mira.Name)
			b.until(reopens)
			want := map[string]string{}
			all := func(q, value string) {
				t.Helper()
				b.tapAll(q)
				for _, e := range m.reed {
					want[string(e)+" "+q] = value
				}
			}
			all("RE-ET1", "1")
			b.until(allSaved) // the server has these; the page that is kept does not
			b.keeps(m.path("/marks"), m.path("/marks/indigo"), m.path("/marks/reed"), m.path("/marks?squad=1"))
			g.set(true)
			all("RE-ET2", "1")
			all("RE-SM1", "2")
			all("RE-KB2", "6")
			b.tapCell(m.reed[1], "RE-KB2")
			want[string(m.reed[1])+" RE-KB2"] = "5"
			b.until(`/^19 marks not sent yet: no connection\. They are kept on this device; keep marking\. This page also opens without a connection\.$/.test(document.getElementById('mat-saved').textContent)`)
			says := eval[[]string](b, labels)
			b.quit() // the tablet is switched off

			b = browserIn(t, profile, untrusted)
			screen(b)
			b.errors()
			b.open(m.URL + m.path("/marks/reed"))
			b.until(`/^19 marks not sent yet/.test(document.getElementById('mat-saved').textContent)`)
			for i, now := range eval[[]string](b, labels) {
				if now != says[i] {
					t.Errorf("opened again offline, a cell says %q, before it said %q", now, says[i])
				}
			}
			eval[bool](b, findCell)
			all("RE-PD1", "1")
			b.tapCell(m.reed[0], "RE-ET1") // corrects what the server has
			want[string(m.reed[0])+" RE-ET1"] = "0"
			b.until(`/^26 marks not sent yet/.test(document.getElementById('mat-saved').textContent)`)
			// What was never opened on this device was kept beforehand all the same.
			b.open(m.URL + m.path("/marks"))
			b.until(`location.pathname.endsWith('/marks') && /^26 marks not sent yet/.test(document.getElementById('mat-saved').textContent)`)
			b.tap(`a[href$="/marks/indigo"]`)
			b.until(`location.pathname.endsWith('/marks/indigo') && /^26 marks not sent yet/.test(document.getElementById('mat-saved').textContent)`)
			b.open(m.URL + m.path("/marks/reed"))
			b.until(`location.pathname.endsWith('/marks/reed') && /^26 marks not sent yet/.test(document.getElementById('mat-saved').textContent)`)

			g.set(false)
			b.tap(`[data-do="send"]`)
			b.until(allSaved)
			m.compare(t, want)
			if n := len(m.log(t)); n != 6+19+7 {
				t.Errorf("%d marks in the base, want %d: each exactly once", n, 6+19+7)
			}
			says = eval[[]string](b, labels)
			b.open(m.URL + m.path("/marks/reed"))
			b.until(allSaved)
			for i, now := range eval[[]string](b, labels) {
				if now != says[i] {
					t.Errorf("straight from the server a cell says %q, before it said %q", now, says[i])
				}
			}

			// Signed out, the device holds no child's name any more.
			b.keeps(m.path("/marks"), m.path("/marks/indigo"), m.path("/marks/reed"), m.path("/marks?squad=1"))
			b.signOut(m.URL)
			b.until(`location.pathname === '/sign-in'`)
			for range 50 {
				if len(b.cached()) == 0 {
					break
				}
				time.Sleep(50 * time.Millisecond)
			}
			if p := b.cached(); len(p) != 0 {
				t.Errorf("signed out, the worker keeps %q", p)
			}
			if n := soon[int](b, `new Promise((done) => { indexedDB.open('rankwright').onsuccess = (e) => { const db = e.target.result; db.transaction('marks').objectStore('marks').count().onsuccess = (r) => { db.close(); done(r.target.result) } } })`); n != 0 {
				t.Errorf("signed out, %d marks stay on the device", n)
			}
		})
	}
}

// An examiner whose squads move on while the network is away goes on to the
// next squad. And what was marked in one sheet of a rank stands in all others
// that the device keeps: "all shown" would otherwise give an exception a mark
// that nobody gave.
func TestInTheBrowserAnExaminerGoesOnToTheNextSquadWithoutAConnection(t *testing.T) {
	m := newMat(t)
	for _, e := range m.reed[3:] {
		m.done(t, m.App.SetSquad(t.Context(), m.Owner, e, 2))
	}
	g := m.gatedTLS(t, nil)
	b := browser(t, untrusted)
	b.phone()
	b.errors()
	b.signIn(m.URL, m.mira.Name, "three quiet otters")
	first, second, all := m.path("/marks/reed?squad=1"), m.path("/marks/reed?squad=2"), m.path("/marks/reed")
	b.open(m.URL + first)
	b.until(allSaved)
	b.keeps(m.path("/marks"), m.path("/marks/indigo"), all, first, second, m.path("/marks?squad=1"))
	eval[bool](b, findCell)
	b.tapAll("RE-ET1")
	b.tapCell(m.reed[1], "RE-ET1") // not Ben
	b.until(allSaved)
	b.open(m.URL + all) // has it, and lets the log forget it
	b.until(allSaved)
	b.until(forgotten)

	g.set(true)
	b.open(m.URL + first)
	b.until(`document.querySelectorAll('.mat-grid thead th[data-e]').length === 3 && ` + allSaved)
	eval[bool](b, findCell)
	if say := eval[string](b, cellOf(m.reed[1], "RE-ET1")+`.textContent`); !strings.Contains(say, "not shown") {
		t.Errorf("the sheet of the squad, as the device kept it, says of the exception: %q", say)
	}
	b.tap(`.mat-squads a[href$="squad=2"]`)
	b.until(`location.search === '?squad=2' && document.querySelectorAll('.mat-grid thead th[data-e]').length === 3 && ` + allSaved)
	eval[bool](b, findCell)
	b.tapAll("RE-ET1")
	b.until(`/^3 marks not sent yet/.test(document.getElementById('mat-saved').textContent)`)
	g.set(false)
	b.tap(`[data-do="send"]`)
	b.until(allSaved)
	want := map[string]string{}
	for i, e := range m.reed {
		want[string(e)+" RE-ET1"] = map[bool]string{true: "0", false: "1"}[i == 1]
	}
	m.compare(t, want)
	if n := len(m.log(t)); n != 7 {
		t.Errorf("%d marks in the base, want 7", n)
	}
}

func TestInTheBrowserWithoutTLSThePageSaysToLeaveItOpen(t *testing.T) {
	m := newMat(t)
	m.URL = "http://" + lanName + strings.TrimPrefix(m.URL, "http://127.0.0.1")
	b := browser(t, chromedp.Flag("host-resolver-rules", "MAP "+lanName+" 127.0.0.1"))
	b.phone()
	b.onMat(m, m.mira.Name)
	if eval[bool](b, `isSecureContext`) {
		t.Fatal("this address counts as secure; the test shows nothing")
	}
	b.until(`document.getElementById('mat-safe').textContent.includes('Leave this page open until the connection is back')`)
	b.tapAll("RE-ET1")
	b.until(allSaved)
	if n := len(m.log(t)); n != 6 {
		t.Errorf("%d marks in the base, want 6", n)
	}
}

// lanName stands for an address in the hall, which browsers do not trust as
// they trust their own machine.
const lanName = "hall.test"

// marksOnTheWay lets a test spoil what comes and goes between a device and the
// server.
func marksOnTheWay(spoil func(n int, w http.ResponseWriter, r *http.Request, next http.Handler)) func(http.Handler) http.Handler {
	var mu sync.Mutex
	n := 0
	return func(next http.Handler) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			if r.Method != http.MethodPost || !strings.HasSuffix(r.URL.Path, "/marks") {
				next.ServeHTTP(w, r)
				return
			}
			mu.Lock()
			n++
			k := n
			mu.Unlock()
			spoil(k, w, r, next)
		})
	}
}

func TestInTheBrowserACutInTheMiddleOfABatchLosesAndDoublesNothing(t *testing.T) {
	m := newMat(t)
	m.gatedTLS(t, marksOnTheWay(func(n int, w http.ResponseWriter, r *http.Request, next http.Handler) {
		switch n % 4 {
		case 1: // half of the batch arrives
			_, _ = io.CopyN(io.Discard, r.Body, r.ContentLength/2)
			panic(http.ErrAbortHandler)
		case 2: // all of it is stored, and no answer leaves
			next.ServeHTTP(httptest.NewRecorder(), r)
			panic(http.ErrAbortHandler)
		case 3: // the answer breaks off
			rec := httptest.NewRecorder()
			next.ServeHTTP(rec, r)
			w.Header().Set("Content-Type", "application/json")
			w.Header().Set("Content-Length", fmt.Sprint(rec.Body.Len()))
			_, _ = w.Write(rec.Body.Bytes()[:rec.Body.Len()/2])
			panic(http.ErrAbortHandler)
		}
		next.ServeHTTP(w, r)
	}))
	b := browser(t, untrusted)
	b.phone()
	b.onMat(m, m.mira.Name)
	want := map[string]string{}
	for _, q := range []string{"RE-ET1", "RE-ET2", "RE-KB1"} {
		b.tapAll(q)
		for _, e := range m.reed {
			want[string(e)+" "+q] = "1"
		}
	}
	for range 10 {
		if eval[bool](b, allSaved) {
			break
		}
		eval[bool](b, `document.querySelector('[data-do="send"]').click(), true`)
		time.Sleep(300 * time.Millisecond)
	}
	b.until(allSaved)
	m.compare(t, want)
	if n := len(m.log(t)); n != 18 {
		t.Errorf("%d marks in the base, want 18: each exactly once", n)
	}
}

func TestInTheBrowserEveryBatchThatIsSentTwiceCountsOnce(t *testing.T) {
	m := newMat(t)
	m.gatedTLS(t, marksOnTheWay(func(n int, w http.ResponseWriter, r *http.Request, next http.Handler) {
		body, _ := io.ReadAll(r.Body)
		again := r.Clone(r.Context())
		r.Body, again.Body = io.NopCloser(bytes.NewReader(body)), io.NopCloser(bytes.NewReader(body))
		next.ServeHTTP(httptest.NewRecorder(), r)
		next.ServeHTTP(w, again)
	}))
	b := browser(t, untrusted)
	b.tablet()
	b.onMat(m, m.mira.Name)
	want := map[string]string{}
	b.tapAll("RE-ET1")
	b.tapAll("RE-SM1")
	for _, e := range m.reed {
		want[string(e)+" RE-ET1"], want[string(e)+" RE-SM1"] = "1", "2"
	}
	b.tapCell(m.reed[2], "RE-ET1")
	want[string(m.reed[2])+" RE-ET1"] = "0"
	b.until(allSaved)
	m.compare(t, want)
	if n := len(m.log(t)); n != 13 {
		t.Errorf("%d marks in the base, want 13", n)
	}
}

// another is a second device: a tab with nothing in common with the first.
func (b *tab) another() *tab {
	b.t.Helper()
	ctx, cancel := chromedp.NewContext(b.ctx, chromedp.WithNewBrowserContext())
	b.t.Cleanup(cancel)
	c := &tab{t: b.t, ctx: ctx, quit: cancel}
	c.do()
	return c
}

// second is another tab of the same device.
func (b *tab) second() *tab {
	b.t.Helper()
	ctx, cancel := chromedp.NewContext(b.ctx)
	b.t.Cleanup(cancel)
	c := &tab{t: b.t, ctx: ctx, quit: cancel}
	c.do()
	return c
}

func TestInTheBrowserTwoDevicesOfOneExaminerAndOneOfAnotherAreMerged(t *testing.T) {
	m := newMat(t)
	g := m.gatedTLS(t, nil)
	one := browser(t, untrusted)
	one.phone()
	one.onMat(m, m.mira.Name)
	one.tapAll("RE-ET1")
	one.until(allSaved)
	two, jonas := one.another(), one.another()
	two.tablet()
	two.onMat(m, m.mira.Name)
	jonas.phone()
	jonas.onMat(m, m.jonas.Name)

	g.set(true)
	want := map[string]string{}
	one.tapAll("RE-ET2")
	two.tapAll("RE-KB1")
	for _, e := range m.reed {
		want[string(e)+" RE-ET1"], want[string(e)+" RE-ET2"], want[string(e)+" RE-KB1"] = "1", "1", "1"
	}
	two.tapCell(m.reed[0], "RE-ET1") // a correction on the other device
	want[string(m.reed[0])+" RE-ET1"] = "0"
	jonas.tapAll("RE-ET1")
	g.set(false)
	for _, b := range []*tab{jonas, two, one} {
		eval[bool](b, `dispatchEvent(new Event('online'))`)
		b.until(allSaved)
	}

	marks := map[string]int{}
	got := m.counts(t)
	if fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("Mira's card is\n%v, want\n%v", got, want)
	}
	for _, l := range m.log(t) {
		marks[string(l.Device)]++
	}
	if len(marks) != 3 || len(m.log(t)) != 6+6+6+1+6 {
		t.Errorf("%d marks of %v", len(m.log(t)), marks)
	}
	one.open(m.URL + m.path("/marks/reed"))
	one.until(allSaved)
	eval[bool](one, findCell)
	if s := eval[string](one, cellOf(m.reed[0], "RE-ET1")+".getAttribute('aria-label')"); s != "Ana A., Bows at the mat edge coming in and going out: not shown, corrected" {
		t.Errorf("the first device shows %q", s)
	}
}

func TestInTheBrowserTwoTabsOfOneDeviceDoubleNothing(t *testing.T) {
	m := newMat(t)
	g := m.gatedTLS(t, nil)
	one := browser(t, untrusted)
	one.phone()
	one.onMat(m, m.mira.Name)
	two := one.second()
	two.phone()
	two.errors()
	two.open(m.URL + m.path("/marks/reed"))
	two.until(allSaved)
	eval[bool](two, findCell)
	g.set(true)
	one.tapAll("RE-ET1")
	two.tapAll("RE-ET2")
	one.until(`/^12 marks not sent yet/.test(document.getElementById('mat-saved').textContent)`)
	two.until(`/^12 marks not sent yet/.test(document.getElementById('mat-saved').textContent)`)
	if s := eval[string](two, cellOf(m.reed[0], "RE-ET1")+".getAttribute('aria-label')"); !strings.HasSuffix(s, "shown, not sent yet") {
		t.Errorf("the second tab shows %q of what the first marked", s)
	}
	g.set(false)
	eval[bool](one, `dispatchEvent(new Event('online'))`)
	eval[bool](two, `dispatchEvent(new Event('online'))`)
	one.until(allSaved)
	two.until(allSaved)
	want := map[string]string{}
	for _, e := range m.reed {
		want[string(e)+" RE-ET1"], want[string(e)+" RE-ET2"] = "1", "1"
	}
	m.compare(t, want)
	if n := len(m.log(t)); n != 12 {
		t.Errorf("%d marks in the base, want 12", n)
	}
}

// late holds back answers to GETs whose address ends so until let is called;
// the server has worked them out before.
func late(end string) (around func(http.Handler) http.Handler, let func()) {
	gate := make(chan struct{})
	return func(next http.Handler) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			if r.Method != http.MethodGet || !strings.HasSuffix(r.URL.RequestURI(), end) {
				next.ServeHTTP(w, r)
				return
			}
			rec := httptest.NewRecorder()
			next.ServeHTTP(rec, r)
			<-gate
			for k, v := range rec.Header() {
				w.Header()[k] = v
			}
			w.WriteHeader(rec.Code)
			_, _ = w.Write(rec.Body.Bytes())
		})
	}, sync.OnceFunc(func() { close(gate) })
}

// A sheet that was asked for before somebody signed out, and comes after it, is
// not kept: the next person would find it on the device.
func TestInTheBrowserASheetThatComesAfterSigningOutIsNotKept(t *testing.T) {
	m := newMat(t)
	around, let := late("/marks/indigo")
	m.gatedTLS(t, around)
	t.Cleanup(let)
	b := browser(t, untrusted)
	b.phone()
	b.onMat(m, m.mira.Name)
	b.keeps(m.path("/marks"), m.path("/marks/reed"), m.path("/marks?squad=1")) // the fourth is under way
	b.signOut(m.URL)
	b.keeps()
	let()
	time.Sleep(time.Second)
	b.keeps()
}

// A page does not wait for the worker to renew its other sheets before it sends
// what waits and hears of stops.
func TestInTheBrowserAPageDoesNotWaitForOtherSheets(t *testing.T) {
	m := newMat(t)
	for _, e := range m.reed[3:] {
		m.done(t, m.App.SetSquad(t.Context(), m.Owner, e, 2))
	}
	var slow, listens atomic.Bool
	around, let := late("squad=2")
	m.gatedTLS(t, func(next http.Handler) http.Handler {
		held := around(next)
		return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			if slow.Load() && strings.HasSuffix(r.URL.Path, "/events") {
				listens.Store(true)
			}
			if slow.Load() {
				held.ServeHTTP(w, r)
			} else {
				next.ServeHTTP(w, r)
			}
		})
	})
	t.Cleanup(let)
	b := browser(t, untrusted)
	b.phone()
	b.before(`{ const real = setTimeout; setTimeout = (f, ms, ...more) => (ms === 20_000 ? 0 : real(f, ms, ...more)) }`) // its patience never ends
	b.onMat(m, m.mira.Name)
	b.keeps(m.path("/marks"), m.path("/marks/indigo"), m.path("/marks/reed"), m.path("/marks/reed?squad=1"), m.path("/marks/reed?squad=2"), m.path("/marks?squad=1"))
	b.tapAll("RE-ET1")
	b.until(allSaved)
	slow.Store(true)
	b.open(m.URL + m.path("/marks/reed"))
	b.until(allSaved)
	for range 100 {
		if listens.Load() {
			return
		}
		time.Sleep(100 * time.Millisecond)
	}
	t.Error("the page does not hear of stops while its other sheets are on their way")
}

// "All shown" that is tapped before what the device keeps lies over the page
// is given once it does: an exception that was not sent yet stays one.
func TestInTheBrowserAllShownWaitsForWhatTheDeviceKeeps(t *testing.T) {
	m := newMat(t)
	var away atomic.Bool
	m.gatedTLS(t, deaf(&away, "/marks"))
	b := browser(t, untrusted)
	b.phone()
	b.before(`if (sessionStorage.slow) { const all = IDBObjectStore.prototype.getAll; IDBObjectStore.prototype.getAll = function (...a) {
		const real = all.apply(this, a), late = { set onsuccess(f) { real.onsuccess = f }, get result() { return real.result } }; return late };
		const open = IDBFactory.prototype.open; IDBFactory.prototype.open = function (...a) { const real = open.apply(this, a); const late = new EventTarget();
		Object.defineProperty(late, 'result', { get: () => real.result }); Object.defineProperty(late, 'error', { get: () => real.error });
		real.onupgradeneeded = (e) => late.onupgradeneeded?.(e); real.onerror = (e) => late.onerror?.(e); real.onsuccess = (e) => setTimeout(() => late.onsuccess?.(e), 1500); return late } }`)
	b.onMat(m, m.mira.Name)
	away.Store(true)
	b.tapCell(m.reed[0], "RE-ET1") // shown
	b.tapCell(m.reed[0], "RE-ET1") // not shown after all
	b.until(`/^2 marks not sent yet/.test(document.getElementById('mat-saved').textContent)`)
	eval[bool](b, `(sessionStorage.slow = 'yes', true)`)
	b.open(m.URL + m.path("/marks/reed"))
	b.until(`document.querySelector('[data-do="undo"]').checkVisibility()`)
	if !eval[bool](b, `document.getElementById('mat-saved').textContent.startsWith('Getting ready') && (document.querySelector('tr[data-q="RE-ET1"] .mat-all').click(), true)`) {
		t.Fatal("the page is ready too soon for this test")
	}
	away.Store(false)
	b.until(`/^(All marks are saved|Sending)/.test(document.getElementById('mat-saved').textContent)`)
	b.tap(`[data-do="details"]`)
	b.until(allSaved)
	want := map[string]string{}
	for i, e := range m.reed {
		want[string(e)+" RE-ET1"] = map[bool]string{true: "0", false: "1"}[i == 0]
	}
	m.compare(t, want)
}
