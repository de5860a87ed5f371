package post

import (
	"encoding/base64"
	"strings"
	"unicode/utf8"
)

// line makes one line of a text: bytes that are not UTF-8 become the sign for
// that, other signs that are not seen go, and so does space that is doubled or
// at an end. What is left holds no line end of any kind, so it cannot begin a
// header of its own.
func line(s string) string {
	s = strings.Map(func(r rune) rune {
		switch {
		case r < ' ', r == 0x85, r == 0x2028, r == 0x2029:
			return ' '
		case r >= 0x7f && r < 0xa0, r == 0xfeff:
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD"))
	return strings.Join(strings.Fields(s), " ")
}

// lines makes a text of lines that end in LF: every way to end a line becomes
// one, tabs stay, other control characters go.
func lines(s string) string {
	s = strings.ReplaceAll(strings.ToValidUTF8(s, "\uFFFD"), "\r\n", "\n")
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n', r == '\t':
			return r
		case r == '\r', r == '\v', r == '\f', r == 0x85, r == 0x2028, r == 0x2029:
			return '\n'
		case r < ' ', r >= 0x7f && r < 0xa0, r == 0xfeff:
			return -1
		}
		return r
	}, s)
}

// visible tells whether s is made of visible ASCII characters alone.
func visible(s string) bool {
	return s != "" && strings.IndexFunc(s, func(r rune) bool { return r <= ' ' || r > '~' }) < 0
}

// plainly tells whether a line can stand in a header as it is: ASCII, no word
// too long to fold, and nothing that a reader takes for an encoded word.
func plainly(s string) bool {
	for word := range strings.SplitSeq(s, " ") {
		if len(word) > 60 || word != "" && !visible(word) {
			return false
		}
	}
	return !strings.Contains(s, "=?")
}

// unstructured writes a line for a header that is text, such as the subject.
func unstructured(s string) string {
	if plainly(s) {
		return s
	}
	return encoded(s)
}

// phrase writes a line as the name of somebody (RFC 5322 section 3.2.5).
func phrase(s string) string {
	if !plainly(s) {
		return encoded(s)
	}
	atoms := true
	for word := range strings.SplitSeq(s, " ") {
		atoms = atoms && word != "" && !strings.Contains(word, ".") && dotAtom(word)
	}
	if atoms {
		return s
	}
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(s) + `"`
}

// encoded writes a line as encoded words (RFC 2047), none of which cuts a
// character, and each of which fits on a line with the name of a header. Space
// between two of them is not part of the text.
func encoded(s string) string {
	const most = 39 // octets: 52 characters in base64, and 12 around them
	var words []string
	for s != "" {
		n := min(most, len(s))
		for n < len(s) && !utf8.RuneStart(s[n]) {
			n--
		}
		words = append(words, "=?utf-8?B?"+base64.StdEncoding.EncodeToString([]byte(s[:n]))+"?=")
		s = s[n:]
	}
	return strings.Join(words, " ")
}

// fold writes a header, with line ends before its words where it would be longer
// than 76 characters (RFC 2047 section 2; RFC 5322 section 2.1.1 would like 78).
func fold(name, value string) string {
	var b strings.Builder
	b.WriteString(name + ":")
	at := b.Len()
	for i, word := range strings.Split(value, " ") {
		if i > 0 && at+1+len(word) > 76 {
			b.WriteString("\r\n")
			at = 0
		}
		b.WriteString(" " + word)
		at += 1 + len(word)
	}
	b.WriteString("\r\n")
	return b.String()
}

// shorten keeps a sentence about a long text readable.
func shorten(s string) string {
	r := []rune(s)
	if len(r) <= 80 {
		return s
	}
	return string(r[:80]) + " …"
}
