package web_test

import (
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/storage"
	"github.com/chromedp/chromedp"

	"rankwright/internal/app"
)

// recorder writes down, in their order, what becomes of each mark in the
// browser's storage and what the page says of its marks.
const recorder = `globalThis.events = [];
{
	const note = (kind, what = '') => events.push({ kind, what, at: Math.round(performance.now()) });
	const make = IDBDatabase.prototype.transaction;
	IDBDatabase.prototype.transaction = function (...a) {
		const tx = make.apply(this, a);
		if (tx.mode !== 'readwrite') return tx;
		tx.ids = [];
		if (!this.heard) { this.heard = true; this.addEventListener('close', () => note('cleared')) }
		tx.addEventListener('complete', () => { for (const id of tx.ids) note(tx.durability === 'strict' ? 'kept' : 'loose', id) });
		tx.addEventListener('abort', () => note('refused', String(tx.error?.name)));
		return tx;
	};
	const put = IDBObjectStore.prototype.put;
	IDBObjectStore.prototype.put = function (...a) { if (this.name === 'marks' && !a[0].done) this.transaction.ids?.push(a[0].mark.id); return put.apply(this, a) };
	const open = IDBFactory.prototype.open;
	IDBFactory.prototype.open = function (...a) { try { return open.apply(this, a) } catch (err) { note('refused', err.name); throw err } };
	const set = Storage.prototype.setItem;
	Storage.prototype.setItem = function (k, v) {
		if (!k.startsWith('rankwright.mark.')) return set.call(this, k, v);
		try { set.call(this, k, v) } catch (err) { note('refused', err.name); throw err }
		note('stored', k.slice(16));
	};
	document.addEventListener('DOMContentLoaded', () => {
		const box = document.getElementById('mat-saved');
		if (box) new MutationObserver(() => note('say', box.textContent)).observe(box, { childList: true, characterData: true, subtree: true });
	});
}`

type deviceEvent struct {
	Kind, What string
	At         int
}

var claims = regexp.MustCompile(`^(\d+) marks? not sent yet.*?\. (They are kept on this device;|They are kept on this device, though not|This browser keeps nothing)`)

// honest returns the words that the page used, each once, and its lies: where
// it said that more marks are kept than the browser had taken by then, or did
// not take its word back with the first thing that it said after a refusal.
func honest(events []deviceEvent) (words, lies []string) {
	lie := func(form string, a ...any) { lies = append(lies, fmt.Sprintf(form, a...)) }
	log, page := map[string]bool{}, map[string]bool{}
	refused := false
	for i, e := range events {
		switch e.Kind {
		case "kept":
			log[e.What] = true
			refused = false
		case "stored":
			page[e.What] = true
		case "loose":
			lie("event %d: mark %s was written without waiting for the disk", i, e.What)
		case "cleared":
			clear(log)
			refused = true
		case "refused":
			refused = true
		case "say":
			m := claims.FindStringSubmatch(e.What)
			if m == nil {
				continue
			}
			if !slices.Contains(words, m[2]) {
				words = append(words, m[2])
			}
			n, _ := strconv.Atoi(m[1])
			has := len(log)
			if strings.Contains(m[2], "though not") {
				for id := range page {
					if !log[id] {
						has++
					}
				}
			}
			if strings.HasPrefix(m[2], "They are kept") && n > has {
				lie("event %d: the page says %q, and the browser has taken %d", i, e.What, has)
			}
			if refused && m[2] == "They are kept on this device;" {
				lie("event %d: after a refusal the page says %q", i, e.What)
			}
		}
	}
	return words, lies
}

// quota says how many bytes the browser gives a site.
func (b *tab) quota(site string, bytes float64) {
	b.t.Helper()
	if _, err := chromedp.Call(b.ctx, storage.OverrideQuotaForOrigin, storage.OverrideQuotaForOriginParams{Origin: site, QuotaSize: &bytes}); err != nil {
		b.t.Fatal(err)
	}
}

