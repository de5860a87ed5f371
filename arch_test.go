package rankwright_test

import (
	"bytes"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
)

// The house, from left to right: a package imports only packages to its left.
// The ground floor is what an examination is; the cellar is how a computer
// does it. Names are folders; "rankwright" is the root.
var (
	groundFloor = []string{"rankwright", "stat", "syllabus", "roster", "ready", "timetable", "scoring", "decide",
		"coach", "promote", "analysis"}
	cellar = []string{"examples", "roster/table", "internal/solver", "internal/store", "internal/files", "internal/calendar", "internal/paper",
		"internal/words", "internal/outside", "internal/clip", "internal/guide", "internal/sheets", "internal/wording", "internal/post", "internal/app", "internal/award", "internal/tlsca", "internal/web", "internal/demo", "internal/faults", "cmd/rankwright"}
	order = slices.Concat(groundFloor, cellar)
)

// Arrows that point left and are wrong all the same: the gate is app.
var never = map[string][]string{
	"internal/files": {"internal/store"},
	"internal/paper": {"internal/store"},
	"internal/app":   {"internal/paper", "internal/post"},
	"internal/web":   {"internal/store"},
}

// What the ground floor may use of the standard library: nothing that knows
// the hour, chance, files, processes or the network.
var pureStandard = strings.Fields(`bytes cmp context crypto/sha256 embed encoding/csv encoding/hex encoding/json errors fmt io iter
	maps math math/big math/bits slices sort strconv strings sync time unicode unicode/utf8`)

// Outside modules on the ground floor, and beside it.
var outsideModules = map[string][]string{
	"syllabus":     {"github.com/goccy/go-yaml"},
	"stat":         {"gonum.org/v1/gonum"},
	"roster/table": {"github.com/xuri/excelize/v2", "golang.org/x/text"},
}

// Standard packages with one home in the cellar.
var homes = map[string][]string{
	"database/sql":        {"internal/store"},
	"database/sql/driver": {"internal/store"},
	"net/http":            {"internal/web", "internal/demo", "cmd/rankwright"},
	"html/template":       {"internal/web", "internal/wording"},
}

// Where a mark becomes an outcome there is no floating point.
var exact = []string{"rankwright", "syllabus", "roster", "ready", "scoring", "decide", "promote"}

// file is one Go file of the module.
type file struct {
	path    string // from the root, with slashes
	pkg     string // the folder's name as in order
	own     bool   // of the package itself, not of its tests
	test    bool   // of tests, or of a package for tests such as storetest
	src     []byte
	syntax  *ast.File
	imports []string
}

var goFiles = sync.OnceValue(func() []*file {
	var out []*file
	err := filepath.WalkDir(".", func(p string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			if p == "." {
				return nil
			}
			if _, err := os.Stat(filepath.Join(p, "go.mod")); err == nil || d.Name() == "testdata" || strings.ContainsAny(d.Name()[:1], "._") {
				return fs.SkipDir // another module, data, or hidden
			}
			return nil
		}
		if !strings.HasSuffix(p, ".go") {
			return nil
		}
		f := &file{path: filepath.ToSlash(p), own: !strings.HasSuffix(p, "_test.go")}
		if f.pkg = path.Dir(f.path); f.pkg == "." {
			f.pkg = "rankwright"
		}
		f.test = !f.own || strings.HasSuffix(f.pkg, "test")
		if f.src, err = os.ReadFile(p); err != nil {
			return err
		}
		if f.syntax, err = parser.ParseFile(token.NewFileSet(), p, f.src, parser.SkipObjectResolution); err != nil {
			return err
		}
		for _, i := range f.syntax.Imports {
			s, err := strconv.Unquote(i.Path.Value)
			if err != nil {
				return err
			}
			f.imports = append(f.imports, s)
		}
		out = append(out, f)
		return nil
	})
	if err != nil {
		panic(err)
	}
	return out
})

// packages lists the packages that have a file beside their tests.
func packages() []string {
	var out []string
	for _, f := range goFiles() {
		if f.own && !slices.Contains(out, f.pkg) {
			out = append(out, f.pkg)
		}
	}
	return out
}

