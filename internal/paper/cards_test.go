package paper

import (
	"bytes"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"golang.org/x/text/unicode/norm"
	"pgregory.net/rapid"
)

func TestACardHasAsLittleOfTheFamilyNameAsServes(t *testing.T) {
	people := [][2]string{{"Ana", "Ruiz"}, {"Ana", "Costa"}, {"Ben", "Ruiz"}, {"Inti", "Quispaya"}, {"Inti", "Quiroga"}, {"", "Krajewik"}, {"Linh-Đan", "Phùng"}}
	want := []string{"Ana R.", "Ana C.", "Ben", "Inti Quispaya", "Inti Quiroga", "Krajewik", "Linh-Đan"}
	if got := CardNames(people); !slices.Equal(got, want) {
		t.Errorf("they are %q, want %q", got, want)
	}
}

func TestNobodySharesACardWhoHasANameOfTheirOwn(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		word := rapid.SampledFrom([]string{"Ana", "Ben", "An", "Ana R.", "Ruiz", ""})
		people := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) [2]string {
			return [2]string{word.Draw(t, "given"), word.Filter(func(s string) bool { return s != "" }).Draw(t, "family")}
		}), 0, 8).Draw(t, "people")
		got := CardNames(people)
		for i, p := range people {
			if got[i] == "" {
				t.Fatalf("%q has no name on the card", p)
			}
			for k := range people[:i] {
				// "Ana R. Ruiz" is the given name Ana R. as well as Ana with the letter R: such
				// names alone may meet.
				if got[i] == got[k] && p != people[k] && p[0] != "Ana R." && people[k][0] != "Ana R." && p[0] != "" && people[k][0] != "" {
					t.Fatalf("%q and %q are both %q", p, people[k], got[i])
				}
			}
		}
	})
}

func cardsOf(names []string) []Card {
	var out []Card
	for i, n := range names {
		out = append(out, Card{Name: n, Under: fmt.Sprintf("Amber %d", i), Belt: Belt{Base: "#e0a02c", Tip: "#ffffff"}, Corner: "Squad 2"})
	}
	return out
}

func TestCardsReadBackWithEveryName(t *testing.T) {
	all := inventedNames()
	var names []string
	for i := 0; i < len(all); i += 14 {
		names = append(names, all[i])
	}
	for _, tt := range []struct {
		form  CardForm
		opt   Options
		pages int
	}{
		{FlatCards, Options{}, (len(names) + 9) / 10}, {FlatCards, Options{Paper: Letter}, (len(names) + 7) / 8},
		{FoldedCards, Options{}, (len(names) + 3) / 4}, {FoldedCards, Options{Paper: Letter}, (len(names) + 3) / 4},
	} {
		var b bytes.Buffer
		if err := WriteCards(&b, "Name cards", cardsOf(names), tt.form, tt.opt); err != nil {
			t.Fatal(err)
		}
		at := save(t, b.Bytes())
		qpdfCheck(t, at)
		text := poppler(t, "pdftotext", "-raw", "-enc", "UTF-8", at, "-")
		if pages := strings.Count(text, "\f"); pages != tt.pages {
			t.Errorf("%v: %d pages, want %d", tt, pages, tt.pages)
		}
		// A name may stand on two lines.
		whole := func(s string) string { return strings.Join(strings.Fields(norm.NFC.String(s)), "") }
		text = whole(text)
		for i, n := range names {
			if !strings.Contains(text, whole(fmt.Sprintf("Amber %d", i))) || !strings.Contains(text, whole(n)) {
				t.Errorf("%v: %q is not there", tt, n)
			}
		}
	}
}

func TestAFoldedCardIsReadAloudOnce(t *testing.T) {
	var b bytes.Buffer
	if err := WriteCards(&b, "Name cards", cardsOf([]string{"Inti"}), FoldedCards, Options{}); err != nil {
		t.Fatal(err)
	}
	if tags := poppler(t, "pdfinfo", "-struct-text", save(t, b.Bytes())); strings.Count(tags, "Inti") != 1 {
		t.Errorf("it is read aloud as\n%s", tags)
	}
	if text := poppler(t, "pdftotext", save(t, b.Bytes()), "-"); strings.Count(text, "Inti") != 2 {
		t.Errorf("the name stands on one side only:\n%s", text)
	}
}

// The corner of a word as poppler finds it, in millimetres.
func wordsAt(t *testing.T, data []byte) map[string][2]float64 {
	t.Helper()
	out := map[string][2]float64{}
	word := regexp.MustCompile(`<word xMin="([\d.]+)" yMin="([\d.]+)"[^>]*>([^<]*)</word>`)
	for page, text := range strings.Split(poppler(t, "pdftotext", "-bbox", save(t, data), "-"), "<page ")[1:] {
		for _, m := range word.FindAllStringSubmatch(text, -1) {
			x, _ := strconv.ParseFloat(m[1], 64)
			y, _ := strconv.ParseFloat(m[2], 64)
			out[fmt.Sprintf("%d:%s", page+1, m[3])] = [2]float64{x * 25.4 / 72, y * 25.4 / 72}
		}
	}
	return out
}

