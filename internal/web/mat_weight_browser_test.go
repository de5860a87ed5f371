package web_test

import (
	"compress/gzip"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/heapprofiler"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/performance"
	"github.com/chromedp/chromedp"

	"rankwright"
)

// wide is a grid of eight students and thirty-five requirements.
func (m *mat) wide(t *testing.T) {
	text := strings.ReplaceAll(thirty(), "Thirty", "Wide")
	for i := 31; i <= 35; i++ {
		text += fmt.Sprintf("      - {id: R%02d, section: basics, show: Requirement %d, kind: time, points: 1, expect: %d}\n", i, i, i)
	}
	m.on(t, text, "thirty", "thirty", m.mira)
	m.Import("student_id,given_name,family_name,birth_date,ladder,rank,rank_since,classes_since_rank\n301,Gus,Tested,2017-03-03,thirty,,2026-02-01,30\n302,Hana,Tested,2017-03-03,thirty,,2026-02-01,30\n")
	for _, id := range []rankwright.StudentID{"301", "302"} {
		m.done(t, m.App.EnterAnyway(t.Context(), m.Owner, m.grading, id, "for the test"))
	}
}

var (
	asksFor = regexp.MustCompile(`(?:href|src)="(/[am]/[^"]+)"`)
	nested  = regexp.MustCompile(`from ?['"]\./([a-z-]+\.js)['"]`)
)

// Everything that the scoring page loads stays under sixty kilobytes as it
// travels. Its typeface is added by the browser's test, since a browser loads
// those parts alone whose letters stand on the page.
func TestTheScoringPageIsLight(t *testing.T) {
	m := newMat(t)
	m.wide(t)
	v := m.as(t, m.mira)
	total := 0
	weigh := func(path string) string {
		t.Helper()
		req, _ := http.NewRequest(http.MethodGet, m.URL+path, nil)
		req.Header.Set("Accept-Encoding", "gzip")
		r, err := v.c.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		defer r.Body.Close()
		sent, err := io.ReadAll(r.Body)
		if err != nil || r.StatusCode != http.StatusOK {
			t.Fatalf("%s: %d, %v", path, r.StatusCode, err)
		}
		total += len(sent)
		text := sent
		if r.Header.Get("Content-Encoding") == "gzip" {
			z, err := gzip.NewReader(strings.NewReader(string(sent)))
			if err != nil {
				t.Fatal(err)
			}
			if text, err = io.ReadAll(z); err != nil {
				t.Fatal(err)
			}
		}
		t.Logf("%6d of %6d bytes: %s", len(sent), len(text), path)
		return string(text)
	}
	queue := []string{m.path("/marks/thirty"), "/worker.js"}
	scripts := 0
	for i := 0; i < len(queue); i++ {
		text := weigh(queue[i])
		for _, x := range asksFor.FindAllStringSubmatch(text, -1) {
			if !slices.Contains(queue, x[1]) {
				queue = append(queue, x[1])
			}
		}
		if !strings.HasSuffix(queue[i], ".js") {
			continue
		}
		scripts++
		for _, x := range nested.FindAllStringSubmatch(text, -1) {
			if p := queue[i][:strings.LastIndex(queue[i], "/")+1] + x[1]; !slices.Contains(queue, p) {
				t.Errorf("%s is not asked for by the page at once", p)
				queue = append(queue, p)
			}
		}
	}
	t.Logf("%d bytes in all but the typeface", total)
	if total >= 48_000 || scripts < 10 {
		t.Errorf("%d bytes in %d scripts and the rest; want less than 48000", total, scripts)
	}
}