// ballast fills what is left of a site's room in the log, to the last bytes,
// and then takes the page's other storage away.
const ballast = `(async () => {
	const o = indexedDB.open('ballast');
	o.onupgradeneeded = () => o.result.createObjectStore('x', { autoIncrement: true });
	const db = await new Promise((done, fail) => { o.onsuccess = () => done(o.result); o.onerror = fail });
	let refused = 0;
	for (let size = 1 << 20; size >= 64; ) {
		const tx = db.transaction('x', 'readwrite');
		tx.objectStore('x').put(crypto.getRandomValues(new Uint8Array(Math.min(size, 65536))));
		for (let i = 65536; i < size; i += 65536) tx.objectStore('x').put(crypto.getRandomValues(new Uint8Array(65536)));
		if (!await new Promise((done) => { tx.oncomplete = () => done(true); tx.onabort = () => done(false) })) { refused++; size /= 2 }
	}
	db.close();
	events.length = events.findLastIndex((e) => e.kind === 'say') + 1; // what the ballast met is not the page's
	Storage.prototype.setItem = () => { events.push({ kind: 'refused', what: 'the page\'s storage', at: Math.round(performance.now()) }); throw new DOMException('full', 'QuotaExceededError') };
	return refused })()`

// Six ways in which a browser does not keep what it is given, three times each.
// The page never calls a mark kept that is not, says so with its next word, and
// no mark is lost.
func TestInTheBrowserNothingIsCalledKeptThatTheBrowserDidNotKeep(t *testing.T) {
	const (
		sure    = "They are kept on this device;"
		weak    = "They are kept on this device, though not"
		nothing = "This browser keeps nothing"
	)
	for _, c := range []struct {
		name   string
		script string               // ahead of every page
		quota  float64              // bytes; 0 leaves the browser's own
		during func(b *tab, m *mat) // when the first six marks are on the device
		first  string               // what the page says of the first six
		then   string               // and of all twelve
		open   func(b *tab) *tab    // another window
	}{
		{name: "no room from the beginning", quota: 1, first: weak, then: weak},
		{name: "the storage is cleared in the middle", first: sure, then: sure, during: func(b *tab, m *mat) { b.clearSite(m.URL) }},
		{name: "a private window", first: sure, then: sure, open: (*tab).another},
		{name: "the log does not open", script: `IDBFactory.prototype.open = () => { throw new DOMException('refused', 'SecurityError') };`, first: weak, then: weak},
		{name: "each write is undone", script: `{ IDBTransaction.prototype.commit = () => {}; const put = IDBObjectStore.prototype.put; IDBObjectStore.prototype.put = function (...a) { const t = this.transaction; if (!t.doomed) { t.doomed = true; queueMicrotask(() => t.abort()) } return put.apply(this, a) } }`, first: weak, then: weak},
		{name: "the room ends while marks wait", quota: 4 << 20, first: sure, then: nothing, during: func(b *tab, _ *mat) {
			if n := soon[int](b, ballast); n < 10 {
				b.t.Fatalf("the ballast was refused only %d times: there is room yet", n)
			}
		}},
	} {
		for n := range 3 { // what is a matter of moments shows when it is tried again
			t.Run(fmt.Sprint(c.name, ", run ", n+1), func(t *testing.T) {
				m := newMat(t)
				g := m.gated(t)
				b := browser(t)
				if c.open != nil {
					b = c.open(b)
				}
				b.phone()
				if c.script != "" {
					b.before(c.script)
				}
				b.before(recorder)
				if c.quota > 0 {
					b.open(m.URL + "/sign-in")
					b.quota(m.URL, c.quota)
				}
				b.onMat(m, m.mira.Name)
				g.set(true)
				says := func(n int, words string) {
					t.Helper()
					b.until(fmt.Sprintf(`(() => { const s = document.getElementById('mat-saved').textContent; return s.startsWith('%d marks not sent yet') && s.includes(%q) })()`, n, words))
				}
				b.tapAll("RE-ET1")
				says(6, c.first)
				if c.during != nil {
					c.during(b, m)
				}
				b.tapAll("RE-ET2")
				says(12, c.then)
				words, lies := honest(eval[[]deviceEvent](b, `events`))
				for _, l := range lies {
					t.Error(l)
				}
				if !slices.Contains(words, c.first) || !slices.Contains(words, c.then) {
					t.Errorf("the page said %q, want %q and %q", words, c.first, c.then)
				}
				if c.then == nothing { // the page must stay open, and asks before it is left
					g.set(false)
					eval[bool](b, `dispatchEvent(new Event('online'))`)
				} else { // it may be closed
					b.open("about:blank")
					g.set(false)
					b.open(m.URL + m.path("/marks/reed"))
				}
				b.until(allSaved)
				want := map[string]string{}
				for _, e := range m.reed {
					want[string(e)+" RE-ET1"], want[string(e)+" RE-ET2"] = "1", "1"
				}
				m.compare(t, want)
				if n := len(m.log(t)); n != 12 {
					t.Errorf("%d marks in the base, want 12: each exactly once", n)
				}
			})
		}
	}
}

