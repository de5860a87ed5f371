package syllabus

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"

	"rankwright"
)

// Limits of a syllabus file. They keep a mistaken or hostile file from taking
// the machine down with it.
const (
	maxBytes  = 1 << 20
	maxDepth  = 24
	maxFaults = 200
)

type shape uint8

const (
	scalar shape = iota
	list
	mapping
)

// node is a YAML value with its place. Anchors, tags and merge keys are not
// part of the language, so that what one reads is what one gets.
type node struct {
	shape  shape
	text   string
	quoted bool
	line   int
	column int
	keys   []*node
	items  []*node // of a list, or the values behind keys
}

// reader collects every fault of one file.
type reader struct {
	file   string
	faults rankwright.Faults
}

func (r *reader) fault(n *node, code, do, say string, args ...any) {
	if len(r.faults) >= maxFaults {
		return
	}
	f := rankwright.Faultf(rankwright.Invalid, code, do, say, args...)
	f.Where = rankwright.Place{File: r.file}
	if n != nil {
		f.Where.Line, f.Where.Column = n.line, n.column
	}
	r.faults = append(r.faults, f)
}

// sorted returns the faults in the order of their places.
func (r *reader) sorted() rankwright.Faults {
	slices.SortStableFunc(r.faults, func(a, b *rankwright.Fault) int {
		return cmp.Or(cmp.Compare(a.Where.Line, b.Where.Line), cmp.Compare(a.Where.Column, b.Where.Column))
	})
	// A rule that several ranks share is read for each of them.
	return slices.CompactFunc(r.faults, func(a, b *rankwright.Fault) bool {
		return a.Where == b.Where && a.Say == b.Say
	})
}

// load turns the bytes of a file into its one document, or reports why not.
func (r *reader) load(data []byte) *node {
	switch {
	case len(data) > maxBytes:
		r.fault(nil, "too_large", "split it into one file a ladder", "the file has %d bytes; a syllabus may have at most %d", len(data), maxBytes)
		return nil
	case !utf8.Valid(data):
		r.fault(&node{line: 1 + strings.Count(string(data[:firstInvalid(data)]), "\n")}, "not_utf8",
			"save it again as UTF-8", "the file is not UTF-8 text")
		return nil
	}
	if line := tooDeep(data); line > 0 {
		r.fault(&node{line: line}, "too_deep", "flatten it", "values are nested more than %d deep", maxDepth)
		return nil
	}
	data = []byte(strings.TrimPrefix(string(data), "\ufeff"))
	file, err := parser.ParseBytes(data, 0)
	if err != nil {
		at := &node{line: 1, column: 1}
		say := err.Error()
		var syntax *yaml.SyntaxError
		if errors.As(err, &syntax) {
			say = syntax.Message
			if syntax.Token != nil && syntax.Token.Position != nil {
				at.line, at.column = syntax.Token.Position.Line, syntax.Token.Position.Column
			}
		}
		first, _, _ := strings.Cut(say, "\n")
		r.fault(at, "not_yaml", "check indentation, quotes and brackets here and on the line above", "this is not YAML: %s", first)
		return nil
	}
	var docs []ast.Node
	for _, d := range file.Docs {
		if d.Body != nil {
			docs = append(docs, d.Body)
		}
	}
	switch len(docs) {
	case 0:
		r.fault(&node{line: 1, column: 1}, "empty", "start from one of the example files", "the file is empty")
		return nil
	case 1:
		return r.convert(docs[0], 0)
	}
	r.fault(place(docs[1].GetToken()), "many_documents", "keep one ladder in a file and remove the line ---", "a second document begins here")
	return nil
}

func firstInvalid(data []byte) int {
	for i := 0; i < len(data); {
		c, size := utf8.DecodeRune(data[i:])
		if c == utf8.RuneError && size == 1 {
			return i
		}
		i += size
	}
	return len(data)
}

