package post

import (
	"strings"
	"sync"

	"golang.org/x/net/idna"

	"rankwright"
)

// CheckAddress returns a mail address as it is written in a letter, its domain
// in ASCII, or the Fault that says what is wrong with it. It takes what RFC 5321
// section 4.1.2 calls a mailbox, with a domain in any script (RFC 5890, Klensin
// 2010), but no address of a machine in brackets. The part before the @ is
// ASCII: letters of other scripts there (RFC 6531) are refused, as many servers
// do.
func CheckAddress(mail string) (string, error) {
	s, f := checkAddress(mail)
	if f != nil {
		return "", f
	}
	return s, nil
}

func checkAddress(mail string) (string, *rankwright.Fault) {
	no := func(say string) (string, *rankwright.Fault) {
		return "", rankwright.Faultf(rankwright.Invalid, "bad_mail_address", "write it as name@example.org", "%q is not a mail address: %s", shorten(mail), say)
	}
	at := strings.LastIndexByte(mail, '@')
	if at < 0 {
		return no("it has no @")
	}
	local, domain := mail[:at], mail[at+1:]
	switch {
	case local == "":
		return no("nothing stands before the @")
	case len(local) > 64: // RFC 5321 section 4.5.3.1.1
		return no("more than 64 characters stand before the @")
	case strings.IndexFunc(local, func(r rune) bool { return r >= 0x80 }) >= 0:
		return no("before the @ only letters without accents, digits and signs are carried by every mail server")
	case !dotAtom(local) && !quoted(local):
		return no("what stands before the @ has a space, a dot too many, or a sign that does not belong there")
	case domain == "":
		return no("nothing stands after the @")
	case strings.HasPrefix(domain, "["):
		return no("a name such as example.org is needed after the @, not the number of a machine")
	}
	ascii, err := domains().ToASCII(domain)
	if err != nil || !dotAtom(ascii) {
		return no("what stands after the @ is not the name of a domain")
	}
	last := ascii[strings.LastIndexByte(ascii, '.')+1:]
	if last == ascii {
		return no("the name after the @ has no dot, so nobody outside its own network finds it")
	}
	if strings.Trim(last, "0123456789") == "" {
		return no("a name such as example.org is needed after the @, not the number of a machine")
	}
	out := local + "@" + ascii
	if len(out) > 254 { // RFC 5321 section 4.5.3.1.3, without the angle brackets
		return no("it has more than 254 characters")
	}
	return out, nil
}

// domains turns names of domains into ASCII, strictly.
var domains = sync.OnceValue(func() *idna.Profile {
	return idna.New(idna.MapForLookup(), idna.BidiRule(), idna.Transitional(false), idna.VerifyDNSLength(true), idna.StrictDomainName(true))
})

// atom are the characters of an atom besides letters and digits (RFC 5322
// section 3.2.3).
const atom = "!#$%&'*+-/=?^_`{|}~"

func atomChar(c byte) bool {
	return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || strings.IndexByte(atom, c) >= 0
}

func dotAtom(s string) bool {
	for part := range strings.SplitSeq(s, ".") {
		if part == "" {
			return false
		}
		for i := range len(part) {
			if !atomChar(part[i]) {
				return false
			}
		}
	}
	return true
}

// quoted tells whether s is a quoted string of RFC 5321 section 4.1.2.
func quoted(s string) bool {
	if len(s) < 3 || s[0] != '"' || s[len(s)-1] != '"' {
		return false
	}
	for i := 1; i < len(s)-1; i++ {
		switch c := s[i]; {
		case c < ' ' || c > '~' || c == '"':
			return false
		case c == '\\':
			if i++; i == len(s)-1 || s[i] < ' ' || s[i] > '~' {
				return false
			}
		}
	}
	return true
}

// goodID tells whether s can stand between the angle brackets of a Message-ID.
func goodID(s string) bool {
	left, right, ok := strings.Cut(s, "@")
	return ok && dotAtom(left) && dotAtom(right) && len(s) <= 200
}

// header writes the address with its name for a header.
func (a Address) header() (string, *rankwright.Fault) {
	mail, f := checkAddress(a.Mail)
	if f != nil {
		return "", f
	}
	name := line(a.Name)
	if n := len([]rune(name)); n > mostName {
		return "", rankwright.Faultf(rankwright.Invalid, "long_name", "write a shorter one", "the name beside the address %s has %d characters, and at most %d fit", mail, n, mostName)
	}
	if name == "" {
		return mail, nil
	}
	return phrase(name) + " <" + mail + ">", nil
}
