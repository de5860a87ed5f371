package web_test

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/store"
)

const pair = `rankwright: syllabus 1
ladder: pair
name: Pair
sections:
  basics: Basics
  falls: {name: Falls, cautions: [falls]}
scales:
  S: {name: How well, enough: 2, levels: {0: not yet, 1: with help, 2: alone, 3: at speed}}
pass: {total: 60%}
ranks:
  - id: low
    name: Low
    belt: {colour: yellow, hex: "#e8c93a"}
    asks:
      - {id: L1, section: basics, show: Bow, kind: tick, points: 1}
      - {id: L2, section: basics, show: Promise, kind: tick, points: 1}
      - {id: L3, section: basics, show: Front kick, kind: level, scale: S, expect: 1}
      - {id: L4, section: falls, show: Side fall, kind: tick, points: 1}
  - id: high
    name: High
    belt: {colour: green, hex: "#3f8f3f"}
    asks:
      - {id: H1, section: basics, show: Bow, kind: tick, points: 2}
      - {id: H2, section: basics, show: Front kick, kind: level, scale: S}
      - {id: H3, section: falls, show: Forward roll, kind: tick, points: 1}
`

// mixed is a squad of three for Low and two for High.
func (m *mat) mixed(t *testing.T) (low, high []rankwright.EntryID) {
	t.Helper()
	return m.mixedOf(t, pair)
}

func (m *mat) mixedOf(t *testing.T, text string) (low, high []rankwright.EntryID) {
	t.Helper()
	d, _, err := m.App.SaveDraft(t.Context(), m.Owner, text)
	m.done(t, err)
	_, err = m.App.Publish(t.Context(), m.Owner, d.Ladder)
	m.done(t, err)
	m.Import("student_id,given_name,family_name,birth_date,ladder,rank,rank_since,classes_since_rank\n" +
		"401,Ari,Tested,2017-03-03,pair,,2026-02-01,30\n402,Bo,Tested,2017-03-03,pair,,2026-02-01,30\n403,Cleo,Tested,2017-03-03,pair,,2026-02-01,30\n" +
		"404,Dov,Tested,2017-03-03,pair,low,2026-02-01,30\n405,Zoé,Tested,2017-03-03,pair,low,2026-02-01,30\n")
	g, err := m.App.CreateGrading(t.Context(), m.Owner, app.NewGrading{Title: "Of two ranks", Day: rankwright.NewDay(2026, 10, 10), Ladder: "pair", Ranks: []rankwright.RankID{"low", "high"}})
	m.done(t, err)
	m.grading = g.ID
	for i := range 5 {
		m.done(t, m.App.EnterAnyway(t.Context(), m.Owner, g.ID, rankwright.StudentID(fmt.Sprint(401+i)), "for the test"))
	}
	m.done(t, m.App.SetPanel(t.Context(), m.Owner, g.ID, []string{m.mira.ID, m.jonas.ID}, m.mira.ID))
	m.done(t, m.App.Move(t.Context(), m.Owner, g.ID, app.OnTheMat))
	for _, e := range m.view(t).Entries {
		if e.Rank == "low" {
			low = append(low, e.Entry.ID)
		} else {
			high = append(high, e.Entry.ID)
		}
	}
	if len(low) != 3 || len(high) != 2 {
		t.Fatalf("%d for Low, %d for High", len(low), len(high))
	}
	return low, high
}

