package look

import (
	"bytes"
	"html/template"
	"io/fs"
	"maps"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"
)

func render(t *testing.T, name string, data any) string {
	t.Helper()
	var b bytes.Buffer
	if err := Parts().ExecuteTemplate(&b, name, data); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func lookHTML(t *testing.T) string {
	t.Helper()
	var b bytes.Buffer
	err := Render(&b, Base{
		School: "Otterlight", Person: "Sefanaia Lindqvist-Amoako", Role: "head instructor", SignOut: "/out", Kicker: "For page authors",
		Nav: []NavItem{{"/", "Today", true}}, Back: &Link{"/", "Today"}, Flash: &Notice{Kind: "good", Title: "Saved."},
	})
	if err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestAPageFillsTheLayoutWithItsContent(t *testing.T) {
	set := template.Must(Parts().Parse(`{{define "content"}}<p>{{.Own}} {{template "belt" .Rank}}</p>{{end}}`))
	page := struct {
		Base
		Own  string
		Rank Belt
	}{Base{Title: "Who may enter", School: "Otterlight"}, "own words", Belt{Name: "Amber", Colour: "#d98e04"}}
	var b bytes.Buffer
	if err := set.ExecuteTemplate(&b, "page", page); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		`<html lang="en">`, "<title>Who may enter – Otterlight</title>", "<h1>Who may enter</h1>", "<p>own words",
		`fill="#d98e04"`, `<bdi class="belt-name">Amber</bdi>`, `href="` + AssetPath() + `base.css"`,
	} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("the page lacks %q:\n%s", want, b.String())
		}
	}
}

// mending is what the part "mend" reads of a page.
type mending struct {
	Faults []mendNote
	More   int
}

type mendNote struct {
	Line          int
	Say, Do, Text string
}

