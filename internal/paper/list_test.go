package paper

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"testing"

	"rankwright"
)

func readOut(rows int) Table {
	t := Table{
		Title: "Read-out list", Subtitle: "Otterlight Youth Karate and Self-Defence, 10 October 2026",
		Note:   "Stop on a knock to the head; local rules and licensed practitioners come first.",
		Footer: "Pellmarrow Quay",
		Columns: []Column{
			{Head: "No.", Share: 0.4, Right: true}, {Head: "Name", Share: 2, Bold: true}, {Head: "Rank"}, {Head: "Remark", Share: 2},
		},
	}
	names := inventedNames()
	for i := range rows {
		remark := ""
		if i%5 == 0 {
			remark = "stands beside a sister and a brother, who are called one after the other"
		}
		t.Rows = append(t.Rows, []string{fmt.Sprint(i + 1), names[i%len(names)], "Amber", remark})
	}
	return t
}

func table(t testing.TB, tab Table, opt Options) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := WriteTable(&b, tab, opt); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestAListRepeatsItsHeadingsAndCountsItsPages(t *testing.T) {
	tab := readOut(120)
	pages := pageTexts(t, table(t, tab, Options{}))
	if len(pages) < 3 {
		t.Fatalf("120 rows take %d pages", len(pages))
	}
	for i, page := range pages {
		for _, want := range []string{"No.", "Name", "Rank", "Remark", "Pellmarrow Quay", fmt.Sprintf("page %d of %d", i+1, len(pages))} {
			if !strings.Contains(page, want) {
				t.Errorf("page %d lacks %q", i+1, want)
			}
		}
		if has := strings.Contains(page, "Stop on a knock to the head"); has != (i == 0) {
			t.Errorf("page %d: the note is printed: %v", i+1, has)
		}
	}
	whole := strings.Join(pages, "\n")
	at := 0
	for _, row := range tab.Rows {
		found := strings.Index(whole[at:], row[1])
		if found < 0 {
			t.Fatalf("row %s (%q) is missing or out of order", row[0], row[1])
		}
		at += found
	}
}

func TestAListIsSoundAndTheSameEachTime(t *testing.T) {
	for _, opt := range []Options{{}, {Paper: Letter, Turn: Landscape}, {Plain: true}} {
		data := table(t, readOut(40), opt)
		if !bytes.Equal(data, table(t, readOut(40), opt)) {
			t.Errorf("%+v: two runs differ", opt)
		}
		file := save(t, data)
		qpdfCheck(t, file)
		if tags := poppler(t, "pdfinfo", "-struct", file); !strings.Contains(tags, "Table") || strings.Count(tags, "TR") != 41 {
			t.Errorf("the table's structure is\n%s", tags)
		}
	}
}

func TestARowTallerThanAPageIsContinued(t *testing.T) {
	tab := readOut(2)
	words := make([]string, 900)
	for i := range words {
		words[i] = fmt.Sprintf("word%d", i)
	}
	tab.Rows[1][3] = strings.Join(words, " ")
	pages := pageTexts(t, table(t, tab, Options{}))
	whole := strings.Fields(strings.Join(pages, "\n"))
	next := 0
	for _, w := range whole {
		if next < len(words) && w == words[next] {
			next++
		}
	}
	if len(pages) < 2 || next != len(words) {
		t.Errorf("on %d pages the row ends at %q", len(pages), words[min(next, len(words)-1)])
	}
}

func TestAnEmptyListHasItsHeadingsAndOnePage(t *testing.T) {
	pages := pageTexts(t, table(t, readOut(0), Options{}))
	if len(pages) != 1 || !strings.Contains(pages[0], "Remark") || !strings.Contains(pages[0], "page 1 of 1") {
		t.Errorf("the pages are %q", pages)
	}
}

func TestPagesAreCountedInTheDocumentsWords(t *testing.T) {
	opt := Options{Lang: "cy", PageOf: func(page, of int) string { return fmt.Sprintf("tudalen %d o %d", page, of) }}
	if pages := pageTexts(t, table(t, readOut(1), opt)); !strings.Contains(pages[0], "tudalen 1 o 1") {
		t.Errorf("the page reads %q", pages[0])
	}
}

func TestAListThatCannotBePrintedIsRefused(t *testing.T) {
	ragged, strange, crowded := readOut(3), readOut(3), readOut(3)
	ragged.Rows[1] = []string{"2", "Ana"}
	strange.Rows[2][1] = "ნინო"
	crowded.Note = strings.Repeat("Mind the step. ", 700)
	tests := []struct {
		name string
		tab  Table
		code string
		says string
	}{
		{"without columns", Table{Title: "T"}, "no_columns", `"T"`},
		{"with a short row", ragged, "ragged_row", "row 2"},
		{"with a name that no font carries", strange, "unsettable", `"ნინო" in row 3, column "Name"`},
		{"with a note that fills the page", crowded, "too_long", "no room for its rows"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var b bytes.Buffer
			err := WriteTable(&b, tt.tab, Options{})
			if err == nil || b.Len() > 0 {
				t.Fatalf("printed %d bytes, error %v", b.Len(), err)
			}
			var fault *rankwright.Fault
			if faults := (rankwright.Faults)(nil); errors.As(err, &faults) && len(faults) == 1 {
				fault = faults[0]
			} else {
				errors.As(err, &fault)
			}
			if fault == nil || fault.Code != tt.code || !strings.Contains(fault.Say, tt.says) {
				t.Errorf("the fault is %v", err)
			}
		})
	}
}