// inside turns an import path into the folder of this module that it names.
func inside(importPath string) (string, bool) {
	if importPath == "rankwright" {
		return importPath, true
	}
	return strings.CutPrefix(importPath, "rankwright/")
}

// whole is the package of the order to which pkg belongs: internal/web for
// internal/web/look. A folder inside a folder of the cellar is a part of it.
func whole(pkg string) string {
	if elems := strings.SplitN(pkg, "/", 3); len(elems) == 3 && elems[0] == "internal" {
		return elems[0] + "/" + elems[1]
	}
	return pkg
}

// wrongArrow says why one package may not import another, or "".
func wrongArrow(from, to string, test bool) string {
	a, b := slices.Index(order, whole(from)), slices.Index(order, whole(to))
	switch {
	case a < 0:
		return whole(from) + " has no place in the order; give it one in arch_test.go and ARCHITECTURE.md"
	case b < 0:
		return whole(to) + " has no place in the order"
	case whole(from) == whole(to):
		return ""
	case test && a >= len(groundFloor):
		if to == "cmd/rankwright" {
			return "nothing imports the command"
		}
		return "" // a test in the cellar may set up what it needs
	case test && to == "examples":
		return ""
	case test && from == "roster" && to == "roster/table":
		return "" // the tables beside it are read in its own tests
	case b >= a:
		return "the arrow points right"
	case slices.Contains(never[whole(from)], whole(to)):
		return "this one never does: internal/app is the gate"
	case to != whole(to):
		return "a part is imported only by its whole"
	}
	return ""
}

func TestArrowsPointLeft(t *testing.T) {
	for _, f := range goFiles() {
		for _, i := range f.imports {
			to, ok := inside(i)
			if !ok {
				continue
			}
			if why := wrongArrow(f.pkg, to, f.test); why != "" {
				t.Errorf("%s imports %s: %s", f.path, to, why)
			}
		}
	}
}

func TestAWrongArrowIsSeen(t *testing.T) {
	for _, c := range []struct {
		from, to string
		test     bool
		wrong    bool
	}{
		{"decide", "scoring", false, false},
		{"scoring", "decide", false, true},
		{"scoring", "decide", true, true},
		{"decide", "examples", false, true},
		{"decide", "examples", true, false},
		{"decide", "internal/store", false, true},
		{"ready", "roster/table", false, true},
		{"internal/web", "internal/store", false, true},
		{"internal/web/pages", "internal/store", false, true},
		{"internal/web", "internal/store", true, false},
		{"internal/web", "internal/web/look", false, false},
		{"internal/demo", "internal/web/look", false, true},
		{"internal/app", "internal/paper", false, true},
		{"internal/demo", "cmd/rankwright", true, true},
		{"internal/nowhere", "decide", false, true},
	} {
		if why := wrongArrow(c.from, c.to, c.test); (why != "") != c.wrong {
			t.Errorf("%s imports %s (in a test: %v): %q", c.from, c.to, c.test, why)
		}
	}
}

// architecture returns the rows of the table under a heading of
// ARCHITECTURE.md, cell by cell, without backquotes.
func architecture(t *testing.T, heading string) [][]string {
	t.Helper()
	text, err := os.ReadFile("ARCHITECTURE.md")
	if err != nil {
		t.Fatal(err)
	}
	_, section, ok := strings.Cut(string(text), "\n## "+heading+"\n")
	if !ok {
		t.Fatalf("ARCHITECTURE.md has no section %q", heading)
	}
	section, _, _ = strings.Cut(section, "\n## ")
	var rows [][]string
	for line := range strings.Lines(section) {
		line = strings.TrimSpace(line)
		if !strings.HasPrefix(line, "| `") {
			continue
		}
		cells := strings.Split(strings.Trim(strings.ReplaceAll(line, "`", ""), "|"), "|")
		for i := range cells {
			cells[i] = strings.TrimSpace(cells[i])
		}
		rows = append(rows, cells)
	}
	if len(rows) == 0 {
		t.Fatalf("ARCHITECTURE.md has no table under %q", heading)
	}
	return rows
}