func TestEachPartPrintsWhatItIsGiven(t *testing.T) {
	belt := Belt{Name: "Amber", Colour: "#E0A11B", Tip: "tip 2 Ready", Tips: 2}
	field := func(kind string) Field {
		return Field{Name: "mat", Label: "Mat", Kind: kind, Hint: "near the door", Error: "choose one", Options: []Option{{Value: "1", Text: "One", Selected: true}}, Value: "v", Optional: true}
	}
	tests := []struct {
		what, part string
		data       any
		want       []string
	}{
		{"a belt with two tapes", "belt", belt, []string{`fill="#e0a11b"`, `x="86"`, `x="73"`, "Amber", "tip 2 Ready"}},
		{"a belt without a colour is hollow", "belt", Belt{Name: "Reed", Colour: "pale green"}, []string{"belt-none", "Reed"}},
		{"a striped belt", "belt", Belt{Name: "Half", Colour: "#fff", Stripe: "#b00"}, []string{`fill="#bb0000"`}},
		{"an outcome with its word and mark", "outcome", Outcome{Code: "not_yet"}, []string{"badge-accent", "<svg", "Not yet"}},
		{"an outcome with a note", "outcome", Outcome{Code: "held", Note: "signature"}, []string{"Held: signature"}},
		{"a reason that is met", "reasons", []Reason{{Text: "Age", Asked: "5", Shown: "6", Met: MetIf(true), Must: true, Href: "/why"}}, []string{"reason-met", "Met<", "Asked: 5; Shown: 6", ">must<", `href="/why"`}},
		{"a reason that is not met", "reasons", []Reason{{Text: "Age", Met: MetIf(false)}}, []string{"reason-unmet", "Not met<"}},
		{"a reason that is open", "reasons", []Reason{{Text: "Age"}}, []string{"reason-open", "Not known yet<"}},
		{"facts", "facts", []Fact{{Term: "Rank", Belt: &belt}, {Term: "Age", Text: "7", Href: "/age", Note: "by birthdays"}}, []string{"<dt>Rank</dt>", "belt-band", `<a href="/age">7</a>`, "by birthdays"}},
		{"an empty state with its next step", "empty", Empty{Title: "None yet", Action: &Link{"/new", "Begin"}}, []string{"None yet", `href="/new"`, "Begin"}},
		{"a notice that stops is announced", "notice", Notice{Kind: "stop", Title: "No", Text: "why", Do: "what next", Links: []Link{{"/a", "there"}}}, []string{`role="alert"`, "No<", "why", "what next", `href="/a"`}},
		{"a notice without a title has a word", "notice", Notice{Kind: "attention"}, []string{"Please check"}},
		{"steps say which one is now", "steps", StepsAt("Grading", 1, "Planning", "Open", "Closed"), []string{`aria-current="step"`, "step-done", "step-later", ": later<"}},
		{"a caution says local rules first and stops after a knock", "caution", Cautions("House rule.", "First aider."), []string{"House rule.", "First aider.", "come before anything written here", "knock to the head", "health professional"}},
		{"what to mend, with the line and what stands in it", "mend", mending{Faults: []mendNote{{Line: 3, Say: "No belt is called Grene.", Do: "Write Green.", Text: "belt Grene"}, {Say: "No ladder."}}, More: 2},
			[]string{`id="faults"`, "Line 3: No belt", "Write Green.", "<code>belt Grene</code>", "<strong>No ladder.</strong>", "There are 2 more."}},
		{"nothing to mend is not said", "mend", mending{}, nil},
		{"an error summary leads to the field", "errorsummary", *ErrorsOf(field("")), []string{`href="#mat"`, "choose one", "autofocus"}},
		{"an error summary leads to the first choice", "errorsummary", *ErrorsOf(field("radios")), []string{`href="#mat-0"`}},
		{"an input with hint and error", "field", field(""), []string{`for="mat"`, `aria-describedby="mat-hint mat-error"`, `aria-invalid="true"`, `value="v"`, "(optional)"}},
		{"a text area", "field", field("textarea"), []string{"<textarea", "\nv</textarea>"}},
		{"a select", "field", field("select"), []string{"<select", `<option value="1" selected>One`}},
		{"radios", "field", field("radios"), []string{"<fieldset", `type="radio" id="mat-0"`, " checked"}},
		{"segments", "field", field("segments"), []string{`class="segment"`, `type="radio"`}},
		{"checks", "field", field("checks"), []string{`type="checkbox"`}},
		{"one box", "field", field("check"), []string{`type="checkbox" id="mat"`}},
		{"a belt's band alone", "belt-band", Belt{Name: "Reed", Colour: "#bcd6a2"}, []string{`<svg class="belt-band"`, `fill="#bcd6a2"`}},
		{"the mark grid", "grid", sampleGrid(), []string{`scope="row"`, "tap-low", "must is 2", "Settle-back from sitting, Ayotomi: "}},
		{"the round of the stations", "rotation", sampleRound(), []string{"Saturday 10 October", ">Break</th>", "10:37–10:42", ">2 Hands and kicks</th>", "round-break"}},
		{"a grid of buttons", "grid", Grid{Students: []GridStudent{{Name: "A"}}, Sections: []GridSection{{Rows: []GridRow{{Text: "r", Cells: []GridCell{{Name: "cell", Value: "7", State: "none"}}}}}}}, []string{`<button type="submit" class="tap tap-none" name="cell" value="7">`}},
	}
	seen := map[string]bool{"page": true, "heading": true, "content": true, "foot": true, "mark": true, "cell": true, "": true,
		"field-notes": true, "field-attrs": true, "field-extra": true, "parts.html": true, "rotation.html": true, "page.html": true}
	for _, tt := range tests {
		seen[tt.part] = true
		t.Run(tt.what, func(t *testing.T) {
			got := render(t, tt.part, tt.data)
			if got = strings.TrimSpace(got); (got == "") != (tt.want == nil) {
				t.Errorf("printed %q", got)
			}
			for _, want := range tt.want {
				if !strings.Contains(got, want) {
					t.Errorf("lacks %q:\n%s", want, got)
				}
			}
			checkHTML(t, got)
		})
	}
	for _, part := range Parts().Templates() {
		if !seen[part.Name()] {
			t.Errorf("the part %q is not executed here", part.Name())
		}
	}
}

func TestAColourThatIsNoColourNeverReachesThePage(t *testing.T) {
	for _, c := range []string{`red" onload="alert(1)`, "url(#x)", "#12", "#12345g", "", "#1234567"} {
		got := render(t, "belt", Belt{Name: "n", Colour: c, Stripe: c, TipColour: c})
		if !strings.Contains(got, "belt-none") || strings.Contains(got, "fill=") {
			t.Errorf("colour %q gave %s", c, got)
		}
	}
}

