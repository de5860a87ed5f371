package words

import (
	"strings"

	"golang.org/x/text/unicode/bidi"
)

// Mirror is a language for tests and for nobody's pages: the English sentences
// in Arabic letters, letter by letter, from right to left, with the plural
// forms of Arabic. It shows what breaks in a language that is written so. Its
// tag is that of CLDR for pseudo-languages (Unicode Technical Standard 35,
// region XB: "pseudo-bidi").
const Mirror Lang = "ar-XB"

// arabic gives each Latin letter one of its own; the sentences mean nothing.
var arabic = func() map[rune]rune {
	out := map[rune]rune{',': '،', ';': '؛', '?': '؟'}
	to := []rune("ابكدعفغهيجقلمنوطصرستؤڤضخئز")
	for i, r := range []rune("abcdefghijklmnopqrstuvwxyz") {
		out[r], out[r-'a'+'A'] = to[i], to[i]
	}
	for d := '0'; d <= '9'; d++ {
		out[d] = d - '0' + '٠'
	}
	return out
}()

// mirrored writes a sentence in the test language; places for values, {{.Name}}
// and the {child} of letters, stay. A list of words keeps its commas.
func mirrored(key Key, text string) string {
	var b strings.Builder
	in := 0
	for _, r := range text {
		switch {
		case r == '{':
			in++
		case r == '}':
			in--
		case in == 0 && !(r == ',' && isList(key)):
			if to, ok := arabic[r]; ok {
				r = to
			}
		}
		b.WriteRune(r)
	}
	return b.String()
}

// isList says whether a sentence is a list of words with commas between.
func isList(key Key) bool {
	return strings.HasPrefix(string(key), "day.months") || strings.HasPrefix(string(key), "day.weekdays")
}

// mirrorForms are the plural forms of Arabic (CLDR plurals, ar), each with a
// letter of its own before it, so that a test sees which was taken.
var mirrorForms = []struct{ form, letter string }{{"zero", "ص"}, {"one", "و"}, {"two", "ث"}, {"few", "ق"}, {"many", "ك"}, {"other", "غ"}}

// against says whether a letter runs the other way than the language.
func (l Lang) against(r rune) bool {
	p, _ := bidi.LookupRune(r)
	switch p.Class() {
	case bidi.L:
		return l.Right()
	case bidi.R, bidi.AL:
		return !l.Right()
	}
	return false
}
