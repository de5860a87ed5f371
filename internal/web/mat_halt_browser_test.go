package web_test

import (
	"testing"

	"rankwright/internal/app"
)

// An examiner sees the fall: two taps on the child's own column, without a
// connection and on a phone that is paired for this grading only. It greys the
// column at once, outlives the page, and is sent by itself.
func TestInTheBrowserAnExaminerStopsAChildOnTheMatAlsoWithoutAConnection(t *testing.T) {
	m := newMat(t)
	g := m.gatedTLS(t, nil)
	b := browser(t, untrusted)
	b.phone()
	b.onMat(m, m.mira.Name)
	b.until(reopens)
	head := `document.querySelector('th[data-e="` + string(m.reed[1]) + `"]')`
	dialog := `document.getElementById('mat-child')`
	g.set(true)
	b.tap(`th[data-e="` + string(m.reed[1]) + `"]`)
	b.until(dialog + `.open && ` + dialog + `.innerText.startsWith('Ben') && ` + dialog + `.innerText.includes('After a knock to the head')`)
	eval[bool](b, axeScript(t)+"; true")
	if v := b.axe(); len(v) > 0 {
		t.Errorf("the child: %q", v)
	}
	b.tap(`#mat-child [value="stop"]`)
	b.until(head + `.classList.contains('mat-away') && ` + head + `.textContent.includes('stopped') && !` + dialog + `.open`)
	b.until(`document.getElementById('mat-halt').innerText.includes('The stop of Ben has not reached the school’s computer yet: call it out')`)
	b.tapAll("RE-ET1") // not for Ben
	b.until(`/^5 marks not sent yet/.test(document.getElementById('mat-saved').textContent)`)
	if v := m.view(t).Entries; v[1].Presence != "expected" {
		t.Fatalf("the server knows already: %s", v[1].Presence)
	}

	b.open(m.URL + m.path("/marks/reed")) // the page that the device keeps
	b.until(head + `.classList.contains('mat-away') && /^5 marks not sent yet/.test(document.getElementById('mat-saved').textContent)`)
	eval[bool](b, findCell)
	g.set(false)
	eval[bool](b, `dispatchEvent(new Event('online'))`)
	b.until(allSaved)
	b.until(`document.getElementById('mat-halt').hidden`)
	for _, e := range m.view(t).Entries {
		if e.Entry.ID == m.reed[1] && e.Presence != "stopped" {
			t.Errorf("the stop did not arrive: %s", e.Presence)
		}
	}
	stops := 0
	lines, err := m.App.Audit(t.Context(), m.Owner, 0, 100)
	m.done(t, err)
	for _, l := range lines {
		if l.Act == string(app.StopChild) && l.Person == m.mira.ID {
			stops++
		}
	}
	if stops != 1 {
		t.Errorf("%d lines of the audit are her stop, want one", stops)
	}

	// From the keyboard it is in the sheet of a cell; whoever is stopped already is not stopped again.
	b.screen(1440, 900, false)
	eval[bool](b, `(`+cellOf(m.reed[2], "RE-ET1")+`.focus(), true)`)
	b.keys("n")
	b.until(`document.getElementById('mat-sheet').open`)
	b.click(`#mat-sheet [value="stop"]`)
	b.until(dialog + `.open && document.activeElement.closest('dialog') === ` + dialog)
	b.click(`#mat-child [value="close"]`)
	b.until(`!` + dialog + `.open`)
	b.click(`th[data-e="` + string(m.reed[1]) + `"]`)
	b.until(dialog + `.open && ` + dialog + `.innerText.includes('the head instructor takes it back under arrivals')`)
	if eval[bool](b, `document.querySelector('#mat-child [value="stop"]').offsetHeight > 0`) {
		t.Error("a child who is stopped can be stopped once more")
	}
}
