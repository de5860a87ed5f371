package web_test

import (
	"fmt"
	"regexp"
	"strconv"
	"testing"
	"time"
)

func TestInTheBrowserTheStopwatchTakesOneTapForEachChild(t *testing.T) {
	m := newMat(t)
	b := browser(t)
	b.phone()
	b.onMat(m, m.mira.Name)
	open := func() {
		t.Helper()
		eval[bool](b, `document.querySelector('tr[data-q="RE-SM3"] .mat-time').scrollIntoView({block: 'center'}), true`)
		b.tap(`tr[data-q="RE-SM3"] .mat-time`)
		b.until(`document.getElementById('mat-watch').open`)
	}
	lane := func(n int) string { return fmt.Sprintf(`.mat-lanes li:nth-child(%d) .mat-lane`, n) }
	open()
	b.tap(lane(6)) // Fatou rests
	b.tap(`[data-watch="start"]`)
	b.tap(lane(1))
	b.tap(`[data-watch="false"]`) // a false start takes Ana's time back
	b.until(`document.querySelector('[data-part="say"]').textContent.startsWith('False start')`)
	b.tap(lane(6)) // everybody runs after a false start but Fatou, who was never in it
	b.tap(lane(6))
	b.tap(`[data-watch="start"]`)
	time.Sleep(1100 * time.Millisecond)
	b.tap(lane(1))
	b.tap(lane(2))
	b.tap(lane(2)) // a slip: Ben still holds
	b.tap(lane(3))
	b.keys("4")
	b.tap(`[data-watch="close"]`) // does not close while it runs
	if !eval[bool](b, `document.getElementById('mat-watch').open`) {
		t.Fatal("the stopwatch closed while it ran")
	}
	b.tap(`[data-watch="stop"]`) // time is up for Ben and Eero
	b.until(`document.querySelector('#mat-watch [data-part="say"]').textContent === 'Everybody has a time.'`)
	b.tap(`[data-watch="close"]`)
	b.until(allSaved)
	got := m.counts(t)
	var times []float64
	for i, e := range m.reed {
		v := got[string(e)+" RE-SM3"]
		if i == 5 {
			if v != "" {
				t.Errorf("Fatou has a time: %s", v)
			}
			continue
		}
		if !aTime.MatchString(v) {
			t.Fatalf("%s has the time %q", m.names[i], v)
		}
		x, _ := strconv.ParseFloat(v, 64)
		times = append(times, x)
	}
	if times[0] < 1.1 || times[2] < times[0] || times[3] < times[2] || times[1] < times[3] || times[1] != times[4] {
		t.Errorf("the times are %v", times)
	}
	if s := eval[string](b, cellOf(m.reed[0], "RE-SM3")+".textContent"); !regexp.MustCompile(`^\d+(\.\d)? s`).MatchString(s) {
		t.Errorf("the cell shows %q, want the time to the tenth", s)
	}

	// Once more for one child, by keyboard; the second time counts.
	eval[string](b, `document.querySelector('tr[data-q="RE-SM3"] .mat-time').focus() || ''`)
	b.keys("\r")
	b.until(`document.getElementById('mat-watch').open`)
	b.keys("1") // Ana again
	b.keys("6") // Fatou still rests
	b.keys("\r")
	time.Sleep(300 * time.Millisecond)
	b.keys("1")
	b.until(`document.querySelector('#mat-watch [data-part="say"]').textContent === 'Everybody has a time.'`)
	b.keys("\u001b")
	b.until(`!document.getElementById('mat-watch').open`)
	b.until(allSaved)
	again := m.counts(t)
	if x, _ := strconv.ParseFloat(again[string(m.reed[0])+" RE-SM3"], 64); x < 0.3 || x >= times[0] {
		t.Errorf("after the second run Ana has %v", x)
	}
	for i := 1; i < 5; i++ {
		if k := string(m.reed[i]) + " RE-SM3"; got[k] != again[k] {
			t.Errorf("%s had %s and has %s", m.names[i], got[k], again[k])
		}
	}
}

