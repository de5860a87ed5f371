package paper

import (
	"fmt"
	"io"
	"strings"

	"rankwright"
	"rankwright/internal/paper/pdf"
)

// A Table is a plain list on as many pages as it needs: a read-out list, a
// result sheet, an order. The headings stand on every page.
type Table struct {
	Title    string
	Subtitle string
	// Note is printed in a frame above the list on the first page, for
	// cautions that must be read first; optional.
	Note    string
	Columns []Column
	// Rows have one cell for each column; a cell may hold line ends.
	Rows [][]string
	// Footer is printed at the foot of every page; optional.
	Footer string
	// Form makes it a table to write into by hand; nil for one to read.
	Form *Form
}

// A Column is one column of a Table.
type Column struct {
	Head string
	// Share is the column's part of the width beside the others' shares; 0
	// counts as 1.
	Share float64
	// Right sets the cells at the right edge, for numbers.
	Right bool
	// Bold sets the cells bold, for the column that is looked for.
	Bold bool
}

const (
	listSide   = 18.0
	listTop    = 16.0
	listBottom = 16.0
	cellPad    = 1.6
	cellSize   = 10.0
	headSize   = 9.0
	bodyLead   = 1.37
)

// A lister keeps where the next row goes.
type lister struct {
	doc           *pdf.Doc
	fonts         *Fonts
	opt           Options
	table         Table
	width, height float64
	left          []float64 // of each column, and the right edge of the last
	page          *pdf.Page
	pages         []*pdf.Page
	y             float64
	top           float64 // of the rows on a page that begins with the headings
	elem          *pdf.Elem
	least         float64 // height of the row that is drawn
}

// WriteTable writes the table, or nothing and all the Faults in the way.
func WriteTable(w io.Writer, t Table, opt Options) error {
	return WriteTables(w, t.Title, []Table{t}, opt)
}

// WriteTables writes tables one behind the other, each on pages of its own with
// numbers of its own, or nothing and all the Faults in the way. The title is the
// document's.
func WriteTables(w io.Writer, title string, tables []Table, opt Options) error {
	var faults rankwright.Faults
	for _, t := range tables {
		faults = append(faults, checkTable(t, opt)...)
	}
	if len(tables) == 0 {
		faults = append(faults, rankwright.Faultf(rankwright.Invalid, "no_tables", "give at least one", "there is no list to print"))
	}
	if err := faults.Err(); err != nil {
		return err
	}
	doc := pdf.New(pdf.Info{Title: title, Lang: opt.Lang, Plain: opt.Plain})
	for _, t := range tables {
		if err := writeTable(doc, t, opt); err != nil {
			return err
		}
	}
	return doc.Write(w)
}

func writeTable(doc *pdf.Doc, t Table, opt Options) error {
	l := &lister{doc: doc, fonts: opt.fonts(), opt: opt, table: t}
	l.width, l.height = opt.size(Portrait)
	l.setColumns()
	l.turn()
	l.heading()
	l.elem = l.doc.Elem(nil, "Table")
	before := l.y
	l.headings(true)
	l.top = listTop + l.y - before + l.running()
	if l.y > l.height*0.6 {
		return rankwright.Faultf(rankwright.Invalid, "too_long", "shorten the note or the headings",
			"the head of the list %q leaves no room for its rows", t.Title)
	}
	for i, row := range t.Rows {
		l.band(i)
		l.least = t.Form.height(i)
		l.row(row)
	}
	l.feet()
	return nil
}

