package web_test

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"rankwright/internal/app"
)

// report is a device's word on itself.
func (v *visitor) report(m *mat, body string) reply {
	v.t.Helper()
	req, _ := http.NewRequest(http.MethodPost, m.URL+m.path("/device"), strings.NewReader(body))
	req.Header.Set("Accept", "application/json")
	return v.read(v.c.Do(req))
}

// D-19 on the pages: numbers that never came stand on the board in words, in
// JSON and in the stream, also after the device was thrown out, and going on
// takes the head instructor's reason.
func TestNumbersThatNeverCameStandOnTheBoard(t *testing.T) {
	m := newMat(t)
	desk := m.as(t, m.Owner)
	d := m.paired(t, desk)
	stream := desk.events(m.path("/events"), "")
	if e := stream.want("missing"); e.data != `{"missing":[]}` {
		t.Errorf("the stream begins with %s", e.data)
	}
	send := func(seqs ...int) {
		t.Helper()
		var marks []any
		for _, n := range seqs {
			marks = append(marks, m.sent(n, m.reed[0], "RE-ET1", "1"))
		}
		if status, _, body := d.send(m, map[string]any{"v": 1, "marks": marks}); status != 200 {
			t.Fatal(body)
		}
	}
	d.report(m, `{"device":"d-1","unsent":0,"seq":0}`).says(t, 200)
	send(1, 2, 3, 7, 8)
	d.report(m, `{"device":"d-1","unsent":5,"seq":10}`).says(t, 200)
	board := desk.get(m.path("/board"))
	board.says(t, 200, "5 marks that were made have not come.", "5 marks not sent yet", "board-open")
	if strings.Contains(board.body, "never came") {
		t.Error("marks that the device still has are told to be lost")
	}
	d.report(m, `{"device":"d-1","unsent":4,"seq":11,"elsewhere":[[6,6],[11,11]]}`).says(t, 200) // those are of another grading
	desk.get(m.path("/missing")).says(t, 200, `"numbers":[[4,5],[9,10]],"count":4`)
	d.report(m, `{"device":"d-1","unsent":2,"seq":10}`).says(t, 200) // two are gone
	desk.get(m.path("/board")).says(t, 200, "Numbers 4–5, 9–10 of Device (Mira Oduya) never came, and the device says that it has only 2 marks to send.")
	view, err := m.App.Pairing(t.Context(), m.Owner, m.grading)
	m.done(t, err)
	desk.post(m.path("/pair/end"), url.Values{"device": {string(view.Devices[0].ID)}}).says(t, 303)
	desk.get(m.path("/board")).says(t, 200, "Numbers 4–5, 9–10 of Device (Mira Oduya) never came: the device may not send any more.", "Pair it again")
	desk.get(m.path("/missing")).says(t, 200, `"device":"Device","examiner":"Mira Oduya","numbers":[[4,5],[9,10]],"count":4,"holds":"thrown_out","accepted":false`)
	for range 9 {
		if e := stream.want("missing"); strings.Contains(e.data, "thrown_out") {
			break
		}
	}
	to := url.Values{"to": {"deciding"}}
	desk.post(m.path("/move"), to).says(t, 422, "Marks have not come", "Numbers 4–5, 9–10", "Why it goes on without these marks", "Decide without them")
	iva := m.as(t, m.instructor)
	if r := iva.post(m.path("/move"), url.Values{"to": {"deciding"}, "accept": {"so"}}); r.status != 422 || strings.Contains(r.body, "<textarea") || !strings.Contains(r.body, "Only the head instructor") {
		t.Errorf("an instructor is answered with %d\n%s", r.status, r.body)
	}
	to.Set("accept", "  ")
	desk.post(m.path("/move"), to).says(t, 422, "Write why.")
	to.Set("accept", strings.Repeat("so ", 300))
	desk.post(m.path("/move"), to).says(t, 422, "longer than 600")
	to.Set("accept", "The phone is lost; Ana was marked again.")
	if r := desk.post(m.path("/move"), to); r.status != http.StatusSeeOther {
		t.Fatalf("%d\n%s", r.status, r.body)
	}
	desk.get(m.path("/board")).says(t, 200, "The head instructor has accepted that it goes on without them.")
	if r := desk.get(m.path("/sign")); strings.Contains(r.body, "Numbers 4–5") {
		t.Error("what was accepted is asked again before signing")
	}
	d2 := m.paired(t, desk) // the device is found after all
	d2.report(m, `{"device":"d-1","unsent":6,"seq":14}`).says(t, 200)
	for _, e := range m.view(t).Entries {
		m.done(t, m.App.SetPresence(t.Context(), m.Owner, e.Entry.ID, "absent"))
	}
	m.Now = m.Now.Add(24 * time.Hour)
	m.At("2026-10-11")
	desk = m.as(t, m.Owner)
	desk.get(m.path("/sign")).says(t, 200, "Marks that have not come", "Numbers 4–5, 9–10, 12–14", "Why it goes on")
	desk.post(m.path("/sign"), nil).says(t, 422, "Numbers 4–5, 9–10, 12–14", "Sign without them")
	if r := desk.post(m.path("/sign"), url.Values{"accept": {"They were all absent."}}); r.status != http.StatusSeeOther {
		t.Fatalf("%d\n%s", r.status, r.body)
	}
	lines, err := m.App.Audit(t.Context(), m.Owner, 0, 1)
	m.done(t, err)
	if lines[0].Act != string(app.SignGrading) || !strings.Contains(lines[0].Detail, "They were all absent.") {
		t.Errorf("%+v", lines[0])
	}
	m.as(t, m.mira).get(m.path("/missing")).says(t, 403)
}

