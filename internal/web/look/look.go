// Package look is the appearance of every page: the style sheets and typefaces
// (Static), the page around each page ("page" with Base), the shared parts
// ("belt", "reasons", "field" …) with the structs that feed them, and a page
// that shows all of them in one place ("look" with Page).
//
// It knows nothing of gradings: callers turn their findings into these structs.
// No part carries a style attribute or a script, so that all of it runs under
// the content security policy default-src 'self'; belt colours travel as SVG
// fill attributes.
package look

import (
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io/fs"
	"sync"

	"rankwright/internal/web/lean"
	"rankwright/internal/web/static"
)

// Static holds the style sheets, the icon and the typefaces.
var Static fs.FS = static.Files

// Served is Static as it travels.
var Served = lean.FS(Static)

//go:embed *.html
var files embed.FS

// StaticHash is a short hash of every file of Served and its name. Pages link
// to /a/<hash>/…, so that these files may be kept by browsers for ever.
var StaticHash = sync.OnceValue(func() string {
	sum := sha256.New()
	err := fs.WalkDir(Served, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := fs.ReadFile(Served, name)
		fmt.Fprintf(sum, "%s %d\n", name, len(b))
		sum.Write(b)
		return err
	})
	if err != nil {
		panic("look: reading the embedded files: " + err.Error())
	}
	return base64.RawURLEncoding.EncodeToString(sum.Sum(nil)[:9])
})

// AssetPath is the address under which Served is served, with a slash behind.
func AssetPath() string { return "/a/" + StaticHash() + "/" }

var parsed = sync.OnceValue(func() *template.Template {
	return template.Must(template.New("").Funcs(Funcs()).Funcs(roundFuncs).ParseFS(files, "parts.html", "rotation.html", "page.html"))
})

// Parts returns a fresh set with the shared parts and the layout "page". A
// page adds its own {{define "content"}} to it and executes "page" with a
// struct that embeds Base. For another language, replace the function "word"
// by calling Funcs on the set before it is executed.
func Parts() *template.Template {
	return template.Must(parsed().Clone())
}

// Funcs are the functions that the parts need: word gives a fixed word of the
// parts by its key.
func Funcs() template.FuncMap {
	return template.FuncMap{"word": Word}
}

// Word gives the English of one of the fixed words that the parts print, or
// the key itself where there is none.
func Word(key string) string {
	if w, ok := Words[key]; ok {
		return w
	}
	return key
}

// Words are all fixed words of the parts in English, by key. It is read only.
var Words = map[string]string{
	"skip":     "Skip to the content",
	"nav":      "Main",
	"back":     "Back",
	"sign-out": "Sign out",
	"problem":  "Problem",
	"optional": "optional",
	"summary":  "Please look at this again",

	"met":   "Met",
	"unmet": "Not met",
	"open":  "Not known yet",
	"asked": "Asked",
	"shown": "Shown",
	"must":  "must",
	"why":   "Where this comes from",

	"requirement": "Requirement",

	"done":  "done",
	"now":   "now",
	"later": "later",

	"info":      "Note",
	"good":      "Done",
	"attention": "Please check",
	"stop":      "Stopped",

	"promoted":    "Promoted",
	"held":        "Held",
	"not_yet":     "Not yet",
	"absent":      "Absent",
	"stopped":     "Stopped for safety",
	"incomplete":  "Incomplete",
	"second_look": "Second look",
}
