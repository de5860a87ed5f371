package pdf

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"strings"

	"github.com/go-text/typesetting/font"
	ot "github.com/go-text/typesetting/font/opentype"
	"github.com/go-text/typesetting/font/opentype/tables"

	"rankwright"
)

// A Font is one TrueType font, read once and never changed; it may be used by
// many documents at the same time. Fonts with PostScript outlines (CFF) are
// refused, because the subsetter knows glyf outlines only.
type Font struct {
	name   string
	parsed *font.Font
	upem   int
	weight int

	glyf, hmtx, head, hhea, maxp []byte
	loca                         []uint32
	longMetrics                  int

	ascent, descent, capHeight int // thousandths of an em
	box                        [4]int
	italic                     bool
}

// ParseFont reads a TrueType font. The bytes must not change afterwards.
func ParseFont(data []byte) (f *Font, err error) {
	defer func() {
		// go-text v0.3.5 panics on some damaged fonts instead of refusing them.
		if p := recover(); p != nil {
			f, err = nil, unreadable("this font is damaged", fmt.Errorf("reading a font: %v", p))
		}
	}()
	ld, err := ot.NewLoader(bytes.NewReader(data))
	if err != nil {
		return nil, unreadable("this is no font file", err)
	}
	if !ld.HasTable(ot.MustNewTag("glyf")) {
		return nil, unreadable("this font has no TrueType outlines", nil)
	}
	raw := map[string][]byte{}
	for _, tag := range []string{"glyf", "loca", "hmtx", "head", "hhea", "maxp", "name", "OS/2"} {
		b, err := ld.RawTable(ot.MustNewTag(tag))
		if err != nil && tag != "OS/2" && tag != "name" {
			return nil, unreadable("this font lacks its table "+tag, err)
		}
		raw[tag] = b
	}
	f = &Font{glyf: raw["glyf"], hmtx: raw["hmtx"], head: raw["head"], hhea: raw["hhea"], maxp: raw["maxp"]}
	if len(f.head) < 54 || len(f.hhea) < 36 || len(f.maxp) < 6 {
		return nil, unreadable("this font is damaged: a table is cut short", nil)
	}
	f.longMetrics = int(u16(f.hhea, 34))
	if f.longMetrics == 0 || len(f.hmtx) < 4*f.longMetrics {
		return nil, unreadable("this font is damaged: its widths are cut short", nil)
	}
	if err := f.readLoca(raw["loca"]); err != nil {
		return nil, err
	}
	f.parsed, err = font.NewFont(ld)
	if err != nil {
		return nil, unreadable("this font is damaged", err)
	}
	f.upem = int(f.parsed.Upem())
	f.readMetrics(raw["OS/2"])
	f.name = postScriptName(raw["name"])
	return f, nil
}

// Name is the font's PostScript name.
func (f *Font) Name() string { return f.name }

// Bold says whether the font calls itself semibold or heavier.
func (f *Font) Bold() bool { return f.weight >= 600 }

// Ascent and Descent are the line's extent above and below the baseline, in
// ems, both positive.
func (f *Font) Ascent() float64  { return float64(f.ascent) / 1000 }
func (f *Font) Descent() float64 { return float64(-f.descent) / 1000 }

// CapHeight is the height of capitals in ems.
func (f *Font) CapHeight() float64 { return float64(f.capHeight) / 1000 }

func (f *Font) readLoca(b []byte) error {
	n := int(u16(f.maxp, 4)) + 1
	long := u16(f.head, 50) == 1
	f.loca = make([]uint32, n)
	for i := range f.loca {
		switch {
		case long && len(b) >= 4*i+4:
			f.loca[i] = binary.BigEndian.Uint32(b[4*i:])
		case !long && len(b) >= 2*i+2:
			f.loca[i] = 2 * uint32(u16(b, 2*i))
		default:
			return unreadable("this font is damaged: its outline index is cut short", nil)
		}
		if int(f.loca[i]) > len(f.glyf) || i > 0 && f.loca[i] < f.loca[i-1] {
			return unreadable("this font is damaged: its outline index points outside", nil)
		}
	}
	return nil
}

func (f *Font) readMetrics(os2 []byte) {
	f.ascent = f.thousandths(int(i16(f.hhea, 4)))
	f.descent = f.thousandths(int(i16(f.hhea, 6)))
	for i := range f.box {
		f.box[i] = f.thousandths(int(i16(f.head, 36+2*i)))
	}
	f.italic = u16(f.head, 44)&2 != 0
	f.capHeight = f.ascent * 2 / 3
	f.weight = 400
	if len(os2) >= 6 {
		f.weight = int(u16(os2, 4))
	}
	if len(os2) >= 90 && u16(os2, 0) >= 2 {
		f.capHeight = f.thousandths(int(i16(os2, 88)))
	}
}

func (f *Font) thousandths(v int) int {
	if v < 0 {
		return -f.thousandths(-v)
	}
	return (v*1000 + f.upem/2) / f.upem
}

// units turns a length of shaping into font units.
func (f *Font) units(v int) int {
	return int(math.Round(float64(v) / em * float64(f.upem)))
}

// advance is a glyph's own width in font units.
func (f *Font) advance(gid uint16) int {
	i := min(int(gid), f.longMetrics-1)
	return int(u16(f.hmtx, 4*i))
}

func (f *Font) bearing(gid uint16) uint16 {
	if int(gid) < f.longMetrics {
		return u16(f.hmtx, 4*int(gid)+2)
	}
	at := 4*f.longMetrics + 2*(int(gid)-f.longMetrics)
	if at+2 > len(f.hmtx) {
		return 0
	}
	return u16(f.hmtx, at)
}

func (f *Font) outline(gid uint16) []byte {
	if int(gid)+1 >= len(f.loca) {
		return nil
	}
	return f.glyf[f.loca[gid]:f.loca[gid+1]]
}

// has says whether the font maps the character to a glyph of its own.
func (f *Font) has(r rune) bool {
	g, ok := f.parsed.NominalGlyph(r)
	return ok && g != 0
}

// postScriptName keeps what a PDF name may hold; an unnamed font is "Font".
func postScriptName(nameTable []byte) string {
	const postScript = 6
	s := "Font"
	if names, _, err := tables.ParseName(nameTable); err == nil {
		if n := names.Name(postScript); n != "" {
			s = n
		}
	}
	s = strings.Map(func(r rune) rune {
		if r > ' ' && r < 127 && !strings.ContainsRune("()<>[]{}/%#", r) {
			return r
		}
		return -1
	}, s)
	if s == "" {
		return "Font"
	}
	return s
}

func unreadable(say string, err error) error {
	f := rankwright.Faultf(rankwright.Invalid, "font_unreadable",
		"give a whole TrueType font file (.ttf with glyf outlines)", "%s", say)
	f.Err = err
	return f
}

func u16(b []byte, at int) uint16 { return binary.BigEndian.Uint16(b[at:]) }
func i16(b []byte, at int) int16  { return int16(u16(b, at)) }
