package paper

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

var framed = regexp.MustCompile(`h\s+S\n`)

var wordBox = regexp.MustCompile(`<word xMin="([\d.]+)" yMin="([\d.]+)" xMax="[\d.]+" yMax="[\d.]+">([^<]+)</word>`)

// A table to write into, on both papers and both ways: each sheet says whose it
// is, a heading stands on the page of its row, and poppler finds the rows at
// least as far apart as a pen needs.
func TestAFormHasRoomForAPenOnEveryPage(t *testing.T) {
	const high = 11.0
	tab := Table{Title: "Score table: Reed", Subtitle: "Autumn grading", Footer: "Pellmarrow Quay",
		Columns: []Column{{Head: "Requirement", Share: 4}, {Head: "Ana"}, {Head: "Ben"}},
		Form: &Form{RowHeight: high, Belt: Belt{Base: "#b6d28e", Tip: "#ffffff"}, Bands: map[int]string{}, Tall: map[int]float64{5: 2 * high},
			Legend: []string{"Levels: 0 stops; 1 right idea; 2 holds."}}}
	for i := range 60 {
		tab.Rows = append(tab.Rows, []string{fmt.Sprintf("row%d", i), "", ""})
		if i%4 == 0 {
			tab.Form.Bands[i] = fmt.Sprintf("band%d", i)
		}
	}
	for _, opt := range []Options{{}, {Paper: Letter}, {Turn: Landscape}, {Paper: Letter, Turn: Landscape}} {
		data := table(t, tab, opt)
		file := save(t, data)
		qpdfCheck(t, file)
		pages := pageTexts(t, data)
		if len(pages) < 3 {
			t.Fatalf("%+v: %d pages", opt, len(pages))
		}
		for i, p := range pages {
			for _, want := range []string{"Score table: Reed", "Requirement", "Ana", fmt.Sprintf("page %d of %d", i+1, len(pages))} {
				if !strings.Contains(p, want) {
					t.Errorf("%+v: page %d lacks %q", opt, i+1, want)
				}
			}
			if has := strings.Contains(p, "Levels: 0 stops"); has != (i == 0) {
				t.Errorf("%+v: page %d has the legend: %v", opt, i+1, has)
			}
			for row := 0; row < 60; row += 4 {
				words := strings.Fields(p)
				if slices.Contains(words, fmt.Sprint("band", row)) != slices.Contains(words, fmt.Sprint("row", row)) {
					t.Errorf("%+v: page %d parts a heading from its row %d", opt, i+1, row)
				}
			}
		}
		last, row := 0.0, -1
		for _, m := range wordBox.FindAllStringSubmatch(poppler(t, "pdftotext", "-bbox", file, "-"), -1) {
			name, ok := strings.CutPrefix(m[3], "row")
			if !ok {
				continue
			}
			n, _ := strconv.Atoi(name)
			y, _ := strconv.ParseFloat(m[2], 64)
			least := high
			if row == 5 {
				least = 2 * high
			}
			if apart := (y - last) * 25.4 / 72; row >= 0 && y > last && apart < least-0.01 {
				t.Errorf("%+v: rows %d and %d are %.1f mm apart", opt, row, n, apart)
			}
			last, row = y, n
		}
		if row != 59 {
			t.Errorf("%+v: the last row that was found is %d", opt, row)
		}
		// Every cell has its own frame, the headings included.
		opt.Plain = true
		if n := len(framed.FindAll(table(t, tab, opt), -1)); n < 3*61 {
			t.Errorf("%+v: %d frames are drawn, want at least %d", opt, n, 3*61)
		}
	}
}
