package table

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"os"
	"runtime"
	"slices"
	"strings"
	"testing"
	"unicode"

	"github.com/xuri/excelize/v2"
	"golang.org/x/text/encoding/charmap"
	uni "golang.org/x/text/encoding/unicode"
	"golang.org/x/text/unicode/norm"
	"pgregory.net/rapid"

	"rankwright"
	"rankwright/roster"
)

func texts(t roster.Table) [][]string {
	var out [][]string
	for _, r := range t.Rows {
		var row []string
		for _, c := range r.Cells {
			row = append(row, c.Text)
		}
		out = append(out, row)
	}
	return out
}

func TestCSVIsReadInEachOfItsDialects(t *testing.T) {
	want := [][]string{{"Name", "Note"}, {"Ana Roe", "one, two; three"}, {"Zofia", "a \"b\"\nc"}}
	for name, text := range map[string]string{
		"comma":             "Name,Note\nAna Roe,\"one, two; three\"\nZofia,\"a \"\"b\"\"\nc\"\n",
		"semicolon":         "Name;Note\nAna Roe;\"one, two; three\"\nZofia;\"a \"\"b\"\"\nc\"\n",
		"tab":               "Name\tNote\nAna Roe\tone, two; three\nZofia\t\"a \"\"b\"\"\nc\"",
		"bar":               "Name|Note\nAna Roe|one, two; three\nZofia|\"a \"\"b\"\"\nc\"\n",
		"Windows lines":     "Name;Note\r\nAna Roe;\"one, two; three\"\r\nZofia;\"a \"\"b\"\"\r\nc\"\r\n",
		"old Mac lines":     "Name;Note\rAna Roe;\"one, two; three\"\rZofia;\"a \"\"b\"\"\rc\"\r",
		"a separator line":  "sep=;\r\nName;Note\r\nAna Roe;\"one, two; three\"\r\nZofia;\"a \"\"b\"\"\r\nc\"\r\n",
		"a byte order mark": "\ufeffName,Note\nAna Roe,\"one, two; three\"\nZofia,\"a \"\"b\"\"\nc\"\n",
		"empty rows":        "\n\nName,Note\n,\nAna Roe,\"one, two; three\",,\n , \nZofia,\"a \"\"b\"\"\nc\"\n\n",
	} {
		res, err := Read([]byte(text), Options{})
		if err != nil || !slices.EqualFunc(texts(res.Table), want, slices.Equal) {
			t.Errorf("%s: %v %q", name, err, texts(res.Table))
		}
	}
}

func TestEachCellKnowsItsLineAndColumn(t *testing.T) {
	res, err := Read([]byte("sep=,\nName,Note\n\n\"Ana\nRoe\",x\nZofia,y\n"), Options{})
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, r := range res.Table.Rows {
		for _, c := range r.Cells {
			got = append(got, fmt.Sprintf("%d/%d:%d", r.Line, c.Line, c.Column))
		}
	}
	if want := []string{"2/2:1", "2/2:2", "4/4:1", "4/5:2", "6/6:1", "6/6:2"}; !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
}

func TestTheSeparatorIsTheOneThatPartsTheRowsAlike(t *testing.T) {
	for text, want := range map[string]rune{
		"a;b;c\n1,5;2,5;3,5\n":               ';',
		"Name;Born\nRoe, Ana;1,2\nPoe;3,4\n": ';',
		"a,b\n\"x;y;z\",2\n":                 ',',
		"a\tb\nx, y\tz\n":                    '\t',
		"Name\nAna\n":                        ',',
		"Title of it all\na|b|c\n1|2|3\n":    '|',
	} {
		if res, err := Read([]byte(text), Options{}); err != nil || res.Separator != want {
			t.Errorf("%q: %q %v", text, res.Separator, err)
		}
	}
}

