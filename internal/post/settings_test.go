package post

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"rankwright"
	"rankwright/internal/post/posttest"
)

const soundSettings = `{
  "format": 1,
  "server": "mail.otterlight.example",
  "port": 587,
  "security": "starttls",
  "user": "desk@otterlight.example",
  "password": "five otters",
  "from": "desk@otterlight.example",
  "name": "Otterlight, Pellmarrow Quay",
  "reply_to": "grading@otterlight.example",
  "per_minute": 30
}
`

// files are what a settings file names.
func files(path string) ([]byte, error) {
	switch path {
	case "conf/key.txt":
		return []byte("five otters # swim\r\n"), nil
	case "conf/two.txt":
		return []byte("five\notters\n"), nil
	case "/etc/none.pem":
		return []byte("nothing of the kind"), nil
	}
	return nil, fs.ErrNotExist
}

func TestSettingsAreReadAsTheyAreWritten(t *testing.T) {
	s, err := ParseSettings("conf/mail.json", []byte(soundSettings), files)
	if err != nil {
		t.Fatal(err)
	}
	want := Settings{Host: "mail.otterlight.example", Port: 587, Security: StartTLS, User: "desk@otterlight.example", Password: "five otters",
		From: Address{"Otterlight, Pellmarrow Quay", "desk@otterlight.example"}, ReplyTo: Address{"", "grading@otterlight.example"}, PerMinute: 30}
	if *s != want {
		t.Errorf("%#v", s)
	}
	if out := fmt.Sprintf("%v %+v %#v %s", s, s, s, s.Password); strings.Contains(out, "five otters") {
		t.Errorf("the password is printed: %s", out)
	}
	s, err = ParseSettings("conf/mail.json", []byte(`{"format":1,"server":"mail.otterlight.example","from":"desk@ötterlight.example","user":"x","password_file":"key.txt"}`), files)
	if err != nil {
		t.Fatal(err)
	}
	if s.Port != 465 || s.Security != TLS || s.PerMinute != usualPace || s.Password != "five otters # swim" || s.From.Mail != "desk@xn--tterlight-z7a.example" {
		t.Errorf("%#v with %q", s, string(s.Password))
	}
}

