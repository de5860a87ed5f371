package pdf

import (
	"math"
	"slices"
	"strings"
	"unicode"

	"github.com/go-text/typesetting/di"
	"github.com/go-text/typesetting/font"
	"github.com/go-text/typesetting/language"
	"github.com/go-text/typesetting/segmenter"
	"github.com/go-text/typesetting/shaping"
	"golang.org/x/image/math/fixed"
	tags "golang.org/x/text/language"
	"golang.org/x/text/unicode/bidi"
	"golang.org/x/text/unicode/norm"
)

// A Typeface is a list of fonts that stand in for one another: each letter,
// with all its marks, is set in the first font that carries the whole of it.
type Typeface struct{ fonts []*Font }

// NewTypeface makes a typeface; the first font decides the line's extents.
func NewTypeface(first *Font, more ...*Font) *Typeface {
	return &Typeface{fonts: append([]*Font{first}, more...)}
}

// First is the font that is tried first.
func (t *Typeface) First() *Font { return t.fonts[0] }

// A Setter shapes and measures text. It keeps what it has shaped, so it is
// not safe for concurrent use; make one for each document.
type Setter struct {
	lang  language.Language
	right bool // of the language
	hb    shaping.HarfbuzzShaper
	runs  shaping.Segmenter
	units segmenter.Segmenter
	wrap  shaping.LineWrapper
	faces map[*Font]*font.Face
	fonts map[*font.Font]*Font
	known map[textKey]*Text
}

type textKey struct {
	face *Typeface
	text string
}

// NewSetter makes a setter; lang is a BCP 47 tag, which some fonts heed.
func NewSetter(lang string) *Setter {
	return &Setter{
		lang:  language.NewLanguage(lang),
		right: fromRight(lang),
		faces: map[*Font]*font.Face{},
		fonts: map[*font.Font]*Font{},
		known: map[textKey]*Text{},
	}
}

// A Text is one paragraph, shaped and ready to be broken into lines of any
// width at any size.
type Text struct {
	setter  *Setter
	face    *Typeface
	runes   []rune
	runs    []shaping.Output
	dir     di.Direction
	missing []string
}

// em is the size at which text is shaped: advances come in 64ths of a
// thousandth of an em, and every other size is a multiple.
const em = 1000 << 6

// Shape shapes one paragraph. Line ends and other control characters count as
// spaces.
func (s *Setter) Shape(face *Typeface, text string) *Text {
	key := textKey{face, text}
	if t, ok := s.known[key]; ok {
		return t
	}
	t := &Text{setter: s, face: face, runes: []rune(strings.Map(spaceForControl, text)), dir: di.DirectionLTR}
	s.known[key] = t
	if len(t.runes) == 0 {
		return t
	}
	if rightToLeft(t.runes, s.right) {
		t.dir = di.DirectionRTL
	}
	for _, in := range s.split(t, face) {
		out := s.hb.Shape(in)
		t.runs = append(t.runs, out)
		t.note(out)
	}
	return t
}

func spaceForControl(r rune) rune {
	if unicode.IsControl(r) || r == '\u2028' || r == '\u2029' {
		return ' '
	}
	return r
}

// rightToLeft finds the paragraph's direction from its first letter that has
// one, leaving out what is isolated (UAX #9, rules P2 and P3); otherwise it is
// that of the language.
func rightToLeft(text []rune, otherwise bool) bool {
	isolated := 0
	for _, r := range text {
		p, _ := bidi.LookupRune(r)
		switch c := p.Class(); {
		case c == bidi.LRI || c == bidi.RLI || c == bidi.FSI:
			isolated++
		case c == bidi.PDI:
			isolated = max(0, isolated-1)
		case isolated > 0:
		case c == bidi.L:
			return false
		case c == bidi.R || c == bidi.AL:
			return true
		}
	}
	return otherwise
}

// fromRight says whether a language is written from right to left, by the
// script that it is usually written in.
func fromRight(lang string) bool {
	tag, err := tags.Parse(lang)
	if err != nil {
		return false
	}
	script, _ := tag.Script()
	return slices.Contains([]string{"Arab", "Hebr", "Syrc", "Thaa", "Nkoo", "Adlm", "Rohg"}, script.String())
}

// split cuts the text where direction, script or font change.
func (s *Setter) split(t *Text, face *Typeface) []shaping.Input {
	whole := shaping.Input{
		Text: t.runes, RunEnd: len(t.runes), Direction: t.dir,
		Size: em, Language: s.lang,
	}
	first := oneFace{s.face(face.First())}
	byScript := append([]shaping.Input(nil), s.runs.Split(whole, first)...)

	starts := make([]bool, len(t.runes)+1)
	s.units.Init(t.runes)
	for it := s.units.GraphemeIterator(); it.Next(); {
		starts[it.Grapheme().Offset] = true
	}
	var out []shaping.Input
	for _, run := range byScript {
		var before *Font
		for at := run.RunStart; at < run.RunEnd; {
			end := at + 1
			for end < run.RunEnd && !starts[end] {
				end++
			}
			f := face.pick(t.runes[at:end], before)
			if f == before {
				out[len(out)-1].RunEnd = end
			} else {
				part := run
				part.RunStart, part.RunEnd, part.Face = at, end, s.face(f)
				out = append(out, part)
			}
			before, at = f, end
		}
	}
	return out
}

type oneFace struct{ face *font.Face }

func (o oneFace) ResolveFace(rune) *font.Face { return o.face }