// The whole weight, with the typeface, by what the browser says it has loaded.
// A name with an accent takes one more part of the typeface.
func TestInTheBrowserAllThatTheScoringPageLoadsIsUnderSixtyKilobytes(t *testing.T) {
	m := newMat(t)
	m.wide(t)
	v := m.as(t, m.mira)
	b := browser(t)
	b.phone()
	at, _ := url.Parse(m.URL)
	for _, c := range v.c.Jar.Cookies(at) { // the page of the sign-in would leave what it loaded
		if _, err := chromedp.Call(b.ctx, network.SetCookie, network.SetCookieParams{Name: c.Name, Value: c.Value, URL: m.URL}); err != nil {
			t.Fatal(err)
		}
	}
	b.open(m.URL + m.path("/marks/thirty"))
	b.until(allSaved + ` && document.fonts.status === 'loaded'`)
	faces := eval[[]string](b, `performance.getEntriesByType('resource').filter((e) => e.name.endsWith('.woff2')).map((e) => e.name.split('/').pop())`)
	if len(faces) != 1 || faces[0] != "atkinson-basic.woff2" {
		t.Errorf("the page loads the typefaces %q", faces)
	}
	eval[bool](b, `fetch('/worker.js'), true`) // what the worker loads of itself is not in the page's list
	b.until(`performance.getEntriesByType('resource').some((e) => e.name.endsWith('/worker.js'))`)
	total := 0
	for file, n := range eval[map[string]int](b, `Object.fromEntries([...performance.getEntriesByType('navigation'), ...performance.getEntriesByType('resource')].map((e) => [e.name, e.encodedBodySize]))`) {
		t.Logf("%6d bytes: %s", n, file)
		total += n
	}
	t.Logf("%d bytes in all", total)
	if total < 50_000 || total >= 60_000 {
		t.Errorf("%d bytes; want less than 60000, and what is counted cannot be less than 50000", total)
	}
}

// Each part of a typeface has the letters that it is asked for: a letter that
// lacks is drawn by the typeface behind it, and those of the two are of other
// widths.
func TestInTheBrowserTheTypefacesHaveTheirLetters(t *testing.T) {
	s := newSite(t)
	b := browser(t)
	b.open(s.URL + "/")
	eval[bool](b, `document.fonts.forEach((f) => f.load()), true`)
	b.until(`[...document.fonts].length === 6 && [...document.fonts].every((f) => f.status === 'loaded')`)
	// Never is what the family does not have as it is published.
	for family, never := range map[string]string{"Atkinson": "µĈĉĔĕĜĝĤĥĨĩĬĭĴĵĸĿŀŊŋŌōŎŏŖŗŜŝŦŧŨũŬŭ", "Besley": ""} {
		lacks := eval[string](b, `(() => {
			const pen = document.createElement('canvas').getContext('2d');
			const wide = (face, letter) => { pen.font = '40px "`+family+`", ' + face; return pen.measureText(letter.repeat(8)).width };
			let out = '';
			const span = (from, to) => { for (let n = from; n <= to; n++) { const c = String.fromCodePoint(n); if (n !== 0xad && !'`+never+`'.includes(c) && wide('monospace', c) !== wide('serif', c)) out += c } };
			span(0x21, 0x7e); span(0xa1, 0xff); span(0x100, 0x148); span(0x14a, 0x17e); span(0x218, 0x21b); span(0x1e80, 0x1e85);
			return out + '–—‘’“”…−×·'.split('').filter((c) => wide('monospace', c) !== wide('serif', c)).join('');
		})()`)
		if lacks != "" {
			t.Errorf("%s lacks %s", family, lacks)
		}
	}
}

// What a person waits for: until the page can be tapped; from each tap until it
// is painted at first, by the browser's own event timing, which counts in steps
// of 8 ms; and from each tap until the cell shows the mark, which is when it is
// on the disk, and until the frame with it. At full speed and with the
// processor slowed four times. It is measured and printed, since machines
// differ; run it with -v. What the page had to do for a tap is counted too: that
// depends less on the machine.
func TestInTheBrowserTheGridOfEightByThirtyFiveIsMeasured(t *testing.T) {
	for _, slowed := range []float64{1, 4} {
		m := newMat(t)
		m.wide(t)
		b := browser(t)
		b.phone()
		b.slow(slowed)
		b.before(measuring)
		b.errors()
		b.signIn(m.URL, m.mira.Name, "three quiet otters")
		var ready, busy []float64
		for range 5 {
			b.open(m.URL + m.path("/marks/thirty"))
			b.until(allSaved + ` && globalThis.ready > 0`)
			ready = append(ready, eval[float64](b, `ready`))
			busy = append(busy, eval[float64](b, `long.reduce((n, [at, ms]) => at < ready + 1000 ? Math.max(n, at + ms) : n, ready)`))
		}
		if n := eval[int](b, `document.querySelectorAll('.mat-grid .tap').length`); n != 8*35 {
			t.Fatalf("%d cells", n)
		}
		eval[bool](b, `paints.length = kepts.length = saids.length = 0, true`)
		cost := b.costs()
		b.tapsOnTime(40, 15)
		onTime(15, func(i int) { b.tapAll(fmt.Sprintf("R%02d", 16+i)) })
		b.until(allSaved)
		time.Sleep(500 * time.Millisecond)
		slices.Sort(ready)
		slices.Sort(busy)
		t.Logf("slowed %.0f times: can be tapped after %.0f ms, quiet after %.0f (medians of 5); %s; %s", slowed, ready[2], busy[2], b.waits(55), cost(55))
		if n := len(m.log(t)); n != 40+15*8 {
			t.Errorf("%d marks in the base, want %d", n, 40+15*8)
		}
	}
}

