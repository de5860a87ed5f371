package paper

import (
	"bytes"
	"fmt"
	"regexp"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// someLetter is a letter of the fictional club of the demo.
func someLetter(name string) FamilyLetter {
	return FamilyLetter{
		School: "Otterlight Youth Karate and Self-Defence", Place: "Pellmarrow Quay", Date: "Saturday 10 October 2026",
		Name: name, Rank: "Amber", Belt: Belt{Base: "#e0a02c"}, Title: "On the way to Amber", Lang: "en",
		Blocks: []LetterBlock{
			{First: true, Lines: []string{"We were glad to see so much at the Autumn grading. One part of it is shown once more."}},
			{First: true, Lines: []string{"This went well:"}}, {Items: []string{"The club promise, all six lines", "Stops at once at “Pause!”", "Front kick with each leg"}},
			{First: true, Lines: []string{"This is shown again:"}}, {Items: []string{"Settle-back fall from standing", "Tide pattern, first six steps"}},
			{First: true, Lines: []string{"It can be shown until Saturday 7 November 2026.", "Everything else stays as it was shown."}},
		},
		CautionTitle: "When practising falls or partner work",
		Cautions:     []string{"Falls and partner work are for class, and not for home. Local rules and licensed practitioners come first. After a knock to the head: stop."},
		Signed:       "Signed by Sefanaia Lindqvist-Amoako on Sunday 11 October 2026.",
	}
}

func letters(t testing.TB, opt Options, list ...FamilyLetter) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := WriteLetters(&b, list, opt); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// squeezed is a text with single spaces and without the hyphens that end lines.
func squeezed(s string) string { return strings.Join(strings.Fields(s), " ") }

func TestEachLetterStandsOnItsOwnPageAndSaysNothingOfTheOthers(t *testing.T) {
	for _, paper := range []Sheet{A4, Letter} {
		var list []FamilyLetter
		names := inventedNames()
		for _, n := range names[:12] {
			list = append(list, someLetter(n))
		}
		data := letters(t, Options{Paper: paper}, list...)
		keep(t, fmt.Sprintf("letters-%d.pdf", paper), data)
		qpdfCheck(t, save(t, data))
		pages := pageTexts(t, data)
		if len(pages) != len(list) {
			t.Fatalf("%d pages for %d letters", len(pages), len(list))
		}
		for i, page := range pages {
			page = squeezed(page)
			for j, l := range list {
				if strings.Contains(page, l.Name) != (i == j) {
					t.Errorf("page %d: the name %q stands there: %v", i+1, l.Name, i != j)
				}
			}
			l := &list[i]
			want := []string{l.School, l.Place, l.Date, l.Rank, l.Title, l.CautionTitle, l.Signed}
			for _, b := range l.Blocks {
				want = append(append(want, b.Lines...), b.Items...)
			}
			for _, s := range append(want, l.Cautions...) {
				if !strings.Contains(page, s) {
					t.Errorf("page %d does not say %q:\n%s", i+1, s, page)
				}
			}
			if regexp.MustCompile(`(?i)page \d`).MatchString(page) || strings.Contains(page, "12 ") {
				t.Errorf("page %d counts the letters:\n%s", i+1, page)
			}
		}
	}
}

func TestALongLetterGetsSmallerAndThenASecondPageWithItsOwnNumber(t *testing.T) {
	long := someLetter("Linh-Đan Phùng")
	for i := range 14 {
		long.Blocks[4].Items = append(long.Blocks[4].Items, fmt.Sprintf("Requirement %d that is shown again", i+1))
	}
	longer := someLetter("Igor Krajewik")
	for i := range 60 {
		longer.Blocks[4].Items = append(longer.Blocks[4].Items, fmt.Sprintf("Requirement %d that is shown again", i+1))
	}
	longer.PageOf = func(page, of int) string { return fmt.Sprintf("página %d de %d", page, of) }
	data := letters(t, Options{}, long, longer, someLetter("Inti Quispaya"))
	keep(t, "letters-long.pdf", data)
	pages := pageTexts(t, data)
	if len(pages) != 4 {
		t.Fatalf("%d pages, want one, two and one", len(pages))
	}
	for i, want := range []string{"", "página 1 de 2", "página 2 de 2", ""} {
		if got := regexp.MustCompile(`página \d de \d|page \d`).FindString(pages[i]); got != want {
			t.Errorf("page %d is numbered %q, want %q", i+1, got, want)
		}
	}
	if !strings.Contains(pages[2], "Igor Krajewik, On the way to Amber") || !strings.Contains(squeezed(pages[2]), longer.Signed) {
		t.Errorf("the second page does not say whose it is, or who signed:\n%s", pages[2])
	}
}

func TestALetterIsTaggedAndItsOutlineHasTheNames(t *testing.T) {
	es := someLetter("Inti Quispaya")
	es.Lang = "es"
	file := save(t, letters(t, Options{Lang: "en"}, someLetter("Linh-Đan Phùng"), es))
	tags := squeezed(poppler(t, "pdfinfo", "-struct-text", file))
	for _, want := range []string{`H1 (block) "On the way to Amber"`, `LBody (block) "Front kick with each leg"`, `P (block) "Linh-Đan Phùng"`} {
		if !strings.Contains(tags, want) {
			t.Errorf("the tags lack %s:\n%s", want, tags)
		}
	}
	// Read aloud in the order in which it is seen: the name, what it is about,
	// what went well, what is shown again, the caution, the signature.
	at := 0
	for _, want := range []string{"Linh-Đan Phùng", "On the way to Amber", "This went well:", "This is shown again:", "Falls and partner work", "Signed by"} {
		i := strings.Index(tags[at:], want)
		if i < 0 {
			t.Fatalf("%q is not read after what stands before it:\n%s", want, tags)
		}
		at += i
	}
	outline := poppler(t, "pdftohtml", "-xml", "-i", "-stdout", file)
	for _, want := range []string{">Linh-Đan Phùng</item>", ">Inti Quispaya</item>"} {
		if !strings.Contains(outline, want) {
			t.Errorf("the outline has no %s:\n%s", want, outline)
		}
	}
}

// Names come back from poppler as they went in: three hundred that spell every
// letter of the shipped fonts, and some in scripts for which a font is given.
func TestNamesOnLettersComeBackInEveryScript(t *testing.T) {
	for _, tt := range []struct {
		fonts *Fonts
		names []string
	}{{nil, inventedNames()}, {scripts(t), []string{"أميرة بن سلامة", "آرش نوری", "आरुष छेत्रीवाल"}}} {
		l := FamilyLetter{Name: tt.names[0], Rank: "Amber", Belt: Belt{Base: "#e0a02c"}, Blocks: []LetterBlock{{First: true, Items: tt.names}}}
		// poppler puts right-to-left lines between U+202B and U+202C.
		read := strings.NewReplacer("\u202a", "", "\u202b", "", "\u202c", "", "• ", "", "•", "", "\f", "\n").Replace(strings.Join(pageTexts(t, letters(t, Options{Fonts: tt.fonts}, l)), "\n"))
		for _, n := range tt.names {
			if !hasLine(read, n) {
				t.Errorf("%q (%+q) is not among the lines", n, n)
			}
		}
	}
}

func TestWhatCannotBeSetInALetterIsReportedBeforeAnythingIsPrinted(t *testing.T) {
	l := someLetter("李小龙 Chan")
	l.Blocks[2].Items[1] = "Says 你好"
	got := CheckLetters([]FamilyLetter{someLetter("Ana"), l}, Options{})
	if len(got) != 2 || !strings.Contains(got[0].Error(), `the name "李小龙 Chan" cannot be printed`) || !strings.Contains(got[1].Error(), `a line in the letter about "李小龙 Chan" cannot be printed`) {
		t.Errorf("what cannot be set is reported as %v", got)
	}
	var b bytes.Buffer
	if err := WriteLetters(&b, []FamilyLetter{l}, Options{}); err == nil || b.Len() > 0 {
		t.Errorf("a letter with letters that no font has was written: %v", err)
	}
}

// Whatever stands in a letter, no line leaves the page: poppler's boxes of
// words lie within its edges.
func TestNoWordOfALetterLeavesThePage(t *testing.T) {
	word := regexp.MustCompile(`<word xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)">`)
	var list []FamilyLetter
	rapid.Check(t, func(t *rapid.T) {
		if len(list) >= 12 { // one run of poppler reads them all
			return
		}
		words := rapid.StringMatching(`([A-Za-zäñ]{1,14} ){0,60}[A-Za-z]{1,70}`)
		l := someLetter(words.Draw(t, "name"))
		l.School, l.Place, l.Date, l.Rank, l.Title = words.Draw(t, "school"), words.Draw(t, "place"), words.Draw(t, "date"), words.Draw(t, "rank"), words.Draw(t, "title")
		l.Blocks[0].Lines, l.Blocks[2].Items = []string{words.Draw(t, "line")}, rapid.SliceOfN(words, 1, 30).Draw(t, "items")
		l.RightToLeft = rapid.Bool().Draw(t, "right to left")
		list = append(list, l)
	})
	boxes := poppler(t, "pdftotext", "-bbox", save(t, letters(t, Options{}, list...)), "-")
	found := word.FindAllStringSubmatch(boxes, -1)
	if len(found) < 100 {
		t.Fatalf("poppler finds %d words only", len(found))
	}
	for _, m := range found {
		var v [4]float64
		for i := range v {
			if _, err := fmt.Sscan(m[i+1], &v[i]); err != nil {
				t.Fatal(err)
			}
		}
		if v[0] < 0 || v[1] < 0 || v[2] > 595.3 || v[3] > 841.9 {
			t.Fatalf("a word lies outside the page: %s", m[0])
		}
	}
}

func BenchmarkLetters300(b *testing.B) {
	var list []FamilyLetter
	names := inventedNames()
	for i := range 300 {
		list = append(list, someLetter(names[i%len(names)]))
	}
	for b.Loop() {
		letters(b, Options{}, list...)
	}
}
