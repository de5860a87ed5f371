package web

import (
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"html/template"
	"io/fs"
	"path"
	"strings"
	"sync"

	"rankwright/internal/app"
	"rankwright/internal/web/look"
	"rankwright/internal/words"
)

// Route is one address: who may see it and what it does.
type Route struct {
	Pattern string
	Open    bool    // no sign-in is needed
	Act     app.Act // what the person must be allowed to do; "" is anybody signed in
	Large   bool    // takes a file
	Stream  bool    // takes a file that the handler reads as it comes
	Kind    string  // "json" for a page's own script
	Do      func(*Query) (Answer, error)
}

// Routes is every address in one table.
func Routes() []Route {
	var out []Route
	for _, group := range [][]Route{doorRoutes, homeRoutes, peopleRoutes, syllabusRoutes, pictureRoutes, whatIfRoutes, rosterRoutes, gradingRoutes, matRoutes, pairRoutes, boardRoutes, numberRoutes, timesRoutes, paperworkRoutes, papersRoutes, supplyRoutes, namesRoutes, outcomeRoutes, ledgerRoutes, wordingRoutes, letterRoutes, familiesRoutes, messageRoutes, stopRoutes, familyRoutes} {
		out = append(out, group...)
	}
	return out
}

// parsed are the pages, read once however many servers there are: they are part
// of the program and never change.
var parsed = sync.OnceValues(readPages)

// readPages parses each page with the shared parts and the layout.
func readPages() (map[string]*template.Template, error) {
	files, err := fs.Glob(pageFiles, "pages/*.html")
	if err != nil {
		return nil, err
	}
	out := map[string]*template.Template{}
	for _, f := range files {
		name := strings.TrimSuffix(path.Base(f), ".html")
		if name == familyParts || name == guideParts {
			continue
		}
		set, list := look.Parts(), []string{f}
		if name == "family" || strings.HasPrefix(name, "family-") {
			// A sentence of its own in each language, and the parts' words too.
			set, list = set.Funcs(said(words.In(words.English))), []string{"pages/" + familyParts + ".html", "pages/" + guideParts + ".html", f}
		} else if name == "syllabus-guide" || name == "syllabus-pictures" {
			list = []string{"pages/" + guideParts + ".html", f}
		}
		t, err := set.ParseFS(pageFiles, list...)
		if err != nil {
			return nil, fmt.Errorf("page %s: %w", name, err)
		}
		out[name] = t
		for _, l := range words.All() {
			if len(list) < 3 || l == words.English {
				continue
			}
			other, err := t.Clone()
			if err != nil {
				return nil, fmt.Errorf("page %s: %w", name, err)
			}
			out[name+"@"+string(l)] = other.Funcs(said(words.In(l)))
		}
	}
	return out, nil
}

// familyParts is the file that all pages of families share.
const familyParts = "family-parts"

// guideParts is the file that the pages with the guide of a rank share.
const guideParts = "guide-parts"

// said are the functions by which a page speaks a language: say with the key of
// a sentence and, in pairs, the names in it with their values; word for the
// fixed words of the parts.
func said(s *words.Say) template.FuncMap {
	return template.FuncMap{
		"say": func(key words.Key, pairs ...any) string {
			var values []words.Set
			for i := 0; i+1 < len(pairs); i += 2 {
				values = append(values, words.Set{Name: fmt.Sprint(pairs[i]), Value: pairs[i+1]})
			}
			return s.It(key, values...)
		},
		"word": func(key string) string {
			if k := words.Key("look." + key); s.Has(k) {
				return s.It(k)
			}
			return look.Word(key)
		},
	}
}

// matPath is the address of the scripts, by a hash of what they are.
var matPath = sync.OnceValue(func() string {
	sum := sha256.New()
	_ = fs.WalkDir(matServed, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := fs.ReadFile(matServed, name)
		fmt.Fprintf(sum, "%s %d\n", name, len(b))
		sum.Write(b)
		return err
	})
	return "/m/" + base64.RawURLEncoding.EncodeToString(sum.Sum(nil)[:9]) + "/"
})
