package web_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"rankwright/internal/app"
	"rankwright/scoring"
)

// Three may examine, and two of them make a panel. Nobody sees a vote before
// two are in: not on the grid, not by the outcome, not in what is exported.
func TestAVoteIsSealedUntilThePanelHasVoted(t *testing.T) {
	m := newMat(t)
	entries := m.on(t, voted, "voted", "first", m.mira, m.jonas, m.instructor)
	e := entries[0]
	m.Mark(m.mira, m.grading, e, "form", scoring.N(1))
	m.Mark(m.mira, m.grading, e, "vote", scoring.N(0))
	const soon = "1 of 2 votes are in; they are shown when all are"
	pages := map[string]string{"the grid": m.path("/marks/first"), "the row": m.path("/marks/first?row=vote"), "the outcomes": m.path("/outcomes"),
		"the outcome": "/entries/" + string(e), "the family's page": "/entries/" + string(e) + "/family", "the board": m.path("/board")}
	look := func(who app.Actor, sealed bool) {
		t.Helper()
		v := m.as(t, who)
		for name, path := range pages {
			r := v.get(path)
			if r.status == http.StatusForbidden && who.Role == app.Examiner {
				continue
			}
			if r.status != http.StatusOK {
				t.Fatalf("%s of %s: %d", name, who.Name, r.status)
			}
			if says := strings.Contains(r.body, "Mira Oduya: no"); says && (sealed || name != "the grid") || !says && !sealed && name == "the grid" {
				t.Errorf("%s sees %s, where a vote stands: %v", who.Name, name, says)
			}
			if name == "the outcome" && (sealed != strings.Contains(r.body, "Consent: "+soon) || sealed != strings.Contains(r.body, "Marks are missing")) {
				t.Errorf("%s does not see on %s how many votes are in (%v)", who.Name, name, sealed)
			}
		}
	}
	// The head instructor is not on the panel, and sees that a vote is in.
	look(m.Owner, true)
	look(m.jonas, true)
	look(m.instructor, true)
	m.as(t, m.Owner).get("/entries/"+string(e)).says(t, 200, "Consent: "+soon)
	m.as(t, m.jonas).get(m.path("/marks/first")).says(t, 200, soon)
	if r := m.as(t, m.mira).get(m.path("/marks/first")); !strings.Contains(r.body, "Ari, Consent: no") {
		t.Error("somebody does not see their own vote")
	}
	x, err := m.App.ExportStudent(t.Context(), m.Owner, m.view(t).Entries[0].Student.ID)
	m.done(t, err)
	for _, mark := range x.Marks {
		if mark.Requirement == "vote" {
			t.Error("a vote is in what is exported before all are in")
		}
	}
	// All is in: everybody sees it, and it stays so while it is decided.
	m.Mark(m.jonas, m.grading, e, "vote", scoring.N(1))
	look(m.Owner, false)
	look(m.instructor, false)
	m.as(t, m.mira).get(m.path("/marks/first")).says(t, 200, "Jonas Tiilikainen: yes")
	m.as(t, m.jonas).get(m.path("/marks/first")).says(t, 200, "Mira Oduya: no")
	if r := m.as(t, m.jonas).get(m.path("/marks/first")); strings.Contains(r.body, "Mira Oduya: 1") {
		t.Error("with the votes another examiner's marks are shown")
	}
}

// Without the size of a panel everybody who may examine the rank votes. Once
// it is being decided those who have voted, and those who never will, see the
// votes that are in; who is still to vote does not.
func TestWhoIsStillToVoteSeesNoOtherVote(t *testing.T) {
	m := newMat(t)
	entries := m.on(t, strings.Replace(voted, "    panel: [{size: 2, consents: 2}]\n", "", 1), "voted", "first", m.mira, m.jonas, m.instructor)
	e := entries[0]
	for _, x := range entries {
		m.Mark(m.mira, m.grading, x, "form", scoring.N(1))
		m.Mark(m.mira, m.grading, x, "vote", scoring.N(0))
		m.Mark(m.jonas, m.grading, x, "vote", scoring.N(1))
	}
	at := "/entries/" + string(e)
	m.as(t, m.Owner).get(at).says(t, 200, "2 of 3 votes are in")
	m.done(t, m.App.Move(t.Context(), m.Owner, m.grading, app.Deciding))
	m.as(t, m.instructor).get(at).says(t, 200, "2 of 3 votes are in")
	if r := m.as(t, m.Owner).get(at); strings.Contains(r.body, "votes are in") {
		t.Error("the head instructor, who has no vote, waits for votes that may never come")
	}
	m.Mark(m.instructor, m.grading, e, "vote", scoring.Value{Sort: scoring.Abstain})
	if r := m.as(t, m.instructor).get(at); strings.Contains(r.body, "votes are in") {
		t.Error("somebody who abstained is kept from the votes")
	}
}

// The head instructor is on the panel and has not voted: what is signed was
// seen, so the vote comes first.
func TestNothingIsSignedOverASealedVote(t *testing.T) {
	m := newMat(t)
	entries := m.on(t, strings.Replace(voted, "    panel: [{size: 2, consents: 2}]\n", "", 1), "voted", "first", m.mira, m.Owner)
	for _, e := range entries {
		m.Mark(m.mira, m.grading, e, "form", scoring.N(1))
		m.Mark(m.mira, m.grading, e, "vote", scoring.N(1))
	}
	m.done(t, m.App.Move(t.Context(), m.Owner, m.grading, app.Deciding))
	m.At("2026-10-11")
	desk := m.as(t, m.Owner)
	desk.get(m.path("/sign")).says(t, 200, "marks are missing for")
	desk.post(m.path("/sign"), url.Values{}).says(t, 409, "Marks are missing for")
	for _, e := range entries {
		m.Mark(m.Owner, m.grading, e, "vote", scoring.N(1))
	}
	page := desk.get(m.path("/sign"))
	_, seen, _ := strings.Cut(page.body, `name="seen" value="`)
	seen, _, _ = strings.Cut(seen, `"`)
	desk.post(m.path("/sign"), url.Values{"seen": {seen}}).says(t, 303)
}
