package web_test

import (
	"compress/gzip"
	"fmt"
	"io"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
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
	linked = regexp.MustCompile(`(?:href|src)="(/[am]/[^"]+)"`)
	nested = regexp.MustCompile(`from '\./([a-z-]+\.js)'`)
)

// Everything that the scoring page loads stays under sixty kilobytes as it
// travels, without the typefaces, which browsers keep for ever.
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
		for _, x := range linked.FindAllStringSubmatch(text, -1) {
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
	t.Logf("%d bytes in all", total)
	if total >= 60_000 || scripts < 10 {
		t.Errorf("%d bytes in %d scripts and the rest; want less than 60000", total, scripts)
	}
}

// What a person waits for: until the page can be tapped, and from each tap
// until it is painted, by the browser's own event timing, which counts in
// steps of 8 ms; at full speed and with the processor slowed four times. It is
// measured and printed, since machines differ; run it with -v.
func TestInTheBrowserTheGridOfEightByThirtyFiveIsMeasured(t *testing.T) {
	for _, slowed := range []float64{1, 4} {
		m := newMat(t)
		m.wide(t)
		b := browser(t)
		b.phone()
		if _, err := chromedp.Call(b.ctx, emulation.SetCPUThrottlingRate, emulation.SetCPUThrottlingRateParams{Rate: slowed}); err != nil {
			t.Fatal(err)
		}
		b.before(measuring)
		b.errors()
		b.signIn(m.URL, m.mira.Name, "three quiet otters")
		var ready, busy, taps, work []float64
		for range 5 {
			b.open(m.URL + m.path("/marks/thirty"))
			b.until(allSaved + ` && globalThis.ready > 0`)
			ready = append(ready, eval[float64](b, `ready`))
			busy = append(busy, eval[float64](b, `long.reduce((n, [at, ms]) => at < ready + 1000 ? Math.max(n, at + ms) : n, ready)`))
		}
		if n := eval[int](b, `document.querySelectorAll('.mat-grid .tap').length`); n != 8*35 {
			t.Fatalf("%d cells", n)
		}
		eval[bool](b, `paints.length = 0, true`)
		for i := range 40 {
			css := fmt.Sprintf(`tr[data-q="R%02d"] td:nth-child(%d) .tap`, 1+i%15, 2+i/15)
			eval[bool](b, `document.querySelector('`+css+`').scrollIntoView({block: 'center'}), true`) // not under the bar
			b.tap(css)
		}
		for i := 16; i <= 30; i++ {
			b.tapAll(fmt.Sprintf("R%02d", i))
		}
		b.until(allSaved)
		time.Sleep(500 * time.Millisecond)
		for _, p := range eval[[]struct{ Ms, Work float64 }](b, `paints`) {
			taps, work = append(taps, p.Ms), append(work, p.Work)
		}
		for len(taps) < 55 { // under the 16 ms from which the browser tells of an event
			taps, work = append(taps, 16), append(work, 0)
		}
		for _, x := range [][]float64{ready, busy, taps, work} {
			slices.Sort(x)
		}
		p95 := func(x []float64) float64 { return x[len(x)*95/100] }
		t.Logf("slowed %.0f times: can be tapped after %.0f ms, quiet after %.0f (medians of 5); tap to paint median %.0f ms, p95 %.0f, worst %.0f, of which scripts median %.1f, p95 %.1f (%d taps)",
			slowed, ready[2], busy[2], taps[len(taps)/2], p95(taps), taps[len(taps)-1], work[len(work)/2], p95(work), len(taps))
		if n := len(m.log(t)); n != 40+15*8 {
			t.Errorf("%d marks in the base, want %d", n, 40+15*8)
		}
	}
}

const measuring = `globalThis.long = []; globalThis.paints = []; globalThis.ready = 0;
new PerformanceObserver((l) => { for (const e of l.getEntries()) long.push([e.startTime, e.duration]) }).observe({ type: 'longtask', buffered: true });
new PerformanceObserver((l) => { for (const e of l.getEntries()) if (e.name === 'click') paints.push({ ms: e.duration, work: e.processingEnd - e.processingStart }) }).observe({ type: 'event', durationThreshold: 16, buffered: true });
addEventListener('DOMContentLoaded', () => { const t = setInterval(() => { const u = document.querySelector('[data-do="undo"]'); if (u && !u.hidden) { globalThis.ready = performance.now(); clearInterval(t) } }, 5) });`
