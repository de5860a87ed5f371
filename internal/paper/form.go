package paper

import "rankwright/internal/paper/pdf"

// A Form is what makes a Table one to write into by hand: lines round every
// cell, and rows high enough for a pen.
type Form struct {
	// RowHeight is the least height of a row in millimetres; under 9 there is
	// no room for a grown person's handwriting (common practice, no published
	// source).
	RowHeight float64
	// Tall is the least height of single rows, by their index.
	Tall map[int]float64
	// Bands are headings that stand across the table ahead of a row, by its
	// index.
	Bands map[int]string
	// Legend stands in lines under the subtitle, such as what each level means.
	Legend []string
	// Belt is a belt's colours, drawn at the head of every page; optional. The
	// rank's name belongs into the title: colour alone tells nobody enough.
	Belt Belt
}

const (
	beltHigh    = 3.5
	beltWide    = 46.0
	bandSize    = 9.5
	legendSize  = 9.0
	runningSize = 9.0
)

// bandInk lies under the headings across the table, light enough for a copier.
var bandInk = quiet.Mix(white, 0.86)

func (f *Form) height(row int) float64 {
	if f == nil {
		return 0
	}
	return max(f.RowHeight, f.Tall[row])
}

// belt draws the belt at the head of a page, with its edge, so that a white one
// and a copy without colours show it too.
func (l *lister) belt() {
	if l.table.Form == nil {
		return
	}
	base, ok := pdf.ParseRGB(l.table.Form.Belt.Base)
	if !ok {
		return
	}
	y := listTop - beltHigh - 2.5
	l.page.Fill(pdf.Rect(listSide, y, beltWide, beltHigh), base)
	if tip, ok := pdf.ParseRGB(l.table.Form.Belt.Tip); ok {
		l.page.Fill(pdf.Rect(listSide+beltWide-9, y, 6, beltHigh), tip)
	}
	l.page.Stroke(pdf.Rect(listSide, y, beltWide, beltHigh), 0.3, ink)
}

func (l *lister) legend() {
	if l.table.Form == nil || len(l.table.Form.Legend) == 0 {
		return
	}
	l.y++
	for _, line := range l.table.Form.Legend {
		l.text("P", l.fonts.sans, line, legendSize, ink)
	}
}

// running is the height of the line that names a form on its later pages: a
// sheet that is alone on a clipboard must say whose it is.
func (l *lister) running() float64 {
	if l.table.Form == nil {
		return 0
	}
	return l.doc.Setter().Wrap(l.fonts.sansBold, l.table.Title, runningSize, bodyLead, l.width-2*listSide).Height() + 1
}

func (l *lister) again() {
	if l.table.Form == nil {
		return
	}
	b := l.doc.Setter().Wrap(l.fonts.sansBold, l.table.Title, runningSize, bodyLead, l.width-2*listSide)
	l.page.Block(listSide, l.y, l.width-2*listSide, pdf.Start, b, ink)
	l.y += b.Height() + 1
}

// band draws the heading ahead of a row, on the page on which that row will be.
func (l *lister) band(row int) {
	if l.table.Form == nil || l.table.Form.Bands[row] == "" {
		return
	}
	b := l.doc.Setter().Wrap(l.fonts.sansBold, l.table.Form.Bands[row], bandSize, bodyLead, l.width-2*listSide-2*cellPad)
	height := b.Height() + cellPad
	_, next := l.cells(l.table.Rows[row], cellSize, l.fonts.cell)
	if l.height-listBottom-l.y < height+max(next, l.table.Form.height(row)) {
		l.next()
	}
	l.page.Fill(pdf.Rect(listSide, l.y, l.width-2*listSide, height), bandInk)
	l.page.Tag(l.doc.Elem(l.doc.Elem(l.elem, "TR"), "TH"))
	l.page.Block(listSide+cellPad, l.y+cellPad/2, l.width-2*listSide-2*cellPad, pdf.Start, b, ink)
	l.page.Tag(nil)
	l.page.Stroke(pdf.Rect(listSide, l.y, l.width-2*listSide, height), 0.25, ink)
	l.y += height
}

// rules draws the lines round the cells of the row that begins here.
func (l *lister) rules(height, width float64) {
	if l.table.Form == nil {
		return
	}
	for i := range l.table.Columns {
		l.page.Stroke(pdf.Rect(l.left[i], l.y, l.left[i+1]-l.left[i], height), width, ink)
	}
}
