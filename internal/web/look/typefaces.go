package look

import (
	"fmt"
	"io/fs"
	"regexp"
	"strconv"
	"strings"
)

// Typeface is a part of a family that tokens.css names.
type Typeface struct {
	Family  string
	File    string    // in Static
	Letters [][2]rune // from and to, both included
}

var (
	cssTypeface = regexp.MustCompile(`@font-face \{[^}]*font-family: "([^"]+)";[^}]*url\("([^"]+)"\)[^}]*unicode-range: ([^;]+);`)
	cssLetters  = regexp.MustCompile(`^U\+([0-9A-F]+)(?:-([0-9A-F]+))?$`)
)

// ReadTypefaces reads the typefaces of tokens.css, in their order there.
func ReadTypefaces() ([]Typeface, error) {
	b, err := fs.ReadFile(Static, "tokens.css")
	if err != nil {
		return nil, err
	}
	var out []Typeface
	for _, m := range cssTypeface.FindAllStringSubmatch(cssComment.ReplaceAllString(string(b), ""), -1) {
		f := Typeface{Family: m[1], File: m[2]}
		for span := range strings.SplitSeq(m[3], ",") {
			x := cssLetters.FindStringSubmatch(strings.TrimSpace(span))
			if x == nil {
				return nil, fmt.Errorf("tokens.css has the letters %q for %s; write U+0000 or U+0000-007F", span, f.File)
			}
			if x[2] == "" {
				x[2] = x[1]
			}
			from, _ := strconv.ParseInt(x[1], 16, 32) // hexadecimal, by the expression
			to, _ := strconv.ParseInt(x[2], 16, 32)
			f.Letters = append(f.Letters, [2]rune{rune(from), rune(to)})
		}
		out = append(out, f)
	}
	return out, nil
}
