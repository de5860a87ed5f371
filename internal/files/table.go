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
	columns map[string]int
	record  []string
	line    int
	faults  rankwright.Faults
	more    int
}

// open reads the heading row. required columns must be there.
func open(name string, r io.Reader, required, optional []string) (*table, error) {
	br := bufio.NewReaderSize(r, 1<<16)
	if bom, err := br.Peek(3); err == nil && string(bom) == "\ufeff" {
		br.Discard(3)
	}
	t := &table{name: name, csv: csv.NewReader(br), columns: map[string]int{}}
	t.csv.ReuseRecord = true
	t.csv.FieldsPerRecord = -1
	head, err := t.csv.Read()
	if err == io.EOF {
		return nil, t.at(1, "", "empty", "write the heading row "+strings.Join(required, ","), "the file is empty")
	}
	if err != nil {
		return nil, t.broken(err)
	}
	t.line = 1
	for i, h := range head {
		h = strings.ToLower(strings.TrimSpace(h))
		if !slices.Contains(required, h) && !slices.Contains(optional, h) {
			continue
		}
		if _, twice := t.columns[h]; twice {
			return nil, t.at(1, h, "double_column", "remove one of the two", "the column stands there twice")
		}
		t.columns[h] = i
	}
	for _, h := range required {
		if _, ok := t.columns[h]; ok {
			continue
		}
		do := "add it to the heading row; needed are " + strings.Join(required, ", ")
		if len(head) == 1 && strings.ContainsAny(head[0], ";\t") {
			do = "save the table with commas between the columns"
		}
		return nil, t.at(1, h, "missing_column", do, "there is no such column")
	}
	return t, nil
}

func (t *table) at(line int, column, code, do, say string, args ...any) *rankwright.Fault {
	f := rankwright.Faultf(rankwright.Invalid, code, do, say, args...)
	f.Where = rankwright.Place{File: t.name, Line: line, Name: column}
	return f
}

func (t *table) broken(err error) *rankwright.Fault {
	var pe *csv.ParseError
	if errors.As(err, &pe) {
		do := "put text that holds commas, quotes or line ends in double quotes, and double each quote inside"
		return t.at(pe.StartLine, "", "not_csv", do, "the row cannot be read: %v", pe.Err)
	}
	f := t.at(0, "", "unreadable", "check the file and try again", "the file cannot be read")
	f.Err = err
	return f
}

func (t *table) fault(column, code, do, say string, args ...any) {
	if len(t.faults) >= maxFaults {
		t.more++
		return
	}
	t.faults = append(t.faults, t.at(t.line, column, code, do, say, args...))
}

// next moves to the next row that is not blank.
func (t *table) next() bool {
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
		if len(rec) == 1 && strings.TrimSpace(rec[0]) == "" {
			continue
		}
		t.record = rec
		return true
	}
}

// get returns the trimmed cell of a column, "" where the row is short. The
// text is only good until the next row.
func (t *table) get(column string) string {
	i, ok := t.columns[column]
	if !ok || i >= len(t.record) {
		return ""
	}
	s := strings.TrimSpace(t.record[i])
	if !utf8.ValidString(s) {
		t.fault(column, "not_utf8", "save the table as UTF-8", "the text is not UTF-8")
		return ""
	}
	return s
}

// err returns what was found, with a last line for what was left out.
func (t *table) err() error {
	if t.more > 0 {
		f := t.at(0, "", "more", "mend these first; the others often have the same cause", "%d more faults are not shown", t.more)
		t.faults = append(t.faults, f)
	}
	return t.faults.Err()
}