// checkHTML proves that the text is balanced and keeps to default-src 'self'.
func checkHTML(t *testing.T, text string) {
	t.Helper()
	void := map[string]bool{"meta": true, "link": true, "input": true, "br": true, "hr": true, "img": true}
	var open []string
	ids := map[string]bool{}
	z := html.NewTokenizer(strings.NewReader(text))
	for kind := z.Next(); kind != html.ErrorToken; kind = z.Next() {
		tok := z.Token()
		switch kind {
		case html.StartTagToken:
			if !void[tok.Data] {
				open = append(open, tok.Data)
			}
		case html.EndTagToken:
			if len(open) == 0 || open[len(open)-1] != tok.Data {
				t.Fatalf("</%s> closes %v in:\n%s", tok.Data, open, text)
			}
			open = open[:len(open)-1]
		}
		if tok.Data == "style" && kind == html.StartTagToken {
			t.Errorf("a style element: %s", tok)
		}
		hasSrc := false
		for _, a := range tok.Attr {
			switch {
			case a.Key == "style" || strings.HasPrefix(a.Key, "on"):
				t.Errorf("%s has the attribute %s", tok, a.Key)
			case a.Key == "src":
				hasSrc = true
			case a.Key == "id" && kind == html.StartTagToken:
				if ids[a.Val] {
					t.Errorf("the id %q stands twice", a.Val)
				}
				ids[a.Val] = true
			}
			if strings.Contains(a.Val, "ZgotmplZ") {
				t.Errorf("html/template refused a value in %s", tok)
			}
		}
		if tok.Data == "script" && kind == html.StartTagToken && !hasSrc {
			t.Errorf("an inline script: %s", tok)
		}
	}
	if len(open) > 0 {
		t.Errorf("left open: %v in:\n%s", open, text)
	}
}

func TestTheLookPageKeepsToTheContentPolicy(t *testing.T) {
	text := lookHTML(t)
	checkHTML(t, text)
	if got := strings.Count(text, `<svg class="look-pair"`); got != 2*len(Pairs()) {
		t.Errorf("the look page shows %d samples of %d pairs", got, len(Pairs()))
	}
}

func TestAPageWithErrorsSaysSoInItsTitle(t *testing.T) {
	var b bytes.Buffer
	if err := Render(&b, Base{Errors: &ErrorSummary{Items: []Link{{"#x", "wrong"}}}, Scripts: []string{"/m/main.js"}, Styles: []string{"/p.css"}}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"<title>Problem: The look</title>", `<script type="module" src="/m/main.js"></script>`, `href="/p.css"`} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("the page lacks %q", want)
		}
	}
}

func sheets(t *testing.T) map[string]string {
	t.Helper()
	out := map[string]string{}
	for _, name := range []string{"tokens.css", "base.css", "print.css"} {
		b, err := fs.ReadFile(Static, name)
		if err != nil {
			t.Fatal(err)
		}
		out[name] = cssComment.ReplaceAllString(string(b), "")
	}
	return out
}

func TestTheStyleSheetsAreSmall(t *testing.T) {
	total := 0
	for _, text := range sheets(t) {
		total += len(text)
	}
	if total > 40<<10 {
		t.Errorf("the style sheets are %d bytes, over 40 KB", total)
	}
}

func TestEveryCustomPropertyIsDefinedAndUsed(t *testing.T) {
	tokens, err := ReadTokens()
	if err != nil {
		t.Fatal(err)
	}
	used := map[string]bool{}
	for name, text := range sheets(t) {
		for _, m := range regexp.MustCompile(`var\(--([a-z0-9-]+)\)`).FindAllStringSubmatch(text, -1) {
			used[m[1]] = true
			if _, ok := tokens.Light[m[1]]; !ok {
				t.Errorf("%s uses --%s, which tokens.css does not define", name, m[1])
			}
		}
		for _, m := range cssProperty.FindAllStringSubmatch(text, -1) {
			if _, ok := tokens.Light[m[1]]; !ok {
				t.Errorf("%s sets --%s, which tokens.css does not define", name, m[1])
			}
		}
		if n, m := strings.Count(text, "{"), strings.Count(text, "}"); n != m {
			t.Errorf("%s opens %d blocks and closes %d", name, n, m)
		}
	}
	for _, name := range tokens.Names {
		if !used[name] {
			t.Errorf("--%s is defined and nowhere used", name)
		}
	}
}

