package web_test

import (
	"net/http"
	"net/url"
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

func TestAVoteIsTypedInAsItsFirstLetter(t *testing.T) {
	m := newMat(t)
	entries := m.on(t, voted, "voted", "first", m.instructor, m.Owner)
	v := m.as(t, m.instructor)
	v.get(m.path("/marks/first?row=vote")).says(t, 200, "Type y for yes, n for no, a for an abstention")
	key := string(entries[0]) + ".1"
	was := ""
	for _, c := range []struct{ typed, want string }{{"y", "yes"}, {"N", "no"}, {"a", "abstain"}, {"1", "yes"}, {"yes", "yes"}} {
		r := v.post(m.path("/marks/first"), url.Values{"row": {"vote"}, "as": {m.instructor.ID}, "was." + key: {was}, "value." + key: {c.typed}})
		if r.status != http.StatusSeeOther {
			t.Fatalf("%q: %d\n%s", c.typed, r.status, r.body)
		}
		was = c.want
		v.get(m.path("/marks/first?row=vote")).says(t, 200, `name="was.`+key+`" value="`+c.want+`"`)
	}
	r := v.post(m.path("/marks/first"), url.Values{"row": {"vote"}, "was." + key: {was}, "value." + key: {"maybe"}})
	r.says(t, http.StatusUnprocessableEntity, `value="maybe"`)
}