func TestASquadOfTwoRanksIsOneGrid(t *testing.T) {
	m := newMat(t)
	low, high := m.mixed(t)
	v := m.as(t, m.mira)
	at := m.path("/marks?squad=1")
	v.get(m.path("/marks")).says(t, http.StatusOK, `href="`+at+`"`, "Everybody, together", `<span class="num">0</span> of <span class="num">18</span> marks given`, "5 students side by side")
	page := v.get(at)
	page.says(t, http.StatusOK, "<h1><span class=\"visually-hidden\">Marks: </span>Everybody</h1>", "By rank:", `href="`+m.path("/marks/low")+`">Low</a>`, `href="`+m.path("/marks/high")+`">High</a>`,
		`title="Ari, Low"`, `<span class="mat-of"><bdi>Low</bdi></span><span class="mat-name" data-n="5"><bdi>Ari</bdi>`, `data-q="H1" data-v=""`, "0 of 18 marked",
		`<option value="basics">Basics</option><option value="falls">Falls</option>`, `Promise <span class="soft mat-note"><bdi>Low</bdi></span>`)
	if n := strings.Count(page.body, `class="mat-not"`); n != 2+2+3 { // Promise and Side fall of High, Forward roll of Low
		t.Errorf("%d cells are not asked, want 7", n)
	}
	for _, e := range append(slices.Clone(low), high...) {
		if strings.Count(page.body, `data-e="`+string(e)+`"`) != 1 {
			t.Errorf("%s has not one column", e)
		}
	}
	for _, rank := range []string{"low", "high"} { // for who marks without scripts
		page.says(t, http.StatusOK, `<a href="`+m.path("/marks/"+rank)+"?row=")
	}
	// A squad of one rank, a number that is none, and nobody's squad lead to the choice.
	m.done(t, m.App.SetSquad(t.Context(), m.Owner, low[0], 2))
	for _, query := range []string{"?squad=2", "?squad=0", "?squad=x", "?squad=9"} {
		v.get(m.path("/marks"+query)).says(t, http.StatusOK, "Which squad, or which rank, do you mark?")
	}
	v.get(m.path("/marks")).says(t, http.StatusOK, "Squad 1, together", "4 students")
	v.get(m.path("/marks/low?squad=1")).says(t, http.StatusOK, "Also in squad 1:", `href="`+at+`">All together</a>`)
	if two := v.get(m.path("/marks/low?squad=2")); strings.Contains(two.body, "All together") {
		t.Error("a squad of one rank is offered together")
	}
	// Who is not on the panel marks nothing; an instructor types in for an examiner.
	m.as(t, m.outside).get(at).says(t, http.StatusOK, "You are not on this panel")
	typed := m.as(t, m.instructor).get(m.path("/marks?squad=1&as=" + m.jonas.ID))
	typed.says(t, http.StatusOK, `data-as="`+m.jonas.ID+`"`, `<input type="hidden" name="squad" value="1">`, m.path("/marks/high?as="+m.jonas.ID))
	if strings.Index(typed.body, `name="as"`) > strings.Index(typed.body, `name="squad"`) {
		t.Error("the form leads to another address than the one that is kept")
	}
}

// Of ranks above those that an examiner examines nothing is in their grid.
func TestARankThatAnExaminerDoesNotExamineIsNotInTheirSquad(t *testing.T) {
	m := newMat(t)
	v := m.as(t, m.low)
	list := v.get(m.path("/marks"))
	if strings.Contains(list.body, "together") {
		t.Error("a squad is offered together to whom only one rank of it is left")
	}
	page := v.get(m.path("/marks?squad=1"))
	page.says(t, http.StatusOK, `data-e="`+string(m.reed[0])+`"`)
	if strings.Contains(page.body, `data-e="`+string(m.indigo(t))+`"`) {
		t.Error("a child of a rank above has a column")
	}
}