func checkTable(t Table, opt Options) rankwright.Faults {
	var faults rankwright.Faults
	if len(t.Columns) == 0 {
		return rankwright.Faults{rankwright.Faultf(rankwright.Invalid, "no_columns", "give at least one column",
			"the list %q has no columns", t.Title)}
	}
	fonts, check := opt.fonts(), checker(opt, &faults)
	check(fonts.serifBold, "the title", t.Title)
	check(fonts.sans, "the subtitle", t.Subtitle)
	check(fonts.sansBold, "the note", t.Note)
	check(fonts.sans, "the footer", t.Footer)
	if f := t.Form; f != nil {
		for _, line := range f.Legend {
			check(fonts.sans, "the legend", line)
		}
		for i := range t.Rows {
			check(fonts.sansBold, "a heading in the table", f.Bands[i])
		}
	}
	for _, c := range t.Columns {
		check(fonts.sansBold, fmt.Sprintf("the heading %q", c.Head), c.Head)
	}
	for i, row := range t.Rows {
		if len(row) != len(t.Columns) {
			faults = append(faults, rankwright.Faultf(rankwright.Invalid, "ragged_row", "give one cell for each column",
				"row %d of the list %q has %d cells and %d columns", i+1, t.Title, len(row), len(t.Columns)))
			continue
		}
		for k, cell := range row {
			check(fonts.cell(t.Columns[k]), fmt.Sprintf("%q in row %d, column %q", cell, i+1, t.Columns[k].Head), cell)
		}
	}
	return faults
}

func (f *Fonts) cell(c Column) *pdf.Typeface {
	if c.Bold {
		return f.sansBold
	}
	return f.sans
}

func (l *lister) setColumns() {
	total := 0.0
	share := func(c Column) float64 {
		if c.Share <= 0 {
			return 1
		}
		return c.Share
	}
	for _, c := range l.table.Columns {
		total += share(c)
	}
	x := listSide
	for _, c := range l.table.Columns {
		l.left = append(l.left, x)
		x += share(c) / total * (l.width - 2*listSide)
	}
	l.left = append(l.left, l.width-listSide)
}

func (l *lister) turn() {
	l.page = l.doc.Page(l.width, l.height)
	l.pages = append(l.pages, l.page)
	l.y = listTop
	l.belt()
}

// text draws a block under what stands already and moves on.
func (l *lister) text(role string, face *pdf.Typeface, s string, size float64, color pdf.RGB) {
	if blank(s) {
		return
	}
	b := l.doc.Setter().Wrap(face, s, size, bodyLead, l.width-2*listSide)
	l.page.Tag(l.doc.Elem(nil, role))
	l.page.Block(listSide, l.y, l.width-2*listSide, pdf.Start, b, color)
	l.page.Tag(nil)
	l.y += b.Height()
}

func (l *lister) heading() {
	l.text("H1", l.fonts.serifBold, l.table.Title, 20, ink)
	l.text("P", l.fonts.sans, l.table.Subtitle, 11, quiet)
	l.legend()
	l.y += 3
	if blank(l.table.Note) {
		return
	}
	const pad = 3.0
	width := l.width - 2*listSide
	b := l.doc.Setter().Wrap(l.fonts.sansBold, l.table.Note, 10, bodyLead, width-2*pad)
	l.page.Stroke(pdf.RoundRect(listSide, l.y, width, b.Height()+2*pad, 1), 0.4, ink)
	l.page.Tag(l.doc.Elem(nil, "P"))
	l.page.Block(listSide+pad, l.y+pad, width-2*pad, pdf.Start, b, ink)
	l.page.Tag(nil)
	l.y += b.Height() + 2*pad + 4
}

// headings draws the heads of the columns; only the first ones are part of
// the table for those who listen, the others repeat it.
func (l *lister) headings(first bool) {
	blocks, height := l.cells(l.heads(), headSize, func(Column) *pdf.Typeface { return l.fonts.sansBold })
	var row *pdf.Elem
	if first {
		row = l.doc.Elem(l.elem, "TR")
	}
	l.draw(blocks, row, "TH")
	l.rules(height, 0.3)
	l.y += height
	l.page.Stroke(pdf.Segment(listSide, l.y, l.width-listSide, l.y), 0.5, ink)
}

func (l *lister) heads() []string {
	var heads []string
	for _, c := range l.table.Columns {
		heads = append(heads, c.Head)
	}
	return heads
}

