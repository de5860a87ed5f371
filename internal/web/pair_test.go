package web_test

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"rankwright/internal/app"
)

// code shows the pairing code at the desk and returns the path that a device
// opens.
func (m *mat) code(t *testing.T, desk *visitor) string {
	t.Helper()
	if r := desk.post(m.path("/pair"), nil); r.status != http.StatusSeeOther {
		t.Fatalf("no code: %d\n%s", r.status, r.body)
	}
	got := regexp.MustCompile(`<p class="pair-address">(http[^<]+)</p>`).FindStringSubmatch(desk.get(m.path("/pair")).body)
	if got == nil {
		t.Fatal("the page shows no address")
	}
	u, err := url.Parse(got[1])
	m.done(t, err)
	return u.Path
}

func (m *mat) pin(t *testing.T, desk *visitor, who app.Actor, pin string) {
	t.Helper()
	desk.post(m.path("/pair/pin"), url.Values{"person": {who.ID}, "pin": {pin}}).says(t, 200, "shown once", pin)
}

func (v *visitor) pair(path string, who app.Actor, pin string) reply {
	v.t.Helper()
	return v.post(path, url.Values{"person": {who.ID}, "pin": {pin}})
}

// paired is a device that is paired as Mira.
func (m *mat) paired(t *testing.T, desk *visitor) *visitor {
	t.Helper()
	m.pin(t, desk, m.mira, "4821")
	d := m.visit(t)
	if r := d.pair(m.code(t, desk), m.mira, "4821"); r.status != http.StatusSeeOther || r.to != m.path("/marks") {
		t.Fatalf("not paired: %d to %q\n%s", r.status, r.to, r.body)
	}
	return d
}

func TestADeviceThatIsPairedMarksForItsExaminerAtThisGradingOnly(t *testing.T) {
	m := newMat(t)
	desk := m.as(t, m.Owner)
	other, err := m.App.CreateGrading(t.Context(), m.Owner, app.NewGrading{Title: "Another", Day: m.App.Today(), Ladder: "youth"})
	m.done(t, err)
	m.done(t, m.App.SetPanel(t.Context(), m.Owner, other.ID, []string{m.mira.ID}, m.mira.ID))
	d := m.paired(t, desk)

	d.get(m.path("/marks/reed")).says(t, 200, "Mira Oduya, examiner")
	status, a, body := d.send(m, map[string]any{"v": 1, "marks": []any{m.sent(1, m.reed[0], "RE-ET1", "1")}})
	if status != 200 || a.Answers[0].Status != "stored" {
		t.Fatalf("a mark: %d %s", status, body)
	}
	if got := m.log(t); len(got) != 1 || string(got[0].Examiner) != m.mira.ID {
		t.Errorf("the mark is %+v, want Mira's", got)
	}
	if r := d.get("/"); r.status != http.StatusSeeOther || r.to != m.path("/marks") {
		t.Errorf("the first page leads to %q with %d", r.to, r.status)
	}
	for _, path := range []string{"/gradings/" + string(other.ID), "/gradings/" + string(other.ID) + "/marks", "/roster", "/syllabus", "/people", "/ledger", "/audit",
		"/entries/" + string(m.reed[0]), m.path("/board"), m.path("/pair"), m.path("/arrivals"), m.path("/outcomes"), m.path("/students")} {
		if r := d.get(path); r.status != http.StatusForbidden {
			t.Errorf("%s answers a paired device with %d", path, r.status)
		}
	}
	for _, path := range []string{"/gradings/" + string(other.ID) + "/marks", "/syllabus", m.path("/pair"), m.path("/move"), m.path("/arrivals")} {
		if r := d.post(path, url.Values{"to": {"deciding"}}); r.status != http.StatusForbidden && r.status != http.StatusNotFound && r.status != http.StatusMethodNotAllowed {
			t.Errorf("POST %s answers a paired device with %d", path, r.status)
		}
	}
	// The gate refuses the same, whatever page asks.
	who := app.Actor{ID: m.mira.ID, Role: app.Examiner, Only: m.grading, Device: "d-x"}
	if _, err := m.App.Grading(t.Context(), who, other.ID); err == nil {
		t.Error("the gate shows another grading")
	}
	if _, err := m.App.AddMarks(t.Context(), who, other.ID, nil); err == nil {
		t.Error("the gate takes marks for another grading")
	}
	if _, _, err := m.App.SaveDraft(t.Context(), app.Actor{ID: m.Owner.ID, Role: app.Owner, Only: m.grading}, "x"); err == nil {
		t.Error("the gate lets a paired device write the syllabus")
	}
}

