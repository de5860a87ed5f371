package web_test

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/scoring"
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

// deaf breaks off what a page sends to addresses that end so, while on is set;
// all else goes through.
func deaf(on *atomic.Bool, ends ...string) func(http.Handler) http.Handler {
	return func(next http.Handler) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			if on.Load() && r.Method == http.MethodPost && slices.ContainsFunc(ends, func(end string) bool { return strings.HasSuffix(r.URL.Path, end) }) {
				panic(http.ErrAbortHandler)
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

// Who came late and who went home is known to a page that is open: "all shown"
// gives a mark to the one and none to the other. That somebody was moved to
// another squad is said.
func TestInTheBrowserAPageHearsWhoCameAndWhoWentHome(t *testing.T) {
	m := newMat(t)
	for _, e := range m.reed[:5] {
		m.done(t, m.App.SetPresence(t.Context(), m.Owner, e, "present"))
	}
	b := browser(t)
	b.phone()
	b.onMat(m, m.mira.Name)
	head := func(i int) string { return `document.querySelector('th[data-e="` + string(m.reed[i]) + `"]')` }
	b.until(head(5) + `.textContent.includes('not here yet')`)
	m.done(t, m.App.SetPresence(t.Context(), m.Owner, m.reed[0], "unwell"))
	m.done(t, m.App.SetPresence(t.Context(), m.Owner, m.reed[5], "present"))
	eval[bool](b, visible)
	b.until(head(0) + `.textContent.includes('unwell') && ` + head(0) + `.classList.contains('mat-away') && !` + head(5) + `.textContent.includes('not here yet')`)
	b.tapAll("RE-ET1")
	b.until(allSaved)
	want := map[string]string{}
	for _, e := range m.reed[1:] {
		want[string(e)+" RE-ET1"] = "1"
	}
	m.compare(t, want)

	if !eval[bool](b, `document.getElementById('mat-old').hidden`) {
		t.Error("the page is called old")
	}
	m.done(t, m.App.SetSquad(t.Context(), m.Owner, m.reed[3], 2))
	eval[bool](b, visible)
	b.until(`document.getElementById('mat-old').innerText.includes('Open it again')`)
	b.open(m.URL + m.path("/marks/reed"))
	b.until(allSaved)
	eval[bool](b, visible)
	b.until(`document.getElementById('mat-old').hidden`)
	m.done(t, m.App.SetPresence(t.Context(), m.Owner, m.reed[0], "present")) // the page came with a column that cannot be tapped
	eval[bool](b, visible)
	b.until(`document.querySelector('[role="alert"]')?.textContent.includes('Ana A. is here now. Open this page again to mark them.')`)
}

// A page that was open for a while hears how far the marks of the grading have
// counted: what is marked on it afterwards is a correction, and wins.
func TestInTheBrowserALaterMarkOnAnOlderPageCounts(t *testing.T) {
	m := newMat(t)
	b := browser(t)
	b.phone()
	b.onMat(m, m.mira.Name)
	for i, v := range []int64{1, 0, 1, 0} { // on her other device
		st, err := m.App.AddMarks(t.Context(), m.mira, m.grading, []scoring.Mark{{ID: rankwright.MarkID(fmt.Sprint("other-", i)), Device: "other", Seq: int64(i + 1), Clock: int64(40 + i),
			Entry: m.reed[1], Requirement: "RE-ET1", Examiner: rankwright.ExaminerID(m.mira.ID), Try: 1, Value: scoring.N(int(v))}})
		m.done(t, err)
		if !st[0].Stored {
			t.Fatal(st[0].Refuse)
		}
	}
	before := eval[float64](b, `performance.now()`)
	eval[bool](b, visible)
	b.until(`performance.getEntriesByType('resource').some((r) => r.name.endsWith('/device') && r.startTime > ` + fmt.Sprint(before) + ` && r.responseEnd)`)
	b.tapCell(m.reed[1], "RE-ET1")
	b.until(allSaved)
	m.compare(t, map[string]string{string(m.reed[1]) + " RE-ET1": "1"})
}
