package web_test

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode"

	"golang.org/x/net/html"

	"rankwright/internal/web"
	"rankwright/internal/words"
)

// everyFamilyPage is what a family can open, with the statuses that it meets.
func (h *home) everyFamilyPage() []string {
	var out []string
	for _, r := range web.Routes() {
		path, get := strings.CutPrefix(r.Pattern, "GET ")
		if !get || !strings.HasPrefix(path, "/family") {
			continue
		}
		out = append(out, strings.NewReplacer("{entry}", h.entry["Zofia"], "{rank}", "amber").Replace(path))
	}
	return append(out, "/family/child/nobody", "/family/child/"+h.entry["Zofia"]+"/guide/nothing", "/f/nothing")
}

// tell plans the times of an open grading and tells them.
func (h *home) tell() {
	h.t.Helper()
	sc, err := h.App.School(h.t.Context())
	h.must(err)
	sc.Zone, sc.Cautions = "Europe/London", "Shoes off at the edge of the mat."
	h.must(h.App.EditSchool(h.t.Context(), h.Owner, sc))
	h.planned(h.t, h.as(h.t, h.Owner), "/gradings/"+string(h.g)+"/timetable", h.g)
	h.must(h.App.PublishTimetable(h.t.Context(), h.Owner, h.g))
}

// close takes a told grading to its end and shows the results.
func (h *home) close() {
	h.t.Helper()
	h.signed("BF")
	h.must(h.App.ShowResults(h.t.Context(), h.Owner, h.g, "", true))
}

// said is a text on a page, with what stands around it.
type said struct {
	text  string
	apart bool // the page says that it is a text by itself, in whatever language
}

