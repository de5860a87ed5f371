package web_test

import (
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"rankwright/scoring"
)

// From the code on the desk's screen to a mark on the board, as people do it:
// the desk on one browser, the examiner's phone on another.
func TestInTheBrowserADeviceIsPairedMarksAndTheBoardShowsIt(t *testing.T) {
	m := newMat(t)
	desk := browser(t)
	desk.screen(1440, 900, false)
	desk.errors()
	desk.signIn(m.URL, m.Owner.Name, "three quiet otters")
	desk.open(m.URL + m.path("/pair"))
	desk.click(`.pair-code button`)
	desk.until(`document.querySelector('.pair-qr path')`)
	address := eval[string](desk, `document.querySelector('.pair-address').textContent`)
	desk.click(`form[action$="/pin"] .button-primary`) // a PIN for each
	desk.until(`document.querySelectorAll('.pair-pins dd').length === 4`)
	pin := eval[string](desk, `[...document.querySelectorAll('.pair-pins div')].find((d) => d.querySelector('dt').textContent === 'Mira Oduya').querySelector('dd').textContent`)
	if !regexp.MustCompile(`^\d{4}$`).MatchString(pin) {
		t.Fatalf("the PIN is %q", pin)
	}
	for _, e := range m.reed {
		m.done(t, m.App.SetPresence(t.Context(), m.Owner, e, "present"))
	}
	desk.open(m.URL + m.path("/board"))
	desk.until(`document.getElementById('board-live').textContent.startsWith('Live')`)

	phone := browser(t)
	phone.phone()
	phone.errors()
	phone.open(address)
	phone.tap(`label:has(input[value="` + m.mira.ID + `"])`)
	phone.fill(`input[name="pin"]`, pin)
	phone.keys("\r")
	phone.until(`location.pathname.endsWith('/marks')`)
	phone.open(m.URL + m.path("/marks/reed"))
	phone.until(allSaved)
	before := eval[string](desk, `document.getElementById('board-answer').textContent`)
	phone.tapAll("RE-ET1")
	phone.until(allSaved)
	desk.until(`document.getElementById('board-answer').textContent !== ` + quoted(before))
	desk.until(`[...document.querySelectorAll('.board-station')].some((s) => s.textContent.includes('6 of'))`)
	if got := eval[string](desk, `document.querySelector('.board-devices').textContent`); !strings.Contains(got, "Mira Oduya") {
		t.Errorf("the devices are %q", got)
	}

	// What the head instructor opened stays open while the board changes.
	desk.click(`#d-stop > summary`)
	eval[string](desk, `document.getElementById('stop-entry').value = '`+string(m.reed[1])+`'`)
	phone.tapAll("RE-ET2")
	desk.until(`[...document.querySelectorAll('.board-station')].some((s) => s.textContent.includes('12 of'))`)
	if !eval[bool](desk, `document.getElementById('d-stop').open && document.getElementById('stop-entry').value !== ''`) {
		t.Error("the board closed what was open, or forgot who was chosen")
	}
	desk.click(`.board-stop .button-danger`)
	desk.until(`document.querySelector('.notice-stop')?.textContent.includes('Ben Bakker is stopped for safety.')`)
	other := browser(t)
	other.screen(820, 1180, false)
	other.signIn(m.URL, m.instructor.Name, "three quiet otters")
	other.open(m.URL + m.path("/board"))
	other.until(`document.querySelector('.notice-stop')?.textContent.includes('Ben Bakker')`)
	phone.tap(`th[data-e="` + string(m.reed[2]) + `"]`) // from the mat, on a paired device
	phone.tap(`#mat-child [value="stop"]`)
	other.until(`document.body.textContent.includes('Chloé Castellanos is stopped for safety.')`)

	// Thrown out at the desk, the phone is out with its next word.
	desk.open(m.URL + m.path("/pair"))
	desk.click(`form[action$="/end"] button`)
	desk.until(`document.body?.textContent.includes('The device is out.')`)
	phone.open(m.URL + m.path("/marks/reed"))
	phone.until(`location.pathname === '/pair'`)
}

func quoted(s string) string { return "'" + strings.ReplaceAll(s, "'", "\\'") + "'" }

// A child who is stopped anywhere is greyed on a scoring page that is open.
func TestInTheBrowserAStopGreysTheColumnOnTheScoringPage(t *testing.T) {
	m := newMat(t)
	b := browser(t)
	b.phone()
	b.errors()
	b.signIn(m.URL, m.mira.Name, "three quiet otters")
	b.open(m.URL + m.path("/marks/reed"))
	b.until(allSaved)
	m.as(t, m.Owner).post(m.path("/stop"), url.Values{"entry": {string(m.reed[1])}}) // from the desk
	head := `document.querySelector('th[data-e="` + string(m.reed[1]) + `"]')`
	b.until(head + `.classList.contains('mat-away')`)
	if got := eval[string](b, head+`.textContent`); !strings.Contains(got, "stopped") {
		t.Errorf("the column is headed %q", got)
	}
	if got := eval[string](b, `document.querySelector('[role="alert"]').textContent`); got != "Ben is stopped for safety. Nothing more is asked today; what you marked so far is kept." {
		t.Errorf("it says %q", got)
	}
	if got := eval[[]string](b, `[1, 2].map((i) => getComputedStyle(document.querySelector('tr[data-q="RE-ET1"]').cells[i].firstElementChild).backgroundColor)`); got[0] == got[1] {
		t.Errorf("no cell is greyed: %q", got)
	}
}

