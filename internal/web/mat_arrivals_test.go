package web_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"rankwright/internal/app"
)

func TestCheckingInSavesWhatWasChangedAndNothingElse(t *testing.T) {
	m := newMat(t)
	v := m.as(t, m.assistant)
	v.get(m.path("/arrivals")).says(t, 200, "8 expected", "Ana Abara", "Home note handed in", "Guardian&#39;s tick", "Here")
	e := string(m.reed[0])
	save := func(form url.Values) reply {
		form.Set("entry", e)
		return v.post(m.path("/arrivals"), form)
	}
	if r := save(url.Values{"presence": {"present"}, "presence-was": {"expected"}, "clear-was.consent": {"no"}, "clear.consent": {"yes"}, "clear-was.home_note": {"no"}}); r.status != http.StatusSeeOther {
		t.Fatalf("%d\n%s", r.status, r.body)
	}
	at := func() app.EntryView { return m.view(t).Entries[0] }
	if x := at(); x.Presence != "present" || !x.Clearances["consent"] || x.Clearances["home_note"] {
		t.Fatalf("%+v", x)
	}
	// Another person's older page does not undo it.
	save(url.Values{"presence": {"expected"}, "presence-was": {"expected"}, "clear-was.consent": {"no"}, "clear-was.home_note": {"no"}, "clear.home_note": {"yes"}})
	if x := at(); x.Presence != "present" || !x.Clearances["consent"] || !x.Clearances["home_note"] {
		t.Fatalf("an older page changed more than was changed on it: %+v", x)
	}
	save(url.Values{"presence": {"unwell"}, "presence-was": {"present"}})
	r := v.get(m.path("/arrivals"))
	r.says(t, 200, "Not examined today, next date offered.", "1 unwell")
	if strings.Contains(strings.ToLower(r.body), "temperature") {
		t.Error("the page speaks of a temperature")
	}
	save(url.Values{"presence": {"sleepy"}, "presence-was": {"unwell"}}).says(t, http.StatusUnprocessableEntity, "cannot be")
	v.post(m.path("/arrivals"), url.Values{"entry": {"none"}}).says(t, http.StatusNotFound)
	lines, err := m.App.Audit(t.Context(), m.Owner, 0, 50)
	m.done(t, err)
	n := 0
	for _, l := range lines {
		if l.Person == m.assistant.ID && l.Allowed && (l.Act == string(app.CheckIn) || l.Act == string(app.SettleClear)) {
			n++
		}
	}
	if n != 4 {
		t.Errorf("%d lines of the audit are the assistant's, want 4", n)
	}
}

// The desk is not offered what only the head instructor may do: to put a child
// back who was stopped. What is missing of that child is settled all the same.
func TestAStoppedChildIsPutBackByTheHeadInstructorAlone(t *testing.T) {
	m := newMat(t)
	m.done(t, m.App.StopChild(t.Context(), m.mira, m.grading, m.reed[0]))
	choices := func(who app.Actor) (of string) {
		t.Helper()
		_, of, _ = strings.Cut(m.as(t, who).get(m.path("/arrivals")).body, `<li id="`+string(m.reed[0])+`"`)
		of, _, _ = strings.Cut(of, "</li>")
		return of
	}
	if at := choices(m.Owner); strings.Contains(at, " disabled") || strings.Contains(at, "takes it back here") {
		t.Errorf("the head instructor cannot put the child back: %s", at)
	}
	if at := choices(m.assistant); strings.Count(at, `name="presence" value=`) != strings.Count(at, ` disabled data-say=`) || !strings.Contains(at, "the head instructor takes it back here.") {
		t.Errorf("the desk is offered to put the child back: %s", at)
	}
	r := m.as(t, m.assistant).post(m.path("/arrivals"), url.Values{"entry": {string(m.reed[0])}, "presence-was": {"stopped"}, "clear-was.consent": {"no"}, "clear.consent": {"yes"}})
	if e := m.view(t).Entries[0]; r.status != http.StatusSeeOther || e.Presence != "stopped" || !e.Clearances["consent"] {
		t.Errorf("%d, %s, %v", r.status, e.Presence, e.Clearances)
	}
}

func TestBeforeTheDayOnlyClearancesAreTicked(t *testing.T) {
	m := newMat(t)
	m.done(t, m.App.Move(t.Context(), m.Owner, m.grading, app.Timetabled))
	v := m.as(t, m.assistant)
	v.get(m.path("/arrivals")).says(t, 200, "Clearances only", "disabled")
	e := string(m.reed[0])
	v.post(m.path("/arrivals"), url.Values{"entry": {e}, "clear-was.consent": {"no"}, "clear.consent": {"yes"}})
	if !m.view(t).Entries[0].Clearances["consent"] {
		t.Error("a clearance could not be ticked before the day")
	}
	v.post(m.path("/arrivals"), url.Values{"entry": {e}, "presence": {"present"}, "presence-was": {"expected"}}).says(t, http.StatusConflict)
	if r := m.as(t, m.mira).post(m.path("/arrivals"), url.Values{"entry": {e}}); r.status != http.StatusForbidden {
		t.Errorf("an examiner checked somebody in: %d", r.status)
	}
}
