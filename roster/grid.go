package roster

import (
	"strings"

	"rankwright"
)

// Table is somebody's table as it was read from a file: every row that holds
// anything, the headings among them. Package roster/table makes it.
type Table struct {
	// File is the name by which messages call the file.
	File string
	Rows []Row
	// Epoch1904 says that day numbers count from 1 January 1904, as in
	// workbooks begun on old Macintosh computers.
	Epoch1904 bool
}

// Row is one row of a table.
type Row struct {
	// Line is the line of the file on which the row begins, or the row number
	// of the sheet. It counts from 1.
	Line  int
	Cells []Cell
}

// Cell is one cell, as it was typed.
type Cell struct {
	Text string
	// Line is where the cell begins and Column which cell of the row it is,
	// both from 1. A cell below a line break within its row has a later line.
	Line, Column int
}

// Text returns the text of column i, counted from 0, or "" beyond the end.
func (r Row) Text(i int) string {
	if i < 0 || i >= len(r.Cells) {
		return ""
	}
	return r.Cells[i].Text
}

// headRows is how far down the headings are looked for.
const headRows = 15

// Head parts the headings from the rows below. The headings are the row among
// the first with most headings that this package knows, so that a title and
// an empty line above do no harm; where none is known it is the first row.
func (t Table) Head() (Row, []Row) {
	if len(t.Rows) == 0 {
		return Row{}, nil
	}
	best, most := 0, 1
	for i, r := range t.Rows[:min(headRows, len(t.Rows))] {
		known := 0
		for _, c := range recognise(r) {
			if c.Field != Ignored {
				known++
			}
		}
		if known > most {
			best, most = i, known
		}
	}
	return t.Rows[best], t.Rows[best+1:]
}

// place is where a cell stands, by its heading where it has one.
func (t Table) place(r Row, head Row, col int) rankwright.Place {
	p := rankwright.Place{File: t.File, Line: r.Line}
	if col < 0 {
		return p
	}
	if col < len(r.Cells) && r.Cells[col].Line > 0 {
		p.Line = r.Cells[col].Line
	}
	if p.Name = cleanLine(head.Text(col)); p.Name == "" {
		p.Column = col + 1
	}
	return p
}

// guarded are the characters with which a spreadsheet program may take a text
// for a formula (OWASP, CSV Injection), full-width forms included.
const guarded = "=+-@\t\r＝＋－＠"

// guard puts an apostrophe before text that a spreadsheet would run.
func guard(s string) string {
	if needsGuard(s) {
		return "'" + s
	}
	return s
}

// unguard takes off what guard put on. It leaves 't Hooft alone.
func unguard(s string) string {
	if strings.HasPrefix(s, "'") && needsGuard(s) {
		return s[1:]
	}
	return s
}

func needsGuard(s string) bool {
	rest := strings.TrimLeft(s, "'")
	return rest != "" && strings.ContainsAny(rest[:firstRune(rest)], guarded)
}

func firstRune(s string) int {
	for i := range s {
		if i > 0 {
			return i
		}
	}
	return len(s)
}
