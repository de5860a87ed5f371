package web_test

import (
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"rankwright/examples"
	"rankwright/internal/app"
	"rankwright/syllabus"
)

func example(t *testing.T, name string) string {
	t.Helper()
	b, err := examples.Files.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func TestASchoolGoesFromAnExampleToAPublishedSyllabus(t *testing.T) {
	s := newSite(t)
	v := s.as(t, s.Owner)
	r := v.get("/syllabus")
	r.says(t, http.StatusOK, "No syllabus yet", "One page, ticks only", "The whole example of an invented club", "Upload a file")
	r.parsed(t)
	r = v.post("/syllabus/new", url.Values{"start": {"example"}, "example": {"one-page.yaml"}})
	if r.status != http.StatusSeeOther || r.to != "/syllabus/edit/juniors" {
		t.Fatalf("%d %s\n%s", r.status, r.to, r.body)
	}
	r = v.get(r.to)
	r.says(t, http.StatusOK, "The draft is saved")
	form := r.parsed(t).formAt(t, "/syllabus/edit/juniors")
	// html.Parse leaves out the line break that a browser leaves out too.
	if got := form.Get("text"); got != example(t, "one-page.yaml") {
		t.Fatalf("the text came back changed:\n%s", got)
	}
	v.get("/syllabus").says(t, http.StatusOK, "Draft waiting", "Not published yet", "Yellow belt")
	form.Set("text", strings.ReplaceAll(strings.Replace(form.Get("text"), "Yellow belt", "Sun belt", 1), "\n", "\r\n"))
	form.Set("then", "publish")
	r = v.post("/syllabus/edit/juniors", form)
	if r.to != "/syllabus/publish/juniors" {
		t.Fatalf("%d %s\n%s", r.status, r.to, r.body)
	}
	r = v.get(r.to)
	r.says(t, http.StatusOK, "Publish version 1?", "never be changed", "Requirements", "Sun belt")
	ask := r.parsed(t).formAt(t, "/syllabus/publish/juniors")
	if ladders, _ := s.App.Ladders(s.Ctx(), s.Owner); ladders[0].Latest != nil {
		t.Fatal("looking at the question published it")
	}
	r = v.post("/syllabus/publish/juniors", ask)
	if r.status != http.StatusSeeOther || !strings.HasPrefix(r.to, "/syllabus/version/") {
		t.Fatalf("%d %s\n%s", r.status, r.to, r.body)
	}
	v.get(r.to).says(t, http.StatusOK, "Version 1, published on 1 October 2026", "Sun belt")
	text := v.get(r.to + "/text")
	if !strings.Contains(text.head.Get("Content-Disposition"), "juniors-1.yaml") || strings.Contains(text.body, "\r") {
		t.Errorf("the download is %s\n%q", text.head.Get("Content-Disposition"), text.body[:60])
	}
	if _, err := syllabus.Parse("", []byte(text.body)); err != nil {
		t.Errorf("the download cannot be read: %v", err)
	}
}

func TestFaultsNameTheirLineAndKeepWhatWasTyped(t *testing.T) {
	s := newSite(t)
	v := s.as(t, s.Owner)
	text := strings.Replace(example(t, "one-page.yaml"), "kind: tick, points: 1", "kind: tik, points: 1", 1)
	text = strings.Replace(text, "name: Juniors", "name: Juniors & <Minis>", 1)
	for _, path := range []string{"/syllabus/new", "/syllabus/edit/juniors"} {
		if path != "/syllabus/new" {
			if _, _, err := s.App.SaveDraft(s.Ctx(), s.Owner, example(t, "one-page.yaml")); err != nil {
				t.Fatal(err)
			}
		}
		r := v.post(path, url.Values{"start": {"paste"}, "text": {text}})
		// The line is counted by hand in the example.
		r.says(t, http.StatusUnprocessableEntity, "Nothing was saved", "1 place in the text needs", "Line 20: ", "Did you mean", "show: Bows on and off the mat, kind: tik")
		if got := r.parsed(t).formAt(t, path).Get("text"); got != text {
			t.Errorf("%s changed what was typed:\n%s", path, got)
		}
	}
	if l, _ := s.App.Ladders(s.Ctx(), s.Owner); strings.Contains(l[0].Draft.Text, "tik,") {
		t.Error("a text with faults was saved")
	}
}

func TestASyllabusFileIsUploaded(t *testing.T) {
	s := newSite(t)
	v := s.as(t, s.Owner)
	file := url.Values{"start": {"file"}}
	if r := v.upload("/syllabus/new", "a.yaml", []byte("\xef\xbb\xbf"+example(t, "one-page.yaml")), file); r.to != "/syllabus/edit/juniors" {
		t.Fatalf("%d %s\n%s", r.status, r.to, r.body)
	}
	for _, x := range []struct{ data, say string }{
		{"", "The file is empty"},
		{"name: Caf\xe9", "not written in UTF-8"},
		{"hello", "Line 1"},
	} {
		r := v.upload("/syllabus/new", "a.yaml", []byte(x.data), file)
		r.says(t, http.StatusUnprocessableEntity, x.say)
		r.parsed(t)
	}
	v.post("/syllabus/new", file).says(t, http.StatusUnprocessableEntity, "No file was chosen")
	v.post("/syllabus/new", url.Values{"start": {"paste"}, "text": {"  "}}).says(t, http.StatusUnprocessableEntity, "There is no text yet")
}

func TestNobodyOverwritesADraftUnawares(t *testing.T) {
	s := newSite(t)
	v := s.as(t, s.Owner)
	text := example(t, "one-page.yaml")
	if _, _, err := s.App.SaveDraft(s.Ctx(), s.Owner, text); err != nil {
		t.Fatal(err)
	}
	mine := v.get("/syllabus/edit/juniors").parsed(t).formAt(t, "/syllabus/edit/juniors")
	theirs := text + "# by somebody else\n"
	if _, _, err := s.App.SaveDraft(s.Ctx(), s.Owner, theirs); err != nil {
		t.Fatal(err)
	}
	draft := func() string {
		l, err := s.App.Ladders(s.Ctx(), s.Owner)
		if err != nil {
			t.Fatal(err)
		}
		return l[0].Draft.Text
	}
	mine.Set("text", text+"# by me\n")
	r := v.post("/syllabus/edit/juniors", mine)
	r.says(t, http.StatusUnprocessableEntity, "somebody saved another text", "# by me")
	if draft() != theirs {
		t.Fatal("the other text is gone")
	}
	again := r.parsed(t).formAt(t, "/syllabus/edit/juniors")
	if r := v.post("/syllabus/edit/juniors", again); r.status != http.StatusSeeOther || !strings.Contains(draft(), "# by me") {
		t.Fatalf("saving again gives %d and the draft\n%s", r.status, draft())
	}
	// Another example of the same ladder asks first too.
	r = v.post("/syllabus/new", url.Values{"start": {"example"}, "example": {"one-page.yaml"}})
	r.says(t, http.StatusUnprocessableEntity, "There is a ladder “juniors” already")
	if !strings.Contains(draft(), "# by me") {
		t.Fatal("an example took the draft’s place")
	}
	other := strings.Replace(text, "ladder: juniors", "ladder: seniors", 1)
	again.Set("text", other)
	v.post("/syllabus/edit/juniors", again).says(t, http.StatusUnprocessableEntity, "The text names the ladder “seniors”")
}

func TestWhatWasPublishedIsNotPublishedTwice(t *testing.T) {
	s := newSite(t)
	old := s.Publish("one-page.yaml")
	v := s.as(t, s.Owner)
	v.get("/syllabus/publish/juniors").says(t, http.StatusNotFound, "no draft")
	same := v.get("/syllabus/edit/juniors").parsed(t).formAt(t, "/syllabus/edit/juniors")
	if r := v.post("/syllabus/edit/juniors", same); r.to != "/syllabus/edit/juniors" {
		t.Fatalf("%d %s", r.status, r.to)
	}
	v.get("/syllabus/edit/juniors").says(t, http.StatusOK, "Nothing has changed: this is the text of version 1")
	if _, _, err := s.App.SaveDraft(s.Ctx(), s.Owner, old.Text); err != nil {
		t.Fatal(err)
	}
	form := v.get("/syllabus/publish/juniors").parsed(t).formAt(t, "/syllabus/publish/juniors")
	v.post("/syllabus/publish/juniors", form).says(t, http.StatusUnprocessableEntity, "Not published", "published before, as version 1")

	changed := strings.Replace(strings.Replace(old.Text, "points: 1}", "points: 2}", 1), "      - knot\n", "", 1)
	if _, _, err := s.App.SaveDraft(s.Ctx(), s.Owner, changed); err != nil {
		t.Fatal(err)
	}
	v.post("/syllabus/publish/juniors", form).says(t, http.StatusUnprocessableEntity, "changed after you opened this page")
	v.get("/syllabus/publish/juniors").says(t, http.StatusOK, "Publish version 2?",
		"Yellow belt: 1 changed requirement.", "Orange belt: 1 changed requirement, 1 requirement no longer asked.")
}

// The words are those that the head instructor of the invented club would say
// of her own rules, written down before the page was.
func TestTheRulesAreReadInWords(t *testing.T) {
	s := newSite(t)
	v := s.Publish("otterlight.yaml")
	r := s.as(t, s.Person("Yusra Rahimbek", app.Examiner, "")).get("/syllabus/version/" + v.ID)
	r.says(t, http.StatusOK,
		"5 years or older on the grading day.", "At least 8 weeks since the first class.", "At least 12 classes since the first class.",
		"Holds Reed.", "At least 12 weeks since the rank held was given.",
		"Every must shown as expected.",
		"At least 50% of the points in every section except Theme of the month; up to 1 section may fall short, but must still reach 40% of the points, and never Falls or Partner work.",
		"At least 88% of the points of everything asked, bonus left aside.",
		"What was short is looked at again within 28 days; the certificate comes then.",
		"Only what was short is shown again within 84 days, and the rest stands until then.",
		"3 examiners, of whom 2 must say yes, 1 from outside the school.",
		"expected: at least 4 seconds at 5–7 years, 6 at 8–10 years, 8 at 11–13 years, 10 at 14–15 years.",
		"expected: at least 2 at 5–7 years, 3 at 8–10 years, 4 at 11–15 years.",
		"A level from 0 to 3 of falling; expected: at least level 2.",
		"Cautions apply here: partner work and contact.", "licensed practitioners",
		"No result is given out without it.", "Its content changes with the theme of the month.",
		"5–7, B is 8–10", "1 March in other years")
	r.parsed(t)
	if strings.Contains(r.body, "/syllabus/edit/") {
		t.Error("an examiner is offered to change it")
	}
}

// regulations are the example files, those after published rules among them.
func regulations(t *testing.T) map[string]string {
	t.Helper()
	out := map[string]string{}
	for _, pattern := range []string{"../../examples/*.yaml", "../../examples/regulations/*.yaml"} {
		files, err := filepath.Glob(pattern)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range files {
			b, err := os.ReadFile(f)
			if err != nil {
				t.Fatal(err)
			}
			out[filepath.Base(f)] = string(b)
		}
	}
	if len(out) < 10 {
		t.Fatalf("only %d files", len(out))
	}
	return out
}

func TestEveryExampleAndPublishedRegulationReadsAsAPage(t *testing.T) {
	s := newSite(t)
	v := s.as(t, s.Owner)
	for name, text := range regulations(t) {
		d, _, err := s.App.SaveDraft(s.Ctx(), s.Owner, text)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		r := v.get("/syllabus/version/" + d.ID)
		r.says(t, http.StatusOK, "Who may enter")
		r.parsed(t)
		for _, bad := range []string{"%!", "<nil>", "  .", "..", " ;", ">.</li>"} {
			if strings.Contains(strings.ReplaceAll(r.body, "...", ""), bad) {
				i := strings.Index(r.body, bad)
				t.Errorf("%s says %q: %s", name, bad, r.body[max(0, i-100):min(len(r.body), i+50)])
			}
		}
	}
}
