package web_test

import (
	"net/http"
	"net/url"
	"testing"

	"rankwright/internal/app"
	"rankwright/internal/app/apptest"
)

func TestOnlyTheRightPasswordOpensTheDoor(t *testing.T) {
	s := newSite(t)
	v := s.visit(t)
	at := v.get("/gradings").to
	if at != "/sign-in?next=%2Fgradings" {
		t.Fatalf("sent to %q", at)
	}
	v.post("/sign-in", url.Values{"name": {s.Owner.Name}, "password": {"wrong wrong wrong"}}).says(t, http.StatusUnprocessableEntity, "do not go together")
	v.post("/sign-in", url.Values{"name": {"Nobody"}, "password": {apptest.Password}}).says(t, http.StatusUnprocessableEntity, "do not go together")
	r := v.post(at, url.Values{"name": {s.Owner.Name}, "password": {apptest.Password}})
	if r.status != http.StatusSeeOther || r.to != "/gradings" {
		t.Fatalf("signed in to %q (%d), want the page asked for before", r.to, r.status)
	}
	v.post("/sign-out", nil)
	v.get("/gradings").says(t, http.StatusSeeOther)
}

func TestALinkFromElsewhereCannotPostAForm(t *testing.T) {
	s := newSite(t)
	v := s.as(t, s.Owner)
	req, _ := http.NewRequest(http.MethodPost, s.URL+"/sign-out", nil)
	req.Header.Set("Origin", "http://elsewhere.example")
	req.Header.Set("Sec-Fetch-Site", "cross-site")
	r := v.read(v.c.Do(req))
	if r.status != http.StatusForbidden {
		t.Fatalf("a form from another site was answered with %d", r.status)
	}
}

// Whoever looks in without signing in leaves nothing in the base, and is sent
// nowhere but to pages of this school afterwards.
func TestStrangersLeaveNoSessionAndAreNotSentAway(t *testing.T) {
	s := newSite(t)
	v := s.visit(t)
	if r := v.get("/gradings"); r.head.Get("Set-Cookie") != "" {
		t.Errorf("a stranger got a session: %s", r.head.Get("Set-Cookie"))
	}
	for _, next := range []string{"//elsewhere.example", "https://elsewhere.example", "/\\elsewhere.example", "elsewhere"} {
		r := s.visit(t).post("/sign-in?next="+url.QueryEscape(next), url.Values{"name": {s.Owner.Name}, "password": {apptest.Password}})
		if r.to != "/" {
			t.Errorf("next=%q led to %q", next, r.to)
		}
	}
}

// A new password ends the sessions that began with the old one.
func TestANewPasswordEndsOldSessions(t *testing.T) {
	s := newSite(t)
	tomek := s.Person("Tomek Wielgosek", app.Instructor, "")
	old := s.as(t, tomek)
	old.get("/roster").says(t, http.StatusOK)
	secret, err := s.App.Reinvite(s.Ctx(), s.Owner, tomek.ID)
	if err != nil {
		t.Fatal(err)
	}
	fresh := s.visit(t)
	if r := fresh.post("/join/"+secret, url.Values{"password": {"four new quiet otters"}}); r.status != http.StatusSeeOther {
		t.Fatal(r.body)
	}
	fresh.get("/roster").says(t, http.StatusOK)
	old.get("/roster").says(t, http.StatusSeeOther)
}