func TestEveryClassOfTheTemplatesIsInTheStyleSheets(t *testing.T) {
	all := strings.Join(slices.Collect(maps.Values(sheets(t))), "\n")
	known := map[string]bool{}
	for _, m := range regexp.MustCompile(`\.([a-z][a-z0-9-]*)`).FindAllStringSubmatch(all, -1) {
		known[m[1]] = true
	}
	// Words that only tell variants apart, whose looks are those of the base.
	for _, plain := range []string{"notice-info"} {
		known[plain] = true
	}
	for _, m := range regexp.MustCompile(` class="([^"]*)"`).FindAllStringSubmatch(lookHTML(t), -1) {
		for _, class := range strings.Fields(m[1]) {
			if !known[class] {
				t.Errorf("the class %q has no rule", class)
			}
		}
	}
	doc, err := os.ReadFile("../../../docs/look.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range regexp.MustCompile("`\\.([a-z][a-z0-9-]*)`").FindAllStringSubmatch(string(doc), -1) {
		if !known[m[1]] {
			t.Errorf("docs/look.md names the class %q, which has no rule", m[1])
		}
	}
	for _, m := range regexp.MustCompile("`\\{\\{template \"([a-z]+)\"").FindAllStringSubmatch(string(doc), -1) {
		if Parts().Lookup(m[1]) == nil {
			t.Errorf("docs/look.md names the part %q, which is not there", m[1])
		}
	}
}

func TestEveryFixedWordHasItsEnglish(t *testing.T) {
	need := map[string]bool{}
	for _, name := range []string{"parts.html", "page.html"} {
		b, err := fs.ReadFile(files, name)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range regexp.MustCompile(`word "([a-z-]+)"`).FindAllStringSubmatch(string(b), -1) {
			need[m[1]] = true
		}
	}
	page := Page()
	for _, o := range page.Outcomes {
		need[o.Code] = true
	}
	for _, n := range page.Notices {
		need[n.Kind] = true
	}
	for _, s := range page.Steps.Items {
		need[s.State] = true
	}
	for _, m := range []Met{Open, Yes, No} {
		need[m.Key()] = true
	}
	for key := range need {
		if Words[key] == "" {
			t.Errorf("the word %q has no English", key)
		}
	}
	for key := range Words {
		if !need[key] {
			t.Errorf("the word %q is nowhere used", key)
		}
	}
}

func TestAnotherLanguageReplacesTheFixedWords(t *testing.T) {
	set := Parts().Funcs(template.FuncMap{"word": func(key string) string { return "«" + key + "»" }})
	var b bytes.Buffer
	if err := set.ExecuteTemplate(&b, "outcome", Outcome{Code: "held"}); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(b.String(), "«held»") || strings.Contains(render(t, "outcome", Outcome{Code: "held"}), "«") {
		t.Errorf("the words are not replaced in this set alone: %s", b.String())
	}
}

func TestTheStaticHashNamesAFolder(t *testing.T) {
	if !regexp.MustCompile(`^/a/[A-Za-z0-9_-]{12}/$`).MatchString(AssetPath()) {
		t.Errorf("the address of the static files is %q", AssetPath())
	}
	for _, name := range []string{"icon.svg", "fonts/besley-OFL.txt", "fonts/atkinson-OFL.txt"} {
		if _, err := fs.Stat(Static, name); err != nil {
			t.Error(err)
		}
	}
	css := sheets(t)["tokens.css"]
	for _, m := range regexp.MustCompile(`url\("([^"]+)"\)`).FindAllStringSubmatch(css, -1) {
		if _, err := fs.Stat(Static, m[1]); err != nil {
			t.Errorf("tokens.css links to %s: %v", m[1], err)
		}
	}
}

// A letter belongs to one part of a family, so that a page loads no two parts
// for it, and what English needs is in the first.
func TestEachLetterIsInOnePartOfATypeface(t *testing.T) {
	faces, err := ReadTypefaces()
	if err != nil || len(faces) != 6 {
		t.Fatalf("%d typefaces, %v", len(faces), err)
	}
	owner := map[string]string{}
	for _, f := range faces {
		if _, err := fs.Stat(Static, f.File); err != nil {
			t.Error(err)
		}
		for _, x := range f.Letters {
			for r := x[0]; r <= x[1]; r++ {
				if other := owner[f.Family+string(r)]; other != "" {
					t.Errorf("%q is in %s and in %s", r, other, f.File)
				}
				owner[f.Family+string(r)] = f.File
			}
		}
	}
	for family, file := range map[string]string{"Atkinson": "fonts/atkinson-basic.woff2", "Besley": "fonts/besley-basic.woff2"} {
		for _, r := range "AZaz09 .,?!–—‘’“”…−×" {
			if got := owner[family+string(r)]; got != file {
				t.Errorf("%q of %s is in %q", r, family, got)
			}
		}
		if got := owner[family+"é"]; got != strings.Replace(file, "basic", "latin", 1) {
			t.Errorf("é of %s is in %q", family, got)
		}
	}
}
