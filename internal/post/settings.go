package post

import (
	"bytes"
	"cmp"
	"crypto/x509"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"rankwright"
)

// Security is how the way to the mail server is kept from others' eyes.
type Security string

const (
	// TLS is encrypted from the first octet on (RFC 8314 section 3.3).
	TLS Security = "tls"
	// StartTLS begins in the clear and is encrypted before anything is said that
	// matters (RFC 3207); a server that does not offer it is refused.
	StartTLS Security = "starttls"
	// Clear is not encrypted. It is for a mail server on the same machine.
	Clear Security = "none"
)

// Secret is a text that no log and no message shows.
type Secret string

// String says nothing.
func (Secret) String() string { return "(secret)" }

// GoString says nothing.
func (Secret) GoString() string { return "(secret)" }

// Settings say by which server the school sends its letters, and as whom.
type Settings struct {
	Host     string
	Port     int
	Security Security
	// User is "" where the server asks for nobody's name.
	User     string
	Password Secret
	// Authorities vouch for the server's certificate; nil are those that this
	// machine trusts.
	Authorities *x509.CertPool
	// From is the school's address. Its name is "" where the school's own is to
	// stand there.
	From    Address
	ReplyTo Address
	// PerMinute is how many letters are sent a minute at most.
	PerMinute int
}

// usualPace is kept where the settings say nothing. Common servers let 20 to 100
// letters a minute through; common practice, no published source.
const usualPace = 20

const mostSettings = 64 << 10

// ReadSettings reads a settings file, which docs/messages.md describes, or
// returns all the Faults in it, with file and line. Its owner alone may be able
// to read it, and the files that it names for the password: they open the
// school's mailbox.
func ReadSettings(path string) (*Settings, error) {
	data, err := readPrivate(path)
	if err != nil {
		return nil, err
	}
	return ParseSettings(path, data, readPrivate)
}

// ParseSettings reads the text of a settings file. A password file and a file of
// authorities are read by open, relative to the folder of file.
func ParseSettings(file string, data []byte, open func(path string) ([]byte, error)) (*Settings, error) {
	r := &settingsReader{file: file, data: data, open: open, values: map[string]value{}}
	if r.load() {
		s := r.settings()
		if len(r.faults) == 0 {
			return s, nil
		}
	}
	slices.SortStableFunc(r.faults, func(a, b *rankwright.Fault) int {
		return cmp.Or(cmp.Compare(a.Where.Line, b.Where.Line), cmp.Compare(a.Where.Column, b.Where.Column))
	})
	return nil, r.faults
}