// Three hundred students in one rank on a device six times as slow, longer than
// any school's day: how long a tap takes, how long the page takes to open
// without a connection, and what a long day leaves in its memory.
func TestInTheBrowserThreeHundredByThirtyFiveIsMeasured(t *testing.T) {
	m := newMat(t)
	m.wide(t)
	var csv strings.Builder
	csv.WriteString("student_id,given_name,family_name,birth_date,ladder,rank,rank_since,classes_since_rank\n")
	for i := 8; i < 300; i++ {
		fmt.Fprintf(&csv, "%d,Child%03d,Tested,2017-03-03,thirty,,2026-02-01,30\n", 1000+i, i)
	}
	m.Import(csv.String())
	for i := 8; i < 300; i++ {
		m.done(t, m.App.EnterAnyway(t.Context(), m.Owner, m.grading, rankwright.StudentID(fmt.Sprint(1000+i)), "for the test"))
	}
	g := m.gatedTLS(t, nil)
	b := browser(t, untrusted)
	b.tablet()
	b.before(measuring)
	b.errors()
	b.signIn(m.URL, m.mira.Name, "three quiet otters")
	b.open(m.URL + m.path("/marks/thirty"))
	b.until(allSaved + ` && ` + reopens)
	if n := eval[int](b, `document.querySelectorAll('.mat-grid .tap').length`); n != 300*35 {
		t.Fatalf("%d cells", n)
	}
	// What is far from the screen is left out; what is there stands under its
	// head, wherever one looks, and the keyboard goes to all of it.
	for _, left := range []int{0, 5000, 19000} {
		eval[bool](b, fmt.Sprintf(`document.querySelector('.mat-scroll').scrollLeft = %d, true`, left))
		b.until(`(() => { const t = document.querySelector('.mat-grid'), box = t.parentElement.getBoundingClientRect(), heads = [...t.tHead.rows[0].cells];
			const cells = [...t.querySelector('tr[data-q="R03"]').cells], x = (e) => e.getBoundingClientRect().x;
			const seen = heads.slice(1).filter((h) => x(h) > box.x && x(h) < box.right);
			return cells.filter((c) => c.offsetWidth).length < 80 && seen.length > 5 && seen.every((h) => Math.abs(x(cells[h.cellIndex]) - x(h)) < 1) })()`)
	}
	// A row far below has no cells laid out until one comes near, and is as high then.
	const far = `document.querySelector('tr[data-q="R33"]')`
	b.until(far + `.querySelector('.tap').offsetWidth === 0`)
	high := eval[float64](b, far+`.getBoundingClientRect().height`)
	eval[bool](b, far+`.scrollIntoView({block: 'center'}), true`)
	b.until(far + `.querySelector('td:not(.mat-far) .tap').offsetWidth > 0`)
	if h := eval[float64](b, far+`.getBoundingClientRect().height`); math.Abs(h-high) > 0.5 {
		t.Errorf("a row is %.1f high when its cells are laid out and %.1f before", h, high)
	}
	eval[bool](b, `document.querySelector('.mat-scroll').scrollTop = 0, true`)
	b.until(`document.querySelector('tr[data-q="R03"] td:not(.mat-far) .tap').offsetWidth > 0`)
	eval[bool](b, `document.querySelector('tr[data-q="R03"] td:last-child .tap').focus(), true`)
	eval[bool](b, `(() => { for (let i = 0; i < 299; i++) document.activeElement.dispatchEvent(new KeyboardEvent('keydown', { key: 'ArrowLeft', bubbles: true, cancelable: true })); return true })()`)
	if at := eval[string](b, `document.activeElement.closest('tr').dataset.q + ' ' + document.activeElement.parentElement.cellIndex`); at != "R03 1" {
		t.Errorf("from the last column 299 steps to the left lead to %q", at)
	}
	// What is taken back is shown, and has the focus, wherever one looks.
	eval[bool](b, `document.activeElement.click(), document.querySelector('.mat-scroll').scrollLeft = 19000, true`)
	b.until(`document.querySelector('tr[data-q="R03"] td:nth-child(2) .tap').offsetWidth === 0 && ` + allSaved)
	eval[bool](b, `document.querySelector('[data-do="undo"]').click(), true`)
	b.until(`document.activeElement.closest('tr')?.dataset.q === 'R03' && document.activeElement.parentElement.cellIndex === 1 && document.activeElement.getBoundingClientRect().x > 0 && ` + allSaved)
	g.set(true)
	b.open(m.URL + m.path("/marks/thirty"))
	b.until(`globalThis.ready > 0`)
	t.Logf("opened without a connection: can be tapped after %.0f ms", eval[float64](b, `ready`))
	g.set(false)
	eval[bool](b, `dispatchEvent(new Event('online'))`)
	b.until(allSaved)
	heap := func() float64 {
		if _, err := chromedp.Call(b.ctx, heapprofiler.CollectGarbage, cdp.Empty{}); err != nil {
			t.Fatal(err)
		}
		return b.metrics()["JSHeapUsedSize"] / 1e6
	}
	heap() // three pages of this size were opened within seconds: what is left of them is swept before the taps are timed
	b.slow(6)
	eval[bool](b, `paints.length = kepts.length = saids.length = 0, true`)
	taps := 20
	if measures {
		taps = 100
	}
	cost := b.costs()
	b.tapsOnTime(taps, 10)
	b.until(allSaved)
	time.Sleep(500 * time.Millisecond)
	t.Logf("slowed 6 times: %s; %s", b.waits(taps), cost(taps))

	b.slow(1)
	many := func(n int) {
		eval[bool](b, fmt.Sprintf(`globalThis.tapping = (async () => { const cells = [...document.querySelectorAll('tr[data-q="R01"] .tap, tr[data-q="R02"] .tap')]; for (let i = 0; i < %d; i++) { cells[i %% cells.length].click(); if (i %% 20 === 19) await new Promise((done) => setTimeout(done, 30)) } globalThis.tapped = true })(), globalThis.tapped = false, true`, n))
		b.until(`globalThis.tapped`)
		b.until(allSaved)
	}
	many(600) // every cell once: what it keeps of each cell is no growth
	one := heap()
	many(600)
	two := heap()
	many(600)
	three := heap()
	t.Logf("memory of the scripts after 600 taps %.1f MB, after 1200 %.1f, after 1800 %.1f", one, two, three)
	if n := len(m.log(t)); n != 2+taps+1800 {
		t.Errorf("%d marks in the base, want %d", n, 2+taps+1800)
	}

	// The same grading as it is examined: one squad of eight before the examiner.
	i := 0
	for _, e := range m.view(t).Entries {
		if e.Rank == "thirty" {
			m.done(t, m.App.SetSquad(t.Context(), m.Owner, e.Entry.ID, 1+i/8))
			i++
		}
	}
	b.open(m.URL + m.path("/marks/thirty?squad=2"))
	b.until(allSaved + ` && ` + reopens)
	if n := eval[int](b, `document.querySelectorAll('.mat-grid .tap').length`); n != 8*35 {
		t.Fatalf("%d cells", n)
	}
	b.slow(6)
	eval[bool](b, `paints.length = kepts.length = saids.length = 0, true`)
	taps = min(taps, 8*10)
	cost = b.costs()
	b.tapsOnTime(taps, 10)
	b.until(allSaved)
	time.Sleep(500 * time.Millisecond)
	t.Logf("one squad of eight of the three hundred, slowed 6 times: %s; %s", b.waits(taps), cost(taps))
}

