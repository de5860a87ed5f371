package web_test

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"rankwright"
	"rankwright/internal/app"
)

// thirty is a rank of thirty requirements: fifteen ticks, nine levels, four of
// steps and two of recall.
func thirty() string {
	var b strings.Builder
	b.WriteString(`rankwright: syllabus 1
ladder: thirty
name: Thirty
sections:
  basics: Basics
scales:
  S: {name: How well, enough: 2, levels: {0: not yet, 1: with help, 2: alone, 3: at speed}}
pass: {total: 60%}
ranks:
  - id: thirty
    name: Thirty
    belt: {colour: green, hex: "#3f8f3f"}
    asks:
`)
	for i := 1; i <= 30; i++ {
		what := "kind: tick, points: 1"
		switch {
		case i > 28:
			what = "kind: recall, of: 6, expect: 4"
		case i > 24:
			what = "kind: steps, of: 8, expect: 6"
		case i > 15:
			what = "kind: level, scale: S"
		}
		fmt.Fprintf(&b, "      - {id: R%02d, section: basics, show: Requirement %d, %s}\n", i, i, what)
	}
	return b.String()
}

// on makes a grading on the mat of a syllabus text, with six students.
func (m *mat) on(t *testing.T, text string, ladder rankwright.LadderID, rank rankwright.RankID, panel ...app.Actor) []rankwright.EntryID {
	t.Helper()
	d, _, err := m.App.SaveDraft(t.Context(), m.Owner, text)
	m.done(t, err)
	_, err = m.App.Publish(t.Context(), m.Owner, d.Ladder)
	m.done(t, err)
	csv := "student_id,given_name,family_name,birth_date,ladder,rank,rank_since,classes_since_rank\n"
	var ids []rankwright.StudentID
	for i, name := range []string{"Ari", "Bo", "Cleo", "Dov", "Esi", "Finn"} {
		id := rankwright.StudentID(fmt.Sprint(201 + i))
		csv += fmt.Sprintf("%s,%s,Tested,2017-03-03,%s,,2026-02-01,30\n", id, name, ladder)
		ids = append(ids, id)
	}
	m.Import(csv)
	g, err := m.App.CreateGrading(t.Context(), m.Owner, app.NewGrading{Title: "Of one rank", Day: rankwright.NewDay(2026, 10, 10), Ladder: ladder, Ranks: []rankwright.RankID{rank}})
	m.done(t, err)
	m.grading = g.ID
	var people []string
	for _, p := range panel {
		people = append(people, p.ID)
	}
	for _, id := range ids {
		m.done(t, m.App.EnterAnyway(t.Context(), m.Owner, g.ID, id, "for the test"))
	}
	m.done(t, m.App.SetPanel(t.Context(), m.Owner, g.ID, people, people[0]))
	m.done(t, m.App.Move(t.Context(), m.Owner, g.ID, app.OnTheMat))
	var out []rankwright.EntryID
	for _, e := range m.view(t).Entries {
		out = append(out, e.Entry.ID)
	}
	return out
}