func (s *Setter) face(f *Font) *font.Face {
	face, ok := s.faces[f]
	if !ok {
		face = font.NewFace(f.parsed)
		s.faces[f] = face
		s.fonts[f.parsed] = f
	}
	return face
}

// pick chooses the font for one letter with its marks. A space stays in the
// font that is running.
func (t *Typeface) pick(unit []rune, running *Font) *Font {
	if running != nil && unicode.IsSpace(unit[0]) && running.covers(unit) {
		return running
	}
	for _, f := range t.fonts {
		if f.covers(unit) {
			return f
		}
	}
	for _, f := range t.fonts {
		if f.has(unit[0]) {
			return f
		}
	}
	return t.fonts[0]
}

// covers says whether the font can draw the letter as it stands, composed, or
// taken apart.
func (f *Font) covers(unit []rune) bool {
	if f.hasAll(unit) {
		return true
	}
	s := string(unit)
	return f.hasAll([]rune(norm.NFC.String(s))) || f.hasAll([]rune(norm.NFD.String(s)))
}

func (f *Font) hasAll(unit []rune) bool {
	for _, r := range unit {
		if !f.has(r) && !invisible(r) {
			return false
		}
	}
	return true
}

// invisible characters shape their neighbours and leave no ink themselves.
func invisible(r rune) bool {
	return unicode.Is(unicode.Cf, r) || unicode.Is(unicode.Variation_Selector, r) ||
		r == '\u034f' || r == '\u115f' || r == '\u1160'
}

// note records the letters for which the run has no glyph.
func (t *Text) note(run shaping.Output) {
	for _, g := range run.Glyphs {
		if g.GlyphID != 0 {
			continue
		}
		unit := t.runes[g.TextIndex() : g.TextIndex()+g.RunesCount()]
		ink := false
		for _, r := range unit {
			ink = ink || !unicode.IsSpace(r) && !invisible(r)
		}
		s := string(unit)
		if ink && !slices.Contains(t.missing, s) {
			t.missing = append(t.missing, s)
		}
	}
}

// Missing lists the letters, each with its marks, that no font of the
// typeface carries; printing them would show boxes.
func (t *Text) Missing() []string { return t.missing }

// Empty says whether there is nothing to draw.
func (t *Text) Empty() bool { return len(t.runs) == 0 }

// A Line is one line of shaped text, its runs from left to right.
type Line struct {
	text  *Text
	runs  []shaping.Output
	width int // 64ths of a thousandth of an em
}

// Line returns the whole text as a single line.
func (t *Text) Line() Line {
	lines := t.broken(math.MaxInt32/2, shaping.Never)
	if len(lines) == 0 {
		return Line{text: t}
	}
	return lines[0]
}

// Wrap breaks the text into lines no wider than width (mm) at the given size
// (points), at the places where Unicode allows it and inside a word only
// where a word alone is too wide.
func (t *Text) Wrap(size, width float64) []Line {
	return t.broken(int(min(width/mmPerPoint/size*em, math.MaxInt32/2)), shaping.WhenNecessary)
}

// broken copies the glyphs for each wrapping, since the wrapper trims the
// last space of a line in place.
func (t *Text) broken(width int, inWords shaping.LineBreakPolicy) []Line {
	if len(t.runs) == 0 {
		return nil
	}
	runs := make([]shaping.Output, len(t.runs))
	for i, r := range t.runs {
		r.Glyphs = append([]shaping.Glyph(nil), r.Glyphs...)
		runs[i] = r
	}
	t.setter.wrap.Prepare(shaping.WrapConfig{Direction: t.dir, BreakPolicy: inWords}, t.runes, shaping.NewSliceIterator(runs))
	var lines []Line
	for done := false; !done; {
		var wrapped shaping.WrappedLine
		wrapped, done = t.setter.wrap.WrapNextLineF(fixed.Int26_6(max(width, 1)))
		if len(wrapped.Line) == 0 {
			continue
		}
		l := Line{text: t, runs: make([]shaping.Output, len(wrapped.Line))}
		for _, r := range wrapped.Line {
			l.runs[r.VisualIndex] = r
			l.width += int(r.Advance)
		}
		lines = append(lines, l)
	}
	return lines
}

// Width is the line's advance width in millimetres at a size in points.
func (l Line) Width(size float64) float64 { return float64(l.width) / em * size * mmPerPoint }

// Ink is the box that the line's outlines fill, in millimetres from the
// line's origin on the baseline, y downwards.
func (l Line) Ink(size float64) Rectangle {
	k := size * mmPerPoint / em
	var r Rectangle
	pen, any := 0, false
	for _, run := range l.runs {
		for _, g := range run.Glyphs {
			if g.Width != 0 && g.Height != 0 {
				x0 := float64(pen + int(g.XOffset) + int(g.XBearing))
				y0 := float64(-int(g.YOffset) - int(g.YBearing))
				r = r.grow(any, x0*k, y0*k, (x0+float64(g.Width))*k, (y0-float64(g.Height))*k)
				any = true
			}
			pen += int(g.Advance)
		}
	}
	return r
}

// A Rectangle is given by its corners in millimetres, y downwards.
type Rectangle struct{ Left, Top, Right, Bottom float64 }

func (r Rectangle) grow(any bool, x0, y0, x1, y1 float64) Rectangle {
	if !any {
		return Rectangle{x0, y0, x1, y1}
	}
	return Rectangle{min(r.Left, x0), min(r.Top, y0), max(r.Right, x1), max(r.Bottom, y1)}
}

func (t *Text) rtl() bool { return t.dir == di.DirectionRTL }
