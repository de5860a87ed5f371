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
