package web_test

import (
	"strings"
	"testing"
	"time"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/scoring"
)

// rounds plans and publishes a morning for the grading; the six for Reed are here.
func (m *mat) rounds(t *testing.T) {
	t.Helper()
	m.done(t, m.App.Move(t.Context(), m.Owner, m.grading, app.Timetabled))
	like := app.LikeUsual()
	like.Panel, like.Mixed, like.Least = 1, 6, 1
	_, err := m.App.AddSession(t.Context(), m.Owner, m.grading, app.SittingsRow{Day: rankwright.NewDay(2026, 10, 10), From: 9 * 60, Until: 10 * 60, Mats: []string{"A", "B"}, Minutes: 60, Like: like})
	m.done(t, err)
	m.done(t, m.App.StartPlan(t.Context(), m.Owner, m.grading, app.PlanOptions{}))
	m.done(t, m.App.AwaitPlan(t.Context(), m.grading))
	m.done(t, m.App.PublishTimetable(t.Context(), m.Owner, m.grading))
	m.done(t, m.App.Move(t.Context(), m.Owner, m.grading, app.OnTheMat))
	for _, e := range m.reed {
		m.done(t, m.App.SetPresence(t.Context(), m.Owner, e, "present"))
	}
}

func (m *mat) clock(hour, minute int) {
	m.Now = time.Date(2026, 10, 10, hour, minute, 0, 0, time.Local)
}

// "Is a squad behind time?" is answered at a glance, and what is said of each
// squad under it.
func TestTheBoardAnswersWhetherASquadIsBehindTime(t *testing.T) {
	m := newMat(t)
	desk := m.as(t, m.Owner)
	if page := desk.get(m.path("/board")); strings.Contains(page.body, "behind time") {
		t.Error("without a timetable the board speaks of time")
	}
	m.rounds(t)
	m.clock(8, 59)
	if page := desk.get(m.path("/board")); strings.Contains(page.body, "behind time") {
		t.Error("before the first sitting the board speaks of time")
	}
	m.clock(9, 1)
	desk.get(m.path("/board")).says(t, 200, `Is a squad behind time?</h2><p class="lead">No.</p>`, `<strong>Squad 1</strong> <span class="small"><bdi>Reed</bdi></span> <span class="board-where">Etiquette, until 09:06: 0 of 8 marks</span>`, `<span class="board-where">Stance and movement, until 09:06`)
	m.clock(9, 50)
	page := desk.get(m.path("/board"))
	page.says(t, 200, `<p class="lead">Yes: Squad `, " minutes behind</strong>")
	// All is marked but one thing of an early station.
	k, _ := m.view(t).Syllabus.Rank("reed")
	for _, e := range m.reed {
		for i := range k.Requirements {
			if r := &k.Requirements[i]; !r.Before && !(e == m.reed[0] && r.ID == "RE-SM1") {
				m.Mark(m.mira, m.grading, e, r.ID, scoring.N(1))
			}
		}
	}
	desk.get(m.path("/board")).says(t, 200, `<p class="lead">No.</p>`, "has been everywhere", "1 mark is missing at Stance and movement")
}

// A squad that has begun and of which no mark comes is seen to wait, whatever
// ranks are in it, until it is done or somebody marks it.
func TestTheBoardSaysWhichSquadWaits(t *testing.T) {
	m := newMat(t)
	desk := m.as(t, m.Owner)
	m.clock(9, 0)
	indigo := m.indigo(t)
	for _, e := range append(m.reed[:2:2], indigo) {
		m.done(t, m.App.SetPresence(t.Context(), m.Owner, e, "present"))
	}
	waits := func(want string) {
		t.Helper()
		page := desk.get(m.path("/board"))
		if want == "" {
			if strings.Contains(page.body, "no mark has come") {
				t.Errorf("%s: a squad is said to wait", m.Now.Format("15:04"))
			}
			return
		}
		page.says(t, 200, want)
	}
	m.clock(9, 30)
	waits("") // nobody has begun: the children are named instead
	m.give(t, m.mira, m.reed[0], "RE-ET1", 1)
	m.clock(9, 34)
	waits("")
	m.clock(9, 35)
	waits(`/marks?squad=1">Everybody</a> <span class="small"><bdi>Reed, Indigo: no mark has come for 5 minutes; `)
	m.give(t, m.jonas, indigo, "IN-ET1", 1) // of the other rank in the squad
	waits("")
	m.clock(9, 47)
	waits("no mark has come for 12 minutes")
	for _, e := range []rankwright.EntryID{m.reed[1], indigo} {
		m.done(t, m.App.SetPresence(t.Context(), m.Owner, e, "absent"))
	}
	k, _ := m.view(t).Syllabus.Rank("reed")
	for i := range k.Requirements {
		if r := &k.Requirements[i]; !r.Bonus {
			m.give(t, m.mira, m.reed[0], r.ID, 1)
		}
	}
	m.clock(9, 59)
	waits("") // who is here has every mark
}

