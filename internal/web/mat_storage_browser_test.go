package web_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/storage"
	"github.com/chromedp/chromedp"
)

// before runs a script ahead of every page of the tab.
func (b *tab) before(script string) {
	b.t.Helper()
	if _, err := chromedp.Call(b.ctx, cdppage.AddScriptToEvaluateOnNewDocument, cdppage.AddScriptToEvaluateOnNewDocumentParams{Source: script}); err != nil {
		b.t.Fatal(err)
	}
}

// clearSite deletes what the browser keeps for a site, as a person can.
func (b *tab) clearSite(url string) {
	b.t.Helper()
	if _, err := chromedp.Call(b.ctx, storage.ClearDataForOrigin, storage.ClearDataForOriginParams{Origin: url, StorageTypes: "indexeddb,local_storage,cache_storage,file_systems"}); err != nil {
		b.t.Fatal(err)
	}
}

func TestInTheBrowserWhereStorageIsRefusedThePageSaysSoAndLosesNothing(t *testing.T) {
	noLog := `indexedDB.open = () => { throw new DOMException('refused', 'SecurityError') };`
	for _, c := range []struct{ name, script, safe, away string }{
		{"the log alone", noLog, "though not against a flat battery", "They are kept on this device, though not against a flat battery; keep marking"},
		{"the log and the page's storage", noLog + `Storage.prototype.setItem = () => { throw new DOMException('full', 'QuotaExceededError') };`,
			"This browser keeps nothing: leave this page open until they are sent", "This browser keeps nothing: leave this page open until they are sent"},
		{"each write of the log", `IDBTransaction.prototype.commit = () => {}; const put = IDBObjectStore.prototype.put; IDBObjectStore.prototype.put = function (...a) { const t = this.transaction; if (!t.doomed) { t.doomed = true; queueMicrotask(() => t.abort()) } return put.apply(this, a) };`,
			"though not against a flat battery", "They are kept on this device, though not against a flat battery; keep marking"},
	} {
		t.Run(c.name, func(t *testing.T) {
			m := newMat(t)
			g := m.gated(t)
			b := browser(t)
			b.phone()
			b.before(c.script)
			b.onMat(m, m.mira.Name)
			g.set(true)
			b.tapAll("RE-ET1")
			b.until(`document.getElementById('mat-safe').textContent.includes(` + fmt.Sprintf("%q", c.safe) + `)`)
			b.until(`document.getElementById('mat-saved').textContent.includes(` + fmt.Sprintf("%q", "6 marks not sent yet: no connection. "+c.away) + `)`)
			b.tapCell(m.reed[0], "RE-ET1")
			if c.name != "the log and the page's storage" {
				b.until(`/^7 marks/.test(document.getElementById('mat-saved').textContent)`)
				b.open("about:blank")
				g.set(false)
				b.open(m.URL + m.path("/marks/reed"))
			} else {
				g.set(false)
				eval[bool](b, `dispatchEvent(new Event('online'))`)
			}
			b.until(allSaved)
			want := map[string]string{}
			for _, e := range m.reed {
				want[string(e)+" RE-ET1"] = "1"
			}
			want[string(m.reed[0])+" RE-ET1"] = "0"
			m.compare(t, want)
			if n := len(m.log(t)); n != 7 {
				t.Errorf("%d marks in the base, want 7", n)
			}
		})
	}
}

func TestInTheBrowserStorageThatIsClearedUnderThePageIsWrittenOnceMore(t *testing.T) {
	m := newMat(t)
	g := m.gated(t)
	b := browser(t)
	b.phone()
	b.onMat(m, m.mira.Name)
	g.set(true)
	b.tapAll("RE-ET1")
	b.until(`/^6 marks not sent yet/.test(document.getElementById('mat-saved').textContent)`)
	b.clearSite(m.URL)
	for range 50 {
		if b.kept() == 6 {
			break
		}
		time.Sleep(100 * time.Millisecond)
	}
	b.tapAll("RE-ET2")
	b.until(`/^12 marks not sent yet/.test(document.getElementById('mat-saved').textContent)`)
	if n := b.kept(); n != 12 {
		t.Errorf("the log holds %d marks, want 12", n)
	}
	g.set(false)
	eval[bool](b, `dispatchEvent(new Event('online'))`)
	b.until(allSaved)
	if n := len(m.log(t)); n != 12 {
		t.Errorf("%d marks in the base, want 12", n)
	}
}

// clocks sets the clock of the day of a page off by so many days.
func clockOff(days int) string {
	return fmt.Sprintf(`{ const off = %d * 864e5, D = Date; globalThis.Date = class extends D { constructor(...a) { super(...(a.length ? a : [D.now() + off])) } static now() { return D.now() + off } } }`, days)
}

