package web_test

import (
	"fmt"
	"net"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"rankwright"
	"rankwright/internal/web"
)

// gate is a listener that can be shut: then connections are reset, those that
// stand and those that come, as when the wireless network goes away.
type gate struct {
	net.Listener
	mu   sync.Mutex
	shut bool
	open map[net.Conn]bool
}

func (g *gate) Accept() (net.Conn, error) {
	for {
		c, err := g.Listener.Accept()
		if err != nil {
			return nil, err
		}
		g.mu.Lock()
		if g.shut {
			reset(c)
		} else {
			g.open[c] = true
		}
		shut := g.shut
		g.mu.Unlock()
		if !shut {
			return c, nil
		}
	}
}

func reset(c net.Conn) {
	if t, ok := c.(*net.TCPConn); ok {
		_ = t.SetLinger(0)
	}
	_ = c.Close()
}

func (g *gate) set(shut bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.shut = shut
	if shut {
		for c := range g.open {
			reset(c)
		}
		clear(g.open)
	}
}

// gated serves the school's pages once more, behind a gate.
func (m *mat) gated(t *testing.T) *gate {
	t.Helper()
	srv, err := web.New(m.App, web.Options{})
	m.done(t, err)
	ts := httptest.NewUnstartedServer(srv)
	g := &gate{Listener: ts.Listener, open: map[net.Conn]bool{}}
	ts.Listener = g
	ts.Start()
	t.Cleanup(ts.Close)
	m.URL = ts.URL
	return g
}

func cellOf(e rankwright.EntryID, q string) string {
	return fmt.Sprintf(`mat(%q,%q)`, string(e), q)
}

// The page's cells by entry and requirement, for expressions of these tests.
const findCell = `window.mat = (e, q) => { const i = [...document.querySelectorAll('.mat-grid thead th')].findIndex((t) => t.dataset.e === e); const c = document.querySelector('tr[data-q="'+q+'"]').cells[i].querySelector('.tap'); c.scrollIntoView({block:'center',inline:'center'}); document.querySelectorAll('[data-aim]').forEach((x) => delete x.dataset.aim); c.dataset.aim='yes'; return c }; true`

func (b *tab) tapCell(e rankwright.EntryID, q string) {
	b.t.Helper()
	eval[string](b, cellOf(e, q)+".className")
	b.tap(`[data-aim]`)
}

func (b *tab) tapAll(q string) {
	b.t.Helper()
	css := fmt.Sprintf(`tr[data-q="%s"] .mat-all`, q)
	eval[bool](b, `document.querySelector('`+css+`').scrollIntoView({block: 'center'}), true`) // not under the bar
	b.tap(css)
}

func TestInTheBrowserASquadIsScoredByTappingThroughALostConnection(t *testing.T) {
	m := newMat(t)
	g := m.gated(t)
	b := browser(t)
	b.phone()
	b.errors()
	b.signIn(m.URL, m.mira.Name, "three quiet otters")
	b.open(m.URL + m.path("/marks/reed"))
	b.until(allSaved)
	eval[bool](b, findCell)

	want := map[string]string{} // entry and requirement, and the value that counts
	taps := 0
	all := func(q, value string) {
		t.Helper()
		taps++
		b.tapAll(q)
		for _, e := range m.reed {
			want[string(e)+" "+q] = value
		}
	}
	all("RE-ET1", "1")
	all("RE-ET2", "1")
	all("RE-KB1", "1")
	taps++
	b.tapCell(m.reed[0], "RE-ET2") // not Ana
	want[string(m.reed[0])+" RE-ET2"] = "0"
	b.until(allSaved)
	// One sees it without reading: 17 ticks and a cross, each with a size.
	if n := eval[[]int](b, `['.tap-full > .mat-met', '.tap:not(.tap-full) > .mat-unmet'].map((css) => [...document.querySelectorAll(css)].filter((e) => e.offsetWidth > 15 && e.offsetHeight > 15).length)`); n[0] != 17 || n[1] != 1 {
		t.Errorf("%d ticks and %d crosses are seen, want 17 and 1", n[0], n[1])
	}
	before := len(m.log(t))
	if before != 19 {
		t.Fatalf("%d marks in the base before the cut, want 18 and one correction", before)
	}

	g.set(true)
	all("RE-KB2", "6")
	all("RE-SM1", "2")
	taps++
	b.tapCell(m.reed[3], "RE-SM1") // the other Ana, a level lower
	want[string(m.reed[3])+" RE-SM1"] = "1"
	all("RE-PD1", "1")
	taps++
	b.tapCell(m.reed[5], "RE-PD1")
	want[string(m.reed[5])+" RE-PD1"] = "0"
	b.until(`/^20 marks not sent yet: no connection/.test(document.getElementById('mat-saved').textContent)`)
	if n := eval[int](b, `document.querySelectorAll('.tap[data-held="waiting"]').length`); n != 18 {
		t.Errorf("%d cells carry the sign of not being sent, want 18", n)
	}
	if n := b.kept(); n != 20 {
		t.Errorf("the device keeps %d marks, want 20", n)
	}
	if n := len(m.log(t)); n != before {
		t.Fatalf("%d marks came through the gate", n-before)
	}

	g.set(false)
	b.tap(`[data-do="send"]`)
	b.until(allSaved)
	m.compare(t, want)
	if n := len(m.log(t)); n != before+20 {
		t.Errorf("%d marks in the base, want %d: each exactly once", n, before+20)
	}
	if n := b.kept(); n != 0 {
		t.Errorf("the device still keeps %d marks", n)
	}
	// Six rows of six, and three exceptions.
	if taps != 6+3 {
		t.Errorf("%d taps", taps)
	}

	// The page that the server renders now says what the screen said.
	says := eval[[]string](b, labels)
	b.open(m.URL + m.path("/marks/reed"))
	b.until(allSaved)
	for i, now := range eval[[]string](b, labels) {
		if now != says[i] {
			t.Errorf("after loading again a cell says %q, before it said %q", now, says[i])
		}
	}
}

