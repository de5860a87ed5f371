// Package table reads the bytes of other people's tables: CSV in its dialects
// and encodings, and XLSX. What the columns mean is the business of package
// roster, to which it hands a roster.Table.
//
// It promises never to panic, and to refuse what is too large before it does
// harm: no more memory is taken than a small multiple of the limits below,
// whatever the file claims of itself. It writes no temporary files.
package table

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"

	"rankwright"
	"rankwright/roster"
)

// The limits. A row is counted if any cell of it holds something.
const (
	MaxBytes   = 10 << 20
	MaxRows    = 20000
	MaxColumns = 200
	MaxCell    = 4000 // characters
)

// Format is the kind of file.
type Format string

// The formats.
const (
	CSV  Format = "csv"
	XLSX Format = "xlsx"
)

// Options are what a person may choose; the zero Options let the file speak.
type Options struct {
	// File is the name by which messages call the file.
	File string
	// Encoding is one of the names in Encodings, or "" to find out.
	Encoding string
	// Separator is ',', ';', '|' or a tab, or 0 to find out.
	Separator rune
	// Sheet is the name of the sheet of a workbook, or "" for the first sheet
	// that holds anything.
	Sheet string
}

// Result is a table and how it was read.
type Result struct {
	Table  roster.Table
	Format Format
	// Encoding names the encoding of a CSV file. Where the file does not show
	// it, EncodingAssumed is set and Choices holds what else it could be.
	Encoding        string
	EncodingAssumed bool
	Choices         []Choice
	Separator       rune
	// Sheets are the visible sheets of a workbook, and Sheet the one read.
	Sheets []string
	Sheet  string
}

// ReadFrom is Read for a stream, of which it takes no more than MaxBytes.
func ReadFrom(r io.Reader, o Options) (Result, error) {
	b, err := io.ReadAll(io.LimitReader(r, MaxBytes+1))
	if err != nil {
		f := o.fault(rankwright.Internal, "unreadable", "choose it again", "the file could not be read to its end")
		f.Err = err
		return Result{}, f
	}
	return Read(b, o)
}

// Read reads a CSV or XLSX file, told apart by its first bytes. Every error
// is a *rankwright.Fault.
func Read(b []byte, o Options) (Result, error) {
	if len(b) > MaxBytes {
		return Result{}, o.fault(rankwright.TooLarge, "file_size", "save only the sheet with the students, without pictures, and choose that file",
			"the file is larger than %d MB", MaxBytes>>20)
	}
	if say := foreign(b); say != "" {
		return Result{}, o.fault(rankwright.Invalid, "format", "save it as CSV or XLSX in the spreadsheet program and choose that file", "%s", say)
	}
	if len(bytes.TrimSpace(b)) == 0 {
		return Result{}, o.fault(rankwright.Invalid, "empty", "choose the file with the students", "the file is empty")
	}
	var res Result
	var fault *rankwright.Fault
	if bytes.HasPrefix(b, []byte("PK\x03\x04")) {
		res, fault = readXLSX(b, o)
	} else {
		res, fault = readCSV(b, o)
	}
	if fault != nil {
		return Result{}, fault
	}
	if len(res.Table.Rows) == 0 {
		return Result{}, o.fault(rankwright.Invalid, "empty", "choose the file with the students", "the file holds no text in any cell")
	}
	res.Table.File = o.File
	return res, nil
}

// foreign knows other kinds of file by their first bytes.
func foreign(b []byte) string {
	start := strings.ToLower(string(bytes.TrimSpace(b[:min(len(b), 200)])))
	switch {
	case bytes.HasPrefix(b, []byte("\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1")):
		return "this is a workbook of the old .xls kind, or one with a password"
	case bytes.HasPrefix(b, []byte("PK\x03\x04")) && bytes.Contains(b[:min(len(b), 200)], []byte("opendocument")):
		return "this is an OpenDocument file"
	case bytes.HasPrefix(b, []byte("PK\x05\x06")):
		return "this is an empty archive"
	case bytes.HasPrefix(b, []byte("%PDF")):
		return "this is a PDF document, not a table"
	case bytes.HasPrefix(b, []byte("\x89PNG")), bytes.HasPrefix(b, []byte("\xff\xd8\xff")):
		return "this is a picture, not a table"
	case bytes.HasPrefix(b, []byte("\x1f\x8b")):
		return "this is a compressed file, not a table"
	case strings.HasPrefix(start, "<!doctype"), strings.HasPrefix(start, "<html"), strings.HasPrefix(start, "<?xml"), strings.HasPrefix(start, "<table"):
		return "this is a web page or XML document, whatever its name says"
	case strings.HasPrefix(start, "{\\rtf"):
		return "this is a text document, not a table"
	}
	return ""
}

func (o Options) fault(kind rankwright.Kind, code, do, say string, args ...any) *rankwright.Fault {
	f := rankwright.Faultf(kind, code, do, say, args...)
	f.Where.File = o.File
	return f
}

// grid gathers rows and holds them to the limits.
type grid struct {
	o    Options
	rows []roster.Row
}

// add takes a row; at gives the line of each cell.
func (g *grid) add(line int, texts []string, at func(i int) int) *rankwright.Fault {
	last := -1
	for i, s := range texts {
		if strings.TrimSpace(s) != "" {
			last = i
		}
	}
	if last < 0 {
		return nil
	}
	refuse := func(code, do, say string, args ...any) *rankwright.Fault {
		f := g.o.fault(rankwright.TooLarge, code, do, say, args...)
		f.Where.Line = line
		return f
	}
	if len(g.rows) > MaxRows {
		return refuse("rows", "save only the rows of the students and choose that file", "the table has more than %s rows below its headings", thousands(MaxRows))
	}
	if last >= MaxColumns {
		return refuse("columns", "save only the columns that matter and choose that file", "the row has %d columns, and at most %d are read", last+1, MaxColumns)
	}
	row := roster.Row{Line: line, Cells: make([]roster.Cell, last+1)}
	for i, s := range texts[:last+1] {
		if len(s) > MaxCell && utf8.RuneCountInString(s) > MaxCell {
			f := refuse("cell", "shorten it, or look for a quotation mark that is never closed, and choose the file again",
				"the cell holds more than %s characters", thousands(MaxCell))
			f.Where.Line, f.Where.Column = at(i), i+1
			return f
		}
		row.Cells[i] = roster.Cell{Text: norm.NFC.String(s), Line: at(i), Column: i + 1}
	}
	g.rows = append(g.rows, row)
	return nil
}

func thousands(n int) string {
	if n < 1000 {
		return fmt.Sprint(n)
	}
	return fmt.Sprintf("%d,%03d", n/1000, n%1000)
}
