package table

import (
	"encoding/csv"
	"errors"
	"io"
	"strings"

	"rankwright"
	"rankwright/roster"
)

const separators = ",;\t|"

// readCSV reads RFC 4180 with the separator that the file uses. Lines may end
// in LF, CR LF or CR; a first line "sep=;" is obeyed.
func readCSV(b []byte, o Options) (Result, *rankwright.Fault) {
	text, res, fault := decode(b, o)
	if fault != nil {
		return res, fault
	}
	res.Format = CSV
	if !strings.Contains(text, "\n") {
		text = strings.ReplaceAll(text, "\r", "\n")
	}
	skipped := 0
	sep := o.Separator
	if first, rest, _ := strings.Cut(text, "\n"); strings.HasPrefix(strings.ToLower(first), "sep=") {
		if s := strings.TrimRight(first[len("sep="):], "\r"); len(s) == 1 && strings.Contains(separators, s) {
			text, skipped = rest, 1
			if sep == 0 {
				sep = rune(s[0])
			}
		}
	}
	if sep != 0 && !strings.ContainsRune(separators, sep) {
		return res, o.fault(rankwright.Invalid, "separator", "choose comma, semicolon, tab or |", "%q does not part columns", string(sep))
	}
	if sep == 0 {
		sep = findSeparator(text)
	}
	res.Separator = sep
	if line := tooWide(text, byte(sep)); line > 0 {
		f := o.fault(rankwright.TooLarge, "columns", "save only the columns that matter and choose that file", "the row has more than %d columns", 4*MaxColumns)
		f.Where.Line = line + skipped
		return res, f
	}
	g := &grid{o: o}
	if fault := readRecords(text, sep, skipped, g); fault != nil {
		return res, fault
	}
	res.Table = roster.Table{Rows: g.rows}
	return res, nil
}

func readRecords(text string, sep rune, skipped int, g *grid) *rankwright.Fault {
	r := csv.NewReader(strings.NewReader(text))
	r.Comma, r.FieldsPerRecord, r.ReuseRecord = sep, -1, true
	for {
		cells, err := r.Read()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return quoteFault(err, skipped, g.o)
		}
		line, _ := r.FieldPos(0)
		at := func(i int) int {
			l, _ := r.FieldPos(i)
			return l + skipped
		}
		if fault := g.add(line+skipped, cells, at); fault != nil {
			return fault
		}
	}
}

// quoteFault turns the errors of encoding/csv, which all concern quotation
// marks, into sentences.
func quoteFault(err error, skipped int, o Options) *rankwright.Fault {
	f := o.fault(rankwright.Invalid, "quote", "write it twice (\"\") or take it out, and choose the file again",
		"a quotation mark stands inside a cell that does not begin with one")
	var pe *csv.ParseError
	if errors.As(err, &pe) {
		f.Where.Line = pe.Line + skipped
		switch {
		case errors.Is(pe.Err, csv.ErrQuote) && pe.StartLine != pe.Line:
			f.Where.Line = pe.StartLine + skipped
			f.Say = "a quotation mark opens a cell in this row and is not closed where the cell ends"
			f.Do = "close it or take it out, and choose the file again"
		case errors.Is(pe.Err, csv.ErrQuote):
			f.Say = "a quotation mark opens a cell and is not closed where the cell ends"
			f.Do = "close it, or write a quotation mark that belongs to the text twice (\"\"), and choose the file again"
		}
	}
	f.Err = err
	return f
}

// scan walks over text and calls end at the end of each record with its first
// line and how often each of the separators stands outside quotation marks.
// It stops when end says so.
func scan(text string, seps string, end func(line int, counts []int) (more bool)) {
	counts := make([]int, len(seps))
	line, first, quoted, any := 1, 1, false, false
	for i := range len(text) {
		c := text[i]
		switch {
		case c == '"':
			quoted, any = !quoted, true
		case c == '\n':
			line++
			if quoted {
				continue
			}
			if any && !end(first, counts) {
				return
			}
			clear(counts)
			first, any = line, false
		case c == '\r':
		default:
			any = true
			if quoted {
				continue
			}
			if k := strings.IndexByte(seps, c); k >= 0 {
				counts[k]++
			}
		}
	}
	if any {
		end(first, counts)
	}
}

// findSeparator takes the one that parts most of the first records into the
// same number of columns, more than one; of several the one with more
// columns; a comma where there is none.
func findSeparator(text string) rune {
	const look = 100
	seen := make([]map[int]int, len(separators))
	for k := range seen {
		seen[k] = map[int]int{}
	}
	records := 0
	scan(text, separators, func(_ int, counts []int) bool {
		for k, n := range counts {
			seen[k][n]++
		}
		records++
		return records < look
	})
	best, bestRecords, bestColumns := 0, 0, 0
	for k := range separators {
		for n, r := range seen[k] {
			if n > 0 && (r > bestRecords || r == bestRecords && n > bestColumns) {
				best, bestRecords, bestColumns = k, r, n
			}
		}
	}
	return rune(separators[best])
}

// tooWide gives the line of the first record with far more separators than a
// table may have columns, so that it is refused before it is taken apart.
func tooWide(text string, sep byte) int {
	bad := 0
	scan(text, string(rune(sep)), func(line int, counts []int) bool {
		if counts[0] >= 4*MaxColumns {
			bad = line
		}
		return bad == 0
	})
	return bad
}
