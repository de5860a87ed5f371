package web_test

import (
	"fmt"
	"net/http"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"rankwright/internal/app"
)

// answered serves another answer for addresses that end so, while on is set.
func answered(on *atomic.Bool, end string, status int) func(http.Handler) http.Handler {
	return func(next http.Handler) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			if on.Load() && strings.HasSuffix(r.URL.Path, end) {
				w.WriteHeader(status)
				return
			}
			next.ServeHTTP(w, r)
		})
	}
}

// visible pretends that the page was hidden and is seen again.
const visible = `document.dispatchEvent(new Event('visibilitychange')), true`

func TestInTheBrowserAStopReachesAScoringPageThatGetsNoStream(t *testing.T) {
	m := newMat(t)
	var refused atomic.Bool
	refused.Store(true)
	m.gatedTLS(t, answered(&refused, "/events", http.StatusServiceUnavailable))
	b := browser(t, untrusted)
	b.phone()
	b.onMat(m, m.mira.Name)
	head := `document.querySelector('th[data-e="` + string(m.reed[1]) + `"]')`
	m.done(t, m.App.StopChild(t.Context(), m.Owner, m.grading, m.reed[1]))
	eval[bool](b, visible) // as in twenty seconds
	b.until(head + `.classList.contains('mat-away') && ` + head + `.textContent.includes('stopped')`)
	b.tapAll("RE-ET1") // not for Ben
	b.until(allSaved)
	if n := len(m.log(t)); n != 5 {
		t.Errorf("%d marks, want 5: nothing more is asked of a child who is stopped", n)
	}
	m.done(t, m.App.SetPresence(t.Context(), m.Owner, m.reed[1], "present"))
	eval[bool](b, visible)
	b.until(`!` + head + `.classList.contains('mat-away')`)
	if s := eval[string](b, `document.querySelector('[role="alert"]').textContent`); !strings.HasSuffix(s, "The stop of Ben was taken back.") {
		t.Errorf("it says %q", s)
	}
	b.tapAll("RE-ET1")
	b.until(allSaved)
	if n := len(m.log(t)); n != 6 {
		t.Errorf("%d marks, want 6", n)
	}
}

func TestInTheBrowserAClockThatIsOffIsSaidUntilItIsRight(t *testing.T) {
	m := newMat(t)
	b := browser(t)
	for i, words := range []string{"1 year ahead", "1 year behind"} {
		c := b.another()
		c.phone()
		days := float64(365 - 730*i)
		c.before(fmt.Sprintf(`{ const D = Date; let off = %f; globalThis.right = (ms) => { off -= ms }; globalThis.Date = class extends D { constructor(...a) { super(...(a.length ? a : [D.now() + off])) } static now() { return D.now() + off } } }`,
			days*864e5+float64(time.Until(m.App.Now()).Milliseconds()))) // the server of a test has a day of its own
		c.onMat(m, m.mira.Name)
		c.until(fmt.Sprintf(`!document.getElementById('mat-clock').hidden && document.querySelector('#mat-clock .notice-body').textContent === 'This device’s clock is %s. Marks count all the same; set it right when you can.'`, words))
		eval[bool](c, fmt.Sprintf(`right(%f), true`, days*864e5)) // somebody sets the clock
		c.tapAll([]string{"RE-ET1", "RE-ET2"}[i])
		c.until(`document.getElementById('mat-clock').hidden`)
	}
}

func TestInTheBrowserAPageHearsThatItsGradingMovedOnAndThatItIsOut(t *testing.T) {
	m := newMat(t)
	b := browser(t)
	b.phone()
	b.onMat(m, m.mira.Name)
	moved := `document.getElementById('mat-moved')`
	m.done(t, m.App.Move(t.Context(), m.Owner, m.grading, app.Deciding))
	b.until(moved + `.textContent.includes('The head instructor is deciding now')`)
	m.done(t, m.App.Move(t.Context(), m.Owner, m.grading, app.OnTheMat))
	b.until(moved + `.hidden`)
	m.done(t, m.App.Move(t.Context(), m.Owner, m.grading, app.Timetabled))
	b.until(moved + `.textContent.includes('not on the mat any more')`)
	m.done(t, m.App.Move(t.Context(), m.Owner, m.grading, app.OnTheMat))
	b.until(moved + `.hidden`)
	soon[bool](b, `fetch('/sign-out', { method: 'POST' }).then(() => true)`) // in another tab
	eval[bool](b, visible)
	b.until(`document.getElementById('mat-saved').textContent.startsWith('All marks are saved. ') && !document.getElementById('mat-door').hidden`)
}
