package web_test

import (
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

func shot(b *tab) []byte {
	b.t.Helper()
	png, err := chromedp.Run(b.ctx, chromedp.FullScreenshot(90))
	if err != nil {
		b.t.Fatal(err)
	}
	return png
}

// The pages of a family in every language, at three widths: nothing reaches out
// of the screen, axe finds nothing, and from right to left the page begins on
// the right, names stand where the sentence has them, and arrows point back.
// With RANKWRIGHT_SHOTS set to a folder, pictures are left there.
func TestInTheBrowserFamilyPagesReadRightInEveryLanguage(t *testing.T) {
	h := newHome(t)
	h.tell()
	m := h.mirrored()
	script := axeScript(t)
	b := browser(t)
	b.before(script)
	b.screen(390, 844, true)
	b.open(m.URL + h.link["Krajewik"])
	b.click(`main form button`)
	b.until(`location.pathname === '/family'`)
	child := "/family/child/" + h.entry["Zofia"]
	for _, lang := range []string{"en", "es", "ar-XB"} {
		soon[bool](b, fmt.Sprintf(`fetch('/family/language', {method: 'POST', body: new URLSearchParams(%q)}).then(() => true)`, url.Values{"lang": {lang}, "to": {"/family"}}.Encode()))
		for _, at := range []string{"/family", child, child + "/practice", child + "/guide", "/family/sign", "/family/ask"} {
			for _, width := range []int64{390, 820, 1440} {
				if lang != "ar-XB" && width > 390 && os.Getenv("RANKWRIGHT_SHOTS") == "" {
					continue // the widths of these are tried elsewhere
				}
				b.screen(width, 900, width < 1000)
				b.open(m.URL + at)
				b.until(`document.readyState === 'complete'`)
				what := fmt.Sprintf("%s in %s at %d", strings.Replace(at, h.entry["Zofia"], "zofia", 1), lang, width)
				if got := eval[string](b, `document.documentElement.lang`); got != lang {
					t.Fatalf("%s is in %q", what, got)
				}
				b.fits(what)
				// A page from right to left runs over on its left, which scrollWidth of
				// some elements does not tell.
				for _, out := range eval[[]string](b, `[...document.querySelectorAll('body *')].filter(e => e.checkVisibility() && !e.closest('.visually-hidden, .skip, .scroll'))
					.filter(e => { const r = e.getBoundingClientRect(); return r.width && (r.left < -0.5 || r.right > innerWidth + 0.5) }).map(e => e.outerHTML.slice(0, 100))`) {
					t.Errorf("%s reaches out of the screen: %s", what, out)
				}
				if width == 390 || lang == "ar-XB" && width == 1440 && at == "/family" {
					for _, broken := range b.axe() {
						t.Errorf("%s: %s", what, broken)
					}
				}
				if shots := os.Getenv("RANKWRIGHT_SHOTS"); shots != "" {
					if err := os.WriteFile(filepath.Join(shots, strings.NewReplacer("/", "_", " ", "-").Replace(what)+".png"), shot(b), 0o644); err != nil {
						t.Fatal(err)
					}
				}
			}
		}
	}
	b.screen(390, 844, true)
	b.open(m.URL + child + "/practice")
	b.until(`document.readyState === 'complete'`)
	// In logical order the name comes first, and so it stands on the right.
	if r := eval[[]float64](b, `(() => {
		const h = document.querySelector('h1'), n = h.firstChild, at = n.data.indexOf('Zofia'), name = document.createRange(), rest = document.createRange();
		name.setStart(n, at); name.setEnd(n, at + 5);
		rest.setStart(n, at + 7); rest.setEnd(n, at + 12);
		return [name.getBoundingClientRect().left, rest.getBoundingClientRect().right, h.getBoundingClientRect().right, name.getBoundingClientRect().right];
	})()`); r[0] < r[1]-1 || r[2]-r[3] > 2 {
		t.Errorf("the name does not begin the title: %v", r)
	}
	if turned := eval[string](b, `getComputedStyle(document.querySelector('.title-back .mark')).transform`); turned != "matrix(-1, 0, 0, 1, 0, 0)" {
		t.Errorf("the arrow back points %q", turned)
	}
	if side := eval[[]float64](b, `(() => { const a = document.querySelector('.title-back a').getBoundingClientRect(), s = document.querySelector('.title-back .mark').getBoundingClientRect(); return [a.right, s.right, a.left] })()`); side[0]-side[1] > side[1]-side[2] {
		t.Errorf("the arrow does not stand at the beginning of its words: %v", side)
	}
	// The list of tasks has its numbers on the right, as the language writes them.
	if got := eval[string](b, `getComputedStyle(document.querySelector('.family-tasks')).listStyleType + ' ' + getComputedStyle(document.querySelector('.family-tasks')).direction`); got != "arabic-indic rtl" {
		t.Errorf("the tasks are numbered %q", got)
	}
}
