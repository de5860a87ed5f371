package look

import (
	"bytes"
	"html/template"
	"strings"
	"testing"
)

func render(t *testing.T, name string, data any) string {
	t.Helper()
	var b bytes.Buffer
	if err := Parts().ExecuteTemplate(&b, name, data); err != nil {
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
		`fill="#d98e04"`, `<span class="belt-name">Amber</span>`, `href="` + AssetPath() + `base.css"`,
	} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("the page lacks %q:\n%s", want, b.String())
		}
	}
}