func TestAWrongPINIsRefusedAndTheFifthLocksIt(t *testing.T) {
	m := newMat(t)
	desk := m.as(t, m.Owner)
	m.pin(t, desk, m.mira, "4821")
	m.pin(t, desk, m.jonas, "7305")
	code := m.code(t, desk)
	d := m.visit(t)
	d.get(code).says(t, 200, "Mira Oduya", "Jonas Tiilikainen", "Who are you?")
	d.pair(code, m.low, "1111").says(t, 422, "There is no PIN for you yet")
	d.pair(code, m.outside, "4821").says(t, 422, "Nobody was chosen")
	for _, says := range []string{"4 more tries", "3 more tries", "2 more tries", "one more try", "it is locked now"} {
		d.pair(code, m.mira, "7305").says(t, 422, says)
	}
	d.pair(code, m.mira, "4821").says(t, 422, "too many wrong PINs")
	if r := d.get(m.path("/marks")); r.status != http.StatusSeeOther {
		t.Errorf("a refused device sees the marks: %d", r.status)
	}
	if r := m.visit(t).pair(code, m.jonas, "7305"); r.status != http.StatusSeeOther {
		t.Errorf("one examiner's lock holds another: %d", r.status)
	}
	desk.get(m.path("/pair")).says(t, 200, "locked after five wrong PINs")
	desk.post(m.path("/pair/free"), url.Values{"person": {m.mira.ID}})
	if r := d.pair(code, m.mira, "4821"); r.status != http.StatusSeeOther {
		t.Errorf("freed, and the right PIN is refused: %d\n%s", r.status, r.body)
	}
	lines, err := m.App.Audit(t.Context(), m.Owner, 0, 50)
	m.done(t, err)
	wrong := 0
	for _, l := range lines {
		if l.Act == string(app.PairDevices) && !l.Allowed && strings.Contains(l.Detail, "wrong_pin") {
			wrong++
		}
		if strings.Contains(l.Detail, "4821") {
			t.Errorf("the audit names a PIN: %+v", l)
		}
	}
	if wrong != 5 {
		t.Errorf("the audit has %d wrong PINs, want 5", wrong)
	}
}

func TestADeviceThatIsThrownOutIsOutAtOnce(t *testing.T) {
	m := newMat(t)
	desk := m.as(t, m.Owner)
	d := m.paired(t, desk)
	page := desk.get(m.path("/pair"))
	page.says(t, 200, "Mira Oduya", "Throw out")
	id := regexp.MustCompile(`name="device" value="([^"]+)"`).FindStringSubmatch(page.body)[1]
	if r := d.get(m.path("/marks/reed")); r.status != 200 {
		t.Fatal(r.status)
	}
	desk.post(m.path("/pair/end"), url.Values{"device": {id}})
	if r := d.get(m.path("/marks/reed")); r.status != http.StatusSeeOther || r.to != "/pair" {
		t.Errorf("thrown out, and it is led to %q with %d", r.to, r.status)
	}
	d.get("/pair").says(t, 200, "This device is not paired any more", "Scan the code at the desk again", "kept on this device")
	if status, _, body := d.send(m, map[string]any{"v": 1, "marks": []any{m.sent(1, m.reed[0], "RE-ET1", "1")}}); status != http.StatusUnauthorized || !strings.Contains(body, "Scan the code at the desk again") {
		t.Errorf("thrown out, and its marks are answered with %d %s", status, body)
	}
	m.visit(t).get(m.path("/marks/reed")).says(t, http.StatusSeeOther)
	m.visit(t).get("/sign-in?next="+url.QueryEscape(m.path("/marks"))).says(t, 200, "scan the code at the desk")
	desk.get(m.path("/pair")).says(t, 200, "Thrown out or signed out")
}

func TestAPairingEndsByItself(t *testing.T) {
	for name, end := range map[string]func(*mat, *visitor){
		"a day and a half later":        func(m *mat, _ *visitor) { m.Now = m.Now.Add(37 * time.Hour) },
		"when the device signs out":     func(_ *mat, d *visitor) { d.post("/sign-out", nil) },
		"when the examiner is kept out": func(m *mat, _ *visitor) { _ = m.App.SetActive(m.Ctx(), m.Owner, m.mira.ID, false) },
		"when the device signs in anew": func(m *mat, d *visitor) {
			d.post("/sign-in", url.Values{"name": {m.assistant.Name}, "password": {"three quiet otters"}})
		},
	} {
		t.Run(name, func(t *testing.T) {
			m := newMat(t)
			d := m.paired(t, m.as(t, m.Owner))
			end(m, d)
			if r := d.get(m.path("/marks/reed")); r.status == 200 {
				t.Error("it still sees the marks")
			}
		})
	}
}

func TestACodeEndsAndANewOneEndsTheOneBefore(t *testing.T) {
	m := newMat(t)
	desk := m.as(t, m.Owner)
	m.pin(t, desk, m.mira, "4821")
	first := m.code(t, desk)
	second := m.code(t, desk)
	d := m.visit(t)
	if r := d.pair(first, m.mira, "4821"); r.status != http.StatusNotFound {
		t.Errorf("the code before is answered with %d", r.status)
	}
	m.Now = m.Now.Add(13 * time.Hour)
	if r := d.pair(second, m.mira, "4821"); r.status != http.StatusNotFound {
		t.Errorf("the code of yesterday is answered with %d", r.status)
	}
	if r := desk.get(m.path("/pair")); strings.Contains(r.body, "pair-qr") {
		t.Error("a code that has ended is still shown")
	}
}

func TestPINsThatAnybodyWouldTryAreRefused(t *testing.T) {
	m := newMat(t)
	desk := m.as(t, m.Owner)
	for _, pin := range []string{"123", "1234567", "12a4", "1111", "1234", "98765", "²345"} {
		if r := desk.post(m.path("/pair/pin"), url.Values{"person": {m.mira.ID}, "pin": {pin}}); r.status != http.StatusUnprocessableEntity {
			t.Errorf("the PIN %q is answered with %d", pin, r.status)
		}
	}
	r := desk.post(m.path("/pair/pin"), nil) // one for each
	r.says(t, 200, "PINs, shown once", "Mira Oduya", "Jonas Tiilikainen")
	if n := len(regexp.MustCompile(`<dd class="figure">\d{4}</dd>`).FindAllString(r.body, -1)); n != 4 {
		t.Errorf("%d PINs are drawn, want one for each of the four on the panel", n)
	}
	if strings.Contains(desk.get(m.path("/pair")).body, `class="figure"`) {
		t.Error("a PIN is shown again")
	}
}