// kept counts the marks that the log of the device holds and the server has
// not answered.
func (b *tab) kept() int {
	b.t.Helper()
	return soon[int](b, `new Promise((done) => { const o = indexedDB.open('rankwright'); o.onupgradeneeded = () => o.transaction.abort(); o.onerror = () => done(0); o.onsuccess = () => { const db = o.result; db.transaction('marks').objectStore('marks').getAll().onsuccess = (r) => { db.close(); done(r.target.result.filter((h) => !h.done).length) } } })`)
}

const labels = `[...document.querySelectorAll('.mat-grid .tap')].map((c) => c.getAttribute('aria-label'))`

// counts is what counts of Mira's marks in the base, by entry and requirement.
func (m *mat) counts(t *testing.T) map[string]string {
	t.Helper()
	sh, err := m.App.Sheet(t.Context(), m.mira, m.grading, "reed")
	m.done(t, err)
	got := map[string]string{}
	for _, e := range sh.Entries {
		for i, seen := range sh.Cards[e.Entry.ID].Seen {
			for _, x := range seen {
				got[string(e.Entry.ID)+" "+string(sh.Rank.Requirements[i].ID)] = x.Value.Format(sh.Rank.Requirements[i].Kind)
			}
		}
	}
	return got
}

// compare holds the base against what was tapped, mark by mark.
func (m *mat) compare(t *testing.T, want map[string]string) {
	t.Helper()
	got := m.counts(t)
	for k, v := range want {
		if got[k] != v {
			t.Errorf("%s: the base has %q, tapped was %q", k, got[k], v)
		}
	}
	if len(got) != len(want) {
		t.Errorf("%d marks count in the base, %d were tapped", len(got), len(want))
	}
	ids, numbers := map[rankwright.MarkID]bool{}, map[string]bool{}
	for _, l := range m.log(t) {
		number := fmt.Sprint(l.Device, "/", l.Seq)
		if ids[l.ID] || numbers[number] {
			t.Errorf("mark %s or number %s is there twice", l.ID, number)
		}
		ids[l.ID], numbers[number] = true, true
	}
}

