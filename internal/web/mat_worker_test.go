package web_test

import (
	"encoding/json"
	"io/fs"
	"net/http"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
)

var anyImport = regexp.MustCompile(`(?:import|from|new URL)\s*\(?\s*['"]\./([^'"]+)['"]`)

// One script that the worker does not keep, and the page does not start where
// there is no connection.
func TestTheWorkerKeepsEveryScriptOfTheScoringPageAndNoOther(t *testing.T) {
	m := newMat(t)
	r := m.as(t, m.mira).get("/worker.js")
	front, _, _ := strings.Cut(r.body, "\n")
	if r.status != http.StatusOK || !strings.HasPrefix(front, "self.rankwright = ") {
		t.Fatalf("%d: %s", r.status, front)
	}
	needed := []string{"main.js"}
	for i := 0; i < len(needed); i++ {
		text, err := fs.ReadFile(os.DirFS("mat"), needed[i])
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range anyImport.FindAllStringSubmatch(string(text), -1) {
			if !slices.Contains(needed, x[1]) {
				needed = append(needed, x[1])
			}
		}
	}
	var kept []string
	for _, x := range regexp.MustCompile(`/m/[^/"]+/([a-z-]+\.js)`).FindAllStringSubmatch(front, -1) {
		kept = append(kept, x[1])
	}
	slices.Sort(needed)
	slices.Sort(kept)
	if !slices.Equal(needed, kept) || len(kept) < 10 {
		t.Errorf("the worker keeps %q, the page needs %q", kept, needed)
	}
	page := m.as(t, m.mira).get(m.path("/marks/reed")).body
	for _, name := range needed {
		if !strings.Contains(page, "/"+name+`"`) {
			t.Errorf("the page does not ask for %s at once", name)
		}
	}
}

// A page with a name of other letters has its typeface without a connection too.
func TestTheWorkerKnowsWhichLettersTakeMoreOfTheTypeface(t *testing.T) {
	m := newMat(t)
	front, _, _ := strings.Cut(m.as(t, m.mira).get("/worker.js").body, "\n")
	var own struct {
		Shell []string
		Faces map[string]string
	}
	if err := json.Unmarshal([]byte(strings.TrimSuffix(strings.TrimPrefix(front, "self.rankwright = "), ";")), &own); err != nil {
		t.Fatal(err)
	}
	takes := func(text string) (out []string) {
		for file, class := range own.Faces {
			if regexp.MustCompile(strings.ReplaceAll(class, `\u{`, `\x{`)).MatchString(text) {
				out = append(out, file[strings.LastIndex(file, "/")+1:])
			}
		}
		slices.Sort(out)
		return out
	}
	for text, want := range map[string][]string{
		"Ana Abara – “here”\n": nil,
		"Zoé":                  {"atkinson-latin.woff2"},
		"Łucja":                {"atkinson-latin-ext.woff2"},
		"Łucja, Zoé":           {"atkinson-latin-ext.woff2", "atkinson-latin.woff2"},
		"李小龙":                  nil, // not ours
	} {
		if got := takes(text); !slices.Equal(got, want) {
			t.Errorf("%q takes %q, want %q", text, got, want)
		}
	}
	if !slices.ContainsFunc(own.Shell, func(path string) bool { return strings.HasSuffix(path, "/atkinson-basic.woff2") }) {
		t.Errorf("the part that every page needs is not kept: %q", own.Shell)
	}
}
