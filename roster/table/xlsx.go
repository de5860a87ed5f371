package table

import (
	"archive/zip"
	"bytes"
	"io"
	"math/big"
	"path"
	"strings"

	"github.com/xuri/excelize/v2"

	"rankwright"
)

// Limits on what a workbook may hold when it is unpacked. They are checked by
// unpacking into nothing, so a file cannot lie about its size.
const (
	maxUnpacked = 32 << 20
	maxEntries  = 1000
	// maxPart bounds each part that is read whole into structures: styles,
	// theme, relations.
	maxPart = 4 << 20
	// maxStringTags bounds the shared table of strings, which has four tags or
	// more for each text: enough for 250,000 different ones.
	maxStringTags = 1_000_000
)

// readXLSX reads one sheet of a workbook. Numbers and dates come as they are
// stored: a date is its day number, and roster.SerialDay reads it.
func readXLSX(b []byte, o Options) (res Result, fault *rankwright.Fault) {
	defer func() {
		if r := recover(); r != nil {
			res, fault = Result{}, o.damaged(nil)
		}
	}()
	if fault := weigh(b, o); fault != nil {
		return res, fault
	}
	// One limit for both, so that nothing is unpacked into temporary files.
	f, err := excelize.OpenReader(bytes.NewReader(b), excelize.Options{
		RawCellValue: true, UnzipSizeLimit: maxUnpacked, UnzipXMLSizeLimit: maxUnpacked})
	if err != nil {
		return res, o.damaged(err)
	}
	defer f.Close()
	res.Format = XLSX
	for _, name := range f.GetSheetList() {
		if shown, err := f.GetSheetVisible(name); err == nil && shown {
			res.Sheets = append(res.Sheets, name)
		}
	}
	if len(res.Sheets) == 0 {
		return res, o.damaged(nil)
	}
	if p, err := f.GetWorkbookProps(); err == nil && p.Date1904 != nil {
		res.Table.Epoch1904 = *p.Date1904
	}
	for _, name := range res.Sheets {
		if o.Sheet != "" && name != o.Sheet {
			continue
		}
		res.Sheet = name
		g := &grid{o: o}
		if fault := readSheet(f, name, g); fault != nil {
			return res, fault
		}
		if res.Table.Rows = g.rows; len(g.rows) > 0 {
			break
		}
	}
	if res.Sheet == "" {
		return res, o.fault(rankwright.NotFound, "sheet", "choose one of its sheets", "the workbook has no sheet called %q; it has %s", o.Sheet, quoted(res.Sheets))
	}
	return res, nil
}

func readSheet(f *excelize.File, name string, g *grid) *rankwright.Fault {
	rows, err := f.Rows(name)
	if err != nil {
		return g.o.damaged(err)
	}
	defer rows.Close()
	for line := 1; rows.Next(); line++ {
		cells, err := rows.Columns()
		if err != nil {
			fault := g.o.damaged(err)
			fault.Where.Line = line
			return fault
		}
		for i := range cells {
			cells[i] = plainNumber(cells[i])
		}
		if fault := g.add(line, cells, func(int) int { return line }); fault != nil {
			return fault
		}
	}
	if err := rows.Error(); err != nil {
		return g.o.damaged(err)
	}
	return nil
}

// weigh unpacks every part into nothing and refuses a workbook that is too
// large in any way.
func weigh(b []byte, o Options) *rankwright.Fault {
	zr, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		return o.damaged(err)
	}
	large := func(say string, args ...any) *rankwright.Fault {
		return o.fault(rankwright.TooLarge, "unpacked", "copy the students into a new workbook, save it and choose that file", say, args...)
	}
	if len(zr.File) > maxEntries {
		return large("the workbook has %d parts inside, and at most %d are read", len(zr.File), maxEntries)
	}
	if !hasPart(zr, "xl/workbook.xml") {
		return o.fault(rankwright.Invalid, "format", "save it as CSV or XLSX in the spreadsheet program and choose that file", "this is an archive and not a workbook")
	}
	var total int64
	for _, part := range zr.File {
		if part.UncompressedSize64 > maxUnpacked {
			return large("the workbook unpacks to more than %d MB", maxUnpacked>>20)
		}
		r, err := part.Open()
		if err != nil {
			return o.damaged(err)
		}
		c := &counter{}
		n, err := io.Copy(c, io.LimitReader(r, maxUnpacked-total+1))
		r.Close()
		if total += n; total > maxUnpacked {
			return large("the workbook unpacks to more than %d MB", maxUnpacked>>20)
		}
		if err != nil {
			return o.damaged(err)
		}
		name := strings.ToLower(strings.ReplaceAll(part.Name, "\\", "/"))
		switch ext := path.Ext(name); {
		case strings.HasSuffix(name, "sharedstrings.xml"):
			if c.tags > maxStringTags {
				return large("the workbook holds more than %s different texts", thousands(maxStringTags/4))
			}
		case strings.HasPrefix(name, "xl/worksheets/") && ext == ".xml":
		case (ext == ".xml" || ext == ".rels") && n > maxPart:
			return large("the part %s of the workbook is larger than %d MB", path.Base(name), maxPart>>20)
		}
	}
	return nil
}

func hasPart(zr *zip.Reader, name string) bool {
	for _, f := range zr.File {
		if strings.EqualFold(strings.ReplaceAll(f.Name, "\\", "/"), name) {
			return true
		}
	}
	return false
}

// counter counts the tags that pass through it.
type counter struct{ tags int }

func (c *counter) Write(b []byte) (int, error) {
	c.tags += bytes.Count(b, []byte("<"))
	return len(b), nil
}

func (o Options) damaged(err error) *rankwright.Fault {
	f := o.fault(rankwright.Invalid, "damaged", "open it in the spreadsheet program, save it again as XLSX or CSV and choose that file",
		"the workbook is damaged or has a password")
	f.Err = err
	return f
}

// plainNumber writes a whole number without an exponent, as it was typed:
// telephone numbers and ids are stored as 4.47700900123E+11.
func plainNumber(s string) string {
	if len(s) > 24 || !strings.Contains(s, "E+") || s[0] < '0' || s[0] > '9' || strings.Trim(s, "0123456789.E+") != "" {
		return s
	}
	if _, exp, _ := strings.Cut(s, "E+"); len(exp) > 2 {
		return s
	}
	r, ok := new(big.Rat).SetString(s)
	if !ok || !r.IsInt() || len(r.Num().String()) > 18 {
		return s
	}
	return r.Num().String()
}

func quoted(names []string) string {
	var q []string
	for _, n := range names[:min(len(names), 10)] {
		q = append(q, `"`+n+`"`)
	}
	return strings.Join(q, ", ")
}
