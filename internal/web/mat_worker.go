package web

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io/fs"
	"regexp"
	"slices"
	"strings"
	"sync"

	"rankwright/internal/web/look"
)

// matImport finds both forms, import x from and import alone, and a script that
// is started as a worker: one that is not found is not kept by the service
// worker, and without it the page does not start where there is no connection.
var matImport = regexp.MustCompile(`(?m)(?:^import (?:[^']* from )?|new URL\()'\./([a-z-]+\.js)'(?:;$|, import\.meta\.url\))`)

// matModules are the scripts that main.js asks for, directly or not, so that
// the page can ask for all of them at once.
var matModules = sync.OnceValue(func() []string {
	var out []string
	names := []string{"main.js"}
	for i := 0; i < len(names); i++ {
		text, _ := fs.ReadFile(matFiles, "mat/"+names[i])
		for _, m := range matImport.FindAllStringSubmatch(string(text), -1) {
			if !slices.Contains(names, m[1]) {
				names = append(names, m[1])
				out = append(out, matPath()+m[1])
			}
		}
	}
	return out
})

// matShell is what the scoring page needs beside itself, the typeface of names
// with other letters apart.
func matShell() []string {
	out := slices.Concat(matModules(), matScript())
	for _, name := range []string{"tokens.css", "base.css", "print.css", "mat.css", "icon.svg", "fonts/atkinson-basic.woff2"} {
		out = append(out, look.AssetPath()+name)
	}
	slices.Sort(out)
	return out
}

// matTypefaces are the other parts of the typeface, each with a class of
// characters for the worker, which keeps a part with the first page that has one
// of them.
func matTypefaces() (map[string]string, error) {
	all, err := look.ReadTypefaces()
	out := map[string]string{}
	for _, f := range all {
		if f.Family != "Atkinson" || slices.Contains(matShell(), look.AssetPath()+f.File) {
			continue
		}
		class := "["
		for _, x := range f.Letters {
			class += fmt.Sprintf(`\u{%x}-\u{%x}`, x[0], x[1])
		}
		out[look.AssetPath()+f.File] = class + "]"
	}
	return out, err
}

// matWorker gives the service worker, with its version and the files that it
// keeps written in front. The address stays the same for ever, and browsers
// look there for a newer one.
func matWorker(*Query) (Answer, error) {
	text, err := fs.ReadFile(matServed, "mat/worker.js")
	if err != nil {
		return nil, err
	}
	own := struct {
		Version string            `json:"version"`
		Shell   []string          `json:"shell"`
		Faces   map[string]string `json:"faces"`
	}{Shell: matShell()}
	if own.Faces, err = matTypefaces(); err != nil {
		return nil, err
	}
	sum := sha256.Sum256([]byte(strings.Join(own.Shell, " ") + string(text)))
	own.Version = base64.RawURLEncoding.EncodeToString(sum[:9])
	front, err := json.Marshal(own)
	if err != nil {
		return nil, err
	}
	return matScriptAnswer("self.rankwright = " + string(front) + ";\n" + string(text)), nil
}

type matScriptAnswer string

func (a matScriptAnswer) send(q *Query) error {
	q.w.Header().Set("Content-Type", "text/javascript; charset=utf-8")
	q.w.Header().Set("Cache-Control", "no-cache")
	_, err := q.w.Write([]byte(a))
	return err
}
