package web_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
)

// An examiner who stands before one squad sees its columns alone, and the page
// that somebody types from paper stays with that squad to its last row.
func TestASquadIsMarkedByItself(t *testing.T) {
	m := newMat(t)
	v := m.as(t, m.mira)
	if one := v.get(m.path("/marks/reed")); strings.Contains(one.body, "mat-squads") {
		t.Error("a rank with one squad asks which")
	}
	for _, e := range m.reed[3:] {
		m.done(t, m.App.SetSquad(t.Context(), m.Owner, e, 2))
	}

	list := v.get(m.path("/marks"))
	list.says(t, http.StatusOK, m.path("/marks/reed?squad=1"), m.path("/marks/reed?squad=2"), "Squad 1", "Squad 2")

	columns := func(query string) (out []string) {
		page := v.get(m.path("/marks/reed" + query))
		page.says(t, http.StatusOK, `aria-label="Squads"`)
		for _, e := range m.reed {
			if strings.Contains(page.body, `data-e="`+string(e)+`"`) {
				out = append(out, string(e))
			}
		}
		return out
	}
	for query, want := range map[string]int{"?squad=1": 3, "?squad=2": 3, "": 6, "?squad=7": 6, "?squad=x": 6} {
		if got := columns(query); len(got) != want {
			t.Errorf("%q shows %d children, want %d", query, len(got), want)
		}
	}
	if got := columns("?squad=2"); got[0] != string(m.reed[3]) {
		t.Errorf("squad 2 begins with %s, want %s", got[0], m.reed[3])
	}
	v.get(m.path("/marks/reed?squad=2")).says(t, http.StatusOK, "row=RE-ET1&amp;squad=2", `aria-current="page">Squad 2`)

	row := v.get(m.path("/marks/reed?row=RE-ET1&squad=2"))
	row.says(t, http.StatusOK, `name="squad" value="2"`, "value."+string(m.reed[3])+".1")
	if strings.Contains(row.body, "value."+string(m.reed[0])+".1") {
		t.Error("the row of squad 2 asks for a child of squad 1")
	}
	k := string(m.reed[3]) + ".1"
	saved := v.post(m.path("/marks/reed"), url.Values{"row": {"RE-ET1"}, "as": {m.mira.ID}, "squad": {"2"}, "value." + k: {"1"}, "was." + k: {""}, "note." + k: {""}, "note-was." + k: {""}})
	if saved.status != http.StatusSeeOther || !strings.Contains(saved.to, "squad=2") {
		t.Errorf("after saving: %d to %q, want the next row of squad 2", saved.status, saved.to)
	}
	if log := m.log(t); len(log) != 1 || log[0].Entry != m.reed[3] {
		t.Errorf("the log holds %v, want one mark of squad 2", log)
	}
}
