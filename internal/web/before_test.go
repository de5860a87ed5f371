package web_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"rankwright/internal/app"
)

const beforeSyllabus = `rankwright: syllabus 1
ladder: seen
name: Seen before
sections:
  door: At the door
  exam: Examination
pass: {total: 50%}
ranks:
  - id: first
    name: First
    belt: {colour: black, hex: "#101010"}
    asks:
      - {id: form, section: exam, show: Shows the form, kind: tick, points: 5}
      - {id: nails, section: door, show: Nails short, kind: tick, points: 1, must: yes, before_the_day: yes}
      - {id: word, section: door, show: Helps others in class, kind: recall, of: 4, points: 4, before_the_day: yes}
`

func TestTheDeskMarksWhatIsSeenBeforeTheDay(t *testing.T) {
	m := newMat(t)
	m.as(t, m.instructor).get(m.path("/before")).says(t, 200, "Nothing to mark")
	entries := m.on(t, beforeSyllabus, "seen", "first", m.mira)
	m.done(t, m.App.Move(t.Context(), m.Owner, m.grading, app.Timetabled))
	desk, coach := m.as(t, m.assistant), m.as(t, m.instructor)
	coach.get(m.path("")).says(t, 200, "Before the day")
	coach.get(m.path("/marks/first")).says(t, 200, "No marks now", "under “Before the day”")
	coach.get(m.path("/before")).says(t, 200, "Nails short", "Helps others in class", `<span class="num">0</span> of <span class="num">6</span> marked`)
	m.as(t, m.mira).get(m.path("/before")).says(t, http.StatusForbidden)

	row := m.path("/before?rank=first")
	key := string(entries[0])
	coach.get(row+"&row=word").says(t, 200, "Type how many, 0 to 4", `autofocus`)
	coach.get(row+"&row=form").says(t, http.StatusNotFound, "Nothing of that name is seen before the day")
	coach.post(row, url.Values{"row": {"word"}, "was." + key + ".1": {""}, "value." + key + ".1": {"5"}, "value." + string(entries[1]) + ".1": {"2"}}).
		says(t, http.StatusUnprocessableEntity, `value="5"`, `value="2"`)
	if n := len(m.log(t)); n != 0 {
		t.Fatalf("%d marks of a form with a mistake", n)
	}
	if r := coach.post(row, url.Values{"row": {"word"}, "value." + key + ".1": {"3"}, "note." + key + ".1": {"always first to help"}}); r.status != http.StatusSeeOther || r.to != m.path("/before") {
		t.Fatalf("%d to %q\n%s", r.status, r.to, r.body)
	}
	coach.get(row+"&row=word").says(t, 200, `value="3"`, "always first to help")

	// At the door a tap does it, before the day and on it, by the desk alone.
	desk.get(m.path("/arrivals")).says(t, 200, "Nails short", `name="before-was.1" value="none"`)
	tick := func(was, now string) {
		t.Helper()
		if r := desk.post(m.path("/arrivals"), url.Values{"entry": {key}, "before-was.1": {was}, "before.1": {now}}); r.status != http.StatusSeeOther {
			t.Fatalf("%d\n%s", r.status, r.body)
		}
	}
	tick("none", "0")
	m.done(t, m.App.Move(t.Context(), m.Owner, m.grading, app.OnTheMat))
	tick("0", "1") // cut at the door
	tick("1", "1") // as the page had it: no mark
	desk.get(m.path("/arrivals")).says(t, 200, `name="before-was.1" value="1"`)
	if r := desk.post(m.path("/arrivals"), url.Values{"entry": {key}, "before.0": {"1"}}); r.status != http.StatusSeeOther {
		t.Errorf("%d", r.status)
	}
	var got []string
	for _, l := range m.log(t) {
		got = append(got, string(l.Requirement)+"="+l.Value.String()+" "+string(l.Examiner))
	}
	if want := "word=3 " + m.instructor.ID + ", nails=0 " + m.assistant.ID + ", nails=1 " + m.assistant.ID; strings.Join(got, ", ") != want {
		t.Errorf("the base has %q, want %q", got, want)
	}
}