// tooDeep finds the first line whose flow brackets or indentation go beyond
// the limit, before the parser, which recurses, sees them.
func tooDeep(data []byte) int {
	depth := 0
	for i, line := range strings.Split(string(data), "\n") {
		body := strings.TrimLeft(line, " ")
		dashes := 0
		for rest := body; strings.HasPrefix(rest, "- ") || strings.HasPrefix(rest, "? "); rest = strings.TrimLeft(rest[2:], " ") {
			dashes++
		}
		if len(line)-len(body) > 8*maxDepth || dashes > maxDepth {
			return i + 1
		}
		for _, c := range body {
			switch c {
			case '[', '{':
				depth++
			case ']', '}':
				depth = max(0, depth-1)
			}
			if depth > 4*maxDepth {
				return i + 1
			}
		}
	}
	return 0
}

func place(t *token.Token) *node {
	n := &node{}
	if t != nil && t.Position != nil {
		n.line, n.column = t.Position.Line, t.Position.Column
	}
	return n
}

func (r *reader) convert(a ast.Node, depth int) *node {
	if a == nil {
		return &node{}
	}
	n := place(a.GetToken())
	if depth > maxDepth {
		r.fault(n, "too_deep", "flatten it", "values are nested more than %d deep", maxDepth)
		return n
	}
	switch v := a.(type) {
	case *ast.MappingNode:
		n.shape = mapping
		for _, kv := range v.Values {
			r.pair(n, kv, depth)
		}
		if len(n.keys) > 0 && !v.IsFlowStyle {
			n.line, n.column = n.keys[0].line, n.keys[0].column
		}
	case *ast.MappingValueNode:
		n.shape = mapping
		r.pair(n, v, depth)
		if len(n.keys) > 0 {
			n.line, n.column = n.keys[0].line, n.keys[0].column
		}
	case *ast.SequenceNode:
		n.shape = list
		for _, item := range v.Values {
			n.items = append(n.items, r.convert(item, depth+1))
		}
	case *ast.StringNode:
		n.text = v.Value
		n.quoted = v.Token != nil && (v.Token.Type == token.SingleQuoteType || v.Token.Type == token.DoubleQuoteType)
	case *ast.LiteralNode:
		if v.Value != nil {
			n.text = strings.TrimRight(v.Value.Value, "\n")
		}
		n.quoted = true
	case *ast.NullNode:
	case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.InfinityNode, *ast.NanNode:
		if t := a.GetToken(); t != nil {
			n.text = t.Value
		}
	default:
		r.fault(n, "not_in_language", "write the value out in full", "anchors, aliases, tags and merge keys are not used in a syllabus")
	}
	return n
}

func (r *reader) pair(n *node, kv *ast.MappingValueNode, depth int) {
	k := place(kv.Key.GetToken())
	key, ok := kv.Key.(ast.ScalarNode)
	if !ok {
		r.fault(k, "bad_key", "write a plain word", "this key is not plain text")
		return
	}
	switch t := key.(type) {
	case *ast.StringNode:
		k.text = t.Value
	default:
		k.text = kv.Key.GetToken().Value
	}
	for _, seen := range n.keys {
		if seen.text == k.text {
			r.fault(k, "double_key", "remove one of the two", "%q is already given on line %d", k.text, seen.line)
			return
		}
	}
	n.keys = append(n.keys, k)
	v := r.convert(kv.Value, depth+1)
	if v.line == 0 {
		v.line, v.column = k.line, k.column
	}
	n.items = append(n.items, v)
}

// empty says whether nothing was written.
func (n *node) empty() bool { return n == nil || (n.shape == scalar && n.text == "" && !n.quoted) }

// describe names the value for a message.
func (n *node) describe() string {
	switch {
	case n.empty():
		return "nothing"
	case n.shape == list:
		return "a list"
	case n.shape == mapping:
		return "a group of keys"
	}
	return strconv.Quote(shorten(n.text))
}

func shorten(s string) string {
	if utf8.RuneCountInString(s) <= 60 {
		return s
	}
	return string([]rune(s)[:57]) + "…"
}

