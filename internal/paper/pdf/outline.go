package pdf

import "fmt"

// A heading is a line of the outline that readers show beside the pages.
type heading struct {
	level int
	title string
	page  *Page
	y     float64
}

// Outline adds a line to the outline, at a height of the page. Level 1 is the
// outermost; a deeper line belongs to the last one above it.
func (p *Page) Outline(level int, title string, y float64) {
	p.doc.headings = append(p.doc.headings, heading{level, title, p, y})
}

// line is a heading among the others; the lines are kept by their places.
type line struct {
	number, parent, level, before, after int
	kids                                 []int
}

// outline writes the lines as a tree (ISO 32000-1, 12.3.3) and returns what
// the catalogue says of it, "" where there is none.
func (d *Doc) outline() string {
	if len(d.headings) == 0 {
		return ""
	}
	lines := []line{{number: d.reserve(), parent: -1}}
	for _, h := range d.headings {
		at := len(lines) - 1
		for lines[at].level >= h.level && at > 0 {
			at = lines[at].parent
		}
		lines = append(lines, line{number: d.reserve(), parent: at, level: h.level})
		lines[at].kids = append(lines[at].kids, len(lines)-1)
	}
	for _, l := range lines {
		for i := 1; i < len(l.kids); i++ {
			lines[l.kids[i]].before = lines[l.kids[i-1]].number
			lines[l.kids[i-1]].after = lines[l.kids[i]].number
		}
	}
	// Only the outermost lines are seen at first: a count below zero is of
	// lines that are folded away.
	kids := func(l line, sign string) string {
		if len(l.kids) == 0 {
			return ""
		}
		return fmt.Sprintf(" /First %d 0 R /Last %d 0 R /Count %s%d", lines[l.kids[0]].number, lines[l.kids[len(l.kids)-1]].number, sign, len(l.kids))
	}
	d.set(lines[0].number, "<</Type /Outlines%s>>", kids(lines[0], ""))
	for i, h := range d.headings {
		l := lines[i+1]
		more := kids(l, "-")
		if l.before != 0 {
			more += fmt.Sprintf(" /Prev %d 0 R", l.before)
		}
		if l.after != 0 {
			more += fmt.Sprintf(" /Next %d 0 R", l.after)
		}
		d.set(l.number, "<</Title %s /Parent %d 0 R /Dest [%d 0 R /XYZ null %s null]%s>>", textString(h.title), lines[l.parent].number, h.page.number, h.page.y(h.y), more)
	}
	return fmt.Sprintf(" /Outlines %d 0 R /PageMode /UseOutlines", lines[0].number)
}
