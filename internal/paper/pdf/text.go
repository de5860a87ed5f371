package pdf

import (
	"fmt"
	"math"
	"strings"
	"unicode/utf16"

	"github.com/go-text/typesetting/di"
	"github.com/go-text/typesetting/font"
	"github.com/go-text/typesetting/shaping"
)

// Align says where text stands in its box.
type Align uint8

const (
	Start  Align = iota // left for left-to-right text, else right
	Left                // at the left edge
	Centre              // in the middle
	Right               // at the right edge
)

// Text draws one line with its baseline at y. With Left, x is the line's left
// end; with Centre its middle; with Right its right end.
func (p *Page) Text(x, y float64, align Align, l Line, size float64, c RGB) {
	if len(l.runs) == 0 {
		return
	}
	switch {
	case align == Centre:
		x -= l.Width(size) / 2
	case align == Right || align == Start && l.text.rtl():
		x -= l.Width(size)
	}
	p.mark()
	p.op("BT %s rg\n", c.operands())
	for _, run := range l.runs {
		p.showRun(x, y, run, size, c)
		x += p.run(x, y, l.text, run, size)
	}
	p.op("ET\n")
}

// run draws one run and returns its width in millimetres. The pen of the file
// advances by the glyphs' own widths; whatever shaping adds to that goes into
// the TJ array.
func (p *Page) run(x, y float64, t *Text, run shaping.Output, size float64) float64 {
	own := t.setter.fonts[run.Face.Font]
	set := p.doc.subset(own)
	p.op("/%s %s Tf 1 0 0 1 %s %s Tm\n", set.label, number(size), p.x(x), p.y(y))

	texts, beside := glyphTexts(t.runes, run)
	var array strings.Builder
	flush := func() {
		if array.Len() > 0 {
			p.op("[%s] TJ\n", array.String())
			array.Reset()
		}
	}
	want, have := 0.0, 0.0 // thousandths of an em
	draw := func(at float64, g shaping.Glyph, text string, advance int) {
		if move := at - have; move > 0.01 || move < -0.01 {
			array.WriteString(number(-move))
			have += move
		}
		n := set.add(slot{uint16(g.GlyphID), text, advance, own.units(int(g.YOffset))})
		fmt.Fprintf(&array, "<%04X>", n)
		have += float64(advance) * 1000 / float64(own.upem)
	}
	for i := 0; i < len(run.Glyphs); {
		letter := run.Glyphs[i:min(i+max(run.Glyphs[i].GlyphsCount(), 1), len(run.Glyphs))]
		if beside[i] != "" {
			flush()
			p.op("/Span <</ActualText <FEFF%s>>> BDC\n", utf16Hex(beside[i]))
		}
		at := make([]float64, len(letter))
		for k, g := range letter {
			at[k] = want + float64(g.XOffset)/64
			want += float64(g.Advance) / 64
		}
		for n := range letter {
			k := n
			if run.Direction == di.DirectionRTL {
				k = len(letter) - 1 - n // the letter before its marks
			}
			g := letter[k]
			if !drawn(g) || isolates(texts[i+k]) {
				continue
			}
			advance := own.advance(uint16(g.GlyphID))
			if beside[i] != "" && n == len(letter)-1 {
				// Readers take the last mark's end for the letter's end.
				advance = min(max(own.units(int(g.Advance-g.XOffset)), 0), math.MaxUint16)
			}
			draw(at[k], g, texts[i+k], advance)
		}
		if beside[i] != "" {
			flush()
			p.op("EMC\n")
		}
		i += len(letter)
	}
	flush()
	return float64(run.Advance) / em * size * mmPerPoint
}

// drawn leaves out what has no glyph, such as a space that the font lacks.
func drawn(g shaping.Glyph) bool { return g.GlyphID != 0 && g.GlyphID < 1<<16 }

// isolates says whether a text is nothing but the marks that set a part of a
// line apart: they have done their work, and whoever reads the text back is
// spared them.
func isolates(text string) bool {
	return text != "" && strings.Trim(text, "\u2066\u2067\u2068\u2069") == ""
}