// At the door one tap each: late, not well, a line of the list, another squad.
func TestInTheBrowserTheDoorSavesEachTap(t *testing.T) {
	m := newMat(t)
	b := browser(t)
	b.phone()
	b.errors()
	b.signIn(m.URL, m.assistant.Name, "three quiet otters")
	b.open(m.URL + m.path("/arrivals"))
	one := func(i int) string { return `[id="` + string(m.reed[i]) + `"]` }
	saved := func(i int) {
		t.Helper()
		b.until(`document.querySelector(` + quoted(one(i)+` .arrivals-state`) + `).textContent === 'Saved'`)
	}
	b.tap(one(0) + ` label:has(input[value="late"])`)
	saved(0)
	b.tap(one(0) + ` label:has(input[name="door.1"])`)
	b.until(`document.querySelector(` + quoted(one(0)+` input[name="door-was.1"]`) + `).value === 'yes'`)
	b.tap(one(1) + ` button[name="feel"]`)
	saved(1)
	b.tap(one(2) + ` .arrivals-squad summary`)
	eval[bool](b, `(() => { const i = document.querySelector(`+quoted(one(2)+` input[name="squad"]`)+`); i.value = '3'; i.dispatchEvent(new Event('change', {bubbles: true})); return true })()`)
	saved(2)
	door, err := m.App.Door(t.Context(), m.Owner, m.grading)
	m.done(t, err)
	if d := door[m.reed[0]]; !d.Late || d.Came == 0 || !d.Ticked["Hands are clean"] {
		t.Errorf("the first child: %+v", d)
	}
	for _, e := range m.view(t).Entries {
		switch {
		case e.Entry.ID == m.reed[1] && e.Presence != "unwell":
			t.Errorf("not well today, and %s", e.Presence)
		case e.Entry.ID == m.reed[2] && e.Squad != 3:
			t.Errorf("squad %d", e.Squad)
		}
	}
	if got := eval[string](b, `document.getElementById('arrivals-counts').textContent`); !strings.Contains(got, "1 here") || !strings.Contains(got, "1 unwell") {
		t.Errorf("the counts say %q", got)
	}
}

// What came while the board had no stream is on it as soon as it has one again,
// also where no mark came.
func TestInTheBrowserABoardThatWasCutOffLearnsWhatItMissed(t *testing.T) {
	m := newMat(t)
	g := m.gated(t)
	b := browser(t)
	b.screen(1440, 900, false)
	b.signIn(m.URL, m.instructor.Name, "three quiet otters")
	b.open(m.URL + m.path("/board"))
	b.until(`document.getElementById('board-live').textContent.startsWith('Live')`)
	g.set(true)
	b.until(`document.getElementById('board-live').textContent.startsWith('Not live')`)
	m.done(t, m.App.StopChild(t.Context(), m.mira, m.grading, m.reed[1]))
	g.set(false)
	b.until(`document.querySelector('.notice-stop')?.textContent.includes('Ben Bakker is stopped for safety.') && document.getElementById('board-live').textContent.startsWith('Live')`)
}

// A list that is open, as that of whom to stop, is not taken from under the
// finger by news; they are shown when it is closed.
func TestInTheBrowserTheBoardWaitsForAListThatIsOpen(t *testing.T) {
	m := newMat(t)
	b := browser(t)
	b.screen(1440, 900, false)
	b.signIn(m.URL, m.instructor.Name, "three quiet otters")
	b.open(m.URL + m.path("/board"))
	b.until(`document.getElementById('board-live').textContent.startsWith('Live')`)
	b.click(`#d-stop > summary`)
	eval[bool](b, `(window.list = document.getElementById('stop-entry'), list.focus(), true)`)
	m.Mark(m.mira, m.grading, m.reed[0], "RE-ET1", scoring.N(1))
	b.until(`document.getElementById('board-live').textContent.startsWith('Live') && performance.getEntriesByType('resource').some((r) => r.name.endsWith('/board') && r.responseEnd)`)
	time.Sleep(300 * time.Millisecond)
	if !eval[bool](b, `list.isConnected && document.activeElement === list`) {
		t.Error("the list was taken away")
	}
	eval[bool](b, `(list.blur(), true)`)
	b.until(`!list.isConnected && [...document.querySelectorAll('.board-station')].some((s) => s.textContent.includes('1 of'))`)
}
