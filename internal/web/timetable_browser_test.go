package web_test

import (
	"fmt"
	"strconv"
	"testing"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// centre is the middle of what css finds, in the window.
func (b *tab) centre(css string) (x, y float64) {
	b.t.Helper()
	at := eval[[]float64](b, `(() => { const e = document.querySelector(`+strconv.Quote(css)+`); e.scrollIntoView({block: 'center'}); const r = e.getBoundingClientRect(); return [r.x + r.width / 2, r.y + Math.min(r.height / 2, 20)] })()`)
	return at[0], at[1]
}

func (b *tab) mouse(kind input.DispatchMouseEventType, x, y float64) {
	b.t.Helper()
	p := input.DispatchMouseEventParams{Type: kind, X: x, Y: y, Button: input.MouseButtonLeft, ClickCount: 1}
	if kind != "mouseReleased" {
		p.Buttons = 1
	}
	if _, err := chromedp.Call(b.ctx, input.DispatchMouseEvent, p); err != nil {
		b.t.Fatal(err)
	}
}

func (b *tab) touch(kind input.DispatchTouchEventType, points ...*input.TouchPoint) {
	b.t.Helper()
	if points == nil {
		points = []*input.TouchPoint{}
	}
	if _, err := chromedp.Call(b.ctx, input.DispatchTouchEvent, input.DispatchTouchEventParams{Type: kind, TouchPoints: points}); err != nil {
		b.t.Fatal(err)
	}
}

// sits is the sitting in which the board shows a child.
func (b *tab) sits(name string) string {
	b.t.Helper()
	return eval[string](b, `(() => { const c = [...document.querySelectorAll('.times-chip')].find(c => c.textContent.includes(`+strconv.Quote(name)+`)); return c ? c.closest('[data-sitting]').dataset.sitting || 'waiting' : '' })()`)
}

func chip(b *tab, name string) string {
	b.t.Helper()
	return `.times-chip[data-entry="` + eval[string](b, `[...document.querySelectorAll('.times-chip')].find(c => c.textContent.includes(`+strconv.Quote(name)+`)).dataset.entry`) + `"]`
}

// free is a sitting into which what is picked up could go, and which is empty.
const free = `[...document.querySelectorAll('.times-card.times-may')].find(c => !c.querySelector('.times-chip'))`

// A timetable from nothing to a repair, as the people at the desk would make
// it: wishes by the keyboard, the plan, one family dragged by the mouse, one
// by the finger and one by keys, published, an illness, the repair.
func TestInTheBrowserATimetableIsMadeMovedPublishedAndRepaired(t *testing.T) {
	s, g := newTimes(t)
	b := browser(t)
	b.before(axeScript(t))
	b.errors()
	b.screen(1280, 1000, false)
	b.signIn(s.URL, s.Owner.Name, "three quiet otters")
	at := s.URL + "/gradings/" + string(g) + "/timetable"
	b.open(at)
	b.press("Make the first session")

	// Saturday from nine to twelve on two mats; one examiner is enough here.
	b.set("mats", "A, B")
	eval[bool](b, `document.querySelector('form.card details').open = true`)
	b.set("panel", "1")
	b.set("mixed", "3")
	b.set("least", "1")
	b.press("Add the session with its sittings")
	b.reads("Saturday morning", "8 sittings, room for 64", "09:40–10:20, mat B")
	for name, value := range map[string]string{"day": "2026-10-17", "until": "10:20"} {
		b.do(chromedp.SetValue(chromedp.CSS(`form[action$="/setup"] [name="`+name+`"]`), value))
	}
	eval[bool](b, `document.querySelector('form[action$="/setup"] [name="makeup"]').checked = true`)
	b.press("Add the session with its sittings")
	b.reads("make-up date")
	b.check("sessions and sittings")

	// Two sections are put together at one station, by keys.
	b.press("Set the stations")
	b.reads("What is shown where")
	b.check("the stations")
	eval[bool](b, `document.querySelector('[name="section.HA"]').focus(), true`)
	b.keys("6") // 6 Kicks
	eval[bool](b, `(() => { const d = document.querySelector('[name="minutes.05"]').closest('details'); d.querySelector('summary').focus(); return true })()`)
	b.keys(kb.Enter)
	b.until(`document.querySelector('[name="minutes.05"]').checkVisibility()`)
	eval[bool](b, `document.querySelector('[name="minutes.05"]').focus(), true`)
	b.keys("6")
	b.press("Save the stations")
	b.reads("The stations are saved. Nothing is shown at Hands, so it is left out.", "Hands, 6 minutes")
	b.press("Work them out from the syllabus again")
	b.reads("Each section is a station again")
	b.open(at + "/examiners")
	b.check("when examiners are there")

	// Wishes: the first family's two answers, then all others, by keys alone.
	b.open(at + "/wishes")
	b.reads("7 families of 7 still to ask.")
	b.until(`document.querySelector('.times-quick')`)
	eval[bool](b, `document.querySelector('.times-suits input').focus(), true`)
	for range 7 {
		b.keys("2")
		b.keys("3")
	}
	b.until(`document.querySelector('.title .lead').textContent.startsWith('All 7 families')`)
	b.check("the wishes with answers")

	// Plan.
	b.open(at)
	b.reads("8 children to place.")
	b.press("Plan the timetable")
	b.until(`!document.getElementById('times-running') && document.querySelector('.times-live .times-card .times-chip')`)
	b.reads("Everybody has a sitting. It is a draft")
	b.check("the board of a draft")

	// A sitting by itself: squads, examiners, the round.
	b.open(at + "/sitting?id=" + b.sits("Zofia"))
	b.reads("Squad", "Who examines", "Round the stations")
	b.check("a sitting")
	b.open(at)
	b.until(`document.querySelector('.times-live')`)

	// Drag the Krajewiks with the mouse: the effect stands there before the drop.
	from := b.sits("Zofia")
	x, y := b.centre(chip(b, "Zofia"))
	b.mouse("mousePressed", x, y)
	b.mouse("mouseMoved", x+20, y+4)
	b.until(`document.querySelector('.times-card.times-may .times-effect')?.textContent`)
	b.check("the board with a family picked up")
	if got := eval[string](b, `document.getElementById('times-more').textContent`); got != "Open the page of Zofia Krajewik" {
		t.Errorf("from the board one gets to %q", got)
	}
	eval[bool](b, free+`.setAttribute('data-drop', ''), true`)
	eval[bool](b, `document.querySelector('[data-drop]').scrollIntoView({block: 'center'}), true`)
	x, y = b.centre("[data-drop] .times-head")
	b.mouse("mouseMoved", x, y)
	b.until(`/^Sat.*(better|dearer|costs)/.test(document.getElementById('times-say').textContent) && document.querySelectorAll('.times-held').length === 2`)
	if got := b.sits("Zofia"); got != from {
		t.Fatalf("the family moved before it was dropped, to %s", got)
	}
	to := eval[string](b, `document.querySelector('[data-drop]').dataset.sitting`)
	b.mouse("mouseReleased", x, y)
	b.until(fmt.Sprintf(`document.querySelectorAll('[data-sitting="%s"] .times-chip').length === 2`, to))
	b.until(`document.getElementById('times-say').textContent.includes('Zofia and Igor are now in Saturday morning')`)
	if b.sits("Igor") != to {
		t.Error("the brother did not move along")
	}

	// By keys: Enter picks up, an arrow finds a sitting, Enter puts down.
	eval[bool](b, `document.querySelector('`+chip(b, "Hanae")+`').focus(), true`)
	was := b.sits("Hanae")
	b.keys(kb.Enter)
	b.until(`document.querySelector('.times-card.times-may')`)
	b.keys(kb.ArrowDown)
	b.until(`document.activeElement.closest('.times-put') && document.querySelector('.times-over')`)
	b.keys(kb.Escape)
	b.until(`!document.querySelector('.times-held') && document.activeElement.textContent.includes('Hanae')`)
	b.keys(kb.Enter)
	b.until(`document.querySelector('.times-card.times-may')`)
	b.keys(kb.ArrowDown)
	b.keys(kb.Enter)
	b.until(`document.getElementById('times-say').textContent.includes('Hanae is now')`)
	if b.sits("Hanae") == was {
		t.Error("the keys moved nobody")
	}

	// By finger, on the band of the child; then where to by a tap.
	b.phone()
	b.open(at)
	b.until(`document.querySelector('.times-live')`)
	x, y = b.centre(chip(b, "Kwabena") + " .times-band")
	b.touch("touchStart", &input.TouchPoint{X: x, Y: y})
	b.touch("touchMove", &input.TouchPoint{X: x + 4, Y: y + 30})
	b.until(`document.querySelector('.times-ghost') && document.querySelector('.times-card.times-may')`)
	eval[bool](b, free+`.setAttribute('data-drop', ''), true`)
	x, y = b.centre("[data-drop] .times-head")
	b.touch("touchMove", &input.TouchPoint{X: x, Y: y})
	b.until(`document.querySelector('.times-over[data-drop]')`)
	to = eval[string](b, `document.querySelector('[data-drop]').dataset.sitting`)
	b.touch("touchEnd")
	b.until(fmt.Sprintf(`document.querySelector('[data-sitting="%s"] .times-chip')`, to))
	b.centre(chip(b, "Kwabena"))
	b.tap(chip(b, "Kwabena") + " .times-who")
	b.until(`document.querySelector('.times-card.times-may')`)
	if eval[string](b, `location.href`) != at {
		t.Error("a tap on a child left the board")
	}
	eval[bool](b, free+`.setAttribute('data-drop', ''), true`)
	eval[bool](b, `[...document.querySelectorAll('[data-drop]')].find(x => !x.querySelector('.times-put').hidden).querySelector('.times-put .button').setAttribute('data-tap', ''), true`)
	b.centre("[data-tap]") // out from under the bar
	b.tap("[data-tap]")
	b.until(`document.getElementById('times-say').textContent.includes('Kwabena is now')`)
	b.screen(1280, 1000, false)

	// Publish.
	b.open(at)
	b.press("Look at it and publish")
	b.reads("7 families are told their time.")
	b.check("what would be told")
	b.press("Publish the timetable")
	b.reads("the times are told", "Timetabled")

	// An illness, and the repair: only this child's family is concerned.
	b.open(s.URL + eval[string](b, `new URL(document.querySelector('`+chip(b, "Naveed")+`').href).pathname + new URL(document.querySelector('`+chip(b, "Naveed")+`').href).search`))
	b.check("a child")
	b.press("They cannot come on the ordinary dates")
	b.reads("cannot come on the ordinary dates", "Written down.")
	b.open(at)
	b.press("Repair the timetable")
	b.until(`document.querySelector('.times-acts')?.textContent.includes('See what would change')`)
	b.press("See what would change")
	b.reads("1 family is concerned", "Naveed Barakzoy: Saturday morning", "→ Saturday morning")
	b.check("the changes of a repair")
	b.press("Take these changes")
	b.reads("Everybody has a sitting, and the times are told.")
	v, err := s.App.Timetable(t.Context(), s.Owner, g)
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range v.Told {
		if e, _ := v.Entry(x.Entry); e != nil && (x.Sequence == 1) != (e.Student.GivenName == "Naveed") {
			t.Errorf("%s was told with sequence %d", e.Student.GivenName, x.Sequence)
		}
	}
}

// check fails for each rule of accessibility that the page breaks.
func (b *tab) check(what string) {
	b.t.Helper()
	for _, broken := range b.axe() {
		b.t.Errorf("%s: %s", what, broken)
	}
}