// readPrivate reads a file that nobody but its owner can read.
func readPrivate(path string) ([]byte, error) {
	refuse := func(kind rankwright.Kind, code, do, say string, args ...any) ([]byte, error) {
		f := rankwright.Faultf(kind, code, do, say, args...)
		f.Where.File = path
		return nil, f
	}
	f, err := os.Open(path)
	if err != nil {
		_, err := refuse(rankwright.NotFound, "unreadable", "check the name and that you may read it", "the file cannot be opened")
		return nil, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil || !info.Mode().IsRegular() {
		return refuse(rankwright.Invalid, "unreadable", "name a file", "this is not a file")
	}
	if open := info.Mode().Perm() & 0o077; open != 0 && runtime.GOOS != "windows" { // Windows keeps rights elsewhere
		return refuse(rankwright.Invalid, "open_to_others", "close it with: chmod 600 "+filepath.Base(path),
			"others on this machine may open the file (its rights are %s), and it is about the password of the school's mailbox", fs.FileMode(info.Mode().Perm()))
	}
	data, err := io.ReadAll(io.LimitReader(f, mostSettings+1))
	if err != nil {
		return refuse(rankwright.Invalid, "unreadable", "check the disk", "the file cannot be read to its end")
	}
	if len(data) > mostSettings {
		return refuse(rankwright.TooLarge, "too_large", "is it another file that was meant?", "the file has more than %d kB", mostSettings>>10)
	}
	return data, nil
}

type value struct {
	text   string // of a text; as written of a number
	number bool
	at     int // where it stands
}

type settingsReader struct {
	file   string
	data   []byte
	open   func(string) ([]byte, error)
	values map[string]value
	faults rankwright.Faults
}

// settingsKeys are the keys of a settings file.
var settingsKeys = []string{"authorities", "format", "from", "name", "password", "password_file", "per_minute", "port", "reply_to", "security", "server", "user"}

func (r *settingsReader) fault(at int, code, do, say string, args ...any) {
	f := rankwright.Faultf(rankwright.Invalid, code, do, say, args...)
	before := r.data[:min(max(at, 0), len(r.data))]
	f.Where = rankwright.Place{File: r.file, Line: 1 + bytes.Count(before, []byte("\n")),
		Column: 1 + utf8.RuneCount(before[bytes.LastIndexByte(before, '\n')+1:])}
	r.faults = append(r.faults, f)
}

// load reads one flat JSON object. What its faults say never holds a value: it
// may be the password. It returns whether the object was read to its end.
func (r *settingsReader) load() bool {
	if !utf8.Valid(r.data) {
		r.fault(bytes.IndexRune(r.data, utf8.RuneError), "not_utf8", "save the file again as UTF-8", "a letter here is not written in UTF-8")
		return false
	}
	d := json.NewDecoder(bytes.NewReader(r.data))
	d.UseNumber()
	next := func() (json.Token, int, bool) {
		at := int(d.InputOffset())
		for at < len(r.data) && strings.IndexByte(" \t\r\n,:", r.data[at]) >= 0 {
			at++
		}
		t, err := d.Token()
		if err != nil {
			r.fault(at, "not_json", "write it as in docs/messages.md; look for a comma or a quotation mark too few or too many", "the settings are not JSON from here on")
		}
		return t, at, err == nil
	}
	t, at, ok := next()
	if !ok {
		return false
	}
	if t != json.Delim('{') {
		r.fault(at, "not_json", "begin with {", "the settings are not a JSON object")
		return false
	}
	for d.More() {
		k, at, ok := next()
		if !ok {
			return false
		}
		key, _ := k.(string)
		if !slices.Contains(settingsKeys, key) {
			do := "leave it out; there are " + strings.Join(settingsKeys, ", ")
			if near := rankwright.Nearest(key, settingsKeys); near != "" {
				do = fmt.Sprintf("did you mean %q?", near)
			}
			r.fault(at, "unknown_key", do, "there is no setting %q", shorten(key))
		}
		if _, twice := r.values[key]; twice {
			r.fault(at, "twice", "leave out one of them", "the setting %q stands there twice", key)
		}
		t, at, ok := next()
		if !ok {
			return false
		}
		switch v := t.(type) {
		case string:
			r.values[key] = value{text: v, at: at}
		case json.Number:
			r.values[key] = value{text: v.String(), number: true, at: at}
		default:
			r.fault(at, "not_text", "write a text in quotation marks, or a number", "the setting %q is neither a text nor a number", shorten(key))
			return false
		}
	}
	if _, _, ok := next(); !ok {
		return false
	}
	if rest := bytes.TrimLeft(r.data[d.InputOffset():], " \t\r\n"); len(rest) > 0 {
		r.fault(len(r.data)-len(rest), "not_json", "end the file with the closing }", "something follows the settings")
		return false
	}
	return true
}

// text reads a setting that is one line of text.
func (r *settingsReader) text(key string) string {
	v, ok := r.values[key]
	switch {
	case !ok:
		return ""
	case v.number:
		r.fault(v.at, "not_text", "put it in quotation marks", "the setting %q is a number", key)
	case v.text == "":
		r.fault(v.at, "empty", "write it, or leave the setting out", "the setting %q is empty", key)
	case strings.IndexFunc(v.text, func(c rune) bool { return c < ' ' || c == 0x7f }) >= 0 || utf8.RuneCountInString(v.text) > 500:
		r.fault(v.at, "bad_text", "write one line of at most 500 characters", "the setting %q holds a sign that cannot be seen, or is too long", key)
	default:
		return v.text
	}
	return ""
}

// need reads a text that has to be there.
func (r *settingsReader) need(key, do string) string {
	if _, ok := r.values[key]; !ok {
		r.fault(len(bytes.TrimRight(r.data, " \t\r\n"))-1, "missing", do, "the setting %q is missing", key)
	}
	return r.text(key)
}

// number reads a whole number; not there is usual.
func (r *settingsReader) number(key string, low, high, usual int) int {
	v, ok := r.values[key]
	if !ok {
		return usual
	}
	n, err := strconv.Atoi(v.text)
	if !v.number || err != nil || n < low || n > high {
		r.fault(v.at, "bad_number", fmt.Sprintf("write a whole number from %d to %d, without quotation marks", low, high), "the setting %q is not such a number", key)
	}
	return n
}

func (r *settingsReader) address(key, mail string) string {
	if mail == "" {
		return ""
	}
	a, f := checkAddress(mail)
	if f != nil {
		r.fault(r.values[key].at, f.Code, f.Do, "%s", f.Say)
	}
	return a
}

func (r *settingsReader) settings() *Settings {
	s := &Settings{}
	if v := r.values["format"]; !v.number || v.text != "1" {
		r.fault(v.at, "other_format", `write "format": 1`, "this program reads settings of format 1")
	}
	s.Host = r.need("server", `write the name of the mail server, such as "server": "mail.example.org"`)
	if s.Host != "" && !hostName(s.Host) {
		r.fault(r.values["server"].at, "bad_server", "write its name alone, such as mail.example.org", "%q is not the name of a server", s.Host)
	}
	s.Security = Security(cmp.Or(r.text("security"), string(TLS)))
	usual := map[Security]int{TLS: 465, StartTLS: 587, Clear: 25}
	at := r.values["security"].at
	if _, ok := usual[s.Security]; !ok {
		r.fault(at, "bad_security", "write one of: "+strings.Join(words(usual), ", "), "%q is not a way to keep the connection secret", shorten(string(s.Security)))
	}
	if s.Security == Clear && s.Host != "" && !loopback(s.Host) {
		r.fault(at, "in_the_clear", `write "tls" or "starttls"`, "letters to families may go in the clear only to a mail server on this machine, and %s is another", s.Host)
	}
	s.Port = r.number("port", 1, 65535, usual[s.Security])
	s.PerMinute = r.number("per_minute", 1, 6000, usualPace)
	s.From.Mail = r.address("from", r.need("from", `write the address from which the school writes, such as "from": "grading@example.org"`))
	s.From.Name = line(r.text("name"))
	if utf8.RuneCountInString(s.From.Name) > mostName {
		r.fault(r.values["name"].at, "long_name", "write a shorter one", "the name has more than %d characters", mostName)
	}
	s.ReplyTo.Mail = r.address("reply_to", r.text("reply_to"))
	r.login(s)
	if path := r.text("authorities"); path != "" {
		pem, ok := r.beside("authorities", path)
		s.Authorities = x509.NewCertPool()
		if ok && !s.Authorities.AppendCertsFromPEM(pem) {
			r.fault(r.values["authorities"].at, "no_certificate", "name a file of certificates in PEM", "the file %s holds no certificate", path)
		}
	}
	return s
}

// login reads user and password, which come together or not at all.
func (r *settingsReader) login(s *Settings) {
	user, password, file := r.values["user"], r.values["password"], r.values["password_file"]
	s.User, s.Password = r.text("user"), Secret(r.text("password"))
	if path := r.text("password_file"); path != "" {
		if data, ok := r.beside("password_file", path); ok {
			s.Password = Secret(strings.TrimRight(string(data), "\r\n"))
			if s.Password == "" || strings.ContainsAny(string(s.Password), "\r\n\x00") {
				r.fault(file.at, "bad_password_file", "write the password alone into it, on one line", "the file %s does not hold one line", path)
			}
		}
	}
	switch {
	case password.at > 0 && file.at > 0:
		r.fault(file.at, "two_passwords", "leave one of them out", "both password and password_file are given")
	case user.at > 0 && password.at == 0 && file.at == 0:
		r.fault(user.at, "no_password", "add password or password_file", "there is a user without a password")
	case user.at == 0 && (password.at > 0 || file.at > 0):
		r.fault(max(password.at, file.at), "no_user", "add the user", "there is a password without a user")
	}
}

// beside reads a file that the settings name.
func (r *settingsReader) beside(key, path string) ([]byte, bool) {
	if !filepath.IsAbs(path) {
		path = filepath.Join(filepath.Dir(r.file), path)
	}
	data, err := r.open(path)
	if err == nil {
		return data, true
	}
	var f *rankwright.Fault
	if !errors.As(err, &f) {
		f = rankwright.Faultf(rankwright.Invalid, "unreadable", "check the name", "it cannot be read")
	}
	r.fault(r.values[key].at, f.Code, f.Do, "%s, named here: %s", path, f.Say)
	return nil, false
}

func words[V any](m map[Security]V) []string {
	var out []string
	for _, k := range slices.Sorted(maps.Keys(m)) {
		out = append(out, string(k))
	}
	return out
}

// loopback tells whether a server's name is that of this machine.
func loopback(host string) bool {
	return host == "localhost" || host == "127.0.0.1" || host == "::1"
}

func hostName(s string) bool {
	if loopback(s) {
		return true
	}
	ascii, err := domains().ToASCII(s)
	return err == nil && ascii == s
}
