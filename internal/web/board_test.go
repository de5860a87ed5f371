package web_test

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web"
	"rankwright/scoring"
)

type event struct{ id, kind, data string }

// events opens the stream of a grading and gives its events one by one.
type events struct {
	t    *testing.T
	in   *bufio.Reader
	stop context.CancelFunc
	head http.Header
}

func (v *visitor) events(path, last string) *events {
	v.t.Helper()
	ctx, stop := context.WithTimeout(v.t.Context(), 30*time.Second)
	v.t.Cleanup(stop)
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, v.site.URL+path, nil)
	if err != nil {
		v.t.Fatal(err)
	}
	req.Header.Set("Accept", "text/event-stream")
	req.Header.Set("Accept-Encoding", "gzip") // as browsers do
	if last != "" {
		req.Header.Set("Last-Event-ID", last)
	}
	r, err := v.c.Do(req)
	if err != nil {
		v.t.Fatal(err)
	}
	v.t.Cleanup(func() { r.Body.Close() })
	if r.StatusCode != 200 || r.Header.Get("Content-Type") != "text/event-stream" || r.Header.Get("Content-Encoding") != "" {
		v.t.Fatalf("the stream is answered with %d, %v", r.StatusCode, r.Header)
	}
	return &events{v.t, bufio.NewReader(r.Body), stop, r.Header}
}

// next is the next event; what only keeps the line open is passed over.
func (s *events) next() (e event, ok bool) {
	for {
		line, err := s.in.ReadString('\n')
		if err != nil {
			return e, false
		}
		key, value, _ := strings.Cut(strings.TrimSuffix(line, "\n"), ": ")
		switch {
		case key == "id":
			e.id = value
		case key == "event":
			e.kind = value
		case key == "data":
			e.data = value
		case line == "\n" && e.kind != "":
			return e, true
		}
	}
}

// want reads on to an event of a kind.
func (s *events) want(kind string) event {
	s.t.Helper()
	for range 20 {
		e, ok := s.next()
		if !ok {
			break
		}
		if e.kind == kind {
			return e
		}
	}
	s.t.Fatalf("the stream ended without an event %q", kind)
	return event{}
}

func (m *mat) give(t *testing.T, who app.Actor, e rankwright.EntryID, q rankwright.RequirementID, n int) {
	t.Helper()
	m.Mark(who, m.grading, e, q, scoring.N(n))
}

func TestAStreamThatComesBackHearsOfEveryMarkSince(t *testing.T) {
	m := newMat(t)
	v := m.as(t, m.Owner)
	s := v.events(m.path("/events"), "")
	s.want("now")
	m.give(t, m.mira, m.reed[0], "RE-ET1", 1)
	first := s.want("marks")
	s.stop()
	m.give(t, m.mira, m.reed[1], "RE-ET1", 1) // while nobody listens
	m.give(t, m.jonas, m.reed[2], "RE-ET2", 1)
	again := v.events(m.path("/events"), first.id)
	e := again.want("marks")
	var got struct {
		Arrival int64
		Entries []rankwright.EntryID
	}
	if err := json.Unmarshal([]byte(e.data), &got); err != nil {
		t.Fatal(err)
	}
	if len(got.Entries) != 2 || got.Entries[0] != m.reed[1] || got.Entries[1] != m.reed[2] || fmt.Sprint(got.Arrival) != e.id {
		t.Errorf("after %s it hears %+v", first.id, e)
	}
	m.give(t, m.jonas, m.reed[3], "RE-ET2", 1)
	if e := again.want("marks"); strings.Contains(e.data, string(m.reed[1])) || !strings.Contains(e.data, string(m.reed[3])) {
		t.Errorf("the next event is %+v, want only what is new", e)
	}
	if fresh := v.events(m.path("/events"), "").want("now"); fresh.id == "0" {
		t.Errorf("a new stream begins at %s, want the latest mark", fresh.id)
	}
}

func TestAStreamOutlivesTheTimeThatAnAnswerMayTake(t *testing.T) {
	m := newMat(t)
	srv, err := web.New(m.App, web.Options{})
	m.done(t, err)
	ts := httptest.NewUnstartedServer(srv)
	ts.Config.ReadTimeout, ts.Config.WriteTimeout = 300*time.Millisecond, 300*time.Millisecond
	ts.Start()
	t.Cleanup(ts.Close)
	t.Cleanup(srv.EndStreams)
	m.URL = ts.URL
	s := m.as(t, m.Owner).events(m.path("/events"), "")
	s.want("now")
	time.Sleep(900 * time.Millisecond) // well over both limits
	m.give(t, m.mira, m.reed[0], "RE-ET1", 1)
	s.want("marks")
	srv.EndStreams()
	for {
		if _, ok := s.next(); !ok {
			return // it ends, so that the program can stop
		}
	}
}