// texts are the texts of a page as people read or hear them.
func texts(t *testing.T, body string) (out []said) {
	t.Helper()
	doc, err := html.Parse(strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	var walk func(n *html.Node, apart bool)
	walk = func(n *html.Node, apart bool) {
		if n.Type == html.ElementNode {
			if n.Data == "script" || n.Data == "style" {
				return
			}
			apart = apart || n.Data == "bdi"
			for _, a := range n.Attr {
				switch a.Key {
				case "dir":
					apart = apart || n.Data != "html"
				case "aria-label", "alt", "placeholder", "title":
					out = append(out, said{strings.TrimSpace(a.Val), apart})
				}
			}
		}
		if n.Type == html.TextNode && strings.TrimSpace(n.Data) != "" {
			out = append(out, said{strings.TrimSpace(n.Data), apart})
		}
		for c := n.FirstChild; c != nil; c = c.NextSibling {
			walk(c, apart)
		}
	}
	walk(doc, false)
	return out
}

// own are the school's own texts, which a page may show as they are: names, and
// what is not translated.
func (h *home) own() (out []string) {
	v, err := h.App.Grading(h.t.Context(), h.Owner, h.g)
	h.must(err)
	for _, x := range v.Syllabus.Texts() {
		out = append(out, x.Text)
	}
	for _, e := range v.Entries {
		out = append(out, e.Student.GivenName, e.Student.FamilyName)
	}
	sc, err := h.App.School(h.t.Context())
	h.must(err)
	sheets, err := h.App.FamilySheets(h.t.Context(), h.Owner, h.g)
	h.must(err)
	for _, s := range sheets {
		out = append(out, strings.Split(strings.NewReplacer("{child}", "Zofia Krajewik", "{rank}", "Amber").Replace(s.Body), "\n")...)
		out = append(out, strings.Split(strings.NewReplacer("{child}", "Igor Krajewik", "{rank}", "Slate").Replace(s.Body), "\n")...)
	}
	out = append(out, sc.Name, sc.Place, sc.Cautions, sc.Safety, v.Title, v.Place, v.Theme, h.Owner.Name, "Rankwright")
	out = append(out, sc.DoorLines()...)
	for _, l := range words.All() {
		out = append(out, l.Name())
	}
	return slices.DeleteFunc(out, func(s string) bool { return strings.TrimSpace(s) == "" })
}

var (
	letters   = regexp.MustCompile(`\p{L}{3,}`)
	placeIn   = regexp.MustCompile(`\{\{[^}]*\}\}`)
	isolates  = regexp.MustCompile("\u2068[^\u2069]*\u2069")
	wordBreak = strings.NewReplacer("\u00a0", " ", "\n", " ")
)

// left is what stands in a text besides the school's own.
func left(text string, own []string) string {
	for _, o := range own {
		text = strings.ReplaceAll(text, o, "")
	}
	return text
}

// Every page of a family in every state of the grading, in Spanish and in the
// test language.
func TestEveryPageOfAFamilySpeaksItsLanguageAlone(t *testing.T) {
	h := newHome(t)
	m := h.mirrored()
	for _, state := range []struct {
		name string
		to   func()
	}{{"open", func() {}}, {"told", h.tell}, {"over", h.close}} {
		state.to()
		h.noEnglish(state.name)
		m.setsApart(state.name)
	}
}

// noEnglish wants that no sentence of the English catalogue stands on a Spanish
// page, and no text that is the same on the English page and not the school's.
func (h *home) noEnglish(state string) {
	h.t.Helper()
	t := h.t
	english, spanish := words.Catalogue(words.English), words.Catalogue(words.Spanish)
	own := h.own()
	slices.SortFunc(own, func(a, b string) int { return len(b) - len(a) })
	v := h.family("Krajewik")
	in := map[string]map[string]reply{}
	for _, lang := range []string{"en", "es"} {
		v.post("/family/language", url.Values{"lang": {lang}, "to": {"/family"}})
		in[lang] = map[string]reply{}
		for _, at := range h.everyFamilyPage() {
			in[lang][at] = v.speaks(at, lang)
		}
	}
	pages := 0
	for at, b := range in["es"] {
		switch kind := b.head.Get("Content-Type"); {
		case strings.HasPrefix(kind, "text/calendar"):
			if !strings.Contains(b.body, "Examen: ") || strings.Contains(b.body, "Grading:") || strings.Contains(b.body, "Please") {
				t.Errorf("the calendar is not in Spanish:\n%s", b.body)
			}
			continue
		case !strings.HasPrefix(kind, "text/html"):
			continue // a paper
		}
		pages++
		same := map[string]bool{}
		for _, x := range texts(t, in["en"][at].body) {
			same[x.text] = true
		}
		var all strings.Builder
		for _, x := range texts(t, b.body) {
			all.WriteString(wordBreak.Replace(x.text) + "\n")
			if rest := left(x.text, own); same[x.text] && letters.MatchString(rest) {
				t.Errorf("%s, %s: %q stands on the Spanish page as on the English one", at, state, x.text)
			}
		}
		shown := left(all.String(), own)
		for key, m := range english {
			for _, form := range []string{m.One, m.Other} {
				for _, part := range placeIn.Split(form, -1) {
					part = strings.TrimSpace(part)
					if len(part) > 11 && letters.MatchString(part) && strings.Contains(shown, part) && !strings.Contains(spanish[key].One+"\n"+spanish[key].Other, part) {
						t.Errorf("%s, %s: the English of %s is left: %q", at, state, key, part)
					}
				}
			}
		}
	}
	if pages < 10 {
		t.Errorf("only %d pages were looked at", pages)
	}
}

// speaks opens a page with a language that the browser asks for.
func (v *visitor) speaks(at, lang string) reply {
	v.t.Helper()
	req, err := http.NewRequest(http.MethodGet, v.site.URL+at, nil)
	if err != nil {
		v.t.Fatal(err)
	}
	req.Header.Set("Accept-Language", lang)
	return v.read(v.c.Do(req))
}

// mirrored is the same school with the test language on offer.
func (h *home) mirrored() *home {
	h.t.Helper()
	srv, err := web.New(h.App, web.Options{TestLanguage: true})
	h.must(err)
	at := httptest.NewServer(srv)
	h.t.Cleanup(at.Close)
	s := *h.site
	s.URL = at.URL
	out := *h
	out.site = &s
	return &out
}

// setsApart wants that in the test language no Latin letter stands on a page but
// in what is set apart: a sentence that is not in the catalogue, or a name that
// is not isolated, is found at once.
func (h *home) setsApart(state string) {
	h.t.Helper()
	t := h.t
	v := h.family("Krajewik")
	v.post("/family/language", url.Values{"lang": {"ar-XB"}, "to": {"/family"}})
	for _, at := range h.everyFamilyPage() {
		r := v.get(at)
		if !strings.HasPrefix(r.head.Get("Content-Type"), "text/html") || at == "/f/nothing" {
			continue
		}
		if !strings.Contains(r.body, `<html lang="ar-XB" dir="rtl">`) {
			t.Errorf("%s: not from right to left", at)
		}
		for _, x := range texts(t, r.body) {
			rest := isolates.ReplaceAllString(x.text, "")
			if i := strings.IndexFunc(rest, func(r rune) bool { return unicode.Is(unicode.Latin, r) }); i >= 0 && !x.apart && !alone(x.text, h) {
				t.Errorf("%s, %s: %q is not from right to left and not set apart", at, state, x.text)
			}
		}
	}
}

// The test language is remembered for nobody, and where it was not switched on
// it is not there.
func TestTheTestLanguageIsOfferedOnlyWhereItIsSwitchedOn(t *testing.T) {
	h := newHome(t)
	m := h.mirrored().family("Krajewik")
	m.post("/family/language", url.Values{"lang": {"ar-XB"}, "to": {"/family"}})
	m.get("/family").says(t, http.StatusOK, `<html lang="ar-XB" dir="rtl">`)
	v := h.family("Krajewik")
	v.post("/family/language", url.Values{"lang": {"ar-XB"}, "to": {"/family"}})
	if r := v.get("/family"); !strings.Contains(r.body, `<html lang="en">`) || strings.Contains(r.body, "test only") {
		t.Error("the test language is offered where it was not switched on")
	}
}

// alone says whether a text is nothing but a name: by itself it has a direction
// of its own.
func alone(text string, h *home) bool {
	sc, err := h.App.School(h.t.Context())
	h.must(err)
	return slices.Contains([]string{"English", "Español", words.Mirror.Name(), sc.Name, "Rankwright"}, text) || strings.HasSuffix(text, " – "+sc.Name) || strings.HasSuffix(text, " – Rankwright")
}