// The control: lies are found out.
func TestALieAboutWhatIsKeptIsFoundOut(t *testing.T) {
	say := func(n int, words string) deviceEvent {
		return deviceEvent{Kind: "say", What: fmt.Sprintf("%d marks not sent yet: no connection. %s keep marking.", n, words)}
	}
	const sure, weak = "They are kept on this device;", "They are kept on this device, though not against a flat battery;"
	a, b := deviceEvent{Kind: "kept", What: "a"}, deviceEvent{Kind: "kept", What: "b"}
	for name, c := range map[string]struct {
		events []deviceEvent
		lies   int
	}{
		"two kept, two called kept":              {[]deviceEvent{a, b, say(2, sure)}, 0},
		"one kept, two called kept":              {[]deviceEvent{a, say(2, sure)}, 1},
		"called kept before it is":               {[]deviceEvent{say(1, sure), a}, 1},
		"kept for certain in the weaker place":   {[]deviceEvent{{Kind: "refused"}, {Kind: "stored", What: "a"}, say(1, sure)}, 2},
		"the weaker place, and so it is said":    {[]deviceEvent{{Kind: "refused"}, {Kind: "stored", What: "a"}, say(1, weak)}, 0},
		"cleared, and still called kept":         {[]deviceEvent{a, {Kind: "cleared"}, say(1, sure)}, 2},
		"the second refused, the word not taken": {[]deviceEvent{a, {Kind: "refused"}, say(1, sure)}, 1},
		"written without waiting for the disk":   {[]deviceEvent{{Kind: "loose", What: "a"}}, 1},
	} {
		if _, lies := honest(c.events); len(lies) != c.lies {
			t.Errorf("%s: %d lies are found, want %d: %q", name, len(lies), c.lies, lies)
		}
	}
}

// A device whose pairing the desk has ended is led back to the code, keeps its
// marks, and sends them when its examiner is paired again.
func TestInTheBrowserADeviceThatWasThrownOutIsLedBackToTheCode(t *testing.T) {
	m := newMat(t)
	desk := m.as(t, m.Owner)
	m.pin(t, desk, m.mira, "4821")
	code := m.code(t, desk)
	b := browser(t)
	b.phone()
	b.errors()
	pair := func() {
		t.Helper()
		b.open(m.URL + code)
		eval[bool](b, fmt.Sprintf(`document.querySelector('input[value=%q]').click(), true`, m.mira.ID))
		b.fill(`input[name="pin"]`, "4821")
		if _, err := chromedp.RunResponse(b.ctx, chromedp.Click(chromedp.CSS(`main form button[type="submit"]`))); err != nil {
			t.Fatal(err)
		}
		b.open(m.URL + m.path("/marks/reed"))
		b.until(allSaved)
	}
	pair()
	id := regexp.MustCompile(`name="device" value="([^"]+)"`).FindStringSubmatch(desk.get(m.path("/pair")).body)[1]
	desk.post(m.path("/pair/end"), url.Values{"device": {id}})
	b.tapAll("RE-ET1")
	b.until(`document.getElementById('mat-saved').textContent === '6 marks not sent: this device is not paired any more. Scan the code at the desk again; they are kept on this device.'`)
	if s := eval[string](b, `(() => { const a = document.getElementById('mat-door'); return a.checkVisibility() + ' ' + a.textContent + ' ' + a.getAttribute('href') })()`); s != "true Scan the code again /pair" {
		t.Errorf("the way back is %q", s)
	}
	b.open(m.URL + m.path("/marks/reed"))
	b.until(`location.pathname === '/pair' && document.body.innerText.includes('Scan the code at the desk again')`)
	if n := len(m.log(t)); n != 0 {
		t.Fatalf("%d marks came in from a device that is out", n)
	}
	pair()
	if n := len(m.log(t)); n != 6 {
		t.Errorf("paired again, %d marks are in the base, want 6", n)
	}
}