func TestAFaultInTheSettingsIsNamedWithItsLine(t *testing.T) {
	change := func(old, with string) string {
		if !strings.Contains(soundSettings, old) {
			t.Fatalf("%q is not in the settings", old)
		}
		return strings.Replace(soundSettings, old, with, 1)
	}
	for _, c := range []struct{ name, text, say string }{
		{"an unknown key", change(`"port"`, `"porrt"`), `conf/mail.json:4:3: there is no setting "porrt"; did you mean "port"?`},
		{"a key that is like none", change(`"port": 587`, `"colour": "red"`), `conf/mail.json:4:3: there is no setting "colour"; leave it out; there are authorities, format,`},
		{"a key twice", change(`"port": 587`, `"server": "b.example"`), `conf/mail.json:4:3: the setting "server" stands there twice`},
		{"no format", change(`"format": 1,`, ``), `this program reads settings of format 1; write "format": 1`},
		{"another format", change(`"format": 1`, `"format": 2`), `conf/mail.json:2:13: this program reads settings of format 1`},
		{"no server", change(`"server": "mail.otterlight.example",`, ``), `conf/mail.json:12:1: the setting "server" is missing; write the name of the mail server`},
		{"a server with a scheme", change(`"mail.otterlight.example"`, `"smtp://mail.otterlight.example"`), `conf/mail.json:3:13: "smtp://mail.otterlight.example" is not the name of a server`},
		{"no sender", change(`  "from": "desk@otterlight.example",`, ``), `the setting "from" is missing`},
		{"a sender that is no address", change(`"from": "desk@otterlight.example"`, `"from": "desk"`), `conf/mail.json:8:11: "desk" is not a mail address: it has no @`},
		{"an address for answers that is none", change(`"grading@otterlight.example"`, `"grading@"`), `conf/mail.json:10:15: "grading@" is not a mail address: nothing stands after the @`},
		{"a port in quotation marks", change(`587`, `"587"`), `conf/mail.json:4:11: the setting "port" is not such a number; write a whole number from 1 to 65535, without quotation marks`},
		{"a port out of range", change(`587`, `70000`), `the setting "port" is not such a number`},
		{"half a letter a minute", change(`30`, `0.5`), `the setting "per_minute" is not such a number`},
		{"a password without quotation marks", change(`"five otters"`, `12345`), `conf/mail.json:7:15: the setting "password" is a number; put it in quotation marks`},
		{"an empty password", change(`"five otters"`, `""`), `conf/mail.json:7:15: the setting "password" is empty`},
		{"no password", change(`"password": "five otters",`, ``), `conf/mail.json:6:11: there is a user without a password; add password or password_file`},
		{"no user", change(`"user": "desk@otterlight.example",`, ``), `conf/mail.json:7:15: there is a password without a user; add the user`},
		{"two passwords", change(`"password"`, `"password_file": "key.txt", "password"`), `conf/mail.json:7:20: both password and password_file are given`},
		{"a password file that is not there", change(`"password": "five otters"`, `"password_file": "lock.txt"`), `conf/mail.json:7:20: conf/lock.txt, named here: it cannot be read`},
		{"a password file of two lines", change(`"password": "five otters"`, `"password_file": "two.txt"`), `the file two.txt does not hold one line`},
		{"authorities that are none", change(`"per_minute": 30`, `"authorities": "/etc/none.pem"`), `conf/mail.json:11:18: the file /etc/none.pem holds no certificate`},
		{"an unknown security", change(`"starttls"`, `"ssl"`), `conf/mail.json:5:15: "ssl" is not a way to keep the connection secret; write one of: none, starttls, tls`},
		{"in the clear to elsewhere", change(`"starttls"`, `"none"`), `conf/mail.json:5:15: letters to families may go in the clear only to a mail server on this machine, and mail.otterlight.example is another`},
		{"a list", change(`"five otters"`, `["five otters"]`), `conf/mail.json:7:15: the setting "password" is neither a text nor a number`},
		{"a comma too many", change(`30`, `30,`), `the settings are not JSON from here on`},
		{"a comma too few", change(`"port": 587,`, `"port": 587`), `conf/mail.json:5:3: the settings are not JSON from here on`},
		{"a quotation mark too few", change(`"five otters"`, `"five otters`), `the settings are not JSON from here on`},
		{"something behind", soundSettings + "x", `conf/mail.json:13:1: something follows the settings`},
		{"nothing", ``, `conf/mail.json:1:1: the settings are not JSON from here on`},
		{"a text", `"five otters"`, `conf/mail.json:1:1: the settings are not a JSON object`},
		{"a letter that is not UTF-8", change(`Quay`, "Qu\xe4y"), "conf/mail.json:9:37: a letter here is not written in UTF-8"},
		{"a sign that cannot be seen", change(`Quay`, `Qu\u0007ay`), `conf/mail.json:9:11: the setting "name" holds a sign that cannot be seen`},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := ParseSettings("conf/mail.json", []byte(c.text), files)
			if err == nil || s != nil || !strings.Contains(err.Error(), c.say) {
				t.Fatalf("%v\nshould say %s", err, c.say)
			}
			if strings.Contains(err.Error(), "five otters") {
				t.Errorf("the password is printed: %v", err)
			}
		})
	}
}

func TestSettingsThatOthersCanReadAreRefused(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "mail.json")
	key := filepath.Join(dir, "key.txt")
	write := func(path, text string, mode os.FileMode) {
		if err := errors.Join(os.WriteFile(path, []byte(text), mode), os.Chmod(path, mode)); err != nil {
			t.Fatal(err)
		}
	}
	text := strings.Replace(soundSettings, `"password": "five otters"`, `"password_file": "key.txt"`, 1)
	write(key, "five otters\n", 0o600)
	for _, c := range []struct {
		settings, key os.FileMode
		say           string
	}{
		{0o600, 0o600, ""},
		{0o400, 0o400, ""},
		{0o640, 0o600, "mail.json: others on this machine may open the file (its rights are -rw-r-----), and it is about the password of the school's mailbox; close it with: chmod 600 mail.json"},
		{0o604, 0o600, "mail.json: others on this machine may open the file"},
		{0o600, 0o644, "mail.json:7:20: " + key + ", named here: others on this machine may open the file (its rights are -rw-r--r--)"},
	} {
		write(path, text, c.settings)
		if err := os.Chmod(key, c.key); err != nil {
			t.Fatal(err)
		}
		s, err := ReadSettings(path)
		if c.say == "" && (err != nil || s.Password != "five otters") || c.say != "" && (err == nil || !strings.Contains(err.Error(), c.say)) {
			t.Errorf("%v and %v: %v, should say %q", c.settings, c.key, err, c.say)
		}
	}
	if _, err := ReadSettings(filepath.Join(dir, "none.json")); rankwright.KindOf(err) != rankwright.NotFound {
		t.Errorf("a file that is not there: %v", err)
	}
	if _, err := ReadSettings(dir); err == nil || !strings.Contains(err.Error(), "this is not a file") {
		t.Errorf("a folder: %v", err)
	}
	write(path, strings.Repeat(" ", mostSettings+1), 0o600)
	if _, err := ReadSettings(path); rankwright.KindOf(err) != rankwright.TooLarge {
		t.Errorf("a large file: %v", err)
	}
}

