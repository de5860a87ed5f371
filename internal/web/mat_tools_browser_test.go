package web_test

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

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
	if s := eval[[]string](b, `[...document.querySelectorAll('.mat-quick')].map((x) => x.textContent)`); strings.Join(s, "|") != "Second look|Needs a wider stance|Lovely focus" {
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
	// A note that has no room for one says so, and loses none of its own words.
	b.hold(`[data-aim]`)
	b.until(`document.getElementById('mat-sheet').open`)
	eval[bool](b, `document.getElementById('mat-note').value = 'x'.repeat(295), true`)
	b.tap(`.mat-quick[value="Second look"]`)
	b.until(`document.querySelector('#mat-sheet [data-part="wrong"]').textContent.includes('too long') && document.getElementById('mat-note').value === 'x'.repeat(295)`)
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