// A child who was done and did not run in between runs once more: a false start
// then leaves the time that they had.
func TestInTheBrowserAFalseStartLeavesTheTimesOfEarlierRuns(t *testing.T) {
	m := newMat(t)
	b := browser(t)
	b.phone()
	b.onMat(m, m.mira.Name)
	eval[bool](b, `document.querySelector('tr[data-q="RE-SM3"] .mat-time').scrollIntoView({block: 'center'}), true`)
	b.tap(`tr[data-q="RE-SM3"] .mat-time`)
	b.until(`document.getElementById('mat-watch').open`)
	lane := func(n int) string { return fmt.Sprintf(`.mat-lanes li:nth-child(%d) .mat-lane`, n) }
	for n := 3; n <= 6; n++ { // Ana and Ben alone
		b.tap(lane(n))
	}
	run := func(lanes ...int) {
		t.Helper()
		b.tap(`[data-watch="start"]`)
		time.Sleep(150 * time.Millisecond)
		for _, n := range lanes {
			b.tap(lane(n))
		}
		b.until(`document.querySelector('#mat-watch [data-part="say"]').textContent === 'Everybody has a time.'`)
	}
	run(1, 2)
	b.until(allSaved)
	first := m.counts(t)[string(m.reed[0])+" RE-SM3"]
	b.tap(lane(2))
	run(2) // Ben once more, by himself
	b.tap(lane(1))
	b.tap(`[data-watch="start"]`)
	b.tap(lane(1))
	b.tap(`[data-watch="false"]`)
	b.tap(`[data-watch="close"]`)
	b.until(allSaved)
	if got := m.counts(t)[string(m.reed[0])+" RE-SM3"]; first == "" || got != first {
		t.Errorf("Ana had %q and has %q", first, got)
	}
}

func TestInTheBrowserAStopwatchThatRunsOutlivesItsPage(t *testing.T) {
	m := newMat(t)
	b := browser(t)
	b.phone()
	b.onMat(m, m.mira.Name)
	lane := func(n int) string { return fmt.Sprintf(`.mat-lanes li:nth-child(%d) .mat-lane`, n) }
	eval[bool](b, `document.querySelector('tr[data-q="RE-SM3"] .mat-time').scrollIntoView({block: 'center'}), true`)
	b.tap(`tr[data-q="RE-SM3"] .mat-time`)
	b.until(`document.getElementById('mat-watch').open`)
	b.tap(`[data-watch="start"]`)
	began := time.Now()
	time.Sleep(300 * time.Millisecond)
	b.tap(lane(1)) // Ana has a time before the page goes
	b.until(allSaved)
	first := eval[string](b, `document.querySelector('`+lane(1)+` span').textContent`)

	other := b.second() // another tab of the same device leaves the run alone
	other.phone()
	other.errors()
	other.open(m.URL + m.path("/marks/reed"))
	other.until(allSaved)
	time.Sleep(900 * time.Millisecond)
	if eval[bool](other, `document.getElementById('mat-watch').open`) {
		t.Error("a second tab took up a run that the first still holds")
	}
	other.quit()

	b.open(m.URL + m.path("/marks/reed"))
	b.dialogSays("This page was closed while the run went on")
	if got := eval[string](b, `document.querySelector('`+lane(1)+` span').textContent`); got != first {
		t.Errorf("Ana's time is %q, was %q", got, first)
	}
	b.tap(lane(2))
	most := time.Since(began).Seconds() + 0.5
	b.tap(lane(1)) // a slip: Ana still holds
	b.tap(`[data-watch="stop"]`)
	b.dialogSays("Everybody has a time.")
	b.tap(`[data-watch="close"]`)
	b.until(allSaved)
	got := m.counts(t)
	x, _ := strconv.ParseFloat(got[string(m.reed[1])+" RE-SM3"], 64)
	if x < 1.2 || x > most {
		t.Errorf("Ben's time is %v s, want the whole time since the start, at most %.1f", x, most)
	}
	if y, _ := strconv.ParseFloat(got[string(m.reed[0])+" RE-SM3"], 64); y < x {
		t.Errorf("Ana holds longer than Ben and has %v s", y)
	}
	b.open(m.URL + m.path("/marks/reed")) // nothing runs any more
	b.until(allSaved)
	time.Sleep(500 * time.Millisecond)
	if eval[bool](b, `document.getElementById('mat-watch').open`) {
		t.Error("a run that was stopped is taken up again")
	}
}