// object is a mapping whose keys were checked.
type object struct {
	*node
	what string
}

// object reads n as a group of keys and reports every key that is not among
// allowed, with the nearest one that is.
func (r *reader) object(n *node, what string, allowed ...string) object {
	o := object{node: n, what: what}
	if n.empty() {
		o.node = &node{shape: mapping, line: o.lineOr(n), column: 1}
		return o
	}
	if n.shape != mapping {
		r.fault(n, "not_keys", "write keys such as "+strings.Join(allowed[:min(3, len(allowed))], ", "), "%s should be a group of keys, not %s", what, n.describe())
		o.node = &node{shape: mapping, line: n.line, column: n.column}
		return o
	}
	for _, k := range n.keys {
		if slices.Contains(allowed, k.text) {
			continue
		}
		do := "remove it, or use one of: " + strings.Join(allowed, ", ")
		if near := nearest(k.text, allowed); near != "" {
			do = fmt.Sprintf("did you mean %q?", near)
		}
		r.fault(k, "unknown_key", do, "%s has no key %q", what, k.text)
	}
	return o
}

func (o object) lineOr(n *node) int {
	if n == nil {
		return 0
	}
	return n.line
}

// get returns the value behind key, or nil.
func (n *node) get(key string) *node {
	if n == nil {
		return nil
	}
	for i, k := range n.keys {
		if k.text == key {
			return n.items[i]
		}
	}
	return nil
}

// has says whether the key is there with a value.
func (n *node) has(key string) bool { return !n.get(key).empty() }

// need returns the value behind key and reports its absence.
func (r *reader) need(o object, key, example string) *node {
	v := o.get(key)
	if v.empty() {
		at := o.node
		if v != nil {
			at = v
		}
		r.fault(at, "missing_key", "add "+example, "%s lacks %q", o.what, key)
		return nil
	}
	return v
}

// str reads text of at most limit characters; nil is "".
func (r *reader) str(n *node, what string, limit int) string {
	if n.empty() {
		return ""
	}
	if n.shape != scalar {
		r.fault(n, "not_text", "write it as one line of text", "%s should be text, not %s", what, n.describe())
		return ""
	}
	s := strings.TrimSpace(n.text)
	if utf8.RuneCountInString(s) > limit {
		r.fault(n, "too_long", "shorten it", "%s has more than %d characters", what, limit)
		return ""
	}
	for _, c := range s {
		if c < ' ' && c != '\n' && c != '\t' {
			r.fault(n, "bad_text", "remove it", "%s contains a control character", what)
			return ""
		}
	}
	return s
}

// ident reads an identifier: letters, digits, - and _.
func (r *reader) ident(n *node, what string) string {
	s := r.str(n, what, 40)
	for _, c := range s {
		if !(c == '-' || c == '_' || c >= '0' && c <= '9' || c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z') {
			r.fault(n, "bad_id", "use letters, digits, - and _ only, such as "+strconv.Quote(identFrom(s)), "%s %q cannot be used as an id", what, s)
			return ""
		}
	}
	return s
}

func identFrom(s string) string {
	out := strings.Map(func(c rune) rune {
		switch {
		case c == '-' || c == '_' || c >= '0' && c <= '9' || c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z':
			return c
		case c == ' ' || c == '/' || c == '.':
			return '-'
		}
		return -1
	}, s)
	if out = strings.Trim(out, "-"); out == "" {
		return "id-1"
	}
	return out
}

// integer reads a whole number between lo and hi. 010 is refused: some
// readers take it for eight.
func (r *reader) integer(n *node, what string, lo, hi int) int {
	if n.empty() {
		return 0
	}
	v, err := strconv.Atoi(n.text)
	if n.shape != scalar || err != nil || (len(n.text) > 1 && (n.text[0] == '0' || n.text[0] == '+')) {
		r.fault(n, "not_whole", fmt.Sprintf("write a whole number from %d to %d", lo, hi), "%s should be a whole number, not %s", what, n.describe())
		return 0
	}
	if v < lo || v > hi {
		r.fault(n, "out_of_range", fmt.Sprintf("write a whole number from %d to %d", lo, hi), "%s is %d", what, v)
		return 0
	}
	return v
}

