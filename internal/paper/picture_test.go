package paper

import (
	"bytes"
	"fmt"
	"image"
	"image/png"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Every paper is drawn by poppler and looked at as a picture: no page is empty,
// and nothing stands where a printer has no ink, the outer 4 mm of the sheet
// (common practice, no published source). The pictures and the files are the
// test's artifacts: go test ./internal/paper -run AsAPicture -artifacts -v says
// where they are.
func TestEveryPaperIsLookedAtAsAPicture(t *testing.T) {
	logo, hand := drawnPicture(t, 60, 60), drawnPicture(t, 90, 30)
	var some []string
	for i, n := range inventedNames() {
		if i%29 == 0 {
			some = append(some, n)
		}
	}
	labels := make([]Label, len(some))
	list := make([]FamilyLetter, 2)
	for i, n := range some {
		labels[i] = Label{Head: n, Lines: []string{"Amber"}, Belt: Belt{Base: "#e0a02c"}}
	}
	for i := range list {
		list[i] = someLetter(some[i])
	}
	guide := Guide{Title: "Amber", Lead: "What is asked, and what comes later.", Rank: "Amber", Belt: Belt{Base: "#e0a02c", Tip: "#ffffff"}, Must: "must",
		Cautions: GuideList{Head: "Falls", Lines: []string{"Only on mats, and with an adult who knows them."}},
		Parts: []GuidePart{{Head: "Falls", Asked: []GuideAsked{{Show: "Falls backwards with the head off the mat", Must: true, Lines: []string{"three times"},
			PartsHead: "In this order", Parts: []string{"crouch", "round the back", "chin on the chest"}, Ordered: true, Later: []string{"Slate: from standing"}}}}},
		Footer: "Otterlight Youth Karate and Self-Defence"}
	form := Table{Title: "Score table: Reed", Subtitle: "Autumn grading", Columns: []Column{{Head: "Requirement", Share: 4}, {Head: "Ana"}, {Head: "Ben"}},
		Rows: [][]string{{"Bows", "", ""}, {"Falls", "", ""}}, Form: &Form{RowHeight: 11, Belt: Belt{Base: "#b6d28e"}, Bands: map[int]string{0: "Etiquette"}}}

	papers := map[string]func(w io.Writer, opt Options) error{
		"list":    func(w io.Writer, o Options) error { return WriteTable(w, readOut(60), o) },
		"form":    func(w io.Writer, o Options) error { o.Turn = Landscape; return WriteTable(w, form, o) },
		"sitting": func(w io.Writer, o Options) error { return WriteSittingSheets(w, []SittingSheet{runSheet(3)}, o) },
		"door":    func(w io.Writer, o Options) error { return WriteDoorList(w, doorList(4, 9), o) },
		"cards":   func(w io.Writer, o Options) error { return WriteCards(w, "Name cards", cardsOf(some), FlatCards, o) },
		"folded":  func(w io.Writer, o Options) error { return WriteCards(w, "Name cards", cardsOf(some), FoldedCards, o) },
		"letters": func(w io.Writer, o Options) error { return WriteLetters(w, list, o) },
		"guide":   func(w io.Writer, o Options) error { return WriteGuides(w, "Amber", []Guide{guide}, o) },
		"messages": func(w io.Writer, o Options) error {
			return WriteMessageLetters(w, []MessageLetter{{School: "Otterlight", Date: "10 October 2026", Family: some[0], Title: "Your page", Text: "Dear family\n\nhere is the way in."}}, o)
		},
		"labels": func(w io.Writer, o Options) error {
			for _, l := range LabelSheets() {
				if l.Paper == o.Paper {
					return WriteLabels(w, "Labels", labels, l, 2, false, o)
				}
			}
			return fmt.Errorf("no sheet of labels for paper %d", o.Paper)
		},
	}
	for _, d := range Designs() {
		for i, turn := range []Turn{Natural, Portrait} {
			papers[fmt.Sprintf("certificate-%v-%d", d, i)] = func(w io.Writer, o Options) error {
				c := sample(some[i])
				c.Honour, c.Second, c.SecondLang = "with commendation", "đã đạt mọi yêu cầu", "vi"
				c.Signatures[0].Picture = hand
				o.Design, o.Logo, o.Turn = d, logo, turn
				return WriteCertificates(w, []Certificate{c}, o)
			}
		}
	}
	for name, write := range papers {
		for _, sheet := range []Sheet{A4, Letter} {
			name := fmt.Sprintf("%s-%d", name, sheet)
			var b bytes.Buffer
			if err := write(&b, Options{Paper: sheet, Lang: "en", Fonts: scripts(t)}); err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			file := filepath.Join(t.ArtifactDir(), name+".pdf")
			if err := os.WriteFile(file, b.Bytes(), 0o600); err != nil {
				t.Fatal(err)
			}
			poppler(t, "pdftoppm", "-r", "50", "-png", file, strings.TrimSuffix(file, ".pdf"))
			pages, err := filepath.Glob(strings.TrimSuffix(file, ".pdf") + "-*.png")
			if err != nil || len(pages) == 0 {
				t.Fatalf("%s: no pictures: %v", name, err)
			}
			for _, p := range pages {
				inked, outside := inkOf(t, p, 4)
				if inked == 0 {
					t.Errorf("%s is an empty page", filepath.Base(p))
				}
				if outside > 0 {
					t.Errorf("%s has ink in the outer 4 mm, at %d of its points", filepath.Base(p), outside)
				}
			}
		}
	}
	// The control: a page with a line at its edge is found out, and an empty one.
	m := image.NewGray(image.Rect(0, 0, 400, 600))
	for i := range m.Pix {
		m.Pix[i] = 255
	}
	if inked, _ := inkIn(m, 4); inked != 0 {
		t.Error("an empty page has ink")
	}
	m.Pix[3*m.Stride+200] = 0
	if _, outside := inkIn(m, 4); outside != 1 {
		t.Error("ink at the edge was not seen")
	}
}

// inkOf counts the points of a picture of 50 to the inch that are not paper,
// and those of them nearer to the edge than so many millimetres.
func inkOf(t *testing.T, path string, edge float64) (inked, outside int) {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	m, err := png.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	return inkIn(m, edge)
}

func inkIn(m image.Image, edge float64) (inked, outside int) {
	near := int(edge / 25.4 * 50)
	r := m.Bounds()
	inner := r.Inset(near)
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x++ {
			red, green, blue, _ := m.At(x, y).RGBA()
			if min(red, green, blue) > 0xe000 {
				continue
			}
			if inked++; !(image.Pt(x, y).In(inner)) {
				outside++
			}
		}
	}
	return inked, outside
}