// A run of one squad is not another squad's: its sheet leaves the run alone.
func TestInTheBrowserAStopwatchThatRunsWaitsForItsOwnSquad(t *testing.T) {
	m := newMat(t)
	for _, e := range m.reed[3:] {
		m.done(t, m.App.SetSquad(t.Context(), m.Owner, e, 2))
	}
	b := browser(t)
	b.phone()
	b.errors()
	b.signIn(m.URL, m.mira.Name, "three quiet otters")
	sheet := func(squad string) {
		t.Helper()
		b.open(m.URL + m.path("/marks/reed?squad="+squad))
		b.until(allSaved)
	}
	sheet("1")
	eval[bool](b, `document.querySelector('tr[data-q="RE-SM3"] .mat-time').scrollIntoView({block: 'center'}), true`)
	b.tap(`tr[data-q="RE-SM3"] .mat-time`)
	b.until(`document.getElementById('mat-watch').open`)
	b.tap(`[data-watch="start"]`)
	b.until(`!!document.querySelector('[data-watch="stop"]:not([hidden])')`)
	sheet("2")
	time.Sleep(time.Second)
	if eval[bool](b, `document.getElementById('mat-watch').open`) {
		t.Error("the sheet of squad 2 took up the run of squad 1")
	}
	sheet("1")
	b.until(`document.getElementById('mat-watch').open && document.querySelectorAll('.mat-lane[data-state="on"]').length === 3`)
}

func TestInTheBrowserAStopwatchFromLongAgoIsOfferedToBeDropped(t *testing.T) {
	m := newMat(t)
	b := browser(t)
	b.phone()
	b.onMat(m, m.mira.Name)
	age := func(ms int) {
		t.Helper()
		soon[bool](b, fmt.Sprintf(`new Promise((done) => { indexedDB.open('rankwright').onsuccess = (e) => { const db = e.target.result, own = db.transaction('own', 'readwrite').objectStore('own'); own.get('watch').onsuccess = (r) => { const w = r.target.result; w.since -= %d; own.put(w, 'watch').onsuccess = () => { db.close(); done(true) } } } })`, ms))
	}
	start := func() {
		t.Helper()
		eval[bool](b, `document.querySelector('tr[data-q="RE-SM3"] .mat-time').scrollIntoView({block: 'center'}), true`)
		b.tap(`tr[data-q="RE-SM3"] .mat-time`)
		b.until(`document.getElementById('mat-watch').open`)
		b.tap(`[data-watch="start"]`)
		time.Sleep(200 * time.Millisecond)
		age(3 * 3600 * 1000)
		b.open(m.URL + m.path("/marks/reed"))
		b.dialogSays("A run was started 3 hours ago and never stopped.")
	}
	start()
	b.tap(`[data-watch="drop"]`)
	b.dialogSays("Dropped.")
	b.tap(`[data-watch="close"]`)
	b.open(m.URL + m.path("/marks/reed"))
	b.until(allSaved)
	time.Sleep(300 * time.Millisecond)
	if eval[bool](b, `document.getElementById('mat-watch').open`) {
		t.Error("what was dropped is offered again")
	}
	start()
	b.tap(`[data-watch="go-on"]`) // a person says that it is right
	b.tap(`[data-watch="stop"]`)
	b.dialogSays("Everybody has a time.")
	b.tap(`[data-watch="close"]`)
	b.until(allSaved)
	if x, _ := strconv.ParseFloat(m.counts(t)[string(m.reed[0])+" RE-SM3"], 64); x < 3*3600 || x > 3*3600+60 {
		t.Errorf("the time is %v s", x)
	}
}
