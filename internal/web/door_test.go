package web_test

import (
	"net/http"
	"net/url"
	"testing"

	"rankwright/internal/app/apptest"
)

func TestOnlyTheRightPasswordOpensTheDoor(t *testing.T) {
	s := newSite(t)
	v := s.visit(t)
	v.get("/gradings").says(t, http.StatusSeeOther)
	v.post("/sign-in", url.Values{"name": {s.Owner.Name}, "password": {"wrong wrong wrong"}}).says(t, http.StatusUnprocessableEntity, "do not go together")
	v.post("/sign-in", url.Values{"name": {"Nobody"}, "password": {apptest.Password}}).says(t, http.StatusUnprocessableEntity, "do not go together")
	r := v.post("/sign-in", url.Values{"name": {s.Owner.Name}, "password": {apptest.Password}})
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