func TestASafetyStopReachesEveryOpenPage(t *testing.T) {
	m := newMat(t)
	desk := m.as(t, m.Owner)
	d := m.paired(t, desk)
	onMat := d.events(m.path("/events"), "")
	onMat.want("now")
	if r := desk.post(m.path("/stop"), url.Values{"entry": {string(m.reed[0])}}); r.status != http.StatusSeeOther || r.to != m.path("/board") {
		t.Fatalf("%d to %s", r.status, r.to)
	}
	if e := onMat.want("now"); !strings.Contains(e.data, string(m.reed[0])) {
		t.Errorf("the scoring page hears %+v", e)
	}
	desk.get(m.path("/board")).says(t, 200, "Ana Abara is stopped for safety.", "health professional", "tell the parent")
	// Whoever sees it acts: an examiner too, but nobody of another grading.
	if r := d.post(m.path("/stop"), url.Values{"entry": {string(m.reed[1])}}); r.status != http.StatusSeeOther || r.to != m.path("/marks") {
		t.Errorf("an examiner's stop: %d to %s", r.status, r.to)
	}
	d.post(m.path("/stop"), nil).says(t, 422, "Nobody was chosen")
	d.post(m.path("/stop"), url.Values{"entry": {"e-made-up"}}).says(t, 404)
}

func TestTheStreamOfADeviceThatIsThrownOutEnds(t *testing.T) {
	m := newMat(t)
	desk := m.as(t, m.Owner)
	d := m.paired(t, desk)
	s := d.events(m.path("/events"), "")
	s.want("now")
	view, err := m.App.Pairing(t.Context(), m.Owner, m.grading)
	m.done(t, err)
	m.done(t, m.App.EndDevice(t.Context(), m.Owner, m.grading, view.Devices[0].ID))
	s.want("ended")
	if e, ok := s.next(); ok {
		t.Errorf("after its end the stream says %+v", e)
	}
}

func TestBoardsAreBounded(t *testing.T) {
	m := newMat(t)
	for range 100 {
		_, stop, err := m.App.Listen(t.Context(), m.Owner, m.grading)
		m.done(t, err)
		t.Cleanup(stop)
	}
	v := m.as(t, m.Owner)
	req, _ := http.NewRequest(http.MethodGet, m.URL+m.path("/events"), nil)
	req.Header.Set("Accept", "text/event-stream")
	if r := v.read(v.c.Do(req)); r.status != http.StatusServiceUnavailable {
		t.Errorf("the board over the limit is answered with %d", r.status)
	}
	v.get(m.path("/events")).says(t, 200, `"state":"mat"`) // asked once, it is told
}

// A device whose network comes and goes leaves streams behind that nobody has
// closed: its own oldest ends for a new one, and no other's does.
func TestADeviceThatComesBackTakesThePlaceOfItsOldStream(t *testing.T) {
	m := newMat(t)
	pad, phone := m.mira, m.mira
	pad.Device, pad.Only, phone.Device, phone.Only = "pad", m.grading, "phone", m.grading
	listen := func(who app.Actor) *app.Listener {
		t.Helper()
		l, stop, err := m.App.Listen(t.Context(), who, m.grading)
		m.done(t, err)
		t.Cleanup(stop)
		return l
	}
	ended := func(l *app.Listener) bool {
		select {
		case <-l.Ended():
			return true
		default:
			return false
		}
	}
	other := listen(phone)
	var own []*app.Listener
	for range 6 {
		own = append(own, listen(pad))
	}
	for i, l := range own {
		if ended(l) != (i < 2) {
			t.Errorf("stream %d of six: ended is %t", i+1, ended(l))
		}
	}
	if ended(other) {
		t.Error("another device's stream was ended")
	}
}