// measures says that figures are wanted which take their time.
var measures = os.Getenv("RANKWRIGHT_MEASURE") != ""

// onTime does something so many times. Where figures are wanted it is an open
// loop: three times a second, whether the page is ready for the next one or not.
func onTime(times int, what func(i int)) {
	between := time.Duration(0)
	if measures {
		between = time.Second / 3
	}
	begun := time.Now()
	for i := range times {
		time.Sleep(time.Until(begun.Add(time.Duration(i) * between)))
		what(i)
	}
}

// tapsOnTime taps cells down the columns, so many rows each. Where figures are
// wanted the finger stays on each for a moment, as fingers do.
func (b *tab) tapsOnTime(taps, rows int) {
	b.t.Helper()
	onTime(taps, func(i int) {
		x, y := b.centre(fmt.Sprintf(`tr[data-q="R%02d"] td:nth-child(%d) .tap`, 1+i%rows, 2+i/rows))
		b.touch("touchStart", &input.TouchPoint{X: x, Y: y})
		if measures {
			time.Sleep(80 * time.Millisecond)
		}
		b.touch("touchEnd")
	})
}

func (b *tab) slow(times float64) {
	b.t.Helper()
	if _, err := chromedp.Call(b.ctx, emulation.SetCPUThrottlingRate, emulation.SetCPUThrottlingRateParams{Rate: times}); err != nil {
		b.t.Fatal(err)
	}
}

