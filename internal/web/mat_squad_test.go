package web_test

import (
	"html"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"

	"rankwright"
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

	// Who moves on with another rank's children of the squad finds them at once.
	indigo := v.get(m.path("/marks/indigo"))
	indigo.says(t, http.StatusOK, "Also in squad 1:", `href="`+m.path("/marks/reed?squad=1")+`">Reed</a>`)
	v.get(m.path("/marks/reed?squad=1")).says(t, http.StatusOK, "Also in squad 1:", `href="`+m.path("/marks/indigo")+`">Indigo</a>`)
	if two := v.get(m.path("/marks/reed?squad=2")); strings.Contains(two.body, "Also in squad") {
		t.Error("a squad of one rank names another")
	}

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

// What is typed from a printed score table comes in the order of its columns:
// squad by squad, and of a second table its own children alone. Otherwise a
// digit and Enter would go to another child than the one on the paper.
func TestAScoreTableIsTypedInTheOrderInWhichItIsPrinted(t *testing.T) {
	m := newMat(t)
	m.Import(`student_id,given_name,family_name,birth_date,ladder,rank,rank_since,classes_since_rank
109,Iris,Iwu,2016-02-14,youth,,2026-02-01,30
110,Jun,Jansen,2016-03-03,youth,,2026-02-01,30
111,Kofi,Kaya,2016-12-03,youth,,2026-02-01,30
`)
	for _, id := range []rankwright.StudentID{"109", "110", "111"} {
		m.done(t, m.App.EnterAnyway(t.Context(), m.Owner, m.grading, id, "for the test"))
	}
	n := 0
	for _, e := range m.view(t).Entries {
		if e.Rank == "reed" {
			m.done(t, m.App.SetSquad(t.Context(), m.Owner, e.Entry.ID, 2-n%2)) // every second one
			n++
		}
	}
	v := m.as(t, m.instructor)
	paper := v.get(m.path("/paperwork"))
	heads := func(part string) (out []string) {
		t.Helper()
		text := reads(t, "pdftotext", v.get(m.path("/paperwork/score-table.pdf?rank=reed&part="+part)).body, "-layout", "-l", "1")
		_, line, _ := strings.Cut(text, "Requirement")
		line, _, _ = strings.Cut(line, "\n")
		for _, name := range regexp.MustCompile(`\S+ [A-Z]\.`).FindAllString(line, -1) {
			out = append(out, strings.Fields(name)[0])
		}
		return out
	}
	total := 0
	for _, part := range []string{"1", "2"} {
		address := "/marks/reed?row=RE-ET1&table=" + part
		paper.says(t, http.StatusOK, html.EscapeString(m.path(address)))
		want := heads(part)
		var got []string
		form := v.get(m.path(address + "&as=" + m.mira.ID))
		for _, x := range regexp.MustCompile(`<label class="label" for="[^"]*value[^"]*">(\S+)`).FindAllStringSubmatch(form.body, -1) {
			got = append(got, strings.TrimSuffix(x[1], `</label>`))
		}
		if len(want) == 0 || !slices.Equal(got, want) {
			t.Errorf("table %s: typed %q, printed %q", part, got, want)
		}
		total += len(want)
		form.says(t, http.StatusOK, `name="table" value="`+part+`"`)
		saved := v.post(m.path("/marks/reed"), url.Values{"row": {"RE-ET1"}, "as": {m.mira.ID}, "table": {part}})
		if saved.status != http.StatusSeeOther || !strings.Contains(saved.to, "row=RE-ET2&table="+part) {
			t.Errorf("after saving: %d to %q, want the next row of table %s", saved.status, saved.to, part)
		}
	}
	if total != 9 {
		t.Errorf("%d children are printed, want 9", total)
	}
}
