package main

import (
	"os"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"rankwright/decide"
)

func formats(t *testing.T) string {
	t.Helper()
	data, err := os.ReadFile("../../docs/formats.md")
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// Every command has a part of docs/formats.md, in which each of its flags
// stands, and every part is a command.
func TestTheFormatsDescribeEveryCommandAndFlag(t *testing.T) {
	part := map[string]string{}
	for _, s := range strings.Split(formats(t), "\n### ")[1:] {
		head, body, _ := strings.Cut(s, "\n")
		if name, ok := strings.CutPrefix(head, "`rankwright "); ok {
			body, _, _ = strings.Cut(body, "\n## ")
			part[strings.TrimSuffix(name, "`")] = body
		}
	}
	for _, c := range commands() {
		body, ok := part[c.Name()]
		if !ok {
			t.Errorf("docs/formats.md has no part on rankwright %s", c.Name())
		}
		delete(part, c.Name())
		for _, one := range append([]*cobra.Command{c}, c.Commands()...) {
			if one != c && !strings.Contains(body, one.Name()) {
				t.Errorf("docs/formats.md does not name %s", one.CommandPath())
			}
			one.Flags().VisitAll(func(f *pflag.Flag) {
				if !regexp.MustCompile("--" + regexp.QuoteMeta(f.Name) + `\b`).MatchString(body) {
					t.Errorf("docs/formats.md does not describe --%s of rankwright %s", f.Name, c.Name())
				}
			})
		}
	}
	for name := range part {
		t.Errorf("docs/formats.md describes rankwright %s, which is not there", name)
	}
}

func TestTheFormatsNameEveryKeyOfDecide(t *testing.T) {
	text := formats(t)
	_, text, _ = strings.Cut(text, "### `rankwright decide`")
	text, _, _ = strings.Cut(text, "\n### ")
	seen := map[reflect.Type]bool{}
	var keys func(reflect.Type)
	keys = func(v reflect.Type) {
		for v.Kind() == reflect.Slice {
			v = v.Elem()
		}
		if v.Kind() != reflect.Struct || seen[v] {
			return
		}
		seen[v] = true
		for i := range v.NumField() {
			key, _, _ := strings.Cut(v.Field(i).Tag.Get("json"), ",")
			if !strings.Contains(text, "`"+key+"`") && !strings.Contains(text, `"`+key+`"`) {
				t.Errorf("docs/formats.md does not name the key %q of decide --json", key)
			}
			keys(v.Field(i).Type)
		}
	}
	keys(reflect.TypeFor[decide.Document]())
	if len(seen) < 4 {
		t.Errorf("only %d kinds of object were looked at", len(seen))
	}
	for _, why := range []decide.LookKey{decide.OneMark, decide.MarksApart, decide.NoLead, decide.AskHead, decide.NameAgain,
		decide.MissingMarks, decide.ExtraTry, decide.KeptEnded} {
		if !strings.Contains(text, "`"+string(why)+"`") {
			t.Errorf("docs/formats.md does not explain %s", why)
		}
	}
}