func list(names map[string]bool) string {
	if len(names) == 0 {
		return "—"
	}
	var out []string
	for n := range names {
		out = append(out, n)
	}
	slices.Sort(out)
	return strings.Join(out, ", ")
}

func TestWhoImportsWhomIsWrittenDown(t *testing.T) {
	imports := map[string]map[string]bool{}
	for _, p := range packages() {
		imports[p] = map[string]bool{}
	}
	for _, f := range goFiles() {
		for _, i := range f.imports {
			if to, ok := inside(i); ok && f.own {
				imports[f.pkg][to] = true
			}
		}
	}
	place, last := -1, ""
	for _, row := range architecture(t, "Who imports whom") {
		pkg := row[0]
		if imports[pkg] == nil {
			t.Errorf("ARCHITECTURE.md has a row for %s, which does not exist or stands there twice", pkg)
			continue
		}
		if want := list(imports[pkg]); len(row) != 3 || row[1] == "" || row[2] != want {
			t.Errorf("ARCHITECTURE.md: the row of %s should say what it is and that it imports: %s", pkg, want)
		}
		if at := slices.Index(order, whole(pkg)); at < place {
			t.Errorf("ARCHITECTURE.md: %s stands after %s; the rows go from left to right", pkg, last)
		} else {
			place, last = at, pkg
		}
		delete(imports, pkg)
	}
	for pkg, to := range imports {
		t.Errorf("ARCHITECTURE.md has no row for %s, which imports: %s", pkg, list(to))
	}
}

// module finds the module of an import among those that go.mod requires; it
// is "" for the standard library.
func module(t *testing.T, importPath string, required map[string]bool) string {
	t.Helper()
	if first, _, _ := strings.Cut(importPath, "/"); !strings.Contains(first, ".") {
		return ""
	}
	for m := importPath; m != "."; m = path.Dir(m) {
		if _, ok := required[m]; ok {
			return m
		}
	}
	t.Errorf("go.mod requires nothing that holds %s", importPath)
	return ""
}

// requirements maps each module of go.mod to whether it is a direct one.
func requirements(t *testing.T) map[string]bool {
	t.Helper()
	text, err := os.ReadFile("go.mod")
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]bool{}
	for _, m := range regexp.MustCompile(`(?m)^(?:require |\t)(\S+) v\S+(.*)$`).FindAllStringSubmatch(string(text), -1) {
		out[m[1]] = !strings.Contains(m[2], "// indirect")
	}
	return out
}

func TestOutsideModulesAreWrittenDown(t *testing.T) {
	required := requirements(t)
	users, testers := map[string]map[string]bool{}, map[string]bool{}
	for _, f := range goFiles() {
		for _, i := range f.imports {
			if _, ok := inside(i); ok {
				continue
			}
			m := module(t, i, required)
			if m == "" {
				continue
			}
			if f.test {
				testers[m] = true
				continue
			}
			if slices.Contains(groundFloor, f.pkg) || f.pkg == "roster/table" {
				if !slices.Contains(outsideModules[f.pkg], m) {
					t.Errorf("%s uses %s, which has no place on the ground floor", f.path, m)
				}
			}
			if users[m] == nil {
				users[m] = map[string]bool{}
			}
			users[m][f.pkg] = true
		}
	}
	for m := range testers {
		if users[m] == nil {
			users[m] = map[string]bool{"tests": true}
		}
	}
	written := map[string]bool{}
	for _, row := range architecture(t, "Outside modules") {
		m := row[0]
		written[m] = true
		if want := list(users[m]); len(row) != 3 || row[1] == "" || row[2] != want {
			t.Errorf("ARCHITECTURE.md: the row of %s should say what it is for and that it is used by: %s", m, want)
		}
	}
	for m, by := range users {
		if !written[m] {
			t.Errorf("ARCHITECTURE.md says nothing of the module %s, used by: %s", m, list(by))
		}
	}
	for m, direct := range required {
		if direct && !written[m] {
			t.Errorf("go.mod requires %s, of which ARCHITECTURE.md says nothing", m)
		}
	}
}