func TestEncodingsRoundTrip(t *testing.T) {
	for _, c := range []struct {
		name, choose, text string
		assumed            bool
	}{
		{"utf-8", "", "Maélle;Đan;Łódź\n", false},
		{"windows-1252", "", "Maélle;Señor;€œ\n", true},
		{"windows-1252", "windows-1252", "Maélle;Señor;€œ\n", false},
		{"windows-1250", "windows-1250", "Łódź;Čeněk;Őrsi\n", false},
		{"windows-1251", "WINDOWS-1251", "Зоя;Игорь\n", false},
		{"windows-1253", "windows-1253", "Ζωή;Νίκος\n", false},
		{"windows-1254", "windows-1254", "Şükrü;İğdır\n", false},
		{"macintosh", "macintosh", "Maëlle;Zoé\n", false},
		{"ibm850", "ibm850", "Zoé;Müller\n", false},
		{"iso-8859-2", "iso-8859-2", "Łódź\n", false},
	} {
		e, ok := encodingByName(c.name)
		if !ok {
			t.Fatal(c.name)
		}
		b, err := e.codec.NewEncoder().Bytes([]byte(c.text))
		if err != nil {
			t.Fatal(c.name, err)
		}
		res, err := Read(b, Options{Encoding: c.choose})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		got := strings.Join(texts(res.Table)[0], ";") + "\n"
		if got != c.text || res.Encoding != c.name || res.EncodingAssumed != c.assumed || c.assumed != (len(res.Choices) > 0) {
			t.Errorf("%s: %q as %s (assumed %v, %d choices)", c.name, got, res.Encoding, res.EncodingAssumed, len(res.Choices))
		}
	}
	for name, order := range map[string]uni.Endianness{"utf-16le": uni.LittleEndian, "utf-16be": uni.BigEndian} {
		b, _ := uni.UTF16(order, uni.UseBOM).NewEncoder().Bytes([]byte("Đan,😀\n"))
		res, err := Read(b, Options{})
		if err != nil || res.Encoding != name || texts(res.Table)[0][1] != "😀" || texts(res.Table)[0][0] != "Đan" {
			t.Errorf("%s: %v %q", name, err, texts(res.Table))
		}
	}
}

// TestWindows1252 reads all bytes as Python's codec reads them
// (testdata/cp1252.py); the five bytes without a letter are left to x/text.
func TestWindows1252(t *testing.T) {
	b, err := os.ReadFile("testdata/cp1252.txt")
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, l := range strings.Fields(string(b)) {
		var at, code int
		if _, err := fmt.Sscanf(l, "%02X,%04X", &at, &code); err != nil {
			continue
		}
		n++
		if at < 0x80 {
			continue
		}
		res, err := Read([]byte{'x', byte(at), '\n'}, Options{Encoding: "windows-1252"})
		if err != nil {
			t.Fatal(err)
		}
		if got := texts(res.Table)[0][0]; got != norm.NFC.String("x"+string(rune(code))) {
			t.Errorf("byte %02X is %q, want U+%04X", at, got, code)
		}
		if want := charmap.Windows1252.DecodeByte(byte(at)); want != rune(code) {
			t.Errorf("x/text and Python differ on byte %02X", at)
		}
	}
	if n != 251 {
		t.Errorf("%d bytes were compared, want 251", n)
	}
}

func TestAnAssumedEncodingShowsWordsToChooseBy(t *testing.T) {
	b, _ := charmap.Windows1250.NewEncoder().Bytes([]byte("Name;Town\nŁucja;Łódź\nAna;Gdańsk\n"))
	res, err := Read(b, Options{})
	if err != nil || !res.EncodingAssumed {
		t.Fatal(err)
	}
	i := slices.IndexFunc(res.Choices, func(c Choice) bool { return c.Name == "windows-1250" })
	if i < 0 || !slices.Equal(res.Choices[i].Words, []string{"Łucja", "Łódź", "Gdańsk"}) {
		t.Errorf("choices: %+v", res.Choices)
	}
}

