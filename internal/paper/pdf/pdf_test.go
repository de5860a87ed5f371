package pdf

import (
	"bytes"
	"math"
	"os"
	"reflect"
	"strings"
	"testing"

	"github.com/go-text/typesetting/font"
	ot "github.com/go-text/typesetting/font/opentype"
	"pgregory.net/rapid"
)

func readFont(t testing.TB, path string) ([]byte, *Font) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	f, err := ParseFont(data)
	if err != nil {
		t.Fatal(err)
	}
	return data, f
}

const (
	sans       = "../fonts/NotoSans-Regular.ttf"
	serif      = "../fonts/NotoSerif-Bold.ttf"
	arabic     = "../testdata/fonts/NotoNaskhArabic-Regular.ttf"
	devanagari = "../testdata/fonts/NotoSansDevanagari-Regular.ttf"
)

// The outlines are read back by go-text's own reader, which shares no code
// with the subsetter.
func TestSubsetKeepsEveryOutlineAndWidth(t *testing.T) {
	for _, path := range []string{sans, serif, arabic, devanagari} {
		data, f := readFont(t, path)
		s := newSubset(f, "F1")
		for gid := 1; gid < len(f.loca)-1; gid += 3 {
			s.add(slot{gid: uint16(gid), advance: f.advance(uint16(gid))})
		}
		whole, subset := face(t, data, nil), face(t, s.build(), data)
		for n, g := range s.slots {
			want, _ := whole.GlyphDataOutline(font.GID(g.gid))
			got, _ := subset.GlyphDataOutline(font.GID(n))
			if !reflect.DeepEqual(got.Segments, want.Segments) {
				t.Fatalf("%s: glyph %d is drawn otherwise in the subset", path, g.gid)
			}
			if w, g := whole.HorizontalAdvance(font.GID(g.gid)), subset.HorizontalAdvance(font.GID(n)); w != g {
				t.Fatalf("%s: glyph %d is %v wide in the subset and %v in the font", path, n, g, w)
			}
		}
	}
}

func TestARaisedMarkIsTheSameMarkHigherUp(t *testing.T) {
	data, f := readFont(t, sans)
	gid, _ := f.parsed.NominalGlyph('\u0301')
	s := newSubset(f, "F1")
	s.add(slot{gid: uint16(gid), rise: 150})
	low, _ := face(t, data, nil).GlyphDataOutline(gid)
	high, _ := face(t, s.build(), data).GlyphDataOutline(1)
	if len(low.Segments) == 0 || len(high.Segments) != len(low.Segments) {
		t.Fatalf("the mark has %d strokes and %d when raised", len(low.Segments), len(high.Segments))
	}
	for i, seg := range low.Segments {
		for k, p := range seg.ArgsSlice() {
			if q := high.Segments[i].ArgsSlice()[k]; q.X != p.X || q.Y != p.Y+150 {
				t.Fatalf("the point %v has become %v", p, q)
			}
		}
	}
}

// face reads a font; a subset gets the tables that only a whole font has.
func face(t *testing.T, data, cmapFrom []byte) *font.Face {
	t.Helper()
	ld, err := ot.NewLoader(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	if cmapFrom != nil {
		from, err := ot.NewLoader(bytes.NewReader(cmapFrom))
		if err != nil {
			t.Fatal(err)
		}
		var tables []ot.Table
		for _, tag := range []string{"cmap", "glyf", "head", "hhea", "hmtx", "loca", "maxp"} {
			src := ld
			if tag == "cmap" {
				src = from
			}
			b, err := src.RawTable(ot.MustNewTag(tag))
			if err != nil {
				t.Fatal(err)
			}
			tables = append(tables, ot.Table{Tag: ot.MustNewTag(tag), Content: b})
		}
		return face(t, ot.WriteTTF(tables), nil)
	}
	f, err := font.NewFont(ld)
	if err != nil {
		t.Fatal(err)
	}
	return font.NewFace(f)
}

func TestTheSameGlyphKeepsTheTextItWasGiven(t *testing.T) {
	_, f := readFont(t, sans)
	doc := New(Info{Title: "t"})
	face := NewTypeface(f)
	page := doc.Page(210, 297)
	page.Text(20, 20, Left, doc.Setter().Shape(face, "\u00e9e\u0301").Line(), 12, RGB{})
	var texts []string
	for _, s := range doc.fonts[0].slots[1:] {
		texts = append(texts, s.text)
	}
	if got := strings.Join(texts, "|"); got != "\u00e9|e\u0301" {
		t.Errorf("the composed and the decomposed letter are kept as %+q", got)
	}
}

func TestAMissingLetterIsReportedWithItsMarks(t *testing.T) {
	_, latin := readFont(t, sans)
	_, hindi := readFont(t, devanagari)
	tests := []struct {
		name string
		face *Typeface
		text string
		want []string
	}{
		{"nothing is missing from a Vietnamese name", NewTypeface(latin), "Linh-Đan Phùng", nil},
		{"nor from one taken apart", NewTypeface(latin), "Linh-Đan Phu\u0300ng", nil},
		{"each letter is told once", NewTypeface(latin), "ნინო", []string{"ნ", "ი", "ო"}},
		{"a second font helps", NewTypeface(latin, hindi), "आरुष Chettriwal", nil},
		{"joiners and spaces leave no ink", NewTypeface(latin), "A\u200dB\u00a0\u2003C\tD\nE", nil},
		{"the empty text lacks nothing", NewTypeface(latin), "", nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if got := NewSetter("en").Shape(tt.face, tt.text).Missing(); !reflect.DeepEqual(got, tt.want) {
				t.Errorf("missing %q, want %q", got, tt.want)
			}
		})
	}
}