func TestTheGroundFloorIsPure(t *testing.T) {
	clock := strings.Fields("Now Since Until Sleep After AfterFunc Tick NewTicker NewTimer Local LoadLocation")
	for _, f := range goFiles() {
		ground := slices.Contains(groundFloor, f.pkg)
		if f.test || !(ground || f.pkg == "roster/table") {
			continue
		}
		for _, i := range f.imports {
			first, _, _ := strings.Cut(i, "/")
			if ground && !strings.Contains(first, ".") && first != "rankwright" && !slices.Contains(pureStandard, i) {
				t.Errorf("%s imports %s, which is not on the short list of arch_test.go", f.path, i)
			}
			if strings.HasPrefix(i, "math/rand") || i == "crypto/rand" {
				t.Errorf("%s imports %s: chance has no place here", f.path, i)
			}
		}
		ast.Inspect(f.syntax, func(n ast.Node) bool {
			s, ok := n.(*ast.SelectorExpr)
			if ok && slices.Contains(clock, s.Sel.Name) && isPackage(f.syntax, s.X, "time") {
				t.Errorf("%s uses time.%s: the hour is passed in", f.path, s.Sel.Name)
			}
			// A context brings the caller's word to stop; it makes no clock of its own.
			if ok && (strings.Contains(s.Sel.Name, "Timeout") || strings.Contains(s.Sel.Name, "Deadline")) && isPackage(f.syntax, s.X, "context") {
				t.Errorf("%s uses context.%s: the caller says when to stop", f.path, s.Sel.Name)
			}
			return true
		})
	}
}

// isPackage says whether e is the name by which f imports path.
func isPackage(f *ast.File, e ast.Expr, importPath string) bool {
	id, ok := e.(*ast.Ident)
	if !ok {
		return false
	}
	for _, i := range f.Imports {
		if i.Path.Value != strconv.Quote(importPath) {
			continue
		}
		if name := path.Base(importPath); i.Name == nil {
			return id.Name == name
		}
		return id.Name == i.Name.Name || i.Name.Name == "."
	}
	return false
}

func TestWhatDecidesIsExact(t *testing.T) {
	for _, f := range goFiles() {
		if f.test || !slices.Contains(exact, f.pkg) {
			continue
		}
		ast.Inspect(f.syntax, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.Ident:
				if n.Name == "float64" || n.Name == "float32" {
					t.Errorf("%s has a %s: what decides is exact", f.path, n.Name)
				}
			case *ast.BasicLit:
				if n.Kind == token.FLOAT {
					t.Errorf("%s has the number %s: what decides is exact", f.path, n.Value)
				}
			}
			return true
		})
	}
}

func TestMachineryHasItsHome(t *testing.T) {
	for _, f := range goFiles() {
		if f.test {
			continue
		}
		for _, i := range f.imports {
			if home, ok := homes[i]; ok && !slices.Contains(home, whole(f.pkg)) {
				t.Errorf("%s imports %s, whose home is %s", f.path, i, strings.Join(home, ", "))
			}
		}
		for _, d := range f.syntax.Decls {
			if fn, ok := d.(*ast.FuncDecl); ok && fn.Recv == nil && fn.Name.Name == "init" {
				t.Errorf("%s has an init: hand over what is needed instead", f.path)
			}
		}
	}
}

// Comments and blank lines do not count, so that nobody saves on them.
func TestNoFileGrowsWithoutEnd(t *testing.T) {
	const most = 500
	for _, f := range goFiles() {
		n := 0
		for line := range bytes.Lines(f.src) {
			if line = bytes.TrimSpace(line); len(line) > 0 && !bytes.HasPrefix(line, []byte("//")) {
				n++
			}
		}
		if n > most {
			t.Errorf("%s has %d lines of code, over %d: which part of it stands by itself?", f.path, n, most)
		}
	}
}