func TestInTheBrowserMarksOutliveThePageAndWaitForTheirExaminer(t *testing.T) {
	m := newMat(t)
	g := m.gated(t)
	b := browser(t)
	b.phone()
	b.errors()
	b.signIn(m.URL, m.mira.Name, "three quiet otters")
	b.open(m.URL + m.path("/marks/reed"))
	b.until(allSaved)
	eval[bool](b, findCell)
	g.set(true)
	b.tapAll("RE-ET1")
	b.until(`/not sent yet/.test(document.getElementById('mat-saved').textContent)`)
	b.open("about:blank") // the page is gone
	g.set(false)

	// Somebody else takes the device: the marks stay, and nothing is theirs.
	b.signOut(m.URL)
	b.signIn(m.URL, m.jonas.Name, "three quiet otters")
	b.open(m.URL + m.path("/marks/reed"))
	b.until(`document.getElementById('mat-trouble').textContent.includes('6 marks by Mira Oduya wait on this device')`)
	if n := len(m.log(t)); n != 0 {
		t.Fatalf("%d marks were sent in another's name", n)
	}
	b.signOut(m.URL)
	b.signIn(m.URL, m.mira.Name, "three quiet otters")
	b.open(m.URL + m.path("/marks/reed"))
	b.until(allSaved)
	l := m.log(t)
	if len(l) != 6 || string(l[0].Examiner) != m.mira.ID {
		t.Fatalf("%d marks in the base: %+v", len(l), l)
	}
}

func TestInTheBrowserASessionThatEndedIsSaidAndNothingIsLost(t *testing.T) {
	m := newMat(t)
	b := browser(t)
	b.phone()
	b.errors()
	b.signIn(m.URL, m.mira.Name, "three quiet otters")
	b.open(m.URL + m.path("/marks/reed"))
	b.until(allSaved)
	eval[string](b, `fetch('/sign-out', {method: 'POST', redirect: 'manual'}).then(() => { document.title = 'out' }), ''`)
	b.until(`document.title === 'out'`)
	b.tapAll("RE-ET1")
	b.until(`/6 marks not sent: you are not signed in any more/.test(document.getElementById('mat-saved').textContent)`)
	b.until(`document.getElementById('mat-door').checkVisibility()`)
	b.signIn(m.URL, m.mira.Name, "three quiet otters")
	b.open(m.URL + m.path("/marks"))
	b.until(allSaved)
	if n := len(m.log(t)); n != 6 {
		t.Errorf("%d marks in the base, want 6", n)
	}
}

func TestInTheBrowserARefusedMarkStandsOnThePageWithItsReason(t *testing.T) {
	m := newMat(t)
	b := browser(t)
	b.tablet()
	b.errors()
	b.signIn(m.URL, m.mira.Name, "three quiet otters")
	b.open(m.URL + m.path("/marks/reed"))
	b.until(allSaved)
	eval[bool](b, findCell)
	m.done(t, m.App.Withdraw(t.Context(), m.Owner, m.reed[5]))
	b.tapAll("RE-ET1")
	b.until(`document.getElementById('mat-trouble').textContent.includes('not entered in this grading')`)
	b.until(`/1 mark was refused/.test(document.getElementById('mat-saved').textContent)`)
	if n := len(m.log(t)); n != 5 {
		t.Errorf("%d marks in the base, want those of the other five", n)
	}
	if s := eval[string](b, cellOf(m.reed[5], "RE-ET1")+".getAttribute('aria-label')"); s != "Fatou, Bows at the mat edge coming in and going out: shown, refused" {
		t.Errorf("the cell says %q", s)
	}
	b.tap(`#mat-trouble [data-do="again"]`)
	b.until(`document.getElementById('mat-trouble').textContent.includes('not entered in this grading')`)
	b.tap(`#mat-trouble [data-do="aside"]`)
	b.until(`document.getElementById('mat-trouble').hidden`)
	b.until(`document.getElementById('mat-count').textContent.startsWith('5 of')`)
	if s := eval[string](b, cellOf(m.reed[5], "RE-ET1")+".getAttribute('aria-label')"); s != "Fatou, Bows at the mat edge coming in and going out: no mark" {
		t.Errorf("put aside, the cell says %q", s)
	}
}