// One tap gives each child the mark under the name that its own rank has for
// it; the page opens without a connection, and no sheet of the ranks that the
// device keeps is older than what was tapped here.
func TestInTheBrowserASquadOfTwoRanksIsMarkedTogetherThroughALostConnection(t *testing.T) {
	m := newMat(t)
	low, high := m.mixed(t)
	g := m.gatedTLS(t, nil)
	b := browser(t, untrusted)
	b.phone()
	b.errors()
	b.signIn(m.URL, m.mira.Name, "three quiet otters")
	b.open(m.URL + m.path("/marks"))
	b.tap(`a[href$="/marks?squad=1"]`)
	b.until(`location.search === '?squad=1' && ` + allSaved)
	b.until(reopens)
	eval[bool](b, findCell)
	rows := eval[[]string](b, `[...document.querySelectorAll('tr[data-q]')].map((r) => r.dataset.show + ' ' + r.querySelectorAll('button.tap').length)`)
	if want := []string{"Bow 5", "Promise 3", "Front kick 5", "Side fall 3", "Forward roll 2"}; !slices.Equal(rows, want) {
		t.Fatalf("the rows are %q, want %q", rows, want)
	}
	want := map[string]string{}
	tapped := func(q, value string, entries ...rankwright.EntryID) {
		for _, e := range entries {
			want[string(e)+" "+q] = value
		}
	}
	b.tapAll("L1")
	tapped("L1", "1", low...)
	tapped("H1", "1", high...)
	b.tapCell(high[1], "L1") // an exception, in the row that is called by the other rank's name
	tapped("H1", "0", high[1])
	b.tapAll("L3") // each as their own rank asks
	tapped("L3", "1", low...)
	tapped("H2", "2", high...)
	b.until(allSaved)
	b.keeps(m.path("/marks"), m.path("/marks/high"), m.path("/marks/low"), m.path("/marks?squad=1"))
	compare := func() {
		t.Helper()
		got := map[string]string{}
		for _, l := range m.log(t) { // by one device, in the order of its clock
			got[string(l.Entry)+" "+string(l.Requirement)] = l.Value.String()
		}
		for k, v := range want {
			if got[k] != v {
				t.Errorf("%s: the base has %q, tapped was %q", k, got[k], v)
			}
		}
		if len(got) != len(want) {
			t.Errorf("%d marks are in the base, %d were tapped", len(got), len(want))
		}
	}
	compare()

	g.set(true)
	says := func(e rankwright.EntryID, q string) string {
		t.Helper()
		eval[bool](b, findCell)
		return eval[string](b, cellOf(e, q)+".getAttribute('aria-label')")
	}
	here := func(path, q string, e rankwright.EntryID, like string) {
		t.Helper()
		b.open(m.URL + m.path(path))
		b.until(`location.href.endsWith('` + path + `') && !/^Getting/.test(document.getElementById('mat-saved').textContent)`)
		if got := says(e, q); !strings.Contains(got, like) {
			t.Errorf("%s: %q, want %q in it", path, got, like)
		}
	}
	here("/marks/high", "H1", high[1], "Bow: not shown")
	here("/marks/low", "L3", low[0], "Front kick: 1, reached")
	here("/marks?squad=1", "L1", high[1], "Bow: not shown")
	b.tapAll("L4")
	tapped("L4", "1", low...)
	b.until(`/^3 marks not sent yet/.test(document.getElementById('mat-saved').textContent)`)
	b.open(m.URL + m.path("/marks?squad=1")) // loaded again without a connection
	b.until(`/^3 marks not sent yet/.test(document.getElementById('mat-saved').textContent)`)
	g.set(false)
	eval[bool](b, `dispatchEvent(new Event('online'))`)
	b.until(allSaved)
	compare()

	// A fresh page of the squad has the ranks' kept sheets made anew before it lets its marks go.
	b.open(m.URL + m.path("/marks?squad=1"))
	b.until(allSaved)
	b.until(forgotten)
	g.set(true)
	here("/marks/low", "L4", low[2], "Side fall: shown")
	here("/marks/high", "H2", high[0], "Front kick: 2, reached")
	g.set(false)

	// The page hears that its squad is another one now.
	b.open(m.URL + m.path("/marks?squad=1"))
	b.until(allSaved)
	m.done(t, m.App.SetSquad(t.Context(), m.Owner, high[0], 2))
	b.until(`!document.getElementById('mat-old').hidden`)

	// A squad that is not kept is not another one: the page says so and lists what is.
	b.open(m.URL + m.path("/marks?squad=1"))
	b.until(allSaved)
	g.set(true)
	b.open(m.URL + m.path("/marks?squad=2"))
	b.until(`document.querySelector('h1').textContent === 'No connection' && document.body.textContent.includes('Squad 1, together')`)

	// A session that has ended leaves nothing to read.
	g.set(false)
	for range 5 { // an answer that is under way brings the cookie back; one that takes longer than the worker's patience, the kept page
		if _, err := chromedp.Call(b.ctx, network.ClearBrowserCookies, cdp.Empty{}); err != nil {
			t.Fatal(err)
		}
		b.open(m.URL + m.path("/marks?squad=1"))
		if eval[string](b, `location.pathname`) == "/sign-in" {
			break
		}
	}
	b.until(`location.pathname === '/sign-in'`)
	b.keeps()
}

