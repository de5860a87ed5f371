package post

import (
	"net/mail"
	"strings"
	"testing"

	"rankwright"
)

// The forms are those of RFC 5321 section 4.1.2 and RFC 5322 section 3.4.1;
// what is in ASCII for a domain in another script was computed with Python's
// encodings.punycode.
func TestAnAddressIsTakenOrRefusedWithItsReason(t *testing.T) {
	for _, c := range []struct{ in, out, say string }{
		{"ines@calder.example", "ines@calder.example", ""},
		{"Ines.Calder+belt@mail.calder.example", "Ines.Calder+belt@mail.calder.example", ""},
		{"ines@Calder.EXAMPLE", "ines@calder.example", ""},
		{"o'brien@calder.example", "o'brien@calder.example", ""},
		{"a!#$%&'*+-/=?^_`{|}~z@calder.example", "a!#$%&'*+-/=?^_`{|}~z@calder.example", ""},
		{`"ines calder"@calder.example`, `"ines calder"@calder.example`, ""},
		{`"a\"b"@calder.example`, `"a\"b"@calder.example`, ""},
		{`"a@b"@calder.example`, `"a@b"@calder.example`, ""},
		{"ines@bücher.example", "ines@xn--bcher-kva.example", ""},
		{"ines@пример.example", "ines@xn--e1afmkfd.example", ""},
		{"ines@例え.example", "ines@xn--r8jz45g.example", ""},
		{"ines@xn--bcher-kva.example", "ines@xn--bcher-kva.example", ""},
		{strings.Repeat("x", 64) + "@calder.example", strings.Repeat("x", 64) + "@calder.example", ""},
		{"", "", "it has no @"},
		{"ines", "", "it has no @"},
		{"@calder.example", "", "nothing stands before the @"},
		{"ines@", "", "nothing stands after the @"},
		{"ines@calder", "", "has no dot"},
		{"ines@.calder.example", "", "not the name of a domain"},
		{"ines@calder..example", "", "not the name of a domain"},
		{"ines@calder.example.", "", "not the name of a domain"},
		{"ines@-calder.example", "", "not the name of a domain"},
		{"ines@cal_der.example", "", "not the name of a domain"},
		{"ines@cal der.example", "", "not the name of a domain"},
		{"ines@" + strings.Repeat("x", 64) + ".example", "", "not the name of a domain"},
		{"ines@calder.123", "", "not the number of a machine"},
		{"ines@192.0.2.1", "", "not the number of a machine"},
		{"ines@[192.0.2.1]", "", "not the number of a machine"},
		{"ines..calder@calder.example", "", "a dot too many"},
		{".ines@calder.example", "", "a dot too many"},
		{"ines calder@calder.example", "", "has a space"},
		{" ines@calder.example", "", "has a space"},
		{"ines@calder.example ", "", "not the name of a domain"},
		{"ines@calder.example, tom@calder.example", "", "a sign that does not belong there"},
		{"Ines <ines@calder.example>", "", "a sign that does not belong there"},
		{"<ines@calder.example>", "", "a sign that does not belong there"},
		{"ines(work)@calder.example", "", "a sign that does not belong there"},
		{`"ines@calder.example`, "", "a sign that does not belong there"},
		{`"ines"calder"@calder.example`, "", "a sign that does not belong there"},
		{`"ines\"@calder.example`, "", "a sign that does not belong there"},
		{`""@calder.example`, "", "a sign that does not belong there"},
		{"inés@calder.example", "", "letters without accents"},
		{strings.Repeat("x", 65) + "@calder.example", "", "more than 64"},
		{strings.Repeat("x", 60) + "@" + strings.Repeat(strings.Repeat("x", 60)+".", 3) + "example", strings.Repeat("x", 60) + "@" + strings.Repeat(strings.Repeat("x", 60)+".", 3) + "example", ""},
		{strings.Repeat("x", 64) + "@" + strings.Repeat(strings.Repeat("x", 60)+".", 3) + "example", "", "more than 254"},
		{"ines@calder.example\r\nBcc: x@y.example", "", "is not a mail address"},
		{"ines\n@calder.example", "", "a sign that does not belong there"},
		{"ines@calder.example\x00", "", "not the name of a domain"},
	} {
		got, err := CheckAddress(c.in)
		if got != c.out || (err == nil) != (c.say == "") || err != nil && !strings.Contains(err.Error(), c.say) {
			t.Errorf("%q: %q, %v; should be %q, %q", c.in, got, err, c.out, c.say)
		}
		if err != nil && rankwright.KindOf(err) != rankwright.Invalid {
			t.Errorf("%q: %v is of kind %d", c.in, err, rankwright.KindOf(err))
		}
	}
}

// Whatever is taken is one address for Go's own reader too, and nothing else.
func FuzzAnAddressThatIsTakenIsOne(f *testing.F) {
	for _, s := range []string{"ines@calder.example", `"a b"@c.example`, "ü@ü.example", "a@b.example\r\n", "a@ａ。example"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		out, err := CheckAddress(s)
		if err != nil {
			return
		}
		a, err := mail.ParseAddress(out)
		if err != nil || a.Name != "" {
			t.Fatalf("%q became %q, which reads as %v, %v", s, out, a, err)
		}
		if again, err := CheckAddress(out); err != nil || again != out {
			t.Errorf("%q became %q, which becomes %q, %v", s, out, again, err)
		}
		if !visible(strings.ReplaceAll(out, " ", "")) || strings.ContainsAny(out, "\r\n<>") && !strings.HasPrefix(out, `"`) {
			t.Errorf("%q became %q", s, out)
		}
	})
}