// On a tablet that is passed round somebody else signs in while the page of the
// one before is open with marks that wait: they are not sent in another's name,
// nor refused, and go when their examiner is back.
func TestInTheBrowserAPageSendsNothingInAnothersName(t *testing.T) {
	m := newMat(t)
	var away atomic.Bool // for the page's own words; signing in goes through
	m.gatedTLS(t, deaf(&away, "/marks", "/device"))
	b := browser(t, untrusted)
	b.phone()
	b.onMat(m, m.mira.Name)
	b.keeps(m.path("/marks"), m.path("/marks/indigo"), m.path("/marks/reed"), m.path("/marks?squad=1"))
	away.Store(true)
	b.tapAll("RE-ET1")
	b.until(`/^6 marks not sent yet/.test(document.getElementById('mat-saved').textContent)`)
	in := func(name string) string { // as in another tab
		return `fetch('/sign-in', { method: 'POST', body: new URLSearchParams({ name: '` + name + `', password: 'three quiet otters' }), redirect: 'manual' }).then(() => true)`
	}
	soon[bool](b, in(m.jonas.Name))
	b.keeps()
	soon[bool](b, `navigator.serviceWorker.ready.then((r) => { r.active.postMessage({ kind: 'keep', url: location.href }); return true })`) // his own page
	b.keeps(m.path("/marks/reed"))
	away.Store(false)
	eval[bool](b, `dispatchEvent(new Event('online'))`)
	b.until(`/^6 marks not sent: this device is signed in as Jonas Tiilikainen now.*they are kept on this device/.test(document.getElementById('mat-saved').textContent)`)
	time.Sleep(300 * time.Millisecond)
	b.keeps(m.path("/marks/reed")) // her page does not throw it away
	if n := len(m.log(t)); n != 0 {
		t.Fatalf("%d marks were sent in another's name", n)
	}
	if view, err := m.App.Board(t.Context(), m.Owner, m.grading); err != nil || len(view.Refused) > 0 {
		t.Errorf("%d marks were refused, %v", len(view.Refused), err)
	}
	soon[bool](b, in(m.mira.Name))
	eval[bool](b, `dispatchEvent(new Event('online'))`)
	b.until(allSaved)
	if l := m.log(t); len(l) != 6 || string(l[0].Examiner) != m.mira.ID {
		t.Errorf("%d marks in the base, want her six", len(l))
	}
}

func TestInTheBrowserEveryKindIsMarkedWithTheKeyboardToo(t *testing.T) {
	m := newMat(t)
	b := browser(t)
	b.screen(1440, 900, false)
	b.errors()
	b.signIn(m.URL, m.mira.Name, "three quiet otters")
	b.open(m.URL + m.path("/marks/reed"))
	b.until(allSaved)
	eval[bool](b, findCell)
	want := map[string]string{}
	e := m.reed[0]
	focus := func(q string) { t.Helper(); eval[string](b, cellOf(e, q)+".focus() || ''") }
	key := func(keys string) { t.Helper(); b.keys(keys) }

	focus("RE-ET1")
	key(" ") // a tick
	want[string(e)+" RE-ET1"] = "1"
	key("\u0303") // arrow right
	if s := eval[string](b, `document.activeElement.getAttribute('aria-label')`); s != "Ben, Bows at the mat edge coming in and going out: no mark" {
		t.Errorf("arrow right leads to %q", s)
	}
	focus("RE-SM1")
	key("\r")
	b.until(`document.getElementById('mat-sheet').open`)
	key("3") // a level
	b.until(`!document.getElementById('mat-sheet').open`)
	want[string(e)+" RE-SM1"] = "3"

	focus("RE-SM3")
	key("\r")
	b.until(`document.getElementById('mat-sheet').open && document.activeElement.name === 'number'`)
	key("12.5\r") // seconds
	b.until(`!document.getElementById('mat-sheet').open`)
	want[string(e)+" RE-SM3"] = "12.5"

	focus("RE-FI1")
	key("\r")
	b.until(`document.getElementById('mat-sheet').open`)
	b.click(`[data-add="1"]`)
	b.click(`[data-add="1"]`)
	b.click(`#mat-sheet [type="submit"]`)
	want[string(e)+" RE-FI1"] = "2"

	focus("RE-PR1") // recall, with a note, for everybody
	key("n")
	b.until(`document.getElementById('mat-sheet').open`)
	b.click(`#mat-sheet details summary`)
	b.fill(`#mat-note`, "whispered")
	b.fill(`#mat-sheet input[name="number"]`, "4")
	b.click(`#mat-sheet button[value="rest"]`)
	for _, x := range m.reed {
		want[string(x)+" RE-PR1"] = "4"
	}
	b.click(`[data-do="undo"]`) // takes the five others back
	for _, x := range m.reed[1:] {
		delete(want, string(x)+" RE-PR1")
	}
	b.until(allSaved)
	m.compare(t, want)
	for _, l := range m.log(t) {
		if l.Entry == e && l.Requirement == "RE-PR1" && l.Note != "whispered" {
			t.Errorf("the note is %q", l.Note)
		}
	}
}

