package syllabus_test

import (
	"encoding/json"
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"rankwright"
	"rankwright/syllabus"
)

const schemaPath = "../docs/syllabus.schema.json"

func schemaDocument(t *testing.T) any {
	t.Helper()
	data, err := os.ReadFile(schemaPath)
	if err != nil {
		t.Fatal(err)
	}
	var doc any
	if err := json.Unmarshal(data, &doc); err != nil {
		t.Fatal(err)
	}
	return doc
}

func compiledSchema(t *testing.T) *jsonschema.Schema {
	t.Helper()
	c := jsonschema.NewCompiler()
	if err := c.AddResource("syllabus.schema.json", schemaDocument(t)); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("syllabus.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// instance reads YAML as an editor does, which knows no more of it than JSON.
func instance(t *testing.T, data []byte) any {
	t.Helper()
	j, err := yaml.YAMLToJSON(data)
	if err != nil {
		t.Fatal(err)
	}
	v, err := jsonschema.UnmarshalJSON(strings.NewReader(string(j)))
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func TestTheSchemaAcceptsWhatTheReaderAccepts(t *testing.T) {
	schema := compiledSchema(t)
	texts := map[string][]byte{"maximal": []byte(maximal), "sound": []byte(sound)}
	for _, path := range exampleFiles(t) {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		texts[path] = data
	}
	for name, data := range texts {
		if _, err := syllabus.Parse(name, data); err != nil {
			t.Errorf("the reader refuses %s: %v", name, err)
		}
		if err := schema.Validate(instance(t, data)); err != nil {
			t.Errorf("the schema refuses %s: %v", name, err)
		}
	}
}

// The rest of the bad files can only be refused by one who knows what the
// file says elsewhere: ids, sums, orders.
func TestTheSchemaRefusesWhatIsWronglyBuilt(t *testing.T) {
	schema := compiledSchema(t)
	refused := strings.Fields(`format-other format-missing key-unknown key-unknown-far key-missing rank-without-anything text-list text-group
		group-text group-empty list-empty id-with-space number-words number-negative flag-other tries-yes tries-too-many word-other leap-day
		band-form theme-month scale-one-level scale-level-words list-too-long credit-no-sign combine-word hex-colour shared-cycle use-list
		asks-nested-list kind-unknown pass-empty pass-short-and-long results-outcome results-missing
		results-retries-zero days-form panel-text runs-in-short-rule date-other-order shared-with-fault key-nothing-behind`)
	seen := 0
	for _, bad := range badFiles(t) {
		if !slices.Contains(refused, bad.name) {
			continue
		}
		seen++
		if schema.Validate(instance(t, bad.input)) == nil {
			t.Errorf("the schema accepts %s", bad.name)
		}
	}
	if seen != len(refused) {
		t.Errorf("only %d of %d bad files were found", seen, len(refused))
	}
}

// Every group of keys of the reader is a group of the schema, key by key, and
// the other way round. The reader's are found by asking it: an unknown key is
// refused with the list of those that are known.
func TestTheSchemaKnowsTheKeysOfTheReader(t *testing.T) {
	reader := map[string]bool{}
	for _, text := range []string{maximal, strings.Replace(sound, "pass:\n  conditions:", "pass:\n  unknown: 1\n  conditions:", 1)} {
		for _, broken := range withAnUnknownKey(t, text) {
			_, err := syllabus.Parse("f", []byte(broken))
			var fs rankwright.Faults
			if !errors.As(err, &fs) {
				continue // in a group whose keys the school chooses
			}
			for _, f := range fs {
				if list, ok := strings.CutPrefix(f.Do, "remove it, or use one of: "); ok && f.Code == "unknown_key" {
					reader[sorted(strings.Split(list, ", "))] = true
				}
			}
		}
	}
	schema := map[string]bool{}
	names := map[string]bool{}
	groups(schemaDocument(t), func(keys []string) {
		schema[sorted(keys)] = true
		for _, k := range keys {
			names[k] = true
		}
	})
	if len(reader) < 25 {
		t.Fatalf("only %d groups of keys were found", len(reader))
	}
	for g := range reader {
		if !schema[g] {
			t.Errorf("the schema has no group with the reader's keys %s", g)
		}
	}
	for g := range schema {
		if !reader[g] {
			t.Errorf("the reader has no group with the schema's keys %s", g)
		}
	}
	for _, k := range keysInSource(t) {
		if !names[k] {
			t.Errorf("the reader's source asks for the key %q, which the schema does not have", k)
		}
	}
}

func sorted(keys []string) string {
	keys = slices.Clone(keys)
	slices.Sort(keys)
	return strings.Join(keys, " ")
}

// withAnUnknownKey returns the text once for each group of keys in it, with a
// key put in that no group has.
func withAnUnknownKey(t *testing.T, text string) []string {
	t.Helper()
	const key = "zzzzzzzzzz: 1"
	var out []string
	lines := strings.SplitAfter(text, "\n")
	for i, line := range lines {
		put := func(new string) {
			out = append(out, strings.Join(lines[:i], "")+new+strings.Join(lines[i+1:], ""))
		}
		for j, c := range line {
			if c == '{' {
				put(line[:j+1] + key + ", " + line[j+1:])
			}
		}
		body := strings.TrimLeft(line, " ")
		indent := line[:len(line)-len(body)]
		if rest, dash := strings.CutPrefix(body, "- "); dash && !strings.HasPrefix(rest, "{") && strings.Contains(rest, ":") {
			put(indent + "- " + key + "\n" + indent + "  " + rest)
		} else if strings.Contains(body, ":") && !strings.HasPrefix(body, "-") {
			put(indent + key + "\n" + line)
		}
	}
	return out
}

// groups tells the keys of each closed object of a schema.
func groups(v any, tell func([]string)) {
	switch v := v.(type) {
	case map[string]any:
		if props, ok := v["properties"].(map[string]any); ok && v["additionalProperties"] == false {
			var keys []string
			for k := range props {
				keys = append(keys, k)
			}
			tell(keys)
		}
		for _, x := range v {
			groups(x, tell)
		}
	case []any:
		for _, x := range v {
			groups(x, tell)
		}
	}
}

// keysInSource lists the keys that the reader's source asks for by name.
func keysInSource(t *testing.T) []string {
	t.Helper()
	paths, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]bool{}
	for _, path := range paths {
		if strings.HasSuffix(path, "_test.go") || path == "translation_read.go" { // which has a schema of its own
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(file, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok {
				return true
			}
			sel, ok := call.Fun.(*ast.SelectorExpr)
			if !ok {
				return true
			}
			var args []ast.Expr
			switch sel.Sel.Name {
			case "get", "has":
				args = call.Args
			case "need":
				args = call.Args[1:2]
			case "object":
				args = call.Args[2:]
			}
			for _, a := range args {
				if lit, ok := a.(*ast.BasicLit); ok && lit.Kind == token.STRING {
					k, err := strconv.Unquote(lit.Value)
					if err != nil {
						t.Fatal(err)
					}
					found[k] = true
				}
			}
			return true
		})
	}
	if len(found) < 60 {
		t.Fatalf("only %d keys were found in the source", len(found))
	}
	var out []string
	for k := range found {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}
