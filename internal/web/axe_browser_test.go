package web_test

import (
	"context"
	"crypto/sha256"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"testing"

	"rankwright/internal/web"
)

// axe runs the rules of axe-core (Deque Systems, 4.14.1) on the page as it
// stands, and gives a line for each that is broken.
func (b *tab) axe() []string {
	b.t.Helper()
	return soon[[]string](b, `axe.run(document, { resultTypes: ['violations'] }).then((r) => r.violations.map((v) => v.id + ' (' + v.impact + '): ' + v.help + ': ' + v.nodes.slice(0, 3).map((n) => n.html.slice(0, 160) + ' ' + (n.any[0]?.message ?? '')).join(' | ')))`)
}

func axeScript(t *testing.T) string {
	t.Helper()
	script, err := os.ReadFile("testdata/axe/axe.min.js")
	if err != nil {
		t.Fatal(err)
	}
	readme, err := os.ReadFile("testdata/axe/README.md")
	if err != nil {
		t.Fatal(err)
	}
	if sum := fmt.Sprintf("%x", sha256.Sum256(script)); !strings.Contains(string(readme), sum) {
		t.Fatalf("axe.min.js has the hash %s, which is not the one in its README", sum)
	}
	return string(script)
}

func TestInTheBrowserEveryPageKeepsTheRulesOfAccessibility(t *testing.T) {
	f := newFilled(t)
	script := axeScript(t)
	pages := 0
	for _, width := range []int64{390, 1440} {
		b := browser(t) // each walk has a browser's life for itself
		b.before(script)
		b.signIn(f.URL, f.Owner.Name, "three quiet otters")
		eval[bool](b, `document.querySelector('main').append(document.createElement('img')), true`)
		if found := strings.Join(b.axe(), "\n"); !strings.Contains(found, "image-alt") {
			t.Fatalf("an image without words is not found: %s", found)
		}
		b.screen(width, 900, width < 1000)
		for _, r := range web.Routes() {
			if !strings.HasPrefix(r.Pattern, "GET ") {
				continue
			}
			for _, at := range f.addresses(r.Pattern) {
				if !strings.HasPrefix(f.as(t, f.Owner).get(at).head.Get("Content-Type"), "text/html") {
					continue
				}
				b.open(f.URL + at)
				b.until(`document.readyState === 'complete'`)
				pages++
				for _, broken := range b.axe() {
					t.Errorf("%s at %d: %s", at, width, broken)
				}
			}
		}
		b.quit()
	}
	t.Logf("%d pages", pages)
	if pages < 60 {
		t.Errorf("only %d pages were looked at", pages)
	}
}

func TestInTheBrowserWhatOpensOnTheMatKeepsTheRulesOfAccessibilityToo(t *testing.T) {
	m := newMat(t)
	b := browser(t)
	b.before(axeScript(t))
	for _, screen := range []func(*tab){(*tab).phone, (*tab).tablet} {
		screen(b)
		b.onMat(m, m.mira.Name)
		check := func(what string) {
			t.Helper()
			for _, broken := range b.axe() {
				t.Errorf("%s: %s", what, broken)
			}
		}
		eval[bool](b, `document.querySelectorAll('main details').forEach((d) => { d.open = true }), true`)
		b.tapAll("RE-SM1")
		b.until(allSaved)
		check("the grid with marks and everything open")
		eval[bool](b, `document.querySelector('[name="hand"][value="right"]').click(), true`)
		check("the grid for the right hand")
		b.tapCell(m.reed[0], "RE-HA1")
		b.until(`document.getElementById('mat-sheet').open`)
		check("the sheet of a cell")
		b.tap(`#mat-sheet [value="close"]`)
		eval[bool](b, `document.querySelector('tr[data-q="RE-SM3"] .mat-time').click(), true`)
		b.until(`document.getElementById('mat-watch').open`)
		check("the stopwatch before the start")
		b.tap(`[data-watch="start"]`)
		b.tap(`.mat-lanes li:nth-child(1) .mat-lane`)
		check("the stopwatch while it runs")
		b.tap(`[data-watch="false"]`)
		b.tap(`[data-watch="close"]`)
		b.until(allSaved)
		b.open("about:blank")
	}
}

