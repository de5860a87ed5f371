package pdf

import (
	"fmt"
	"strings"
)

// An Elem is a part of the document's structure: a heading, a paragraph, a
// table. Its role is one of the standard names of ISO 32000-1, 14.8.4.
type Elem struct {
	role   string
	lang   string
	alt    string // what a Figure shows
	box    string // where a picture stands
	parent *Elem
	kids   []kid
	number int
}

// A kid is either an element or marked content on a page.
type kid struct {
	elem *Elem
	page *Page
	mcid int
}

func (d *Doc) newElem(role string, parent *Elem) *Elem {
	e := &Elem{role: role, parent: parent}
	d.elems = append(d.elems, e)
	return e
}

// Elem adds a part to the structure; a nil parent is the document itself.
func (d *Doc) Elem(parent *Elem, role string) *Elem {
	if parent == nil {
		parent = d.root
	}
	e := d.newElem(role, parent)
	parent.kids = append(parent.kids, kid{elem: e})
	return e
}

// In says that an element is in another language than the document.
func (e *Elem) In(lang string) *Elem {
	e.lang = lang
	return e
}

// Alt gives a Figure the words that say what it shows.
func (e *Elem) Alt(words string) *Elem {
	e.alt = words
	return e
}

// Tag says to which element everything drawn from here on belongs. Nil, and
// the beginning of each page, mean decoration, which is not read aloud.
func (p *Page) Tag(e *Elem) { p.now = e }

// mark opens the marked content for the next thing drawn.
func (p *Page) mark() {
	if p.isOpen && p.open == p.now {
		return
	}
	p.untag()
	p.isOpen, p.open = true, p.now
	if p.now == nil {
		p.op("/Artifact BMC\n")
		return
	}
	n := len(p.owners)
	p.owners = append(p.owners, p.now)
	p.now.kids = append(p.now.kids, kid{page: p, mcid: n})
	p.op("/%s <</MCID %d>> BDC\n", p.now.role, n)
}

func (p *Page) untag() {
	if p.isOpen {
		p.op("EMC\n")
	}
	p.isOpen, p.open = false, nil
}

// structure writes the tree and the way back from each page into it.
func (d *Doc) structure() int {
	root := d.reserve()
	for _, e := range d.elems {
		e.number = d.reserve()
	}
	for _, e := range d.elems {
		parent := root
		if e.parent != nil {
			parent = e.parent.number
		}
		var kids strings.Builder
		for _, k := range e.kids {
			if k.elem != nil {
				fmt.Fprintf(&kids, "%d 0 R ", k.elem.number)
			} else {
				fmt.Fprintf(&kids, "<</Type /MCR /Pg %d 0 R /MCID %d>> ", k.page.number, k.mcid)
			}
		}
		more := ""
		if e.lang != "" {
			more += " /Lang " + textString(e.lang)
		}
		if e.alt != "" {
			more += " /Alt " + textString(e.alt)
		}
		if e.box != "" {
			more += " /A <</O /Layout /Placement /Block /BBox [" + e.box + "]>>"
		}
		if e.role == "TH" {
			more += " /A <</O /Table /Scope /Column>>"
		}
		d.set(e.number, "<</Type /StructElem /S /%s /P %d 0 R /K [%s]%s>>", e.role, parent, kids.String(), more)
	}
	var back strings.Builder
	for i, p := range d.pages {
		if len(p.owners) == 0 {
			continue
		}
		fmt.Fprintf(&back, "%d [", i)
		for _, e := range p.owners {
			fmt.Fprintf(&back, "%d 0 R ", e.number)
		}
		back.WriteString("] ")
	}
	parents := d.put("<</Nums [%s]>>", back.String())
	d.set(root, "<</Type /StructTreeRoot /K [%d 0 R] /ParentTree %d 0 R /ParentTreeNextKey %d>>",
		d.root.number, parents, len(d.pages))
	return root
}
