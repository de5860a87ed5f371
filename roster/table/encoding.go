package table

import (
	"bytes"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	uni "golang.org/x/text/encoding/unicode"

	"rankwright"
)

// Encoding is a way in which a file may write letters.
type Encoding struct {
	Name, Label string
	codec       encoding.Encoding
}

// Encodings lists what a person may choose, the likeliest first.
func Encodings() []Encoding {
	return []Encoding{
		{"utf-8", "Unicode (UTF-8)", uni.UTF8},
		{"windows-1252", "Western European (Windows)", charmap.Windows1252},
		{"windows-1250", "Central European (Windows)", charmap.Windows1250},
		{"macintosh", "Western European (old Macintosh)", charmap.Macintosh},
		{"iso-8859-15", "Western European (ISO)", charmap.ISO8859_15},
		{"iso-8859-2", "Central European (ISO)", charmap.ISO8859_2},
		{"ibm850", "Western European (DOS)", charmap.CodePage850},
		{"windows-1251", "Cyrillic (Windows)", charmap.Windows1251},
		{"windows-1253", "Greek (Windows)", charmap.Windows1253},
		{"windows-1254", "Turkish (Windows)", charmap.Windows1254},
		{"windows-1257", "Baltic (Windows)", charmap.Windows1257},
		{"windows-1258", "Vietnamese (Windows)", charmap.Windows1258},
		{"utf-16le", "Unicode (UTF-16, little-endian)", uni.UTF16(uni.LittleEndian, uni.UseBOM)},
		{"utf-16be", "Unicode (UTF-16, big-endian)", uni.UTF16(uni.BigEndian, uni.UseBOM)},
	}
}

// Choice is an encoding that a file could be in, with up to three words of
// the file as they would then read.
type Choice struct {
	Name, Label string
	Words       []string
}

func encodingByName(name string) (Encoding, bool) {
	for _, e := range Encodings() {
		if strings.EqualFold(e.Name, name) {
			return e, true
		}
	}
	return Encoding{}, false
}

var utf8BOM = []byte("\xef\xbb\xbf")

// decode turns the bytes of a CSV file into text. A byte order mark decides;
// then a choice; then bytes that are valid UTF-8 are UTF-8; and the rest is
// assumed to be Windows-1252 and said to be.
func decode(b []byte, o Options) (text string, res Result, fault *rankwright.Fault) {
	name := o.Encoding
	switch {
	case bytes.HasPrefix(b, utf8BOM):
		name, b = "utf-8", b[len(utf8BOM):]
	case bytes.HasPrefix(b, []byte("\xff\xfe")):
		name = "utf-16le"
	case bytes.HasPrefix(b, []byte("\xfe\xff")):
		name = "utf-16be"
	}
	switch {
	case name != "":
	case utf8.Valid(b):
		name = "utf-8"
	default:
		name, res.EncodingAssumed = "windows-1252", true
		res.Choices = choicesFor(b)
	}
	e, ok := encodingByName(name)
	if !ok {
		return "", res, o.fault(rankwright.Invalid, "encoding_unknown", "choose one from the list", "there is no encoding called %q", name)
	}
	res.Encoding = e.Name
	if e.Name == "utf-8" {
		if i := invalidAt(b); i >= 0 {
			f := o.fault(rankwright.Invalid, "not_utf8", "choose another encoding", "the file is not UTF-8, as its byte 0x%02X shows", b[i])
			f.Where.Line = 1 + bytes.Count(b[:i], []byte("\n"))
			return "", res, f
		}
		text = string(b)
	} else {
		if strings.HasPrefix(e.Name, "utf-16") && len(b)%2 == 1 {
			return "", res, o.fault(rankwright.Invalid, "cut_off", "save or send it again", "the file ends in the middle of a character")
		}
		out, err := e.codec.NewDecoder().Bytes(b)
		if err != nil {
			f := o.fault(rankwright.Invalid, "encoding", "choose another encoding", "the file is not written in %s", e.Label)
			f.Err = err
			return "", res, f
		}
		text = strings.TrimPrefix(string(out), "\ufeff")
	}
	if i := strings.IndexByte(text, 0); i >= 0 {
		f := o.fault(rankwright.Invalid, "zero_byte", "save it as CSV UTF-8 in the spreadsheet program and choose that file", "the file holds zero bytes, so it is not text")
		f.Where.Line = 1 + strings.Count(text[:i], "\n")
		return "", res, f
	}
	return text, res, nil
}

func invalidAt(b []byte) int {
	for i := 0; i < len(b); {
		r, n := utf8.DecodeRune(b[i:])
		if r == utf8.RuneError && n <= 1 {
			return i
		}
		i += n
	}
	return -1
}

// choicesFor shows the first words with letters beyond ASCII in each encoding
// of one byte a letter that has them all.
func choicesFor(b []byte) []Choice {
	var words [][]byte
	for _, w := range bytes.FieldsFunc(b, func(r rune) bool { return r < 0x80 && !unicode.IsLetter(r) && r != '\'' && r != '-' }) {
		if len(words) == 3 {
			break
		}
		if len(w) <= 40 && bytes.IndexFunc(w, func(r rune) bool { return r >= 0x80 }) >= 0 {
			words = append(words, w)
		}
	}
	var out []Choice
	for _, e := range Encodings() {
		if strings.HasPrefix(e.Name, "utf") {
			continue
		}
		c := Choice{Name: e.Name, Label: e.Label}
		whole := true
		for _, w := range words {
			s, err := e.codec.NewDecoder().String(string(w))
			whole = whole && err == nil && !strings.ContainsFunc(s, func(r rune) bool { return r == utf8.RuneError || unicode.IsControl(r) })
			c.Words = append(c.Words, s)
		}
		if whole || e.Name == "windows-1252" {
			out = append(out, c)
		}
	}
	return out
}
