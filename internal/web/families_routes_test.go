package web_test

import (
	"encoding/json"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web"
)

// doors are the addresses that need no sign-in and are about a family: method
// and path, all placeholders filled in. A placeholder that the test does not know
// fails, so that no new address is left out.
func (h *home) doors(entry string) (out [][2]string) {
	h.t.Helper()
	fill := strings.NewReplacer("{entry}", entry, "{rank}", "amber", "{picture}", "none", "{secret}", "made-up")
	for _, r := range web.Routes() {
		method, path, _ := strings.Cut(r.Pattern, " ")
		first, _, _ := strings.Cut(strings.TrimPrefix(path, "/"), "/")
		if !r.Open || first != "family" && first != "f" && "/"+first+"/" != app.StopPath {
			continue
		}
		if path = fill.Replace(path); strings.ContainsAny(path, "{}") {
			h.t.Fatalf("the test does not know how to visit %s", r.Pattern)
		}
		out = append(out, [2]string{method, path})
	}
	if len(out) < 20 {
		h.t.Fatalf("only %d addresses are about families", len(out))
	}
	return out
}

func (v *visitor) ask(door [2]string, form url.Values) reply {
	v.t.Helper()
	if door[0] == http.MethodPost {
		return v.post(door[1], form)
	}
	return v.get(door[1])
}

// people are what no page says to those whom it does not concern.
var people = []string{"Fasanwe", "Ayotomi", "Quispaya", "Inti", "Krajewik", "Zofia", "Igor", "Autumn"}

// Nobody, whoever opened a link that has ended since, and whoever opened one that
// was withdrawn since see one page at every address, and it is about nobody.
func TestWithoutALivingLinkEveryAddressOfAFamilyIsOneKindPage(t *testing.T) {
	h := newHome(t)
	withdrawn := h.family("Fasanwe")
	h.must(h.App.WithdrawLinks(t.Context(), h.Owner, h.g, "h1"))
	_, err := h.App.MakeLinks(t.Context(), h.Owner, h.g, []rankwright.HouseholdID{"h2"}, rankwright.MustDay("2026-10-03"), true)
	h.must(err)
	h.links()
	old := h.family("Quispaya")
	h.At("2026-10-04")
	desk := func() string {
		v, err := h.App.Families(t.Context(), h.Owner, h.g)
		h.must(err)
		text, err := json.Marshal(v.List)
		h.must(err)
		return string(text)
	}
	before := desk()
	same := map[string]string{}
	for who, v := range map[string]*visitor{"nobody": h.visit(t), "withdrawn": withdrawn, "old": old} {
		for _, child := range []string{"Ayotomi", "Inti", "Zofia"} { // their own child, and another's
			entry := h.entry[child]
			form := url.Values{"name": {"Mai"}, "said " + entry + "/consent": {"signed"}, "suits." + h.when[0]: {"yes"}, "body": {"May we?"}, "key": {entry + "/consent"}, "lang": {"es"}}
			for _, door := range h.doors(entry) {
				if door[1] == "/family/leave" {
					continue // it says goodbye to anybody
				}
				r := v.ask(door, form)
				if r.status != http.StatusNotFound {
					t.Errorf("%s %s answers %s with %d %s", door[0], door[1], who, r.status, r.to)
					continue
				}
				for _, name := range people {
					if strings.Contains(r.body, name) {
						t.Errorf("%s %s says %q to %s", door[0], door[1], name, who)
					}
				}
				// One page, but for the two ways to choose the language of it.
				page := regexp.MustCompile(`href="[^"]*\?lang=[a-z]+"`).ReplaceAllString(r.body, "")
				kind := "family"
				if strings.HasPrefix(door[1], app.StopPath) {
					kind = "stop"
				}
				if same[kind] == "" {
					same[kind] = page
				}
				if page != same[kind] {
					t.Errorf("%s %s has another page for %s:\n%s\nand not\n%s", door[0], door[1], who, page, same[kind])
				}
			}
		}
	}
	if !strings.Contains(same["family"], "ask your school for a new one") {
		t.Errorf("the page does not say what to do:\n%s", same["family"])
	}
	if after := desk(); after != before {
		t.Errorf("something came of it:\n%s\nwas\n%s", after, before)
	}
}

// closed ends the grading, and shows the Krajewiks their results.
func (h *home) closed() {
	h.t.Helper()
	ctx := h.t.Context()
	h.At("2026-10-11")
	h.must(h.App.Move(ctx, h.Owner, h.g, app.OnTheMat))
	h.must(h.App.Move(ctx, h.Owner, h.g, app.Deciding))
	for name, e := range h.entry {
		outcome, again := "promoted", []string(nil)
		if name == "Zofia" {
			outcome, again = "not_yet", []string{"SM"}
		}
		h.must(h.App.Override(ctx, h.Owner, rankwright.EntryID(e), outcome, "seen in class", again))
	}
	h.must(h.App.Sign(ctx, h.Owner, h.g, ""))
	owner := h.as(h.t, h.Owner)
	if r := owner.post(h.at+"/results", url.Values{"family": {"h4"}}); r.status != http.StatusSeeOther {
		h.t.Fatalf("%d\n%s", r.status, r.body)
	}
}