// amount reads a number with at most three decimals, not negative.
func (r *reader) amount(n *node, what string) rankwright.Amount {
	if n.empty() {
		return 0
	}
	a, err := rankwright.ParseAmount(n.text)
	if n.shape != scalar || err != nil || (len(n.text) > 1 && n.text[0] == '0' && n.text[1] != '.') {
		r.fault(n, "not_number", "write a number such as 3 or 2.5", "%s should be a number, not %s", what, n.describe())
		return 0
	}
	if a < 0 {
		r.fault(n, "out_of_range", "write a number that is not negative", "%s is %s", what, n.text)
		return 0
	}
	return a
}

// share reads a percentage.
func (r *reader) share(n *node, what string) rankwright.Share {
	if n.empty() {
		return 0
	}
	s, err := rankwright.ParseShare(n.text)
	if n.shape != scalar || err != nil {
		r.fault(n, "not_share", "write it with the sign, such as 70%", "%s should be a percentage, not %s", what, n.describe())
		return 0
	}
	return s
}

// flag reads yes or no.
func (r *reader) flag(n *node, what string) bool {
	if n.empty() {
		return false
	}
	switch strings.ToLower(n.text) {
	case "yes", "true":
		return true
	case "no", "false":
		return false
	}
	r.fault(n, "not_yes_no", "write yes or no", "%s should be yes or no, not %s", what, n.describe())
	return false
}

// day reads a civil date.
func (r *reader) day(n *node, what string) rankwright.Day {
	if n.empty() {
		return 0
	}
	d, err := rankwright.ParseDay(n.text)
	if n.shape != scalar || err != nil {
		r.fault(n, "not_date", "write year-month-day, such as 2026-10-31", "%s should be a date, not %s", what, n.describe())
		return 0
	}
	return d
}

// choice reads one of a few words and returns its index.
func (r *reader) choice(n *node, what string, words ...string) int {
	if n.empty() {
		return 0
	}
	s := strings.ReplaceAll(strings.ToLower(strings.TrimSpace(n.text)), "_", " ")
	for i, w := range words {
		if n.shape == scalar && s == w {
			return i
		}
	}
	do := "write one of: " + strings.Join(words, ", ")
	if near := nearest(s, words); near != "" {
		do = fmt.Sprintf("did you mean %q?", near)
	}
	r.fault(n, "unknown_word", do, "%s cannot be %s", what, n.describe())
	return 0
}

// each reads a list, or a single value as a list of one.
func (r *reader) each(n *node, what string) []*node {
	switch {
	case n.empty():
		return nil
	case n.shape == list:
		return n.items
	case n.shape == scalar:
		return []*node{n}
	}
	r.fault(n, "not_list", "begin each item with a dash", "%s should be a list, not %s", what, n.describe())
	return nil
}

// nearest returns the word that a slip of the finger may have meant, or "".
func nearest(s string, words []string) string {
	best, at := "", 3
	for _, w := range words {
		if d := distance(strings.ToLower(s), w); d < at && d < len(w) {
			best, at = w, d
		}
	}
	return best
}

// distance is the number of single-letter edits between two short words
// (Levenshtein 1966), cut off at words of 40 letters.
func distance(a, b string) int {
	x, y := []rune(a), []rune(b)
	if len(x) > 40 || len(y) > 40 {
		return 99
	}
	row := make([]int, len(y)+1)
	for j := range row {
		row[j] = j
	}
	for i := range x {
		diag := row[0]
		row[0] = i + 1
		for j := range y {
			cost := diag
			if x[i] != y[j] {
				cost++
			}
			diag = row[j+1]
			row[j+1] = min(cost, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(y)]
}
