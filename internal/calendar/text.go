package calendar

import (
	"strings"
	"unicode/utf8"
)

// put writes one content line, folded so that no line has more than 75 octets
// and no character is cut (RFC 5545 section 3.1).
func (l *lines) put(s string) {
	const most = 75
	room := most
	for len(s) > room {
		n := room
		for !utf8.RuneStart(s[n]) {
			n--
		}
		l.WriteString(s[:n])
		l.WriteString("\r\n ")
		s, room = s[n:], most-1
	}
	l.WriteString(s)
	l.WriteString("\r\n")
}

// text writes a property of type TEXT.
func (l *lines) text(name, value string) { l.put(name + ":" + escape(value)) }

var escaper = strings.NewReplacer(`\`, `\\`, ";", `\;`, ",", `\,`, "\n", `\n`)

func escape(s string) string { return escaper.Replace(clean(s)) }

// clean makes a text fit for a calendar: bytes that are not UTF-8 become the
// sign for that, every way to end a line becomes one line end, tabs stay, other
// control characters go (RFC 5545 section 3.1 forbids them), and so does space
// at both ends. U+0085, U+2028 and U+2029 are line ends too: some programs cut
// content lines there.
func clean(s string) string {
	s = strings.ToValidUTF8(s, "\uFFFD")
	s = strings.ReplaceAll(s, "\r\n", "\n")
	s = strings.Map(func(r rune) rune {
		switch {
		case r == '\r', r == '\v', r == '\f', r == 0x85, r == 0x2028, r == 0x2029:
			return '\n'
		case r == '\n' || r == '\t':
			return r
		case r < 0x20, r >= 0x7f && r < 0xa0, r == 0xFEFF:
			return -1
		}
		return r
	}, s)
	return strings.TrimSpace(s)
}

// parameter writes the value of a parameter, in quotes where it holds what ends
// one. There is no way to write a quote or a backslash that all programs read (RFC
// 5545 has none, RFC 6868 is young), so they become an apostrophe and a slash.
func parameter(s string) string {
	s = strings.NewReplacer(`"`, "'", `\`, "/", "\n", " ", "\t", " ").Replace(clean(s))
	if strings.ContainsAny(s, ";:,") {
		return `"` + s + `"`
	}
	return s
}

// addressable says whether a mail address can stand in a mailto URI as it is.
func addressable(mail string) bool {
	if mail == "" {
		return true
	}
	name, host, ok := strings.Cut(mail, "@")
	if !ok || name == "" || host == "" || len(mail) > 254 {
		return false
	}
	for _, r := range mail {
		if r <= ' ' || r > '~' || strings.ContainsRune(`"<>\^{|}?#%:;,()[]`+"`", r) {
			return false
		}
	}
	return !strings.Contains(host, "@")
}