// What the published schema takes is read, and what it refuses is refused; what
// a schema cannot say (another file, two keys that go together) is tried above.
func TestTheSchemaOfTheSettingsSaysWhatIsRead(t *testing.T) {
	f, err := os.Open("../../docs/mail.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	doc, err := jsonschema.UnmarshalJSON(f)
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("mail.schema.json", doc); err != nil {
		t.Fatal(err)
	}
	schema, err := c.Compile("mail.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	described := doc.(map[string]any)["properties"].(map[string]any)
	for _, k := range settingsKeys {
		if _, ok := described[k]; !ok {
			t.Errorf("the schema does not know the setting %q", k)
		}
	}
	if len(described) != len(settingsKeys) {
		t.Errorf("the schema describes %d settings, and there are %d", len(described), len(settingsKeys))
	}
	for _, x := range []struct {
		old, with string
		sound     bool
	}{
		{"", "", true},
		{`"port": 587,`, ``, true},
		{`"port"`, `"prot"`, false},
		{`587`, `"587"`, false},
		{`587`, `0`, false},
		{`"starttls"`, `"ssl"`, false},
		{`"server": "mail.otterlight.example",`, ``, false},
		{`"format": 1,`, ``, false},
		{`"user": "desk@otterlight.example",`, ``, false},
		{`"password": "five otters",`, ``, false},
		{`"password"`, `"password_file": "key.txt", "password"`, false},
		{`"password": "five otters"`, `"password_file": "key.txt"`, true},
		{`"five otters"`, `""`, false},
		{`30`, `6001`, false},
	} {
		text := strings.Replace(soundSettings, x.old, x.with, 1)
		v, err := jsonschema.UnmarshalJSON(strings.NewReader(text))
		if err != nil {
			t.Fatal(err)
		}
		_, read := ParseSettings("conf/mail.json", []byte(text), files)
		if valid := schema.Validate(v); (valid == nil) != x.sound || (read == nil) != x.sound {
			t.Errorf("%q for %q: the schema says %v, the program %v", x.with, x.old, valid, read)
		}
	}
}

func FuzzSettingsNeverShowThePassword(f *testing.F) {
	f.Add([]byte(soundSettings))
	f.Add([]byte(`{"format":1,"password":"sesame-sesame"`))
	f.Add([]byte(`{"sesame-sesame":`))
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := ParseSettings("conf/mail.json", data, files)
		if (s == nil) == (err == nil) {
			t.Errorf("%v and %v", s, err)
		}
		var fs rankwright.Faults
		if err != nil && !errors.As(err, &fs) {
			t.Errorf("%v is no list of faults", err)
		}
		for _, f := range fs {
			if f.Where.Line < 1 || f.Where.Line > 1+strings.Count(string(data), "\n") || f.Do == "" {
				t.Errorf("%+v", f)
			}
		}
		if s != nil && s.Password != "" && len(s.Password) > 3 && strings.Contains(fmt.Sprintf("%+v %#v", s, s), string(s.Password)) &&
			!strings.Contains(s.Host+s.User+s.From.Mail+s.From.Name+s.ReplyTo.Mail+"(secret)"+fmt.Sprintf("%#v", Settings{}), string(s.Password)) {
			t.Error("the password is printed")
		}
	})
}

func TestAuthoritiesAreReadFromAFile(t *testing.T) {
	path := posttest.Authority(t)
	s, err := ParseSettings("conf/mail.json", []byte(strings.Replace(soundSettings, `"per_minute": 30`, fmt.Sprintf(`"authorities": %q`, path), 1)), readPrivate)
	if err != nil || s.Authorities == nil {
		t.Errorf("%v, %v", s, err)
	}
}
