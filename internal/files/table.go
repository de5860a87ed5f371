// Package files reads and writes the tables that others script against, as
// docs/formats.md has them: CSV with a heading row, columns in any order,
// unknown ones ignored. Every fault is reported with line and column.
package files

import (
	"bufio"
	"encoding/csv"
	"errors"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"rankwright"
)

// maxFaults bounds how many faults of one file are told; a file with more has
// one cause.
const maxFaults = 100

type table struct {
	name    string
	csv     *csv.Reader
	columns map[string]int // of the headings that are asked for
	known   []column       // the same, in the order of the row
	record  []string
	line    int
	faults  rankwright.Faults
	more    int
}

// column is a heading and its place in the row, -1 where it is not there.
type column struct {
	name string
	at   int
}

// open reads the heading row. required columns must be there.
func open(name string, r io.Reader, required, optional []string) (*table, error) {
	br := bufio.NewReaderSize(r, 1<<16)
	t := &table{name: name, csv: csv.NewReader(br), columns: map[string]int{}}
	if start, _ := br.Peek(4); len(start) >= 2 {
		switch {
		case strings.HasPrefix(string(start), "\ufeff"):
			br.Discard(3)
		case string(start) == "PK\x03\x04":
			return nil, t.at(1, "", "not_csv", "save the sheet as CSV", "this is a workbook, not a table of text")
		case string(start[:2]) == "\xff\xfe" || string(start[:2]) == "\xfe\xff":
			return nil, t.at(1, "", "not_utf8", "save the table as CSV in UTF-8", "the table is written in UTF-16")
		}
	}
	t.csv.ReuseRecord = true
	t.csv.FieldsPerRecord = -1
	head, err := t.csv.Read()
	if err == io.EOF {
		return nil, t.at(1, "", "empty", "write the heading row "+strings.Join(required, ","), "the table is empty")
	}
	if err != nil {
		return nil, t.broken(err)
	}
	t.line, _ = t.csv.FieldPos(0)
	for i, h := range head {
		h = strings.ToLower(strings.TrimSpace(h))
		if !slices.Contains(required, h) && !slices.Contains(optional, h) {
			continue
		}
		if _, twice := t.columns[h]; twice {
			return nil, t.at(t.line, h, "double_column", "remove one of the two", "the heading row names the column twice")
		}
		t.columns[h] = i
		t.known = append(t.known, column{h, i})
	}
	for _, h := range required {
		if _, ok := t.columns[h]; ok {
			continue
		}
		do := "add it to the heading row, which needs " + strings.Join(required, ", ")
		if len(head) == 1 && strings.ContainsAny(head[0], ";\t") {
			do = "save the table with commas between the columns"
		}
		return nil, t.at(t.line, h, "missing_column", do, "the heading row does not name the column")
	}
	return t, nil
}

// column returns a column by its heading.
func (t *table) column(name string) column {
	if i, ok := t.columns[name]; ok {
		return column{name, i}
	}
	return column{name, -1}
}

func (t *table) at(line int, column, code, do, say string, args ...any) *rankwright.Fault {
	f := rankwright.Faultf(rankwright.Invalid, code, do, say, args...)
	f.Where = rankwright.Place{File: t.name, Line: line, Name: column}
	return f
}

func (t *table) broken(err error) *rankwright.Fault {
	var pe *csv.ParseError
	if !errors.As(err, &pe) {
		f := t.at(t.line+1, "", "unreadable", "check the file and try again", "the table cannot be read to its end")
		f.Err = err
		return f
	}
	say, do := "a quote stands inside a cell that has none around it", "put the whole cell in double quotes, and write the quote twice"
	if errors.Is(pe.Err, csv.ErrQuote) {
		say, do = "a quoted cell is not closed, or goes on after its closing quote", "close it with a double quote, and write a quote inside it twice"
	}
	f := t.at(pe.StartLine, "", "not_csv", do, "%s", say)
	f.Err = err
	return f
}

// fault keeps a fault of a column in the present row.
func (t *table) fault(c column, code, do, say string, args ...any) {
	if len(t.faults) >= maxFaults {
		t.more++
		return
	}
	t.faults = append(t.faults, t.at(t.line, c.name, code, do, say, args...))
}

// next moves to the next row that is not blank and whose cells are text.
func (t *table) next() bool {
rows:
	for {
		rec, err := t.csv.Read()
		if err == io.EOF {
			return false
		}
		if err != nil {
			t.faults = append(t.faults, t.broken(err))
			return false
		}
		t.line, _ = t.csv.FieldPos(0)
		t.record = rec
		blank := true
		for _, c := range t.known {
			if c.at >= len(rec) || rec[c.at] == "" {
				continue
			}
			if !utf8.ValidString(rec[c.at]) {
				t.fault(c, "not_utf8", "save the table as CSV in UTF-8", "the cell is not written in UTF-8")
				continue rows
			}
			blank = blank && strings.TrimSpace(rec[c.at]) == ""
		}
		if !blank {
			return true
		}
	}
}

// get returns the trimmed cell of a column, "" where the row is short or has
// no such column. The text is only good until the next row.
func (t *table) get(c column) string {
	if c.at < 0 || c.at >= len(t.record) {
		return ""
	}
	return strings.TrimSpace(t.record[c.at])
}

// err returns what was found, with a last line for what was left out.
func (t *table) err() error {
	if t.more > 0 {
		say := "%d more faults are not shown"
		if t.more == 1 {
			say = "%d more fault is not shown"
		}
		t.faults = append(t.faults, t.at(t.line, "", "more", "mend these first; the others often have the same cause", say, t.more))
	}
	return t.faults.Err()
}
