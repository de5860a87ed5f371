// Package pdf writes vector PDF files: pages measured in millimetres from the
// top left corner, lines and filled shapes, and text in any script for which
// a TrueType font is given. The same calls give the same bytes, for there is
// no clock and no chance in it.
//
// Text is shaped (ligatures, marks, joining, right-to-left) by
// go-text/typesetting, fonts are embedded as subsets, and each glyph is
// mapped back to its text, so that names can be searched and copied. The
// structure (headings, paragraphs, tables) can be tagged for readers who
// listen, and pictures carry words. What it does not do: transparency, encryption, forms,
// vertical text, fonts with PostScript outlines. Arabic short vowels print in
// their place, but some readers shift them when the text is copied.
//
// Files follow ISO 32000-1 (PDF 1.7). They carry XMP, an sRGB output intent
// and tags as PDF/A and PDF/UA ask for; conformance to either is not claimed,
// because no validator for it runs in the tests.
package pdf

import (
	"bytes"
	"compress/zlib"
	"crypto/sha256"
	"fmt"
	"io"
	"strconv"
	"sync"

	"rankwright"
)

const mmPerPoint = 25.4 / 72

// Info says what the document is.
type Info struct {
	Title string
	// Lang is a BCP 47 tag such as "en" or "pt-BR"; "" means "en".
	Lang string
	// Author is the school or person that the document comes from; optional.
	Author string
	// Plain leaves streams uncompressed and objects apart, for tests and for
	// people who read PDF with a text editor.
	Plain bool
}

// A Doc is a document being written. It is not safe for concurrent use.
type Doc struct {
	info    Info
	setter  *Setter
	pages   []*Page
	fonts   []*subset
	fontOf  map[*Font]*subset
	root    *Elem
	elems   []*Elem
	objects []object

	pictures []*Picture
	headings []heading
}

type object struct {
	body   []byte // the dictionary or value
	stream []byte
	isData bool
}

// New begins a document.
func New(info Info) *Doc {
	if info.Lang == "" {
		info.Lang = "en"
	}
	d := &Doc{info: info, setter: NewSetter(info.Lang), fontOf: map[*Font]*subset{}}
	d.root = d.newElem("Document", nil)
	return d
}

// Setter shapes text for this document.
func (d *Doc) Setter() *Setter { return d.setter }

// Pages counts the pages so far.
func (d *Doc) Pages() int { return len(d.pages) }

// Page adds a page of the given size in millimetres.
func (d *Doc) Page(width, height float64) *Page {
	p := &Page{doc: d, Width: width, Height: height}
	d.pages = append(d.pages, p)
	return p
}

func (d *Doc) subset(f *Font) *subset {
	s, ok := d.fontOf[f]
	if !ok {
		s = newSubset(f, "F"+strconv.Itoa(len(d.fonts)+1))
		d.fonts = append(d.fonts, s)
		d.fontOf[f] = s
	}
	return s
}

// reserve gives the next object number, to be filled by set.
func (d *Doc) reserve() int {
	d.objects = append(d.objects, object{})
	return len(d.objects)
}

func (d *Doc) set(n int, format string, args ...any) {
	d.objects[n-1].body = fmt.Appendf(nil, format, args...)
}

func (d *Doc) put(format string, args ...any) int {
	n := d.reserve()
	d.set(n, format, args...)
	return n
}

// data adds a stream; more is put into its dictionary.
func (d *Doc) data(more string, b []byte) int {
	n := d.reserve()
	filter := ""
	if !d.info.Plain {
		b, filter = deflate(b), "/Filter /FlateDecode "
	}
	d.objects[n-1] = object{
		body:   fmt.Appendf(nil, "<<%s %s/Length %d>>", more, filter, len(b)),
		stream: b, isData: true,
	}
	return n
}

var deflaters = sync.Pool{New: func() any { return zlib.NewWriter(nil) }}

func deflate(b []byte) []byte {
	var out bytes.Buffer
	z := deflaters.Get().(*zlib.Writer)
	defer deflaters.Put(z)
	z.Reset(&out)
	z.Write(b) // a bytes.Buffer does not fail
	z.Close()
	return out.Bytes()
}

// Write writes the whole file; the document must not be used afterwards.
func (d *Doc) Write(w io.Writer) error {
	d.objects = nil
	catalogue := d.reserve()
	info := d.reserve()
	tree := d.reserve()

	resources := d.reserve()
	for _, p := range d.pages {
		p.number = d.reserve()
	}
	kids := ""
	for i, p := range d.pages {
		p.untag()
		content := d.data("", p.content)
		tags := ""
		if len(p.owners) > 0 {
			tags = fmt.Sprintf(" /StructParents %d", i)
		}
		d.set(p.number, "<</Type /Page /Parent %d 0 R /MediaBox [0 0 %s %s] /Resources %d 0 R /Contents %d 0 R /Tabs /S%s>>",
			tree, number(p.Width/mmPerPoint), number(p.Height/mmPerPoint), resources, content, tags)
		kids += fmt.Sprintf("%d 0 R ", p.number)
	}
	d.set(tree, "<</Type /Pages /Count %d /Kids [%s]>>", len(d.pages), kids)

	fonts := ""
	for _, s := range d.fonts {
		if s.full {
			return rankwright.Faultf(rankwright.TooLarge, "too_many_letters", "print it in several parts",
				"the document uses more different letters of %s than one file can hold", s.font.name)
		}
		fonts += fmt.Sprintf("/%s %d 0 R ", s.label, d.font(s))
	}
	d.set(resources, "<</Font <<%s>>%s>>", fonts, d.xobjects())

	structure, outline := d.structure(), d.outline()
	meta := d.reserve()
	d.objects[meta-1] = d.metadata()
	profile := d.data("/N 3", srgbProfile())
	intent := d.put("<</Type /OutputIntent /S /GTS_PDFA1 /OutputConditionIdentifier (sRGB) /Info (sRGB IEC61966-2.1) /DestOutputProfile %d 0 R>>", profile)
	d.set(info, "<</Title %s%s /Producer (rankwright)>>", textString(d.info.Title), d.author())
	d.set(catalogue, "<</Type /Catalog /Pages %d 0 R /Lang %s /MarkInfo <</Marked true>> /StructTreeRoot %d 0 R /Metadata %d 0 R /OutputIntents [%d 0 R] /ViewerPreferences <</DisplayDocTitle true>>%s>>",
		tree, textString(d.info.Lang), structure, meta, intent, outline)

	file := newFile(catalogue, info)
	if d.info.Plain {
		file.table(d.objects)
	} else {
		file.packed(d.objects)
	}
	_, err := w.Write(file.buf.Bytes())
	return err
}