// What an examiner asks a second look for is on the board, and among the
// outcomes until the head instructor has decided.
func TestAnExaminerAsksForASecondLook(t *testing.T) {
	m := newMat(t)
	desk := m.as(t, m.Owner)
	send := func(n int, note string) {
		t.Helper()
		one := m.sent(n, m.reed[1], "RE-SM1", "3")
		one["note"] = note
		if _, a, body := m.as(t, m.mira).send(m, map[string]any{"v": 1, "marks": []any{one}}); len(a.Answers) != 1 || a.Answers[0].Status != "stored" {
			t.Fatal(body)
		}
	}
	asks := "Mira Oduya asks for a second look at “"
	send(1, "Lovely focus")
	if page := desk.get(m.path("/board")); strings.Contains(page.body, "Look again") {
		t.Error("a note asks for nothing")
	}
	send(2, "Lovely focus; Second look")
	for _, path := range []string{m.path("/board"), m.path("/outcomes"), "/entries/" + string(m.reed[1])} {
		page := desk.get(path)
		page.says(t, 200, asks, ": Lovely focus.")
		if n := strings.Count(page.body, asks); n != 1 {
			t.Errorf("%s says it %d times", path, n)
		}
	}
	send(3, "Lovely focus")
	if page := desk.get(m.path("/board")); strings.Contains(page.body, asks) {
		t.Error("what was taken back is still asked")
	}
}

// What was marked before the day begins nothing, so that a squad that has not
// begun is not said to wait; where nobody is checked in, who has a mark is here.
func TestWhatWasMarkedBeforeTheDayMakesNoSquadWait(t *testing.T) {
	m := newMat(t)
	low, _ := m.mixedOf(t, strings.Replace(pair, "      - {id: L2,", "      - {id: L0, section: basics, show: Nails short, kind: tick, points: 1, before_the_day: yes}\n      - {id: L2,", 1))
	desk := m.as(t, m.Owner)
	m.clock(8, 0)
	m.give(t, m.mira, low[0], "L0", 1)
	m.clock(9, 0)
	m.done(t, m.App.SetPresence(t.Context(), m.Owner, low[0], "present"))
	page := desk.get(m.path("/board"))
	page.says(t, 200, "Here, and nothing marked yet:", "Ari Tested")
	if strings.Contains(page.body, "no mark has come") {
		t.Error("a squad that has not begun is said to wait")
	}
	m.give(t, m.mira, low[1], "L1", 1) // not checked in
	m.clock(9, 6)
	desk.get(m.path("/board")).says(t, 200, "no mark has come for 6 minutes")
}

// Of several tries the note of the last one speaks, as on the page of marks.
func TestASecondLookIsAskedOnceForAllTries(t *testing.T) {
	m := newMat(t)
	low, _ := m.mixedOf(t, strings.Replace(pair, "show: Side fall, kind: tick, points: 1}", "show: Side fall, kind: tick, points: 1, tries: 2}", 1))
	desk := m.as(t, m.Owner)
	send := func(n, try int, note string) int {
		t.Helper()
		one := m.sent(n, low[0], "L4", "1")
		one["try"], one["note"] = try, note
		if _, a, body := m.as(t, m.mira).send(m, map[string]any{"v": 1, "marks": []any{one}}); len(a.Answers) != 1 || a.Answers[0].Status != "stored" {
			t.Fatal(body)
		}
		return strings.Count(desk.get(m.path("/board")).body, "asks for a second look")
	}
	if n := send(1, 1, "Second look"); n != 1 {
		t.Errorf("asked %d times", n)
	}
	if n := send(2, 2, "Second look"); n != 1 {
		t.Errorf("after a second try asked %d times", n)
	}
	if n := send(3, 2, ""); n != 0 {
		t.Errorf("taken back, and still asked %d times", n)
	}
}

// A promotion that hangs on a tick is no second look: whoever gave it saw the
// thing shown. The board knows it as the outcomes do.
func TestTheBoardAsksForNoSecondLookAtATick(t *testing.T) {
	m := newMat(t)
	low, _ := m.mixedOf(t, strings.NewReplacer("total: 60%", "total: 45%", "scale: S, expect: 1}", "scale: S, expect: 1, points: 3}").Replace(pair))
	for q, n := range map[rankwright.RequirementID]int{"L1": 1, "L2": 1, "L3": 0, "L4": 1} {
		m.give(t, m.mira, low[0], q, n)
	}
	_, o, err := m.App.OneOutcome(t.Context(), m.Owner, low[0])
	m.done(t, err)
	if len(o.Verdict.SecondLook) == 0 || len(o.Looks()) != 0 {
		t.Fatalf("this outcome shows nothing: %+v, %+v", o.Verdict.SecondLook, o.Looks())
	}
	if page := m.as(t, m.Owner).get(m.path("/board")); strings.Contains(page.body, "Look again") {
		t.Error("the board asks to look again at a tick")
	}
}