// metrics are the browser's own counts of what the page had to do.
func (b *tab) metrics() map[string]float64 {
	b.t.Helper()
	if _, err := chromedp.Call(b.ctx, performance.Enable, performance.EnableParams{}); err != nil {
		b.t.Fatal(err)
	}
	got, err := chromedp.Call(b.ctx, performance.GetMetrics, cdp.Empty{})
	if err != nil {
		b.t.Fatal(err)
	}
	out := map[string]float64{}
	for _, x := range got.Metrics {
		out[x.Name] = x.Value
	}
	return out
}

// costs begins to count what the page has to do; what it gives puts into words
// how much that was for each of so many taps.
func (b *tab) costs() func(taps int) string {
	b.t.Helper()
	before := b.metrics()
	return func(taps int) string {
		after := b.metrics()
		each := func(name string) float64 { return (after[name] - before[name]) / float64(taps) }
		return fmt.Sprintf("for each tap with all that follows %.1f layouts, %.1f recalculations of style, %.1f ms of scripts, %.1f ms of layout, %.1f ms in all",
			each("LayoutCount"), each("RecalcStyleCount"), 1000*each("ScriptDuration"), 1000*each("LayoutDuration"), 1000*each("TaskDuration"))
	}
}

// waits puts into words how long the page took for the taps since it was last
// told to forget them.
func (b *tab) waits(taps int) string {
	b.t.Helper()
	var paint, work []float64
	for _, p := range eval[[]struct{ Ms, Work float64 }](b, `paints`) {
		paint, work = append(paint, p.Ms), append(work, p.Work)
	}
	for len(paint) < taps { // under the 16 ms from which the browser tells of an event
		paint, work = append(paint, 16), append(work, 0)
	}
	kept := eval[[]float64](b, `kepts`)
	if len(kept) != taps {
		b.t.Errorf("%d of %d taps were seen to be kept", len(kept), taps)
	}
	said := eval[[]float64](b, `saids`) // the page says so, and it is not painted yet
	of := func(x []float64) string {
		slices.Sort(x)
		return fmt.Sprintf("median %.0f ms, p95 %.0f, worst %.0f", x[len(x)/2], x[len(x)*95/100], x[len(x)-1])
	}
	return fmt.Sprintf("tap to first paint %s; tap to kept %s, painted %s; of which scripts until the first paint %s (%d taps)", of(paint), of(said), of(kept), of(work), taps)
}

const measuring = `globalThis.long = []; globalThis.paints = []; globalThis.kepts = []; globalThis.saids = []; globalThis.ready = 0;
new PerformanceObserver((l) => { for (const e of l.getEntries()) long.push([e.startTime, e.duration]) }).observe({ type: 'longtask', buffered: true });
new PerformanceObserver((l) => { for (const e of l.getEntries()) if (e.name === 'pointerup') paints.push({ ms: e.duration, work: e.processingEnd - e.processingStart }) }).observe({ type: 'event', durationThreshold: 16, buffered: true });
addEventListener('DOMContentLoaded', () => { const t = setInterval(() => { const u = document.querySelector('[data-do="undo"]'); if (u && !u.hidden) { globalThis.ready = performance.now(); clearInterval(t) } }, 5) });
addEventListener('pointerup', (e) => {
  const cell = e.isTrusted && e.target.closest('tr[data-q]') && (e.target.closest('.tap') ?? e.target.closest('tr').querySelector('.tap'));
  if (!cell) return;
  const eyes = new MutationObserver(() => {
    if (cell.dataset.held === 'new') return;
    eyes.disconnect();
    saids.push(performance.now() - e.timeStamp);
    requestAnimationFrame(() => { const c = new MessageChannel(); c.port1.onmessage = () => kepts.push(performance.now() - e.timeStamp); c.port2.postMessage(0) }); // after the frame
  });
  eyes.observe(cell, { attributeFilter: ['data-held', 'aria-label'] }); // what a cell shows is said in its name
}, true);`