// glyphTexts tells which characters each glyph of a run stands for. A letter
// made of several glyphs also gets its whole text beside it, since readers
// tear it apart where a mark is raised or drawn out of order. Not so from
// right to left: there such text comes out reversed in some readers, while
// their own reordering of single glyphs is right.
func glyphTexts(runes []rune, run shaping.Output) (texts, beside []string) {
	texts = make([]string, len(run.Glyphs))
	beside = make([]string, len(run.Glyphs))
	for i := 0; i < len(run.Glyphs); {
		g := run.Glyphs[i]
		n := max(g.GlyphsCount(), 1)
		unit := runes[g.TextIndex() : g.TextIndex()+g.RunesCount()]
		if n == 1 {
			texts[i] = string(unit)
		} else {
			shareOut(texts[i:i+n], unit, run.Face, run.Glyphs[i:i+n])
			if run.Direction == di.DirectionLTR {
				beside[i] = string(unit)
			}
		}
		i += n
	}
	return texts, beside
}

// shareOut gives each of a letter's glyphs the character whose nominal glyph
// it is, and the first glyph that is left the characters that are left.
func shareOut(texts []string, unit []rune, face *font.Face, glyphs []shaping.Glyph) {
	owner := make([]int, len(unit)) // by character, counted from 1
	free := 0
	for i, g := range glyphs {
		found := false
		for k, r := range unit {
			if nominal, ok := face.NominalGlyph(r); ok && owner[k] == 0 && nominal == g.GlyphID {
				owner[k], found = i+1, true
				break
			}
		}
		if !found && free == 0 {
			free = i + 1
		}
	}
	for k, r := range unit {
		if owner[k] == 0 {
			owner[k] = max(free, 1)
		}
		texts[owner[k]-1] += string(r)
	}
}

// font writes a font's objects and returns the number of the first.
func (d *Doc) font(s *subset) int {
	f := s.font
	name := subsetTag(s) + "+" + f.name
	program := s.build()
	file := d.data(fmt.Sprintf("/Length1 %d", len(program)), program)
	flags := 4
	if f.italic {
		flags |= 64
	}
	descriptor := d.put("<</Type /FontDescriptor /FontName /%s /Flags %d /FontBBox [%d %d %d %d] /ItalicAngle %d /Ascent %d /Descent %d /CapHeight %d /StemV %d /FontFile2 %d 0 R>>",
		name, flags, f.box[0], f.box[1], f.box[2], f.box[3], map[bool]int{true: -12}[f.italic], f.ascent, f.descent, f.capHeight, 50+f.weight/8, file)

	var widths, unicodes strings.Builder
	var mapped []string
	for n, g := range s.slots {
		fmt.Fprintf(&widths, "%s ", number(float64(g.advance)*1000/float64(f.upem)))
		if n > 0 && g.text != "" {
			mapped = append(mapped, fmt.Sprintf("<%04X> <%s>\n", n, utf16Hex(g.text)))
		}
	}
	unicodes.WriteString("/CIDInit /ProcSet findresource begin\n12 dict begin\nbegincmap\n" +
		"/CIDSystemInfo <</Registry (Adobe) /Ordering (UCS) /Supplement 0>> def\n" +
		"/CMapName /Adobe-Identity-UCS def\n/CMapType 2 def\n" +
		"1 begincodespacerange\n<0000> <FFFF>\nendcodespacerange\n")
	for len(mapped) > 0 {
		n := min(len(mapped), 100)
		fmt.Fprintf(&unicodes, "%d beginbfchar\n%sendbfchar\n", n, strings.Join(mapped[:n], ""))
		mapped = mapped[n:]
	}
	unicodes.WriteString("endcmap\nCMapName currentdict /CMap defineresource pop\nend\nend")
	toUnicode := d.data("", []byte(unicodes.String()))

	inner := d.put("<</Type /Font /Subtype /CIDFontType2 /BaseFont /%s /CIDSystemInfo <</Registry (Adobe) /Ordering (Identity) /Supplement 0>> /FontDescriptor %d 0 R /CIDToGIDMap /Identity /DW 1000 /W [0 [%s]]>>",
		name, descriptor, widths.String())
	return d.put("<</Type /Font /Subtype /Type0 /BaseFont /%s /Encoding /Identity-H /DescendantFonts [%d 0 R] /ToUnicode %d 0 R>>",
		name, inner, toUnicode)
}

// subsetTag makes the six letters that tell subsets apart (9.6.4) from what
// is in the subset.
func subsetTag(s *subset) string {
	h := uint64(14695981039346656037) // FNV-1a
	for _, g := range s.slots {
		for _, v := range append(utf16.Encode([]rune(g.text)), g.gid) {
			h = (h ^ uint64(v)) * 1099511628211
		}
	}
	var tag [6]byte
	for i := range tag {
		tag[i] = byte('A' + h%26)
		h /= 26
	}
	return string(tag[:])
}
