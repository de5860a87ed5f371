package paper

import (
	_ "embed"
	"fmt"
	"slices"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"rankwright"
	"rankwright/internal/paper/pdf"
)

//go:embed fonts/NotoSans-Regular.ttf
var sansRegular []byte

//go:embed fonts/NotoSans-Bold.ttf
var sansBold []byte

//go:embed fonts/NotoSerif-Regular.ttf
var serifRegular []byte

//go:embed fonts/NotoSerif-Bold.ttf
var serifBold []byte

// Fonts is the set that a document is printed with. It is never changed after
// it was made and may be shared.
type Fonts struct {
	sans, sansBold, serif, serifBold *pdf.Typeface
	own                              [4]*pdf.Font
	more                             []*pdf.Font
}

var shipped = sync.OnceValue(func() *Fonts {
	var own [4]*pdf.Font
	for i, data := range [4][]byte{sansRegular, sansBold, serifRegular, serifBold} {
		f, err := pdf.ParseFont(data)
		if err != nil {
			panic(fmt.Sprintf("paper: a shipped font cannot be read: %v", err))
		}
		own[i] = f
	}
	return assemble(own, nil)
})

// ShippedFonts carry names in Latin writing with every mark, Vietnamese,
// Greek and Cyrillic.
func ShippedFonts() *Fonts { return shipped() }

// With adds fonts for other scripts, as TrueType files; they are used in the
// order given for letters that the fonts before them lack. A bold font is
// tried first where the text is bold. The bytes must not change afterwards.
func (f *Fonts) With(files ...[]byte) (*Fonts, error) {
	more := append([]*pdf.Font(nil), f.more...)
	for _, data := range files {
		font, err := pdf.ParseFont(data)
		if err != nil {
			return nil, err
		}
		more = append(more, font)
	}
	return assemble(f.own, more), nil
}

func assemble(own [4]*pdf.Font, more []*pdf.Font) *Fonts {
	f := &Fonts{own: own, more: more}
	face := func(first, second *pdf.Font) *pdf.Typeface {
		rest := []*pdf.Font{second}
		for _, same := range []bool{true, false} {
			for _, m := range more {
				if (m.Bold() == first.Bold()) == same {
					rest = append(rest, m)
				}
			}
		}
		return pdf.NewTypeface(first, rest...)
	}
	// Sans and serif stand in for each other before a font of another script.
	f.sans, f.sansBold = face(own[0], own[2]), face(own[1], own[3])
	f.serif, f.serifBold = face(own[2], own[0]), face(own[3], own[1])
	return f
}

func (o Options) fonts() *Fonts {
	if o.Fonts == nil {
		return ShippedFonts()
	}
	return o.Fonts
}

// checker adds a fault for each text that cannot be set in its face.
func checker(opt Options, faults *rankwright.Faults) func(face *pdf.Typeface, what, text string) {
	setter := pdf.NewSetter(opt.Lang)
	return func(face *pdf.Typeface, what, text string) {
		if f := unsettable(setter, face, what, "", text); f != nil {
			*faults = append(*faults, f)
		}
	}
}

// unsettable words the fault for letters that no font carries, or for a mark
// that has no letter, which would hang out to the left; nil where all is well.
// What is "the name", whose is who it belongs to.
func unsettable(setter *pdf.Setter, face *pdf.Typeface, what, whose, text string) *rankwright.Fault {
	if r, _ := utf8.DecodeRuneInString(strings.TrimSpace(text)); unicode.Is(unicode.M, r) {
		return rankwright.Faultf(rankwright.Invalid, "mark_alone", "put its letter in front of it",
			"%s%s begins with a mark that stands on no letter (U+%04X)", what, whose, r)
	}
	missing := setter.Shape(face, text).Missing()
	if len(missing) == 0 {
		return nil
	}
	var list, scripts []string
	for _, unit := range missing {
		var points []string
		for _, r := range unit {
			points = append(points, fmt.Sprintf("U+%04X", r))
			if s := scriptOf(r); s != "" && !slices.Contains(scripts, s) {
				scripts = append(scripts, s)
			}
		}
		list = append(list, fmt.Sprintf("“%s” (%s)", unit, strings.Join(points, " ")))
	}
	do := "add a font that carries these characters, or write the text in others"
	if len(scripts) > 0 {
		do = fmt.Sprintf("add a font for %s, or write the text in another script", strings.Join(scripts, " and "))
	}
	return rankwright.Faultf(rankwright.Invalid, "unsettable", do,
		"%s%s cannot be printed: the fonts have no shape for %s", what, whose, strings.Join(list, ", "))
}

// scriptOf names a character's script as Unicode does, or "" for signs.
func scriptOf(r rune) string {
	for name, table := range unicode.Scripts {
		if name != "Common" && name != "Inherited" && unicode.Is(table, r) {
			return strings.ReplaceAll(name, "_", " ")
		}
	}
	return ""
}