func (l *lister) cells(texts []string, size float64, face func(Column) *pdf.Typeface) ([]pdf.Block, float64) {
	blocks, height := make([]pdf.Block, len(texts)), 0.0
	for i, s := range texts {
		width := l.left[i+1] - l.left[i] - 2*cellPad
		blocks[i] = l.doc.Setter().Wrap(face(l.table.Columns[i]), s, size, bodyLead, width)
		height = max(height, blocks[i].Height())
	}
	return blocks, height + 2*cellPad
}

// row goes to a new page where it does not fit on this one whole. A row taller
// than a page is continued on the next.
func (l *lister) row(texts []string) {
	blocks, height := l.cells(texts, cellSize, l.fonts.cell)
	height = max(height, l.least)
	tr := l.doc.Elem(l.elem, "TR")
	cells := make([]*pdf.Elem, len(blocks))
	for {
		room := l.height - listBottom - l.y
		if height <= room {
			l.drawRow(blocks, tr, cells, height)
			return
		}
		fresh := l.height - listBottom - l.top
		if height <= fresh {
			l.next()
			continue
		}
		lead := blocks[0].Lead
		fit := int((room - 2*cellPad) / lead)
		if fit < 1 {
			l.next()
			continue
		}
		rest := make([]pdf.Block, len(blocks))
		for i := range blocks {
			rest[i] = blocks[i]
			n := min(fit, len(blocks[i].Lines))
			blocks[i].Lines, rest[i].Lines = blocks[i].Lines[:n], blocks[i].Lines[n:]
		}
		l.drawRow(blocks, tr, cells, float64(fit)*lead+2*cellPad)
		blocks, height = rest, height-float64(fit)*lead
		l.next()
	}
}

// next goes on to a new page.
func (l *lister) next() {
	l.turn()
	l.again()
	l.headings(false)
}

func (l *lister) drawRow(blocks []pdf.Block, tr *pdf.Elem, cells []*pdf.Elem, height float64) {
	for i, b := range blocks {
		if cells[i] == nil {
			cells[i] = l.doc.Elem(tr, "TD")
		}
		l.page.Tag(cells[i])
		l.cell(i, b)
	}
	l.page.Tag(nil)
	l.rules(height, 0.25)
	l.y += height
	if l.table.Form == nil {
		l.page.Stroke(pdf.Segment(listSide, l.y, l.width-listSide, l.y), 0.15, quiet.Mix(white, 0.45))
	}
}

func (l *lister) draw(blocks []pdf.Block, row *pdf.Elem, role string) {
	for i, b := range blocks {
		if row != nil {
			l.page.Tag(l.doc.Elem(row, role))
		}
		l.cell(i, b)
	}
	l.page.Tag(nil)
}

func (l *lister) cell(i int, b pdf.Block) {
	align := pdf.Start
	if l.table.Columns[i].Right {
		align = pdf.Right
	}
	l.page.Block(l.left[i]+cellPad, l.y+cellPad, l.left[i+1]-l.left[i]-2*cellPad, align, b, ink)
}

// feet writes the page numbers once it is known how many there are.
func (l *lister) feet() {
	pageOf := l.opt.pageOf()
	s := l.doc.Setter()
	base := l.height - 9
	for i, p := range l.pages {
		number := s.Shape(l.fonts.sans, pageOf(i+1, len(l.pages))).Line()
		p.Text(l.width-listSide, base, pdf.Right, number, 8.5, quiet)
		if blank(l.table.Footer) {
			continue
		}
		room := l.width - 2*listSide - number.Width(8.5) - 6
		b, _ := s.Fit(l.fonts.sans, strings.ReplaceAll(l.table.Footer, "\n", " "), room, 7,
			pdf.Fit{Max: 8.5, Min: 5, OneLine: 6.5, Lines: 2, Lead: 1.3})
		p.Block(listSide, base+1-b.Height(), room, pdf.Start, b, quiet)
	}
}