func TestInTheBrowserWhatIsTappedIsAtLeast44PixelsAndNothingScrollsThePageSideways(t *testing.T) {
	m := newMat(t)
	b := browser(t)
	b.signIn(m.URL, m.Owner.Name, "three quiet otters")
	for _, width := range []int64{390, 820, 1440} {
		b.screen(width, 900, width < 1000)
		for _, p := range []string{"/marks", "/marks/reed?as=" + url.QueryEscape(m.mira.ID), "/marks/indigo?as=" + m.mira.ID, "/arrivals", "/marks/reed?row=RE-SM1&as=" + m.mira.ID} {
			b.open(m.URL + m.path(p))
			b.until(`document.readyState === 'complete'`)
			if n := eval[int](b, `document.documentElement.scrollWidth - document.documentElement.clientWidth`); n > 0 {
				t.Errorf("%s at %d: the page is %d pixels too wide", p, width, n)
			}
			for _, s := range eval[[]string](b, `[...document.querySelectorAll('main button, main select, main .segment, main .choice, main summary, main input:not([type=hidden]):not([type=checkbox]):not([type=radio])')].filter((x) => x.checkVisibility()).map((x) => [x, x.getBoundingClientRect()]).filter(([, r]) => r.width < 44 || r.height < 44).map(([x, r]) => x.outerHTML.slice(0, 90) + ' ' + r.width + ' x ' + r.height)`) {
				t.Errorf("%s at %d: too small for a finger: %s", p, width, s)
			}
		}
	}
}

func TestInTheBrowserOneTapChecksAChildIn(t *testing.T) {
	m := newMat(t)
	g := m.gated(t)
	b := browser(t)
	b.phone()
	b.errors()
	b.signIn(m.URL, m.assistant.Name, "three quiet otters")
	b.open(m.URL + m.path("/arrivals"))
	b.until(`document.querySelector('.arrivals-quick')`)
	row := fmt.Sprintf(`[id="%s"]`, m.reed[0])
	state := fmt.Sprintf(`document.querySelector('%s .arrivals-state').textContent`, row)
	b.tap(row + ` input[value="present"]`)
	b.until(state + ` === 'Saved'`)
	b.tap(row + ` input[name="clear.consent"]`)
	b.until(state + ` === 'Saved'`)
	g.set(true)
	b.tap(row + ` input[value="unwell"]`)
	b.until(`/^Not saved/.test(` + state + `)`)
	if x := m.view(t).Entries[0]; x.Presence != "present" {
		t.Fatalf("%q came through the gate", x.Presence)
	}
	g.set(false)
	b.until(state + ` === 'Saved'`)
	x := m.view(t).Entries[0]
	if x.Presence != "unwell" || !x.Clearances["consent"] {
		t.Errorf("the base has %q, consent %v", x.Presence, x.Clearances["consent"])
	}
	if s := eval[string](b, fmt.Sprintf(`document.querySelector('%s .arrivals-say').textContent`, row)); !strings.HasPrefix(s, "Not examined today, next date offered") {
		t.Errorf("the page says %q", s)
	}
}

// A squad of six stands whole on a telephone held upright: no name and no cell
// is out of sight or smaller than a finger, for either hand.
func TestInTheBrowserASquadOfSixIsSeenWholeOnAPhone(t *testing.T) {
	m := newMat(t)
	b := browser(t)
	b.phone()
	b.onMat(m, m.mira.Name)
	for _, hand := range []string{"", "left", "right"} {
		eval[bool](b, `document.getElementById('mat').dataset.hand = '`+hand+`', true`)
		type box struct{ Left, Right, Width, Height, Size float64 }
		const measured = `(() => { const r = e.getBoundingClientRect(); return { left: r.left, right: r.right, width: r.width, height: r.height, size: parseFloat(getComputedStyle(e).fontSize) } })()`
		for _, what := range []string{`.mat-grid thead th[data-e]`, `tr[data-q="RE-SM1"] .tap`} {
			list := eval[[]box](b, `[...document.querySelectorAll('`+what+`')].map((e) => `+measured+`)`)
			if len(list) != 6 {
				t.Fatalf("%d of %s", len(list), what)
			}
			for i, x := range list {
				if x.Left < 0 || x.Right > 390 || x.Width < 44 || x.Height < 44 {
					t.Errorf("hand %q, %s %d: %+v", hand, what, i+1, x)
				}
			}
		}
		for i, x := range eval[[]box](b, `[...document.querySelectorAll('.mat-name')].map((e) => `+measured+`)`) {
			if x.Size < 16 {
				t.Errorf("hand %q: the name %d is %.1f px high", hand, i+1, x.Size)
			}
		}
	}
}
