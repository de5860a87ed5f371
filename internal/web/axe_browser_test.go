package web_test

import (
	"crypto/sha256"
	"fmt"
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
	b := browser(t)
	b.before(script)
	b.signIn(f.URL, f.Owner.Name, "three quiet otters")
	eval[bool](b, `document.querySelector('main').append(document.createElement('img')), true`)
	if found := strings.Join(b.axe(), "\n"); !strings.Contains(found, "image-alt") {
		t.Fatalf("an image without words is not found: %s", found)
	}
	pages := 0
	for _, width := range []int64{390, 1440} {
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
