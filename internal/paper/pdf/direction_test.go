package pdf

import (
	"slices"
	"strings"
	"testing"
)

// The order in which runs stand on the line, from left to right, worked out by
// hand from the Unicode Bidirectional Algorithm (UAX #9, revision 50).
func TestAParagraphOfTwoDirectionsStandsInTheRightOrder(t *testing.T) {
	_, latin := readFont(t, sans)
	_, naskh := readFont(t, arabic)
	face := NewTypeface(latin, naskh)
	for _, tt := range []struct {
		name, lang, text string
		right            bool
		order            []string // from left to right
	}{
		{"Latin words and a number in an Arabic sentence", "ar", "ابج abc def دهو 12", true, []string{"12", "دهو", "abc def", "ابج"}},
		{"an Arabic name in an English sentence", "en", "For ابج دهو today", false, []string{"For", "ابج دهو", "today"}},
		{"a Latin name that begins an Arabic sentence, set apart", "ar", "\u2068Zofia\u2069 ابج دهو", true, []string{"ابج دهو", "Zofia"}},
		{"the same not set apart begins from the left", "ar", "Zofia ابج دهو", false, []string{"Zofia", "ابج دهو"}},
		{"nothing but a number in an Arabic document", "ar", "12", true, []string{"12"}},
		{"nothing but a number in an English document", "en", "12", false, []string{"12"}},
		{"two names set apart, with a comma of the language", "ar", "\u2068Ana\u2069، \u2068Ben\u2069 ابج", true, []string{"ابج", "Ben", "Ana"}},
	} {
		text := NewSetter(tt.lang).Shape(face, tt.text)
		if text.rtl() != tt.right {
			t.Errorf("%s: from right to left is %v", tt.name, text.rtl())
		}
		if m := text.Missing(); len(m) > 0 {
			t.Errorf("%s: no shape for %q", tt.name, m)
		}
		var line []string // the words of the runs, from left to right
		for _, r := range text.Line().runs {
			line = append(line, strings.Trim(string(text.runes[r.Runes.Offset:r.Runes.Offset+r.Runes.Count]), " ،\u2068\u2069"))
		}
		line = slices.DeleteFunc(line, func(s string) bool { return s == "" })
		if !slices.Equal(line, tt.order) {
			t.Errorf("%s: %q, want %q", tt.name, line, tt.order)
		}
	}
}