// The measures come from the names of the sheets; that such a grid is centred
// on its paper is common practice, no published source.
func TestLabelsStandWhereTheirSheetHasThem(t *testing.T) {
	var labels []Label
	for i := range 25 {
		labels = append(labels, Label{Head: fmt.Sprintf("Child%d", i), Lines: []string{"Amber, 220 cm", "shirt M"}, Belt: Belt{Base: "#e0a02c"}})
	}
	names := []string{"3 × 7 on A4, 63.5 × 38.1 mm", "2 × 7 on A4, 99.1 × 38.1 mm", "3 × 8 on A4, 70 × 36 mm", "2 × 4 on A4, 105 × 74 mm",
		"3 × 10 on US Letter, 2 5/8 × 1 in", "2 × 5 on US Letter, 4 × 2 in"}
	for i, sheet := range LabelSheets() {
		if sheet.Name() != names[i] {
			t.Errorf("the sheet is called %q, want %q", sheet.Name(), names[i])
		}
		if f := sheet.Check(); len(f) > 0 {
			t.Fatalf("%s: %v", sheet.Name(), f)
		}
		const start = 3
		var b bytes.Buffer
		if err := WriteLabels(&b, "Labels", labels, sheet, start, i%2 == 0, Options{}); err != nil {
			t.Fatal(err)
		}
		found := wordsAt(t, b.Bytes())
		each := sheet.Across * sheet.Down
		for k := range labels {
			at := start - 1 + k
			page, row, column := at/each+1, at%each/sheet.Across, at%sheet.Across
			x := sheet.Left + float64(column)*(sheet.Wide+sheet.GapX)
			y := sheet.Top + float64(row)*(sheet.High+sheet.GapY)
			word, ok := found[fmt.Sprintf("%d:Child%d", page, k)]
			if dx, dy := word[0]-x, word[1]-y; !ok || dx < 2 || dx > 5 || dy < 1 || dy > 6 {
				t.Errorf("%s, label %d: the name stands %.1f, %.1f mm from the corner (%v)", sheet.Name(), k+1, dx, dy, ok)
			}
		}
	}
	left, top := LabelSheets()[0].Left, LabelSheets()[4].Top
	if math.Abs(left-7.21) > 0.01 || math.Abs(top-12.7) > 0.01 {
		t.Errorf("3 × 7 begins %.2f mm from the left, 3 × 10 %.2f mm from the top", left, top)
	}
}

func TestASheetThatCannotBeIsRefused(t *testing.T) {
	good := LabelSheets()[0]
	for _, tt := range []struct {
		name string
		to   func(*LabelSheet)
		says string
	}{
		{"no labels across", func(l *LabelSheet) { l.Across = 0 }, "cannot be"},
		{"wider than the paper", func(l *LabelSheet) { l.Across = 4 }, "mm wide"},
		{"longer than the paper", func(l *LabelSheet) { l.High = 60 }, "mm high"},
		{"a gap below nothing", func(l *LabelSheet) { l.GapX = -1 }, "below nothing"},
		{"a label of nothing", func(l *LabelSheet) { l.Wide = 0 }, "too small"},
		{"a length that is no number", func(l *LabelSheet) { l.Wide = math.NaN() }, "too small"},
	} {
		l := good
		tt.to(&l)
		var b bytes.Buffer
		if err := WriteLabels(&b, "Labels", []Label{{Head: "Inti"}}, l, 1, false, Options{}); err == nil || b.Len() > 0 || !strings.Contains(err.Error(), tt.says) {
			t.Errorf("%s: %v", tt.name, err)
		}
	}
	for _, start := range []int{0, 22} {
		var b bytes.Buffer
		if err := WriteLabels(&b, "Labels", []Label{{Head: "Inti"}}, good, start, false, Options{}); err == nil || !strings.Contains(err.Error(), "there is no label") {
			t.Errorf("begun at %d: %v", start, err)
		}
	}
	var b bytes.Buffer
	if err := WriteCards(&b, "Cards", []Card{{Name: "Amira أميرة"}}, FlatCards, Options{}); err == nil || !strings.Contains(err.Error(), "Arabic") {
		t.Errorf("a name that cannot be set: %v", err)
	}
}

// As for certificates: what poppler reads is what was written, for three hundred
// names.
func TestLabelsReadBackWithEveryName(t *testing.T) {
	names := inventedNames()
	var labels []Label
	for _, n := range names {
		labels = append(labels, Label{Head: n, Lines: []string{"Amber, 220 cm"}})
	}
	var b bytes.Buffer
	if err := WriteLabels(&b, "Labels", labels, LabelSheets()[0], 1, false, Options{}); err != nil {
		t.Fatal(err)
	}
	at := save(t, b.Bytes())
	qpdfCheck(t, at)
	whole := func(s string) string { return strings.Join(strings.Fields(s), "") }
	text := whole(poppler(t, "pdftotext", "-raw", "-enc", "UTF-8", at, "-"))
	for _, n := range names {
		if !strings.Contains(text, whole(n)) {
			t.Errorf("%q (%+q) is not there", n, n)
		}
	}
	for _, row := range strings.Split(strings.TrimSpace(poppler(t, "pdffonts", at)), "\n")[2:] {
		if !strings.Contains(row, " yes yes yes ") {
			t.Errorf("a font is not embedded: %s", row)
		}
	}
}
