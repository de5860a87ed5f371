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
)

// Route is one address: who may see it and what it does.
type Route struct {
	Pattern string
	Open    bool    // no sign-in is needed
	Act     app.Act // what the person must be allowed to do; "" is anybody signed in
	Large   bool    // takes a file
	Kind    string  // "json" for a page's own script
	Do      func(*Query) (Answer, error)
}

// Routes is every address in one table.
func Routes() []Route {
	var out []Route
	for _, group := range [][]Route{doorRoutes, homeRoutes, peopleRoutes, syllabusRoutes, whatIfRoutes, rosterRoutes, gradingRoutes, matRoutes, pairRoutes, boardRoutes, numberRoutes, timesRoutes, paperworkRoutes, outcomeRoutes, ledgerRoutes} {
		out = append(out, group...)
	}
	return out
}

// readPages parses each page with the shared parts and the layout.
func readPages() (map[string]*template.Template, error) {
	files, err := fs.Glob(pageFiles, "pages/*.html")
	if err != nil {
		return nil, err
	}
	out := map[string]*template.Template{}
	for _, f := range files {
		name := strings.TrimSuffix(path.Base(f), ".html")
		t, err := look.Parts().ParseFS(pageFiles, f)
		if err != nil {
			return nil, fmt.Errorf("page %s: %w", name, err)
		}
		out[name] = t
	}
	return out, nil
}

// matPath is the address of the scripts, by a hash of what they are.
var matPath = sync.OnceValue(func() string {
	sum := sha256.New()
	_ = fs.WalkDir(matFiles, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := fs.ReadFile(matFiles, name)
		fmt.Fprintf(sum, "%s %d\n", name, len(b))
		sum.Write(b)
		return err
	})
	return "/m/" + base64.RawURLEncoding.EncodeToString(sum.Sum(nil)[:9]) + "/"
})
