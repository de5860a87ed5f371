package table

import (
	"bytes"
	"errors"
	"testing"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"

	"rankwright"
)

// check holds what Read promises of any input whatever.
func check(t *testing.T, b []byte, o Options) {
	res, err := Read(b, o)
	if err != nil {
		var f *rankwright.Fault
		if !errors.As(err, &f) || f.Say == "" || f.Do == "" || f.Kind == rankwright.Internal {
			t.Fatalf("an error that helps nobody: %v", err)
		}
		return
	}
	if n := len(res.Table.Rows); n == 0 || n > MaxRows+1 {
		t.Fatalf("%d rows", n)
	}
	last := 0
	for _, r := range res.Table.Rows {
		if r.Line <= last || len(r.Cells) == 0 || len(r.Cells) > MaxColumns {
			t.Fatalf("row on line %d after %d with %d cells", r.Line, last, len(r.Cells))
		}
		last = r.Line
		for i, c := range r.Cells {
			if c.Column != i+1 || c.Line < r.Line || !utf8.ValidString(c.Text) || utf8.RuneCountInString(c.Text) > MaxCell {
				t.Fatalf("cell %+v of line %d", c, r.Line)
			}
		}
	}
}

func FuzzCSV(f *testing.F) {
	win, _ := charmap.Windows1252.NewEncoder().Bytes([]byte("Niño;José\n"))
	for _, s := range []string{"a,b\n1,2\n", "a;\"b\nc\"\r\n", "\ufeffa\tb\n", "sep=|\na|b\n", "\"", "a\"b", "a\rb\r", "\xff\xfea\x00,\x00b\x00", "\xfe\xff\x00a", "x\x00", string(win)} {
		f.Add([]byte(s), "", byte(0))
		f.Add([]byte(s), "windows-1250", byte(';'))
	}
	f.Fuzz(func(t *testing.T, b []byte, encoding string, sep byte) {
		if bytes.HasPrefix(b, []byte("PK")) {
			return
		}
		check(t, b, Options{File: "f.csv", Encoding: encoding, Separator: rune(sep)})
	})
}

// FuzzXLSX puts what it makes up inside a sound workbook, where it reaches
// the reader of sheets, and also hands it over bare.
func FuzzXLSX(f *testing.F) {
	f.Add([]byte(sheetHead+`<row r="1"><c r="A1"><v>42038</v></c></row>`+sheetFoot), []byte(`<workbookPr date1904="1"/>`), []byte(`<sst><si><t>a</t></si></sst>`))
	f.Add([]byte(sheetHead+`<row><c t="s"><v>9</v></c><c r="A1" t="s"><v>-1</v></c></row>`+sheetFoot), []byte(`<sheets/>`), []byte(`<sst/>`))
	f.Add([]byte(sheetHead+`<row r="99999999"><c r="ZZZZZ1"/></row><row r="-1"/><row r="2"/>`), []byte(``), []byte(`<sst>`))
	f.Add([]byte(`<!DOCTYPE a [<!ENTITY b "bb">]><worksheet>&b;`), []byte(`<sheets><sheet name="x" r:id="rId9"/></sheets>`), []byte(``))
	f.Fuzz(func(t *testing.T, sheet, props, sst []byte) {
		check(t, xlsx(t, string(sheet), string(props), "xl/sharedStrings.xml", string(sst)), Options{File: "f.xlsx"})
		check(t, append([]byte("PK\x03\x04"), sheet...), Options{File: "f.xlsx"})
	})
}