func TestInTheBrowserSixStudentsOnThirtyRequirementsWithThreeExceptionsTakeThirtyThreeTaps(t *testing.T) {
	m := newMat(t)
	entries := m.on(t, thirty(), "thirty", "thirty", m.mira)
	b := browser(t)
	b.phone()
	b.errors()
	b.signIn(m.URL, m.mira.Name, "three quiet otters")
	b.open(m.URL + m.path("/marks/thirty"))
	b.until(allSaved)
	eval[bool](b, findCell)
	eval[bool](b, `globalThis.taps = 0, addEventListener('pointerdown', (e) => { if (e.isTrusted) taps++ }, true), true`)
	for i := 1; i <= 30; i++ {
		b.tapAll(fmt.Sprintf("R%02d", i))
	}
	b.tapCell(entries[0], "R03") // a tick
	b.tapCell(entries[4], "R20") // a level
	b.tapCell(entries[5], "R26") // steps
	b.until(allSaved)
	if n := eval[int](b, `taps`); n != 33 {
		t.Errorf("%d taps, want 33", n)
	}
	sh, err := m.App.Sheet(t.Context(), m.mira, m.grading, "thirty")
	m.done(t, err)
	want := map[string]string{"0 R03": "0", "4 R20": "1", "5 R26": "7"}
	for j, e := range entries {
		for i, seen := range sh.Cards[e].Seen {
			q := string(sh.Rank.Requirements[i].ID)
			value := want[fmt.Sprintf("%d %s", j, q)]
			if n, _ := strconv.Atoi(q[1:]); value == "" {
				value = []string{"1", "2", "8", "6"}[btoi(n > 15)+btoi(n > 24)+btoi(n > 28)]
			}
			if len(seen) != 1 || seen[0].Value.String() != value {
				t.Errorf("student %d, %s: %+v, want %s", j, q, seen, value)
			}
		}
	}
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

var aTime = regexp.MustCompile(`^\d+(\.\d{1,3})?$`)

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

func TestInTheBrowserALongPressShowsTheLevelsAndAShortNoteIsOneTap(t *testing.T) {
	m := newMat(t)
	m.done(t, m.App.EditSchool(t.Context(), m.Owner, app.School{Name: "Otterlight", Notes: "Needs a wider stance\r\nLovely focus\n\n"}))
	b := browser(t)
	b.phone()
	b.onMat(m, m.mira.Name)
	b.tapAll("RE-SM1")
	b.until(allSaved)
	eval[string](b, cellOf(m.reed[0], "RE-SM1")+".className")
	b.hold(`[data-aim]`)
	b.until(`document.getElementById('mat-sheet').open`)
	b.until(`document.querySelector('fieldset[data-for="scale-MOVE"]').innerText.includes('guard and balance hold on most steps')`)
	if s := eval[[]string](b, `[...document.querySelectorAll('.mat-quick')].map((x) => x.textContent)`); len(s) != 2 || s[1] != "Lovely focus" {
		t.Errorf("the short notes are %q", s)
	}
	b.tap(`.mat-quick[value="Lovely focus"]`)
	b.tap(`.mat-quick[value="Lovely focus"]`)
	b.tap(`#mat-sheet [type="submit"]`)
	b.until(`!document.getElementById('mat-sheet').open`)
	b.until(allSaved)
	l := m.log(t)
	if last := l[len(l)-1]; last.Note != "Lovely focus" || last.Value.String() != "2" {
		t.Errorf("the last mark is %+v", last)
	}
}

// Where the system chooses the colours, browsers leave out backgrounds that are
// drawn, and shadows.
func TestInTheBrowserTicksAndCornersAreSeenInTheSystemsOwnColours(t *testing.T) {
	m := newMat(t)
	g := m.gated(t)
	b := browser(t)
	b.phone()
	b.onMat(m, m.mira.Name)
	forced := emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "forced-colors", Value: "active"}}}
	if _, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, forced); err != nil {
		t.Fatal(err)
	}
	g.set(true)
	b.tapAll("RE-ET1")
	b.until(`document.querySelectorAll('.tap[data-held="waiting"]').length === 6`)
	seen := eval[[]string](b, `(() => { const cell = document.querySelector('.tap[data-held="waiting"]'), tick = getComputedStyle(cell.querySelector('.mat-met')), corner = getComputedStyle(cell, '::after');
		return [matchMedia('(forced-colors: active)').matches ? 'forced' : '', tick.backgroundImage.includes('gradient') ? 'tick' : '', corner.content === '""' && corner.borderTopColor !== corner.borderBottomColor ? 'corner' : ''] })()`)
	if s := strings.Join(seen, " "); s != "forced tick corner" {
		t.Errorf("seen are: %s", s)
	}
}

func TestInTheBrowserTheButtonsStandOnTheSideOfTheHandThatTaps(t *testing.T) {
	m := newMat(t)
	b := browser(t)
	b.tablet()
	b.onMat(m, m.mira.Name)
	left := func(css string) float64 {
		t.Helper()
		return eval[float64](b, fmt.Sprintf(`document.querySelector('%s').getBoundingClientRect().left / innerWidth`, css))
	}
	choose := func(hand string) {
		t.Helper()
		eval[bool](b, `document.getElementById('mat-device').closest('details').open = true, document.querySelector('[name="hand"][value="`+hand+`"]').click(), true`)
	}
	choose("right")
	if x, y := left(".mat-all"), left("[data-do=undo]"); x < 0.5 || y < 0.5 {
		t.Errorf("for the right hand the row's button begins at %.2f, the bar's at %.2f of the width", x, y)
	}
	b.open(m.URL + m.path("/marks/reed")) // the device remembers
	b.until(allSaved)
	eval[bool](b, findCell)
	if x := left(".mat-all"); x < 0.5 {
		t.Errorf("opened again, the row's button begins at %.2f", x)
	}
	eval[string](b, cellOf(m.reed[0], "RE-ET1")+".focus() || ''")
	b.keys("\u0302") // arrow left: to the next student, since the first stands on the right
	if s := eval[string](b, `document.activeElement.getAttribute('aria-label')`); !strings.HasPrefix(s, "Ben, ") {
		t.Errorf("arrow left leads to %q", s)
	}
	choose("left")
	if x, y := left(".mat-all"), left("[data-do=undo]"); x > 0.5 || y > 0.5 {
		t.Errorf("for the left hand the row's button begins at %.2f, the bar's at %.2f of the width", x, y)
	}
	if n := eval[int](b, `document.documentElement.scrollWidth - document.documentElement.clientWidth`); n > 0 {
		t.Errorf("the page is %d pixels too wide", n)
	}
}