// Pages that the walk over all addresses does not meet as they are on the day:
// the way onto the mat, a board with everything on it, forms for one row, the
// install page of the school's authority, and what a device says of a page
// that it does not have. They keep the rules, and what is tapped is as large as
// a finger.
func TestInTheBrowserThePagesOfTheDayKeepTheRulesOfAccessibility(t *testing.T) {
	m := newMat(t)
	m.done(t, m.App.SetPresence(t.Context(), m.Owner, m.reed[0], "present"))
	m.done(t, m.App.StopChild(t.Context(), m.mira, m.grading, m.reed[1]))
	m.done(t, m.App.Withdraw(t.Context(), m.Owner, m.reed[5]))
	device := m.as(t, m.mira)
	status, _, body := device.send(m, map[string]any{"v": 1, "marks": []any{m.sent(1, m.reed[5], "RE-ET1", "1"), m.sent(3, m.reed[0], "RE-BF1", "0")}}) // one is refused, and the second never came
	if status != http.StatusOK || !strings.Contains(body, `"refused"`) {
		t.Fatalf("no mark is refused: %d %s", status, body)
	}
	desk := m.as(t, m.Owner)
	door := m.code(t, desk)
	trust := httptest.NewServer(web.NewTrust(web.Authority{File: []byte("file"), Fingerprint: "AB:CD", Port: "8443"}, func(context.Context) string { return "Otterlight" }))
	t.Cleanup(trust.Close)
	g := m.gatedTLS(t, nil)
	b := browser(t, untrusted)
	b.before(axeScript(t))
	b.errors()
	const small = `[...document.querySelectorAll('main a, main button, main summary, main select, main input:not([type=hidden], [type=checkbox], [type=radio]), main label:has(input)')].filter((e) => { const r = e.getBoundingClientRect(); return r.width && r.height < 43.5 && getComputedStyle(e).display !== 'inline' && !e.closest('details:not([open]) > :not(summary)') }).map((e) => e.outerHTML.slice(0, 120) + ' ' + e.getBoundingClientRect().height)`
	look := func(what string) {
		t.Helper()
		for _, width := range []int64{390, 1440} {
			b.screen(width, 900, width < 1000)
			for _, broken := range b.axe() {
				t.Errorf("%s at %d: %s", what, width, broken)
			}
			for _, e := range eval[[]string](b, small) {
				t.Errorf("%s at %d: smaller than a finger: %s", what, width, e)
			}
		}
	}
	b.open(trust.URL)
	look("the install page")
	b.open(m.URL + door)
	b.until(`document.querySelector('input[name="pin"]')`)
	look("the way onto the mat")
	b.signIn(m.URL, m.instructor.Name, "three quiet otters")
	b.open(m.URL + m.path("/board"))
	b.until(`document.querySelector('.notice-stop') && document.getElementById('board-refused') && document.getElementById('board-ask')`)
	eval[bool](b, `(document.querySelectorAll('details').forEach((d) => { d.open = true }), true)`)
	look("the board")
	for _, path := range []string{"/pair", "/marks/reed?row=RE-ET1&as=" + m.mira.ID, "/marks?squad=1&as=" + m.mira.ID, "/arrivals", "/refused"} {
		b.open(m.URL + m.path(path))
		look(path)
	}
	b.signOut(m.URL)
	b.signIn(m.URL, m.mira.Name, "three quiet otters")
	b.open(m.URL + m.path("/marks/reed"))
	b.until(reopens)
	g.set(true)
	b.open(m.URL + m.path("/marks/quartz"))
	b.until(`document.title === 'No connection'`)
	look("a page that the device does not have")
}
