package rankwright_test

import (
	"bytes"
	"io/fs"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// tracked lists the files that git keeps, or in an unpacked archive all files.
func tracked(t *testing.T) []string {
	t.Helper()
	if _, err := os.Stat(".git"); err != nil {
		var out []string
		err := fs.WalkDir(os.DirFS("."), ".", func(p string, d fs.DirEntry, err error) error {
			if err == nil && !d.IsDir() {
				out = append(out, p)
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	// The folder may belong to somebody else, as it does in some CI machines.
	out, err := exec.Command("git", "-c", "safe.directory=*", "ls-files", "-z").Output()
	if err != nil {
		t.Fatalf("git cannot list the files: %v", err)
	}
	return strings.Split(strings.TrimRight(string(out), "\x00"), "\x00")
}

func TestTrackedFilesKeepToTheirNamesAndPlaces(t *testing.T) {
	words := regexp.MustCompile(`(?i)` + strings.Join([]string{"se" + "ed", "trans" + "cript", "vid" + "eo"}, "|"))
	machine := regexp.MustCompile(`(^|[^\w./-])/(work|tmp|root|home)/\w`)
	for _, p := range tracked(t) {
		if words.MatchString(p) {
			t.Errorf("%s has a name that we do not use", p)
		}
		text, err := os.ReadFile(p)
		if os.IsNotExist(err) {
			continue // removed, and not committed yet
		}
		if err != nil {
			t.Fatal(err)
		}
		if bytes.IndexByte(text, 0) >= 0 {
			continue
		}
		n := 0
		for line := range bytes.Lines(text) {
			if n++; machine.Match(line) {
				t.Errorf("%s:%d names a path of somebody's machine", p, n)
			}
		}
	}
}

var (
	link      = regexp.MustCompile(`\]\(([^)#:]+)(?:#[^)]*)?\)`)
	quoted    = regexp.MustCompile("`([\\w.-]+(?:/[\\w.-]+)*/?)`")
	lineOfOne = regexp.MustCompile(`\.(go|js|css|html|sql):\d+`)
	docLink   = regexp.MustCompile(`\[rankwright/([\w/]+)\]`)
)

func TestPapersNameWhatIsThere(t *testing.T) {
	for _, p := range tracked(t) {
		if !strings.HasSuffix(p, ".md") {
			continue
		}
		text, err := os.ReadFile(p)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range link.FindAllStringSubmatch(string(text), -1) {
			if _, err := os.Stat(filepath.Join(filepath.Dir(p), filepath.FromSlash(m[1]))); err != nil {
				t.Errorf("%s links to %s, which is not there", p, m[1])
			}
		}
		if m := lineOfOne.FindString(string(text)); m != "" {
			t.Errorf("%s names a line (%s), which will be another tomorrow", p, m)
		}
		if filepath.Dir(p) != "." || p == "CHANGELOG.md" {
			continue
		}
		for _, m := range quoted.FindAllStringSubmatch(string(text), -1) {
			first, rest, _ := strings.Cut(m[1], "/")
			isPath := slices.Contains([]string{".go", ".sh", ".md"}, path.Ext(m[1]))
			if _, err := os.Stat(first); err == nil && rest != "" {
				isPath = true
			}
			if !isPath {
				continue
			}
			if _, err := os.Stat(filepath.FromSlash(m[1])); err != nil {
				t.Errorf("%s names %s, which is not there", p, m[1])
			}
		}
	}
}

func TestTheStoryNamesEachPackageOfTheGroundFloor(t *testing.T) {
	text, err := os.ReadFile("doc.go")
	if err != nil {
		t.Fatal(err)
	}
	told := map[string]bool{"rankwright": true}
	for _, m := range docLink.FindAllStringSubmatch(string(text), -1) {
		told[m[1]] = true
	}
	have := packages()
	for pkg := range told {
		if !slices.Contains(have, pkg) {
			t.Errorf("doc.go names %s, which is not there", pkg)
		}
	}
	for _, pkg := range have {
		if slices.Contains(groundFloor, pkg) && !told[pkg] {
			t.Errorf("doc.go does not tell what %s is for", pkg)
		}
	}
}
