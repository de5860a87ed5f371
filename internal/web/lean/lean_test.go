package lean_test

import (
	"io"
	"io/fs"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"testing/fstest"

	"rankwright/internal/web/lean"
	"rankwright/internal/web/static"
)

func TestScriptsAndSheetsLoseWhatOnlyTheirReadersNeed(t *testing.T) {
	files := lean.FS(fstest.MapFS{
		"a/x.js":    {Data: []byte("// says what it is for\nexport function total(marks) {\n  return marks.length; // none is 0\n}\n")},
		"x.css":     {Data: []byte("/* why */\n.tap  { color : red; }\n")},
		"odd.js":    {Data: []byte("let = ;;; (")},
		"notes.txt": {Data: []byte("// a  line\n")},
	})
	for name, want := range map[string]string{
		"a/x.js":    "export function total(e){return e.length}",
		"x.css":     ".tap{color:red}",
		"odd.js":    "let = ;;; (", // what cannot be read is left alone
		"notes.txt": "// a  line\n",
	} {
		for range 2 { // made, and made before
			b, err := fs.ReadFile(files, name)
			if err != nil || string(b) != want {
				t.Errorf("%s is %q, %v; want %q", name, b, err, want)
			}
		}
	}
	for _, name := range []string{"y.js", "../x.css"} {
		if _, err := files.Open(name); err == nil {
			t.Errorf("%s was opened", name)
		}
	}
	// A server sends it with its length, and parts of it.
	r := httptest.NewRequest(http.MethodGet, "/x.css", nil)
	r.Header.Set("Range", "bytes=0-3")
	w := httptest.NewRecorder()
	http.FileServerFS(files).ServeHTTP(w, r)
	if w.Code != http.StatusPartialContent || w.Body.String() != ".tap" || !strings.HasPrefix(w.Header().Get("Content-Type"), "text/css") {
		t.Errorf("%d %q %v", w.Code, w.Body, w.Header())
	}
}

// Every sheet of the product is understood and becomes smaller.
func TestEverySheetOfTheProductBecomesLean(t *testing.T) {
	files := lean.FS(static.Files)
	n := 0
	err := fs.WalkDir(files, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || !strings.HasSuffix(name, ".css") {
			return err
		}
		n++
		f, err := files.Open(name)
		if err != nil {
			return err
		}
		defer f.Close()
		less, err := io.ReadAll(f)
		was, _ := fs.ReadFile(static.Files, name)
		if err != nil || len(less) == 0 || len(less) >= len(was) || strings.Contains(string(less), "/*") {
			t.Errorf("%s: %d bytes of %d, %v", name, len(less), len(was), err)
		}
		if a, b := strings.Count(string(was), "@media"), strings.Count(string(less), "@media"); a < b {
			t.Errorf("%s has %d media queries and had %d", name, b, a)
		}
		return nil
	})
	if err != nil || n < 5 {
		t.Errorf("%d sheets, %v", n, err)
	}
}