// Storage that is evicted while the page is closed is noticed when the page is
// opened again: the device is there and does not say that it has what it had.
func TestInTheBrowserStorageThatWasEvictedIsNoticedWhenThePageIsOpenedAgain(t *testing.T) {
	m := newMat(t)
	desk := m.as(t, m.Owner) // by the other address, which needs no certificate
	m.pin(t, desk, m.mira, "4821")
	code := m.code(t, desk)
	m.gatedTLS(t, marksOnTheWay(func(int, http.ResponseWriter, *http.Request, http.Handler) {
		panic(http.ErrAbortHandler) // its word comes through, its marks do not
	}))
	b := browser(t, untrusted)
	b.phone()
	b.errors()
	b.open(m.URL + code)
	eval[bool](b, fmt.Sprintf(`document.querySelector('input[value=%q]').click(), true`, m.mira.ID))
	b.fill(`input[name="pin"]`, "4821")
	if _, err := chromedp.RunResponse(b.ctx, chromedp.Click(chromedp.CSS(`main form button[type="submit"]`))); err != nil {
		t.Fatal(err)
	}
	b.open(m.URL + m.path("/marks/reed"))
	b.until(allSaved)
	b.tapAll("RE-ET1")
	missing := func(holds app.Holds) {
		t.Helper()
		var list []app.Missing
		for range 100 {
			var err error
			list, err = m.App.Missing(t.Context(), m.Owner, m.grading)
			m.done(t, err)
			if len(list) == 1 && list[0].Numbers() == "1–6" && list[0].Examiner == m.mira.Name && list[0].Holds == holds {
				return
			}
			time.Sleep(100 * time.Millisecond)
		}
		t.Fatalf("missing are %+v, want the numbers 1 to 6, held by %v", list, holds)
	}
	missing(app.OnDevice)
	b.open("about:blank") // no page is open that would write them once more
	b.clearSite(m.URL)
	b.open(m.URL + m.path("/marks/reed"))
	b.until(allSaved) // as far as this page can know
	missing(app.Nowhere)
}

// A page that has not looked into its log yet does not call everything saved.
func TestInTheBrowserNothingIsCalledSavedBeforeThePageHasLookedAtWhatTheDeviceKeeps(t *testing.T) {
	m := newMat(t)
	m.gatedTLS(t, marksOnTheWay(func(int, http.ResponseWriter, *http.Request, http.Handler) { panic(http.ErrAbortHandler) }))
	b := browser(t, untrusted)
	b.phone()
	b.before(recorder + `{ const d = Object.getOwnPropertyDescriptor(IDBRequest.prototype, 'onsuccess');
		Object.defineProperty(IDBOpenDBRequest.prototype, 'onsuccess', { set(f) { d.set.call(this, (e) => setTimeout(() => f(e), 700)) } }) }`) // a slow device
	b.onMat(m, m.mira.Name)
	b.tapAll("RE-ET1")
	b.until(`document.getElementById('mat-saved').textContent.startsWith('6 marks not sent yet')`)
	b.open("about:blank")
	b.open(m.URL + m.path("/marks/reed"))
	b.until(`document.getElementById('mat-saved').textContent.startsWith('6 marks not sent yet')`)
	for _, e := range eval[[]deviceEvent](b, `events`) {
		if e.Kind == "say" && strings.HasPrefix(e.What, "All marks are saved") {
			t.Errorf("with six marks in its log the page said %q", e.What)
		}
	}
}