// When results and letters are there, they are there for one family: every
// address, asked by another for their child, is as if it were not there.
func TestNoAddressGivesAFamilyTheResultOfAnother(t *testing.T) {
	h := newHome(t)
	h.closed()
	own, other := h.family("Krajewik"), h.family("Phùng")
	entry := h.entry["Zofia"]
	read := 0
	for _, door := range h.doors(entry) {
		if !strings.Contains(door[1], entry) {
			continue
		}
		if r := own.ask(door, nil); r.status == http.StatusOK {
			read++
		}
		r := other.ask(door, nil)
		if r.status != http.StatusNotFound {
			t.Errorf("%s %s answers another family with %d", door[0], door[1], r.status)
		}
		for _, name := range people {
			if strings.Contains(r.body, name) {
				t.Errorf("%s %s says %q to another family", door[0], door[1], name)
			}
		}
	}
	if read < 5 {
		t.Errorf("the family itself reads only %d of the pages: the test asks for what is not there", read)
	}
}

// No page of a family is a dead end, at any step of a grading: each link on it
// leads to a page, each form to an answer, and each page leads on or back to the
// first one.
func TestNoPageOfAFamilyIsADeadEnd(t *testing.T) {
	for _, step := range []struct {
		name string
		to   func(h *home)
		most int // pages that have to be found
	}{
		{"asked", func(*home) {}, 7},
		{"told its time", func(h *home) {
			sc, err := h.App.School(t.Context())
			h.must(err)
			sc.Zone = "Europe/London"
			h.must(h.App.EditSchool(t.Context(), h.Owner, sc))
			h.planned(t, h.as(t, h.Owner), "/gradings/"+string(h.g)+"/timetable", h.g)
			h.must(h.App.PublishTimetable(t.Context(), h.Owner, h.g))
		}, 7},
		{"told its result", func(h *home) { h.closed() }, 6},
	} {
		t.Run(step.name, func(t *testing.T) {
			h := newHome(t)
			h.t = t
			step.to(h)
			v := h.family("Krajewik")
			seen, todo := map[string]bool{"/family": true}, []string{"/family"}
			pages, forms := 0, map[string]bool{}
			for asked := 0; len(todo) > 0; asked++ {
				if asked%50 == 49 {
					h.Now = h.Now.Add(60e9) // another minute, for the pace
				}
				at := todo[0]
				todo = todo[1:]
				r := v.get(at)
				if r.status != http.StatusOK {
					t.Errorf("%s leads to %d:\n%s", at, r.status, r.body)
					continue
				}
				if !strings.HasPrefix(r.head.Get("Content-Type"), "text/html") {
					continue // a file, such as the calendar's
				}
				pages++
				back := at == "/family"
				for _, l := range ways(t, r.body) {
					switch {
					case strings.HasPrefix(l, "POST "):
						forms[l[5:]] = true
						continue
					case strings.HasPrefix(l, "/family?") || strings.Contains(l, "lang="):
						continue // the same page in another language
					case l == "/family":
						back = true
					}
					if l != "" && !seen[l] {
						seen[l] = true
						todo = append(todo, l)
					}
				}
				if !back {
					t.Errorf("%s leads nowhere back:\n%s", at, r.body)
				}
			}
			if pages < step.most {
				t.Errorf("only %d pages were found: %v", pages, seen)
			}
			h.Now = h.Now.Add(60e9)
			for at := range forms {
				if at == "/family/leave" {
					continue
				}
				// Sent with nothing in it, as by a slip: what is wrong is said on a
				// page that leads on.
				r := v.post(at, nil)
				if r.status == http.StatusSeeOther || r.status == http.StatusOK {
					continue
				}
				if r.status >= 500 || r.status == http.StatusMethodNotAllowed || !strings.Contains(r.body, `href="/family"`) {
					t.Errorf("the form to %s leads to %d:\n%s", at, r.status, r.body)
				}
			}
			if r := v.post("/family/leave", nil); r.status != http.StatusOK && r.status != http.StatusSeeOther {
				t.Errorf("leaving leads to %d", r.status)
			}
		})
	}
}

// ways lists where the links of a page lead on the site, and its forms, as
// "POST /path".
func ways(t *testing.T, body string) (out []string) {
	t.Helper()
	doc, err := html.Parse(strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	for n := range doc.Descendants() {
		if n.Type != html.ElementNode {
			continue
		}
		of := func(key string) string {
			for _, a := range n.Attr {
				if a.Key == key {
					return a.Val
				}
			}
			return ""
		}
		switch n.Data {
		case "a":
			if to, _, _ := strings.Cut(of("href"), "#"); strings.HasPrefix(to, "/") {
				out = append(out, to)
			}
		case "form":
			if strings.EqualFold(of("method"), "post") {
				out = append(out, "POST "+of("action"))
			}
		}
	}
	return out
}
