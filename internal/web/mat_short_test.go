package web_test

import (
	"strings"
	"testing"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/scoring"
)

// again signs the grading with a promise and a fall of Ana Abara that are not
// there yet, and opens another one a month later.
func (m *mat) again(t *testing.T) {
	t.Helper()
	v := m.view(t)
	for _, e := range v.Entries {
		m.done(t, m.App.SetPresence(t.Context(), m.Owner, e.Entry.ID, "absent"))
	}
	m.done(t, m.App.SetPresence(t.Context(), m.Owner, m.reed[0], "present"))
	k, _ := v.Syllabus.Rank("reed")
	for i := range k.Requirements {
		if q := &k.Requirements[i]; !q.Bonus {
			n := scoring.N(1) // a tick; less than is asked of the promise and of a fall
			if x := q.Expected(0); x > 0 && q.ID != "RE-BF1" {
				n = scoring.Value{Sort: scoring.Number, Num: x}
			}
			m.Mark(m.mira, m.grading, m.reed[0], q.ID, n)
		}
	}
	m.At("2026-10-10")
	m.done(t, m.App.Move(t.Context(), m.Owner, m.grading, app.Deciding))
	m.done(t, m.App.Sign(t.Context(), m.Owner, m.grading, ""))
	m.At("2026-11-07")
	g, err := m.App.CreateGrading(t.Context(), m.Owner, app.NewGrading{Title: "Another look", Day: rankwright.NewDay(2026, 11, 7), Ladder: "youth", Ranks: []rankwright.RankID{"reed"}})
	m.done(t, err)
	m.grading = g.ID
	m.done(t, m.App.SetPanel(t.Context(), m.Owner, g.ID, []string{m.mira.ID}, m.mira.ID))
	for _, id := range []rankwright.StudentID{"101", "102"} {
		m.done(t, m.App.EnterAnyway(t.Context(), m.Owner, g.ID, id, "for the test"))
	}
	m.done(t, m.App.Move(t.Context(), m.Owner, g.ID, app.OnTheMat))
}

// The row of a fall that fell short names the child, or the heading where the
// rule looked at a section as a whole; nothing else does, and nobody else is
// named.
func TestTheScoringPageNamesWhomToLookAtClosely(t *testing.T) {
	m := newMat(t)
	v := m.as(t, m.mira)
	if page := v.get(m.path("/marks/reed")); strings.Contains(page.body, "last time") {
		t.Error("at a first grading the page speaks of a last time")
	}
	m.again(t)
	v = m.as(t, m.mira)
	page := v.get(m.path("/marks/reed"))
	page.says(t, 200, `Promise <span class="mat-short">not yet last time: <bdi>Ana</bdi>`)
	if n := strings.Count(page.body, "not yet last time"); n != 2 {
		t.Errorf("%d places speak of last time, want two", n)
	}
	_, row, _ := strings.Cut(page.body, `<tr data-q="RE-BF1"`)
	if row, _, _ = strings.Cut(row, "</tr>"); !strings.Contains(row, "not yet last time") {
		t.Error("it does not stand in the row of the fall")
	}
	k, _ := m.view(t).Syllabus.Rank("reed")
	for _, q := range k.Requirements {
		named := strings.Contains(v.get(m.path("/marks/reed?row="+string(q.ID))).body, "not yet last time: <bdi>Ana</bdi>")
		if want := q.ID == "RE-BF1" || q.Section == k.Requirement("RE-PR1").Section; named != want {
			t.Errorf("the form of %s names her: %v", q.ID, named)
		}
	}
}

// The printed table names her at the same two places, for those who may see
// marks; the front desk's copy does not.
func TestTheScoreTableNamesWhomToLookAtClosely(t *testing.T) {
	m := newMat(t)
	m.again(t)
	printed := func(v *visitor) string {
		t.Helper()
		return reads(t, "pdftotext", v.get(m.path("/paperwork/score-table.pdf?rank=reed")).body, "-layout")
	}
	text := printed(m.as(t, m.instructor))
	if n := strings.Count(text, "look closely: Ana A."); n != 2 || !strings.Contains(text, "Look closely: not yet there last time.") {
		t.Errorf("%d places speak of last time, want two and what it means:\n%s", n, text)
	}
	if text = printed(m.as(t, m.assistant)); strings.Contains(strings.ToLower(text), "look closely") {
		t.Error("the desk prints what it may not see")
	}
}