func TestADevicesClockIsToldToItAndToTheHeadInstructor(t *testing.T) {
	m := newMat(t)
	desk := m.as(t, m.Owner)
	d := m.paired(t, desk)
	now := m.Now.UnixMilli()
	for _, c := range []struct {
		off           time.Duration
		says, onBoard string
	}{
		{3 * time.Minute, `"clock_off_ms":180000`, "its clock is 3 minutes ahead"},
		{-time.Hour, `"clock_off_ms":-3600000`, "its clock is 1 hour behind"},
		{366 * 24 * time.Hour, `"clock_off_ms":31622400000`, "its clock is 366 days ahead"},
	} {
		d.report(m, fmt.Sprintf(`{"device":"d-1","unsent":0,"seq":0,"sent":%d}`, now+c.off.Milliseconds())).says(t, 200, c.says)
		desk.get(m.path("/board")).says(t, 200, c.onBoard)
	}
	if r := d.report(m, fmt.Sprintf(`{"unsent":0,"sent":%d}`, now)); strings.Contains(r.body, "clock_off") {
		t.Errorf("a right clock is told to be off: %s", r.body)
	}
	for _, bad := range []string{`{"unsent":0,"seq":-1}`, `{"unsent":0,"seq":9007199254740992}`, `{"unsent":0,"sent":-5}`, `{"unsent":0,"seq":"7"}`, `{"unsent":0,"device":"a\nb"}`,
		`{"unsent":0,"elsewhere":[[0,3]]}`, `{"unsent":0,"elsewhere":[[4,3]]}`, `{"unsent":0,"elsewhere":[7]}`, `{"unsent":0,"elsewhere":[[1,9007199254740992]]}`} {
		d.report(m, bad).says(t, 422)
	}
}

func TestRefusedMarksStandOnThePages(t *testing.T) {
	m := newMat(t)
	v := m.as(t, m.mira)
	v.send(m, map[string]any{"v": 1, "marks": []any{m.sent(1, m.reed[0], "RE-SM1", "9"), m.sent(2, "nobody", "RE-ET1", "1"), map[string]any{"id": "m-3"}}})
	desk := m.as(t, m.Owner)
	board := desk.get(m.path("/board"))
	board.says(t, 200, "Refused marks", "Ana Abara, Reed, ", "9 cannot be the mark of", "A mark that names nobody")
	if strings.Contains(board.body, "never came") {
		t.Error("a refused number is told to have never come")
	}
	v.get(m.path("/refused")).says(t, 200, "Ana Abara", "not entered in this grading", "It cannot be read: the key &#34;device&#34; is missing", "Seen to")
	m.as(t, m.jonas).get(m.path("/refused")).says(t, 200, "No mark waits")
	m.as(t, m.assistant).get(m.path("/refused")).says(t, 403)
	if r := m.as(t, m.jonas).post(m.path("/refused"), url.Values{"number": {"1"}}); r.status != 404 {
		t.Errorf("another examiner's is answered with %d", r.status)
	}
	v.post(m.path("/refused"), url.Values{"number": {"1"}}).says(t, 303)
	desk.post(m.path("/refused"), url.Values{"number": {"2"}, "board": {"yes"}}).says(t, 303)
	desk.post(m.path("/refused"), url.Values{"number": {"x"}}).says(t, 422)
	if r := desk.get(m.path("/board")); strings.Contains(r.body, "Ana Abara, Reed, ") || !strings.Contains(r.body, "names nobody") {
		t.Error("the list does not follow what was seen to")
	}
	// A paired device sees its examiner's too, and has a way back to the marks.
	d := m.paired(t, desk)
	d.get(m.path("/refused")).says(t, 200, "names nobody", m.path("/marks"))
}
