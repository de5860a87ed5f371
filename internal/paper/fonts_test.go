package paper

import (
	"crypto/sha256"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"rankwright"
)

func TestEveryFontIsTheOneItsPaperSays(t *testing.T) {
	for _, dir := range []string{"fonts", "testdata/fonts"} {
		said, err := os.ReadFile(filepath.Join(dir, "PROVENANCE"))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := os.Stat(filepath.Join(dir, "OFL.txt")); err != nil {
			t.Error(err)
		}
		files, _ := filepath.Glob(filepath.Join(dir, "*.ttf"))
		if len(files) == 0 {
			t.Fatalf("%s holds no fonts", dir)
		}
		for _, file := range files {
			data, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			if line := fmt.Sprintf("%x  %s\n", sha256.Sum256(data), filepath.Base(file)); !strings.Contains(string(said), line) {
				t.Errorf("%s does not hold the line %q", filepath.Join(dir, "PROVENANCE"), line)
			}
		}
	}
}

func TestAddingWhatIsNoFontIsRefused(t *testing.T) {
	_, err := ShippedFonts().With([]byte("not a font"))
	if err == nil || rankwright.KindOf(err) != rankwright.Invalid {
		t.Errorf("the error is %v", err)
	}
}

func TestAddingFontsLeavesTheSetAsItWas(t *testing.T) {
	scripts(t)
	if faults := Unsettable(nil, []Certificate{sample("أميرة")}); len(faults) == 0 {
		t.Error("the shipped set now carries Arabic")
	}
}
