package paper

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"testing"
)

// A letter from right to left, read back by poppler with the place of each
// word: it begins on the right, and a Latin name that stands at the beginning
// of a sentence stands at its right, by the Unicode Bidirectional Algorithm.
func TestALetterFromRightToLeftBeginsOnTheRight(t *testing.T) {
	l := someLetter("Zofia Krajewik")
	l.Lang, l.RightToLeft = "ar", true
	l.Title = "\u2068Zofia\u2069 ابجد"
	l.Blocks = []LetterBlock{{First: true, Lines: []string{"ابجد \u2068Amber\u2069 هوزح", "\u2068Igor\u2069 كلمن"}}}
	l.Cautions, l.CautionTitle, l.Signed = nil, "", ""
	data := letters(t, Options{Lang: "ar", Fonts: scripts(t)}, l)
	path := filepath.Join(t.TempDir(), "letter.pdf")
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("pdftotext", "-bbox", path, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	at := map[string]float64{} // the left edge of a word, in points
	for _, m := range regexp.MustCompile(`<word xMin="([\d.]+)"[^>]*>([^<]*)</word>`).FindAllSubmatch(out, -1) {
		x, err := strconv.ParseFloat(string(m[1]), 64)
		if err != nil {
			t.Fatal(err)
		}
		at[string(m[2])] = x
	}
	// poppler gives the letters of Arabic words from left to right.
	for _, want := range [][2]string{{"دجبا", "Amber"}, {"Amber", "حزوه"}, {"Igor", "نملك"}} {
		right, ok := at[want[0]]
		left, ok2 := at[want[1]]
		if !ok || !ok2 {
			t.Fatalf("%q are not both read back: %v", want, at)
		}
		if right <= left {
			t.Errorf("%q stands at %.0f, not to the right of %q at %.0f", want[0], right, want[1], left)
		}
	}
	if at["Igor"] < 300 || at["Zofia"] < 300 || at["Krajewik"] < 300 {
		t.Errorf("the lines do not begin on the right: %v", at)
	}
	if at["Igor"] < 300 || at["Zofia"] < 300 {
		t.Errorf("the lines do not begin on the right: %v", at)
	}
}
