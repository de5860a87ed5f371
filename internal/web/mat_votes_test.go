package web_test

import (
	"strings"
	"testing"

	"rankwright/scoring"
)

const voted = `rankwright: syllabus 1
ladder: voted
name: Voted
sections:
  exam: Examination
pass: {total: 60%}
ranks:
  - id: first
    name: First
    belt: {colour: black, hex: "#101010"}
    panel: [{size: 2, consents: 2}]
    asks:
      - {id: form, section: exam, show: Shows the form, kind: tick, points: 2}
      - {id: vote, section: exam, show: Consent, kind: consent}
`

func TestVotesOfOthersAreHiddenUntilAllAreIn(t *testing.T) {
	m := newMat(t)
	entries := m.on(t, voted, "voted", "first", m.instructor, m.Owner)
	m.Mark(m.Owner, m.grading, entries[0], "vote", scoring.N(0))
	m.Mark(m.Owner, m.grading, entries[0], "form", scoring.N(1))
	v := m.as(t, m.instructor)
	r := v.get(m.path("/marks/first"))
	r.says(t, 200, `data-o="1 of 2 votes are in; they are shown when all are" aria-label="Ari, Consent: no mark"`, "Ari, Shows the form: 1 marked, no mark")
	if strings.Contains(r.body, m.Owner.Name+": no") {
		t.Error("a vote of another is shown before all are in")
	}
	m.Mark(m.instructor, m.grading, entries[0], "vote", scoring.N(1))
	v.get(m.path("/marks/first")).says(t, 200, m.Owner.Name+": no", "Ari, Consent: differ between examiners, yes")
	m.Mark(m.instructor, m.grading, entries[0], "vote", scoring.Value{}) // taken back
	if r := v.get(m.path("/marks/first")); strings.Contains(r.body, m.Owner.Name+": no") {
		t.Error("a vote that is taken back leaves the others open")
	}
}