func TestInTheBrowserAMarkThatIsKeptBuzzesOnceUnlessTheDeviceIsToldNotTo(t *testing.T) {
	m := newMat(t)
	b := browser(t)
	b.phone()
	b.before(`globalThis.buzzes = []; navigator.vibrate = (x) => { buzzes.push(x); return true }; globalThis.locks = []; if (navigator.wakeLock) navigator.wakeLock.request = async (k) => { locks.push(k); return new EventTarget() };`)
	b.onMat(m, m.mira.Name)
	b.until(`locks.length > 0`)
	b.until(`document.getElementById('mat-facts').textContent.includes('The screen stays on while this page is seen.')`)
	b.tapAll("RE-ET1")
	b.until(allSaved)
	if n := eval[int](b, `buzzes.length`); n != 1 {
		t.Errorf("%d buzzes for one tap", n)
	}
	eval[bool](b, `document.querySelector('[name="buzz"]').click(), true`)
	b.tapAll("RE-ET2")
	b.until(allSaved)
	if n := eval[int](b, `buzzes.length`); n != 1 {
		t.Errorf("told not to, it buzzed %d times", n-1)
	}
}

// dialogSays waits until the stopwatch is open and says something.
func (b *tab) dialogSays(text string) {
	b.t.Helper()
	b.until(fmt.Sprintf(`document.getElementById('mat-watch').open && document.querySelector('#mat-watch [data-part="say"]').textContent.includes(%q)`, text))
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

// An examiner at a station has its rows alone, on every sheet of the grading
// that this device opens; the cautions stand above the first that asks for
// them, and what is taken back elsewhere is seen.
func TestInTheBrowserAStationsExaminerSeesItsRowsAlone(t *testing.T) {
	m := newMat(t)
	m.done(t, m.App.Move(t.Context(), m.Owner, m.grading, app.Timetabled))
	m.done(t, m.App.SetStations(t.Context(), m.Owner, m.grading, []app.Station{
		{Name: "Door", Sections: []rankwright.SectionID{"ET", "KB"}}, {Name: "Soft mat", Sections: []rankwright.SectionID{"BF", "GU"}},
		{Name: "Floor", Sections: []rankwright.SectionID{"PR", "SM", "HA", "KI", "PD", "FI", "TH"}}}))
	m.done(t, m.App.Move(t.Context(), m.Owner, m.grading, app.OnTheMat))
	board := m.as(t, m.Owner).get(m.path("/board"))
	board.says(t, 200, `<p class="board-name">Soft mat</p>`)
	if strings.Contains(board.body, `<p class="board-name">Getting up</p>`) {
		t.Error("a section of the soft mat is a station of its own on the board")
	}
	b := browser(t)
	b.phone()
	b.onMat(m, m.mira.Name)
	options := eval[[]string](b, `[...document.querySelectorAll('#mat-station option')].map((o) => o.text)`)
	if len(options) < 4 || options[0] != "All of them" || options[1] != "Door" || options[2] != "Soft mat" {
		t.Fatalf("the stations are %q", options)
	}
	rows := func() []string {
		t.Helper()
		return eval[[]string](b, `[...document.querySelectorAll('tr[data-q]')].filter((r) => r.offsetHeight).map((r) => r.dataset.q.slice(3, 5))`)
	}
	everything := rows()
	choose := func(name string) {
		t.Helper()
		eval[bool](b, `(() => { const s = document.getElementById('mat-station'); s.value = [...s.options].find((o) => o.text === '`+name+`').value; s.dispatchEvent(new Event('change')); return true })()`)
	}
	count := func() string {
		t.Helper()
		return eval[string](b, `document.getElementById('mat-count').textContent`)
	}
	b.tapAll("RE-ET1")
	choose("Soft mat")
	for _, section := range rows() {
		if section != "BF" && section != "GU" {
			t.Errorf("a row of %s is seen", section)
		}
	}
	if !eval[bool](b, `document.querySelector('.mat-caution').offsetHeight > 0 && document.querySelector('.mat-caution').parentElement.dataset.s === 'BF'`) {
		t.Error("the cautions of falls are out of sight")
	}
	if got := count(); got != "0 of 18 marked" {
		t.Errorf("the count is %q, want that of the station", got)
	}
	b.tapAll("RE-BF1")
	b.until(allSaved)

	b.open(m.URL + m.path("/marks/indigo")) // the device stays at its station
	b.until(allSaved)
	if eval[string](b, `document.getElementById('mat-station').selectedOptions[0].text`) != "Soft mat" || len(rows()) == 0 || slices.Contains(rows(), "ET") {
		t.Errorf("on another rank's sheet it shows %q", rows())
	}
	b.open(m.URL + m.path("/marks/reed"))
	b.until(allSaved)
	choose("Door")
	b.tapAll("RE-ET2")
	choose("Soft mat")
	b.tap(`[data-do="undo"]`)
	b.until(allSaved)
	if got := rows(); len(got) != len(everything) {
		t.Errorf("after taking back a mark of another station %d rows are seen, want all %d", len(got), len(everything))
	}
}