// A run that was begun on a squad's page goes on on the sheet of its rank too,
// and the child's own page says the rank.
func TestInTheBrowserAStopwatchOfASquadGoesOnOnTheSheetOfItsRank(t *testing.T) {
	m := newMat(t)
	b := browser(t)
	b.phone()
	b.errors()
	b.signIn(m.URL, m.mira.Name, "three quiet otters")
	b.open(m.URL + m.path("/marks?squad=1"))
	b.until(allSaved)
	b.tap(`th[data-e="` + string(m.reed[0]) + `"]`)
	b.until(`document.getElementById('mat-child').open && document.querySelector('#mat-child [data-part="of"]').innerText === 'Reed'`)
	b.tap(`#mat-child [value="close"]`)
	eval[bool](b, `document.querySelector('tr[data-q="RE-SM3"] .mat-time').scrollIntoView({block: 'center'}), true`)
	b.tap(`tr[data-q="RE-SM3"] .mat-time`)
	b.until(`document.getElementById('mat-watch').open`)
	b.tap(`[data-watch="start"]`)
	time.Sleep(300 * time.Millisecond)
	b.open(m.URL + m.path("/marks/indigo")) // other children
	b.until(allSaved)
	time.Sleep(900 * time.Millisecond)
	if eval[bool](b, `document.getElementById('mat-watch').open`) {
		t.Error("the run was taken up on a sheet without its children")
	}
	b.open(m.URL + m.path("/marks/reed"))
	b.dialogSays("This page was closed while the run went on")
	b.tap(`.mat-lanes li:nth-child(2) .mat-lane`)
	b.tap(`[data-watch="stop"]`)
	b.until(allSaved)
	if got := m.counts(t)[string(m.reed[1])+" RE-SM3"]; got == "" {
		t.Error("Ben has no time")
	}
}

// A child of a further rank who joins the squad, and the last of a rank who
// leaves it, make its page old; another squad's children do not.
func TestTheSheetOfASquadIsOldWhenItsChildrenAreOthers(t *testing.T) {
	m := newMat(t)
	low, high := m.mixed(t)
	squad := func(e rankwright.EntryID, n int) { t.Helper(); m.done(t, m.App.SetSquad(t.Context(), m.Owner, e, n)) }
	state := func(n int) string {
		t.Helper()
		now, err := m.App.MatNow(t.Context(), m.mira, m.grading)
		m.done(t, err)
		return now.Sheets[app.SquadSheet(n)]
	}
	squad(low[0], 2)
	first := state(1)
	v := m.as(t, m.mira)
	v.get(m.path("/marks?squad=1")).says(t, http.StatusOK, `data-sheet="#1=`+first+`"`)
	squad(low[0], 3)
	if state(1) != first || state(2) != "" {
		t.Error("what changes in another squad makes this one's page old, or an empty squad has a sheet")
	}
	for _, e := range high {
		squad(e, 3)
	}
	if state(1) == first {
		t.Error("the page of a squad that lost a rank counts as fresh")
	}
	two := state(1)
	squad(high[0], 1)
	if state(1) == two {
		t.Error("the page of a squad that a child of another rank joined counts as fresh")
	}
	three := state(1)
	m.done(t, m.App.Waive(t.Context(), m.Owner, store.Waiver{Grading: m.grading, Rank: "high", Entry: high[0], Requirement: "H1", Reason: "a sore wrist"}))
	if state(1) == three {
		t.Error("what is waived for a child makes no page old")
	}
}
