package pdf

import (
	"encoding/binary"

	ot "github.com/go-text/typesetting/font/opentype"
)

// A slot is one glyph of a subset together with the text it stands for, its
// width and its rise in font units. The same glyph gets a slot for each text
// (composed or decomposed, a ligature or a single letter), so that copying
// text out of the file gives back exactly what was put in; and a mark gets one
// for each height, since readers take text off the baseline for another line.
type slot struct {
	gid     uint16
	text    string
	advance int
	rise    int
}

// A subset collects the glyphs that one document uses of one font.
type subset struct {
	font  *Font
	label string
	slots []slot
	index map[slot]uint16
	full  bool
}

// maxSlots leaves room for the parts of composed glyphs below 65536.
const maxSlots = 60000

func newSubset(f *Font, label string) *subset {
	s := &subset{font: f, label: label, index: map[slot]uint16{}}
	s.add(slot{advance: f.advance(0)})
	return s
}

// add returns the glyph's number within the subset.
func (s *subset) add(g slot) uint16 {
	if n, ok := s.index[g]; ok {
		return n
	}
	if len(s.slots) == maxSlots {
		s.full = true
		return 0
	}
	n := uint16(len(s.slots))
	s.slots = append(s.slots, g)
	s.index[g] = n
	return n
}

// raised is a composed glyph of one part, which stands higher.
func raised(g []byte, part uint16, rise int) []byte {
	if len(g) < 10 {
		return nil
	}
	out := binary.BigEndian.AppendUint16(nil, 0xFFFF)
	for i, up := range []int{0, rise, 0, rise} {
		out = binary.BigEndian.AppendUint16(out, uint16(int(i16(g, 2+2*i))+up))
	}
	out = binary.BigEndian.AppendUint16(out, argsAreWords|argsAreOffsets)
	out = binary.BigEndian.AppendUint16(out, part)
	out = binary.BigEndian.AppendUint16(out, 0)
	return binary.BigEndian.AppendUint16(out, uint16(rise))
}

const (
	argsAreOffsets  = 0x0002
	argsAreWords    = 0x0001
	haveScale       = 0x0008
	moreComponents  = 0x0020
	haveXYScale     = 0x0040
	haveTwoByTwo    = 0x0080
	haveInstruction = 0x0100
)

// build writes the subset as a TrueType file without hinting, which printing
// has no use for. Parts of composed glyphs are added behind the slots.
func (s *subset) build() []byte {
	f := s.font
	gids := make([]uint16, len(s.slots))
	for i, g := range s.slots {
		gids[i] = g.gid
	}
	advance := func(i int) int {
		if i < len(s.slots) {
			return s.slots[i].advance
		}
		return f.advance(gids[i])
	}
	parts := map[uint16]uint16{}
	part := func(gid uint16) uint16 {
		n, ok := parts[gid]
		if !ok {
			n = uint16(len(gids))
			gids = append(gids, gid)
			parts[gid] = n
		}
		return n
	}

	var glyf, loca, hmtx []byte
	for i := 0; i < len(gids); i++ {
		loca = binary.BigEndian.AppendUint32(loca, uint32(len(glyf)))
		if i < len(s.slots) && s.slots[i].rise != 0 {
			glyf = append(glyf, raised(f.outline(gids[i]), part(gids[i]), s.slots[i].rise)...)
		} else {
			glyf = append(glyf, trimGlyph(f.outline(gids[i]), part)...)
		}
		glyf = pad4(glyf)
		hmtx = binary.BigEndian.AppendUint16(hmtx, uint16(advance(i)))
		hmtx = binary.BigEndian.AppendUint16(hmtx, f.bearing(gids[i]))
	}
	loca = binary.BigEndian.AppendUint32(loca, uint32(len(glyf)))

	head, hhea, maxp := clone(f.head), clone(f.hhea), clone(f.maxp)
	binary.BigEndian.PutUint32(head[8:], 0)
	binary.BigEndian.PutUint16(head[50:], 1)
	binary.BigEndian.PutUint16(hhea[34:], uint16(len(gids)))
	binary.BigEndian.PutUint16(maxp[4:], uint16(len(gids)))
	if len(maxp) >= 32 {
		binary.BigEndian.PutUint16(maxp[30:], u16(maxp, 30)+1) // depth, for raised marks
	}

	file := ot.WriteTTF([]ot.Table{
		{Tag: ot.MustNewTag("glyf"), Content: glyf},
		{Tag: ot.MustNewTag("head"), Content: pad4(head)},
		{Tag: ot.MustNewTag("hhea"), Content: pad4(hhea)},
		{Tag: ot.MustNewTag("hmtx"), Content: pad4(hmtx)},
		{Tag: ot.MustNewTag("loca"), Content: loca},
		{Tag: ot.MustNewTag("maxp"), Content: pad4(maxp)},
	})
	// The header's own sum: OpenType 1.9, table head, checksumAdjustment.
	var sum uint32
	for i := 0; i+4 <= len(file); i += 4 {
		sum += binary.BigEndian.Uint32(file[i:])
	}
	at := 12 + 6*16 + len(glyf) + 8
	binary.BigEndian.PutUint32(file[at:], 0xB1B0AFBA-sum)
	return file
}

// trimGlyph copies an outline without its hinting program and renumbers the
// parts of a composed one. A damaged outline becomes an empty one.
func trimGlyph(g []byte, part func(uint16) uint16) []byte {
	if len(g) < 10 {
		return nil
	}
	if contours := int(i16(g, 0)); contours >= 0 {
		at := 10 + 2*contours
		if at+2 > len(g) {
			return nil
		}
		end := at + 2 + int(u16(g, at))
		if end > len(g) {
			return nil
		}
		out := append(clone(g[:at]), 0, 0)
		return append(out, g[end:]...)
	}
	out := clone(g[:10])
	for at := 10; ; {
		if at+4 > len(g) {
			return nil
		}
		flags, size := u16(g, at), 4+2
		if flags&argsAreWords != 0 {
			size += 2
		}
		switch {
		case flags&haveScale != 0:
			size += 2
		case flags&haveXYScale != 0:
			size += 4
		case flags&haveTwoByTwo != 0:
			size += 8
		}
		if at+size > len(g) {
			return nil
		}
		out = binary.BigEndian.AppendUint16(out, flags&^haveInstruction)
		out = binary.BigEndian.AppendUint16(out, part(u16(g, at+2)))
		out = append(out, g[at+4:at+size]...)
		at += size
		if flags&moreComponents == 0 {
			return out
		}
	}
}

func clone(b []byte) []byte { return append([]byte(nil), b...) }

func pad4(b []byte) []byte {
	for len(b)%4 != 0 {
		b = append(b, 0)
	}
	return b
}
