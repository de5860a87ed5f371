package web_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"

	"rankwright"
	"rankwright/syllabus"
)

// stroke presses a key and lets it go. What a key writes goes with its press: sent
// by itself, that of an Enter which leads to another page would arrive there.
func (b *tab) stroke(r rune) {
	b.t.Helper()
	k := input.DispatchKeyEventParams{Key: string(r), Text: string(r), UnmodifiedText: string(r)}
	if r == '\r' {
		k.Key, k.Code, k.WindowsVirtualKeyCode = "Enter", "Enter", 13
	}
	for _, k.Type = range []input.DispatchKeyEventType{input.DispatchKeyEventTypeKeyDown, input.DispatchKeyEventTypeKeyUp} {
		if _, err := chromedp.Call(b.ctx, input.DispatchKeyEvent, k); err != nil {
			b.t.Fatal(err)
		}
		k.Text, k.UnmodifiedText = "", ""
	}
}

// A score table of six children and nineteen rows is typed in: nothing but
// digits and Enter, and the pages follow.
func TestInTheBrowserPaperIsTypedInWithDigitsAndEnterAlone(t *testing.T) {
	m := newMat(t)
	b := browser(t)
	b.screen(1440, 900, false)
	b.errors()
	b.signIn(m.URL, m.instructor.Name, "three quiet otters")
	b.open(m.URL + m.path("/marks/reed?row=RE-ET1&as="+m.mira.ID))
	const enter = "\r"
	const focused = `(document.activeElement.name ?? '')`
	want, keys, least, rows := map[string]string{}, 0, 0, 0
	typed := func(s string) {
		t.Helper()
		for _, r := range s {
			b.stroke(r)
			keys++
		}
	}
	for {
		row := eval[string](b, `new URL(location).searchParams.get('row') ?? ''`)
		if row == "" {
			break // the grid: that was the last row
		}
		rows++
		b.until(fmt.Sprintf(`document.readyState === 'complete' && !document.querySelector('.mat-enter')?.hidden && %s === 'value.%s.1'`, focused, m.reed[0]))
		r := m.view(t)
		k, _ := r.Syllabus.Rank("reed")
		q := k.Requirement(rankwright.RequirementID(row))
		fields := eval[[]string](b, `[...document.querySelectorAll('.mat-lines input:not([type=hidden])')].map((x) => x.name)`)
		line := ""
		for i, name := range fields {
			v := fmt.Sprint((i + rows) % 2)
			if q.Kind == syllabus.Timed {
				v = fmt.Sprint(3+i) + ".5"
			}
			line += v + enter
			least += len(v) + 1
			id := strings.Split(strings.TrimPrefix(name, "value."), ".")
			if id[1] == fmt.Sprint(q.Tries) { // the last try is seen last
				want[id[0]+" "+row] = v
			}
		}
		typed(line)
		b.until(fmt.Sprintf(`new URL(location).searchParams.get('row') !== %q && document.readyState === 'complete'`, row))
	}
	if rows != 19 || keys != least {
		t.Errorf("%d rows took %d keys, want 19 and %d", rows, keys, least)
	}
	m.compare(t, want)
	t.Logf("%d rows of six children, %d keys", rows, keys)

	// A mistake keeps all that was typed, and the focus is on it.
	b.open(m.URL + m.path("/marks/reed?row=RE-SM1&as="+m.jonas.ID))
	b.until(`!document.querySelector('.mat-enter').hidden`)
	typed("2" + enter + "7" + enter + enter + "1" + enter + enter + enter)
	b.until(`document.querySelector('.error-summary') && document.readyState === 'complete'`)
	if got := eval[[]string](b, `[...document.querySelectorAll('.mat-lines input:not([type=hidden])')].map((x) => x.value)`); fmt.Sprint(got) != "[2 7  1  ]" {
		t.Errorf("after a mistake the fields hold %q", got)
	}
	if s := eval[string](b, focused); s != "value."+string(m.reed[1])+".1" {
		t.Errorf("after a mistake the focus is on %q", s)
	}
	typed("3" + enter) // the 7 is selected and gives way
	if s := eval[string](b, `document.querySelectorAll('.mat-lines input:not([type=hidden])')[1].value`); s != "3" {
		t.Errorf("the field holds %q", s)
	}
}