func (d *Doc) author() string {
	if d.info.Author == "" {
		return ""
	}
	return " /Author " + textString(d.info.Author)
}

// A file is the last step: objects to bytes, and the table where each begins.
type file struct {
	buf             bytes.Buffer
	catalogue, info int
}

func newFile(catalogue, info int) *file {
	f := &file{catalogue: catalogue, info: info}
	f.buf.WriteString("%PDF-1.7\n%\xe2\xe3\xcf\xd3\n")
	return f
}

func (f *file) object(n int, o object) (at int) {
	at = f.buf.Len()
	fmt.Fprintf(&f.buf, "%d 0 obj\n%s", n, o.body)
	if o.isData {
		f.buf.WriteString("\nstream\n")
		f.buf.Write(o.stream)
		f.buf.WriteString("\nendstream")
	}
	f.buf.WriteString("\nendobj\n")
	return at
}

// trailer names the file by the hash of what was written so far.
func (f *file) trailer() string {
	sum := sha256.Sum256(f.buf.Bytes())
	return fmt.Sprintf("/Root %d 0 R /Info %d 0 R /ID [<%X> <%X>]", f.catalogue, f.info, sum[:16], sum[:16])
}

// table writes the form that every reader knows (ISO 32000-1, 7.5.4).
func (f *file) table(objects []object) {
	at := make([]int, len(objects))
	for i, o := range objects {
		at[i] = f.object(i+1, o)
	}
	trailer := f.trailer()
	start := f.buf.Len()
	fmt.Fprintf(&f.buf, "xref\n0 %d\n0000000000 65535 f \n", len(objects)+1)
	for _, n := range at {
		fmt.Fprintf(&f.buf, "%010d 00000 n \n", n)
	}
	fmt.Fprintf(&f.buf, "trailer\n<</Size %d %s>>\nstartxref\n%d\n%%%%EOF\n", len(objects)+1, trailer, start)
}

// packed writes object streams and a cross-reference stream (7.5.7, 7.5.8),
// which makes a tagged file about three times smaller.
func (f *file) packed(objects []object) {
	const perStream = 200
	entries := make([][3]int, len(objects)+1) // kind, where, index
	entries[0] = [3]int{0, 0, 65535}
	next := len(objects) + 1
	var loose []int
	for i, o := range objects {
		if o.isData {
			entries[i+1] = [3]int{1, f.object(i+1, o), 0}
		} else {
			loose = append(loose, i+1)
		}
	}
	for len(loose) > 0 {
		group := loose[:min(perStream, len(loose))]
		loose = loose[len(group):]
		var index, body []byte
		for i, n := range group {
			index = fmt.Appendf(index, "%d %d ", n, len(body))
			body = append(append(body, objects[n-1].body...), '\n')
			entries[n] = [3]int{2, next, i}
		}
		packed := deflate(append(clone(index), body...))
		at := f.object(next, object{
			body: fmt.Appendf(nil, "<</Type /ObjStm /N %d /First %d /Filter /FlateDecode /Length %d>>",
				len(group), len(index), len(packed)),
			stream: packed, isData: true,
		})
		entries = append(entries, [3]int{1, at, 0})
		next++
	}
	start := f.buf.Len()
	entries = append(entries, [3]int{1, start, 0})
	var rows []byte
	for _, e := range entries {
		rows = append(rows, byte(e[0]), byte(e[1]>>24), byte(e[1]>>16), byte(e[1]>>8), byte(e[1]), byte(e[2]>>8), byte(e[2]))
	}
	trailer := f.trailer()
	rows = deflate(rows)
	f.object(next, object{
		body: fmt.Appendf(nil, "<</Type /XRef /Size %d /W [1 4 2] %s /Filter /FlateDecode /Length %d>>",
			next+1, trailer, len(rows)),
		stream: rows, isData: true,
	})
	fmt.Fprintf(&f.buf, "startxref\n%d\n%%%%EOF\n", start)
}

// number writes a length with at most three decimals.
func number(v float64) string {
	s := strconv.FormatFloat(v, 'f', 3, 64)
	end := len(s)
	for s[end-1] == '0' {
		end--
	}
	if s[end-1] == '.' {
		end--
	}
	if s = s[:end]; s == "-0" {
		return "0"
	}
	return s
}