// xlsx packs a workbook by hand, so that the reader is not only tried on what
// its own library writes.
func xlsx(t testing.TB, sheet, props string, more ...string) []byte {
	t.Helper()
	parts := append([]string{
		"[Content_Types].xml", `<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Default Extension="xml" ContentType="application/xml"/><Override PartName="/xl/workbook.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/><Override PartName="/xl/worksheets/sheet1.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"/></Types>`,
		"_rels/.rels", `<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>`,
		"xl/workbook.xml", `<?xml version="1.0"?><workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships">` + props + `<sheets><sheet name="Kids" sheetId="1" r:id="rId1"/></sheets></workbook>`,
		"xl/_rels/workbook.xml.rels", `<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" Target="worksheets/sheet1.xml"/></Relationships>`,
		"xl/worksheets/sheet1.xml", sheet,
	}, more...)
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for i := 0; i < len(parts); i += 2 {
		p, err := w.Create(parts[i])
		if err == nil {
			_, err = p.Write([]byte(parts[i+1]))
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

const sheetHead = `<?xml version="1.0"?><worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>`
const sheetFoot = `</sheetData></worksheet>`

func TestAWorkbookIsReadAsItIsStored(t *testing.T) {
	sheet := sheetHead + `<row r="1"><c r="A1" t="inlineStr"><is><t>Name</t></is></c><c r="B1" t="inlineStr"><is><t>DOB</t></is></c><c r="C1" t="str"><v>Phone</v></c></row>` +
		`<row r="4"><c r="A4" t="inlineStr"><is><r><t>Zofia </t></r><r><t>Krajewik</t></r></is></c><c r="B4" s="0"><v>42038</v></c><c r="C4"><v>4.47700900123E+11</v></c></row>` +
		`<row r="5"><c r="A5" t="inlineStr"><is><t>1E5</t></is></c><c r="C5"><f>1+1</f><v>2</v></c></row>` + sheetFoot
	res, err := Read(xlsx(t, sheet, ""), Options{File: "kids.xlsx"})
	if err != nil {
		t.Fatal(err)
	}
	want := [][]string{{"Name", "DOB", "Phone"}, {"Zofia Krajewik", "42038", "447700900123"}, {"1E5", "", "2"}}
	if !slices.EqualFunc(texts(res.Table), want, slices.Equal) || res.Sheet != "Kids" || res.Format != XLSX || res.Table.Rows[1].Line != 4 {
		t.Errorf("%q %+v", texts(res.Table), res)
	}
	if d := roster.SerialDay(42038, res.Table.Epoch1904); d.String() != "2015-02-03" {
		t.Errorf("42038 is %s", d)
	}
}

func TestAWorkbookOfTheOldMacintoshCountsFrom1904(t *testing.T) {
	sheet := sheetHead + `<row r="1"><c r="A1"><v>40576</v></c></row>` + sheetFoot
	res, err := Read(xlsx(t, sheet, `<workbookPr date1904="1"/>`), Options{})
	if err != nil || !res.Table.Epoch1904 {
		t.Fatal(err, res.Table.Epoch1904)
	}
	if d := roster.SerialDay(40576, res.Table.Epoch1904); d.String() != "2015-02-03" {
		t.Errorf("40576 is %s", d)
	}
}

func TestTheSheetIsTheFirstThatHoldsAnythingOrTheOneChosen(t *testing.T) {
	f := excelize.NewFile()
	defer f.Close()
	for _, s := range []string{"Old", "Juniors", "Adults"} {
		if _, err := f.NewSheet(s); err != nil {
			t.Fatal(err)
		}
		_ = f.SetCellStr(s, "A1", "Name of "+s)
	}
	_ = f.SetSheetVisible("Old", false)
	var b bytes.Buffer
	if err := f.Write(&b); err != nil {
		t.Fatal(err)
	}
	for choose, want := range map[string]string{"": "Name of Juniors", "Adults": "Name of Adults"} {
		res, err := Read(b.Bytes(), Options{Sheet: choose})
		if err != nil || texts(res.Table)[0][0] != want || !slices.Equal(res.Sheets, []string{"Sheet1", "Juniors", "Adults"}) {
			t.Errorf("%q: %v %q %q", choose, err, texts(res.Table), res.Sheets)
		}
	}
}

// TestWhatIsTooLargeIsRefusedBeforeItDoesHarm measures the memory taken, not
// the time.
func TestWhatIsTooLargeIsRefusedBeforeItDoesHarm(t *testing.T) {
	rows := func(n int) string {
		var b strings.Builder
		b.WriteString(sheetHead)
		for i := range n {
			fmt.Fprintf(&b, `<row r="%d"><c r="A%d"><v>1</v></c></row>`, i+1, i+1)
		}
		return b.String() + sheetFoot
	}
	one := sheetHead + `<row r="1"><c r="A1"><v>1</v></c></row>` + sheetFoot
	for _, c := range []struct {
		name, say string
		data      []byte
		place     string
	}{
		{"the file", "the file is larger than 10 MB", bytes.Repeat([]byte("x,y\n"), MaxBytes/4+1), "f"},
		{"rows", "the table has more than 20,000 rows below its headings", []byte(strings.Repeat("a,b\n", MaxRows+2)), "f:20002"},
		{"columns", "the row has 201 columns, and at most 200 are read", []byte("a,b\n" + strings.Repeat("x,", 200) + "x\n"), "f:2"},
		{"a million columns", "the row has more than 800 columns", []byte("a\n" + strings.Repeat("x,", 1_000_000) + "\n"), "f:2"},
		{"a cell", "the cell holds more than 4,000 characters", []byte("a,b\nx," + strings.Repeat("é", 4001) + "\n"), "f:2:2"},
		{"rows of a sheet", "the table has more than 20,000 rows below its headings", xlsx(t, rows(MaxRows+2), ""), "f:20002"},
		{"a cell far to the right", "the row has 16384 columns, and at most 200 are read", xlsx(t, sheetHead+`<row r="1"><c r="XFD1"><v>1</v></c></row>`+sheetFoot, ""), "f:1"},
		{"a sheet that unpacks a thousandfold", "the workbook unpacks to more than 32 MB", xlsx(t, sheetHead+strings.Repeat(" ", 65<<20)+sheetFoot, ""), "f"},
		{"a table of strings", "the workbook holds more than 250,000 different texts", xlsx(t, one, "", "xl/sharedStrings.xml", `<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">`+strings.Repeat("<si/>", 5_000_000)+`</sst>`), "f"},
		{"styles", "the part styles.xml of the workbook is larger than 4 MB", xlsx(t, one, "", "xl/styles.xml", `<styleSheet><cellXfs>`+strings.Repeat("<xf/>", 1_000_000)+`</cellXfs></styleSheet>`), "f"},
	} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, err := Read(c.data, Options{File: "f"})
		runtime.ReadMemStats(&after)
		var f *rankwright.Fault
		if !errors.As(err, &f) || f.Kind != rankwright.TooLarge || f.Say != c.say || f.Where.String() != c.place || f.Do == "" {
			t.Errorf("%s: %v", c.name, err)
		}
		if took := after.TotalAlloc - before.TotalAlloc; took > 128<<20 {
			t.Errorf("%s: %d MB of memory went through", c.name, took>>20)
		}
	}
}

func TestAsMuchAsTheLimitsAllowIsRead(t *testing.T) {
	row := strings.Repeat("x;", 199) + strings.Repeat("é", 40) + "\n"
	res, err := Read([]byte(row+strings.Repeat("a;b\n", MaxRows-1)+"z;"+strings.Repeat("é", 4000)+"\n"), Options{})
	if err != nil || len(res.Table.Rows) != MaxRows+1 || len(res.Table.Rows[0].Cells) != 200 {
		t.Error(err, len(res.Table.Rows))
	}
}

func TestEveryFaultOfAFileSaysWhatToDo(t *testing.T) {
	for _, c := range []struct{ data, say string }{
		{"", "the file is empty"},
		{",,\n ,\n", "the file holds no text in any cell"},
		{"a\x00b\n", "the file holds zero bytes, so it is not text"},
		{"\xff\xfea\x00b", "the file ends in the middle of a character"},
		{"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1 old", "this is a workbook of the old .xls kind, or one with a password"},
		{"PK\x05\x06", "this is an empty archive"},
		{"\x89PNG\r\n", "this is a picture, not a table"},
		{"\x1f\x8b\x08", "this is a compressed file, not a table"},
		{"{\\rtf1 hello}", "this is a text document, not a table"},
		{" <?xml version=\"1.0\"?>", "this is a web page or XML document, whatever its name says"},
		{"PK\x03\x04 nothing", "the workbook is damaged or has a password"},
	} {
		_, err := Read([]byte(c.data), Options{File: "f"})
		var f *rankwright.Fault
		if !errors.As(err, &f) || f.Say != c.say || f.Do == "" || f.Where.File != "f" {
			t.Errorf("%q: %v", c.data, err)
		}
	}
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	p, _ := w.Create("letter.txt")
	_, _ = p.Write([]byte("hello"))
	_ = w.Close()
	if _, err := Read(b.Bytes(), Options{}); err == nil || !strings.Contains(err.Error(), "this is an archive and not a workbook") {
		t.Error(err)
	}
	if _, err := Read([]byte("a,b\n"), Options{Separator: 'x'}); err == nil || !strings.Contains(err.Error(), `"x" does not part columns`) {
		t.Error(err)
	}
}

// TestFoldAgreesWithUnicode compares the table of plain letters in package
// roster with the decompositions of x/text.
func TestFoldAgreesWithUnicode(t *testing.T) {
	n := 0
	for r := rune(0xC0); r <= 0x1EFF; r++ {
		if r == 0x250 {
			r = 0x1E00
		}
		d := []rune(norm.NFKD.String(string(unicode.ToLower(r))))
		if d[0] >= 0x80 || !unicode.IsLetter(d[0]) || slices.ContainsFunc(d[1:], func(m rune) bool { return !unicode.Is(unicode.Mn, m) }) {
			continue
		}
		n++
		if got := roster.Fold(string(r)); got != string(d[0]) {
			t.Errorf("%c folds to %q, want %q", r, got, string(d[0]))
		}
	}
	if n < 450 {
		t.Errorf("only %d letters were compared", n)
	}
}

func TestASheetOfTextIsReadAsItWasWritten(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cell := rapid.OneOf(rapid.SampledFrom([]string{"", "a", "=1+1", "é", "007", "1.50", "x y", "TRUE", "<b>&amp;"}), rapid.StringMatching(`[A-Za-zé0-9 =+;,"-]{0,12}`))
		want := [][]string{{"head"}}
		f := excelize.NewFile()
		defer f.Close()
		_ = f.SetCellStr("Sheet1", "A1", "head")
		for i := range rapid.IntRange(0, 5).Draw(t, "rows") {
			row := rapid.SliceOfN(cell, 1, 5).Draw(t, "row")
			for j, v := range row {
				at, _ := excelize.CoordinatesToCellName(j+1, i+2)
				_ = f.SetCellStr("Sheet1", at, v)
			}
			for len(row) > 0 && strings.TrimSpace(row[len(row)-1]) == "" {
				row = row[:len(row)-1]
			}
			if len(row) > 0 {
				want = append(want, row)
			}
		}
		var b bytes.Buffer
		if err := f.Write(&b); err != nil {
			t.Fatal(err)
		}
		res, err := Read(b.Bytes(), Options{})
		if err != nil || !slices.EqualFunc(texts(res.Table), want, slices.Equal) {
			t.Fatalf("%v\n%q\n%q", err, texts(res.Table), want)
		}
	})
}