func TestTheBoardSaysWhoIsUnscored(t *testing.T) {
	m := newMat(t)
	v := m.as(t, m.Owner)
	v.get(m.path("/board")).says(t, 200, "Nobody is here yet; 8 children are expected.", "Is anyone unscored?")
	here := func(e rankwright.EntryID, presence string) {
		t.Helper()
		m.done(t, m.App.SetPresence(t.Context(), m.Owner, e, presence))
	}
	for _, e := range m.view(t).Entries {
		here(e.Entry.ID, "absent")
	}
	here(m.reed[0], "present")
	here(m.reed[1], "present")
	v.get(m.path("/board")).says(t, 200, "Yes: 2 children lack", "Ana Abara, Ben Bakker.", "Waiting", "since 09:00")
	sheet, err := m.App.Sheet(t.Context(), m.Owner, m.grading, "reed")
	m.done(t, err)
	for _, e := range m.reed[:2] {
		for _, q := range sheet.Rank.Requirements {
			if !q.Bonus && !(e == m.reed[1] && q.ID == "RE-BF1") {
				m.give(t, m.mira, e, q.ID, 1)
			}
		}
	}
	v.get(m.path("/board")).says(t, 200, "Yes: 1 child lacks 1 mark: Ben Bakker.", sheet.Rank.Requirement("RE-BF1").Show)
	m.give(t, m.mira, m.reed[1], "RE-BF1", 0)
	v.get(m.path("/board")).says(t, 200, "No: everybody who is here has every mark.", "Look again", "is not reached so far")
}

func TestDevicesReportWhatTheyHaveNotSent(t *testing.T) {
	m := newMat(t)
	desk := m.as(t, m.Owner)
	d := m.paired(t, desk)
	report := func(v *visitor, body string) reply {
		t.Helper()
		req, _ := http.NewRequest(http.MethodPost, m.URL+m.path("/device"), strings.NewReader(body))
		req.Header.Set("Accept", "application/json")
		return v.read(v.c.Do(req))
	}
	report(d, `{"unsent":7}`).says(t, 200, `"stopped":[]`)
	desk.get(m.path("/board")).says(t, 200, "7 marks not sent yet", "Mira Oduya", "just now")
	m.Now = m.Now.Add(5 * time.Minute)
	desk.get(m.path("/board")).says(t, 200, "5 minutes ago", "board-late", "only there")
	report(m.as(t, m.jonas), `{"unsent":1,"device":"d-9"}`).says(t, 200)
	desk.get(m.path("/board")).says(t, 200, "Jonas Tiilikainen", "Signed in with a password", "1 mark not sent yet")
	for _, bad := range []string{`{"unsent":-1}`, `{"unsent":"7"}`, `{"more":1}`, ``, `{"unsent":7e9}`} {
		report(d, bad).says(t, 422)
	}
	if r := report(m.as(t, m.assistant), `{"unsent":1}`); r.status != http.StatusForbidden {
		t.Errorf("the desk's report is answered with %d", r.status)
	}
}

func TestEachNewAddressAnswersThoseWhoMay(t *testing.T) {
	m := newMat(t)
	people := map[string]*visitor{"owner": m.as(t, m.Owner), "instructor": m.as(t, m.instructor), "examiner": m.as(t, m.mira), "assistant": m.as(t, m.assistant), "nobody": m.visit(t)}
	for _, c := range []struct {
		method, path string
		may          string
	}{
		{"GET", "/pair", "owner instructor"}, {"POST", "/pair", "owner instructor"}, {"POST", "/pair/pin", "owner instructor"},
		{"POST", "/pair/free", "owner instructor"}, {"POST", "/pair/end", "owner instructor"},
		{"GET", "/board", "owner instructor"}, {"GET", "/events", "owner instructor examiner"}, {"POST", "/device", "owner instructor examiner"},
		{"POST", "/stop", "owner instructor examiner assistant"},
		{"GET", "/paperwork", "owner instructor assistant"}, {"GET", "/paperwork/run-sheet.pdf?rank=reed", "owner instructor assistant"},
		{"GET", "/paperwork/score-table.pdf?rank=reed", "owner instructor assistant"},
	} {
		for role, v := range people {
			var r reply
			if c.method == "GET" {
				r = v.get(m.path(c.path))
			} else {
				r = v.post(m.path(c.path), nil)
			}
			may := strings.Contains(" "+c.may+" ", " "+role+" ")
			switch {
			case role == "nobody" && r.status != http.StatusUnauthorized && !(r.status == http.StatusSeeOther && strings.HasPrefix(r.to, "/sign-in")):
				t.Errorf("%s %s answers nobody with %d", c.method, c.path, r.status)
			case role != "nobody" && may == (r.status == http.StatusForbidden):
				t.Errorf("%s %s answers %s with %d", c.method, c.path, role, r.status)
			case r.status >= 500:
				t.Errorf("%s %s breaks for %s: %d", c.method, c.path, role, r.status)
			}
		}
	}
}
