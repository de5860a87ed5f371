package web_test

import (
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
)

// A finger's tap counts when the finger is lifted, and once: no click follows
// it. What is no quick tap of one finger is left to the browser, and gives
// nothing by itself; a mouse, a key and a screen reader click as ever.
func TestInTheBrowserATapOfAFingerIsOneMarkAndAnythingElseIsNone(t *testing.T) {
	m := newMat(t)
	b := browser(t)
	b.phone()
	b.errors()
	b.onMat(m, m.mira.Name)
	eval[bool](b, `globalThis.clicks = 0, addEventListener('click', () => { clicks++ }, true), true`)

	const tick = "RE-ET1"
	cell := func(i int) (x, y float64) {
		t.Helper()
		eval[string](b, cellOf(m.reed[i], tick)+".className")
		return b.centre(`[data-aim]`)
	}
	// marks waits until all is sent and says how many marks and clicks there are more than before.
	marks, clicks := 0, 0
	more := func(what string, wantMarks, wantClicks int) {
		t.Helper()
		time.Sleep(400 * time.Millisecond) // for what must not come
		b.until(allSaved)
		n, c := len(m.log(t)), eval[int](b, `clicks`)
		if n-marks != wantMarks || c-clicks != wantClicks {
			t.Errorf("%s: %d marks and %d clicks, want %d and %d", what, n-marks, c-clicks, wantMarks, wantClicks)
		}
		marks, clicks = n, c
	}
	down := func(id, x, y float64) *input.TouchPoint { return &input.TouchPoint{X: x, Y: y, ID: &id} }

	x, y := cell(0)
	b.touch("touchStart", down(0, x, y))
	time.Sleep(150 * time.Millisecond)
	if n := len(m.log(t)); n != 0 {
		t.Errorf("%d marks while the finger is still down", n)
	}
	b.touch("touchEnd")
	more("a tap", 1, 0)

	x, y = cell(1)
	b.touch("touchStart", down(0, x, y))
	b.touch("touchMove", down(0, x+3, y+4))
	b.touch("touchEnd")
	more("a finger that trembles", 1, 0)

	x, y = cell(2)
	b.touch("touchStart", down(0, x, y))
	for i := 1.0; i <= 10; i++ {
		b.touch("touchMove", down(0, x, y-8*i))
	}
	b.touch("touchEnd")
	more("a finger that scrolls", 0, 0)

	x, y = cell(2)
	b.touch("touchStart", down(0, x, y))
	b.touch("touchStart", down(0, x, y), down(1, x, y+90))
	b.touch("touchEnd")
	more("two fingers at once", 0, 0)

	b.touch("touchStart", down(0, x, y))
	b.touch("touchCancel")
	more("a touch that the system takes over", 0, 0)

	x, y = cell(2)
	b.mouse("mousePressed", x, y)
	b.mouse("mouseReleased", x, y)
	more("a mouse", 1, 1)

	eval[bool](b, cellOf(m.reed[3], tick)+".focus(), true")
	b.keys("\r")
	more("a key", 1, 1)

	eval[bool](b, cellOf(m.reed[4], tick)+".click(), true")
	more("a screen reader", 1, 1)

	b.tapAll(tick)
	more("the button of the row, for the one who is left", len(m.reed)-5, 0)

	// A browser that tells of pointers and of no touches ends a tap with a click,
	// which is not a second one.
	eval[bool](b, `(() => { const c = `+cellOf(m.reed[0], tick)+`, how = { bubbles: true, cancelable: true, pointerType: 'touch', isPrimary: true, pointerId: 9 };
		c.dispatchEvent(new PointerEvent('pointerdown', how)); c.dispatchEvent(new PointerEvent('pointerup', how)); c.dispatchEvent(new MouseEvent('click', { ...how, detail: 1 })); return true })()`)
	more("a tap without touches", 1, 1)
	eval[bool](b, cellOf(m.reed[0], tick)+".click(), true")
	more("a reader's click right after it", 1, 1)
}