func TestInTheBrowserAClockThatIsAYearOffChangesNothing(t *testing.T) {
	m := newMat(t)
	m.gatedTLS(t, nil)
	ahead := browser(t, untrusted)
	ahead.phone()
	ahead.before(clockOff(365))
	ahead.onMat(m, m.mira.Name)
	ahead.tapAll("RE-ET1")
	ahead.tapAll("RE-ET2")
	ahead.until(allSaved)
	behind := ahead.another()
	behind.phone()
	behind.before(clockOff(-365))
	behind.onMat(m, m.mira.Name)
	behind.tapCell(m.reed[0], "RE-ET1") // later, whatever its clock says
	behind.until(allSaved)
	want := map[string]string{}
	for _, e := range m.reed {
		want[string(e)+" RE-ET1"], want[string(e)+" RE-ET2"] = "1", "1"
	}
	want[string(m.reed[0])+" RE-ET1"] = "0"
	ahead.open(m.URL + m.path("/marks/reed"))
	ahead.until(allSaved)
	eval[bool](ahead, findCell)
	ahead.tapCell(m.reed[1], "RE-ET2")
	want[string(m.reed[1])+" RE-ET2"] = "0"
	ahead.until(allSaved)
	got := m.counts(t)
	if fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("the card is\n%v, want\n%v", got, want)
	}
	var years []int
	for _, l := range m.log(t) {
		years = append(years, time.UnixMilli(l.At).Year())
	}
	slices.Sort(years)
	if now := time.Now().Year(); years[0] != now-1 || years[len(years)-1] != now+1 {
		t.Errorf("the devices' clocks stood in the years %v: the test shows nothing", slices.Compact(years))
	}
	if n := len(m.log(t)); n != 14 {
		t.Errorf("%d marks in the base, want 14", n)
	}
}

func TestInTheBrowserEachMarkIsWrittenThroughBeforeItCountsAsKept(t *testing.T) {
	m := newMat(t)
	b := browser(t)
	b.phone()
	b.before(`globalThis.writes = []; const real = IDBDatabase.prototype.transaction; IDBDatabase.prototype.transaction = function (...a) { const tx = real.apply(this, a); const w = { mode: tx.mode, durability: tx.durability, puts: 0, said: null, count: null, shown: 0, leaves: true }; if (tx.mode === 'readwrite') writes.push(w); tx.tally = w; tx.addEventListener('complete', () => { w.said = document.getElementById('mat-saved')?.textContent; w.count = document.getElementById('mat-count')?.textContent; w.shown = document.querySelectorAll('.tap:not(.tap-none)').length; w.leaves = dispatchEvent(new Event('beforeunload', { cancelable: true })) }); return tx }; const put = IDBObjectStore.prototype.put; IDBObjectStore.prototype.put = function (...a) { if (this.name === 'marks' && !a[0].done) this.transaction.tally.puts++; return put.apply(this, a) };`)
	b.onMat(m, m.mira.Name)
	b.tapAll("RE-ET1")
	b.until(allSaved)
	type write struct {
		Mode, Durability, Said, Count string
		Puts, Shown                   int
		Leaves                        bool
	}
	adds := 0
	for _, w := range eval[[]write](b, `writes`) {
		if w.Puts == 0 {
			continue
		}
		adds++
		if w.Durability != "strict" {
			t.Errorf("marks were written with durability %q", w.Durability)
		}
		// Until then the page shows nothing of them or, where the disk takes long,
		// says that they are being kept.
		silent := w.Shown == 0 && strings.HasPrefix(w.Count, "0 of ")
		if w.Leaves || !silent && !strings.HasPrefix(w.Said, "Keeping 6 marks") {
			t.Errorf("when the write was complete the page showed %d of the marks already, said %q and %q, and could be left: %t", w.Shown, w.Said, w.Count, w.Leaves)
		}
	}
	if adds != 1 {
		t.Errorf("six marks of one tap took %d writes", adds)
	}
}

// Where the disk takes long, the page says within a moment that marks are being
// kept, and promises nothing before they are.
func TestInTheBrowserASlowDiskIsSaid(t *testing.T) {
	m := newMat(t)
	b := browser(t)
	b.phone()
	b.before(`{ const d = Object.getOwnPropertyDescriptor(IDBTransaction.prototype, 'oncomplete');
		Object.defineProperty(IDBTransaction.prototype, 'oncomplete', { set(f) { d.set.call(this, this.mode === 'readwrite' ? (e) => setTimeout(() => f.call(this, e), 1500) : f) } }) }`)
	b.onMat(m, m.mira.Name)
	b.tapAll("RE-ET1")
	b.until(`document.getElementById('mat-saved').textContent.startsWith('Keeping 6 marks') && document.querySelectorAll('.tap[data-held="new"]').length === 6 && !(` + nothingInHand + `)`)
	b.until(allSaved)
	if n := len(m.log(t)); n != 6 {
		t.Errorf("%d marks in the base, want 6", n)
	}
}

// Firefox asks a person before it promises to keep storage, and answers when
// they have. The page does not wait with what opens it without a connection.
func TestInTheBrowserAQuestionAboutStorageHoldsNothingUp(t *testing.T) {
	m := newMat(t)
	m.gatedTLS(t, nil)
	b := browser(t, untrusted)
	b.phone()
	b.before(`StorageManager.prototype.persisted = async () => false; StorageManager.prototype.persist = () => new Promise((done) => { window.answer = done })`)
	b.onMat(m, m.mira.Name)
	b.until(reopens)
	b.until(`!!window.answer && (window.answer(true), document.getElementById('mat-facts').textContent.includes('has promised not to clear'))`)
}