func TestALetterAndItsMarksStayInOneFont(t *testing.T) {
	_, latin := readFont(t, sans)
	_, hindi := readFont(t, devanagari)
	s := NewSetter("en")
	// U+0951 stands alone in neither; with its letter only one font has both.
	for _, run := range s.Shape(NewTypeface(latin, hindi), "क\u0951 a\u0301").Line().runs {
		for _, g := range run.Glyphs {
			if g.GlyphID == 0 {
				t.Errorf("a glyph is missing from the run in %s", s.fonts[run.Face.Font].Name())
			}
		}
	}
}

func TestFitNeverLeavesTheBox(t *testing.T) {
	_, latin := readFont(t, serif)
	_, naskh := readFont(t, arabic)
	_, hindi := readFont(t, devanagari)
	face := NewTypeface(latin, naskh, hindi)
	letters := []rune("abcdefgijABDGHJQWÅÇŽłøỆỗặĄÿ -'’.ΆΏήξϋЖщъёЇأبةستमकशिृ\u0301\u0302\u0323\u0308")
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringOfN(rapid.SampledFrom(letters), 1, 120, -1).Draw(t, "text")
		width := rapid.Float64Range(20, 250).Draw(t, "width")
		height := rapid.Float64Range(5, 60).Draw(t, "height")
		fit := Fit{Max: 50, Min: 0.5, OneLine: 30, Lines: 2, Lead: 1.37}
		b, ok := NewSetter("en").Fit(face, text, width, height, fit)
		if !ok {
			t.Skip("smaller than half a point")
		}
		ink := b.Ink(0, (height-b.Height())/2, width, Centre)
		const hair = 1e-3
		if ink.Left < -hair || ink.Right > width+hair || ink.Top < -hair || ink.Bottom > height+hair {
			t.Fatalf("%q leaves its box of %.1f × %.1f mm: %+v", text, width, height, ink)
		}
		if b.Width() > width+hair || b.Height() > height+hair || len(b.Lines) > 2 || b.Size > fit.Max {
			t.Fatalf("%q is set %.1f × %.1f mm in %d lines of %.1f pt", text, b.Width(), b.Height(), len(b.Lines), b.Size)
		}
	})
}

func TestWrapKeepsEveryLetterAndTheWidth(t *testing.T) {
	_, latin := readFont(t, sans)
	face := NewTypeface(latin)
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringOfN(rapid.SampledFrom([]rune("abcdefghi   ÄÖ-")), 1, 200, -1).Draw(t, "text")
		width := rapid.Float64Range(10, 120).Draw(t, "width")
		b := NewSetter("en").Wrap(face, text, 10, 1.3, width)
		var back strings.Builder
		for _, l := range b.Lines {
			if l.Width(10) > width+1e-3 {
				t.Fatalf("a line is %.2f mm wide in a column of %.2f mm", l.Width(10), width)
			}
			for _, r := range l.runs {
				back.WriteString(string(l.text.runes[r.Runes.Offset : r.Runes.Offset+r.Runes.Count]))
			}
		}
		if back.String() != text {
			t.Fatalf("the lines hold %q, not %q", back.String(), text)
		}
	})
}

func TestNumbersAreShortAndRounded(t *testing.T) {
	for v, want := range map[float64]string{0: "0", -0.0001: "0", 1: "1", 10: "10", 2.5: "2.5", -0.1236: "-0.124", 841.8898: "841.89"} {
		if got := number(v); got != want {
			t.Errorf("number(%v) is %q, want %q", v, got, want)
		}
	}
}

func TestColoursAreReadStrictly(t *testing.T) {
	for s, want := range map[string]RGB{"#ffffff": {255, 255, 255}, "#2B5d8a": {0x2b, 0x5d, 0x8a}, "#fa0": {255, 170, 0}} {
		if got, ok := ParseRGB(s); !ok || got != want {
			t.Errorf("ParseRGB(%q) = %v, %v", s, got, ok)
		}
	}
	for _, s := range []string{"", "red", "ffffff", "#ffff", "#gggggg", "#+12345", "#é00"} {
		if got, ok := ParseRGB(s); ok {
			t.Errorf("ParseRGB(%q) = %v, want a refusal", s, got)
		}
	}
	// Relative luminance of sRGB white, black and pure green: WCAG 2.2.
	for c, want := range map[RGB]float64{{255, 255, 255}: 1, {}: 0, {0, 255, 0}: 0.7152} {
		if got := c.Luminance(); math.Abs(got-want) > 1e-9 {
			t.Errorf("the luminance of %v is %v, want %v", c, got, want)
		}
	}
}

func TestAFontThatCannotBeUsedIsRefused(t *testing.T) {
	data, _ := readFont(t, sans)
	for name, bad := range map[string][]byte{
		"nothing": nil, "a text": []byte("hello, this is no font at all"), "half a font": data[:len(data)/2],
	} {
		if _, err := ParseFont(bad); err == nil {
			t.Errorf("%s is taken for a font", name)
		}
	}
}

func FuzzParseFont(f *testing.F) {
	data, _ := readFont(f, arabic)
	f.Add(data)
	f.Add(data[:4000])
	f.Fuzz(func(t *testing.T, data []byte) {
		font, err := ParseFont(data)
		if err != nil {
			return
		}
		doc := New(Info{Title: "t"})
		line := doc.Setter().Shape(NewTypeface(font), "Aأميرة é").Line()
		doc.Page(100, 100).Text(10, 10, Left, line, 12, RGB{})
		if err := doc.Write(new(bytes.Buffer)); err != nil {
			t.Fatal(err)
		}
	})
}
