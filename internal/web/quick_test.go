package web_test

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"rankwright/internal/app"
	"rankwright/internal/web"
)

// Who is behind a cookie is kept for a moment; whatever ends a sign-in ends
// that too, with the next mark.
func TestWhoIsKeptOutGivesNoMarkMore(t *testing.T) {
	m := newMat(t)
	srv, err := web.New(m.App, web.Options{Sessions: m.Store.Sessions(func() time.Time { return m.Now })})
	m.done(t, err)
	ts := httptest.NewServer(srv)
	t.Cleanup(ts.Close)
	m.URL = ts.URL
	n := 0
	give := func(v *visitor, want int) {
		t.Helper()
		for range 3 { // the first goes the long way, the others the short one
			n++
			if status, _, body := v.send(m, map[string]any{"v": 1, "marks": []any{m.sent(n, m.reed[0], "RE-ET1", "1")}}); status != want {
				t.Fatalf("a mark is answered with %d, want %d: %s", status, want, body)
			}
		}
	}
	desk := m.as(t, m.Owner)
	out := m.as(t, m.jonas)
	give(out, http.StatusOK)
	out.post("/sign-out", nil).says(t, 303)
	give(out, http.StatusUnauthorized)
	locked := m.as(t, m.mira)
	give(locked, http.StatusOK)
	m.done(t, m.App.SetActive(t.Context(), m.Owner, m.mira.ID, false))
	give(locked, http.StatusUnauthorized)
	d := func() *visitor {
		m.pin(t, desk, m.jonas, "4821")
		d := m.visit(t)
		if r := d.pair(m.code(t, desk), m.jonas, "4821"); r.status != http.StatusSeeOther {
			t.Fatal(r.body)
		}
		return d
	}
	thrown := d()
	give(thrown, http.StatusOK)
	view, err := m.App.Pairing(t.Context(), m.Owner, m.grading)
	m.done(t, err)
	desk.post(m.path("/pair/end"), url.Values{"device": {string(view.Devices[0].ID)}}).says(t, 303)
	give(thrown, http.StatusUnauthorized)
	// A pairing that ends by itself is noticed within a minute.
	late := d()
	give(late, http.StatusOK)
	m.Now = m.Now.Add(36*time.Hour + time.Second)
	give(late, http.StatusUnauthorized)
	// A device is kept to its own grading, also the short way.
	other, err := m.App.CreateGrading(t.Context(), m.Owner, app.NewGrading{Title: "Another", Day: m.App.Today(), Ladder: "youth"})
	m.done(t, err)
	kept := d()
	give(kept, http.StatusOK)
	req, _ := http.NewRequest(http.MethodPost, m.URL+"/gradings/"+string(other.ID)+"/marks", strings.NewReader(`{"v":1,"marks":[]}`))
	req.Header.Set("Accept", "application/json")
	if r := kept.read(kept.c.Do(req)); r.status != http.StatusForbidden {
		t.Errorf("another grading's marks are answered with %d", r.status)
	}
	// A page from elsewhere cannot send in somebody's name.
	req, _ = http.NewRequest(http.MethodPost, m.URL+m.path("/marks"), strings.NewReader(`{"v":1,"marks":[]}`))
	req.Header.Set("Accept", "application/json")
	req.Header.Set("Sec-Fetch-Site", "cross-site")
	if r := kept.read(kept.c.Do(req)); r.status != http.StatusForbidden {
		t.Errorf("a page from elsewhere is answered with %d", r.status)
	}
}
