package syllabus

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"

	"rankwright"
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
	what   string // the kind of file, for messages
	lines  int
	faults rankwright.Faults
	found  int // grows with each fault, so that one can see whether there was one
	more   int // faults that are not kept
}

// fault keeps a fault of the file at the place of n; without a place it is on
// the first line. It returns nil where there are too many already.
func (r *reader) fault(n *node, code, do, say string, args ...any) *rankwright.Fault {
	r.found++
	if len(r.faults) >= maxFaults {
		r.more++
		return nil
	}
	f := rankwright.Faultf(rankwright.Invalid, code, do, say, args...)
	f.Where = rankwright.Place{File: r.file, Line: 1, Column: 1}
	if n != nil && n.line > 0 {
		f.Where.Line, f.Where.Column = min(n.line, max(r.lines, 1)), max(n.column, 1)
	}
	r.faults = append(r.faults, f)
	return f
}

// sorted returns the faults in the order of their places. A rule that several
// ranks share is read for each of them; its faults are told once.
func (r *reader) sorted() rankwright.Faults {
	slices.SortStableFunc(r.faults, func(a, b *rankwright.Fault) int {
		return cmp.Or(cmp.Compare(a.Where.Line, b.Where.Line), cmp.Compare(a.Where.Column, b.Where.Column))
	})
	type sentence struct {
		where rankwright.Place
		say   string
	}
	seen := map[sentence]bool{}
	r.faults = slices.DeleteFunc(r.faults, func(f *rankwright.Fault) bool {
		s := sentence{f.Where, f.Say}
		defer func() { seen[s] = true }()
		return seen[s]
	})
	if r.more > 0 {
		f := rankwright.Faultf(rankwright.Invalid, "more", "mend the others first", "not every fault is shown, there are too many")
		f.Where = r.faults[len(r.faults)-1].Where
		r.faults = append(r.faults, f)
		r.more = 0
	}
	return r.faults
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
		r.fault(n, "too_deep", "write it with fewer levels", "values are nested more than %d deep", maxDepth)
		return n
	}
	switch v := a.(type) {
	case *ast.MappingNode:
		n.shape = mapping
		seen := map[string]int{}
		for _, kv := range v.Values {
			r.pair(n, kv, depth, seen)
		}
		if len(n.keys) > 0 && !v.IsFlowStyle {
			n.line, n.column = n.keys[0].line, n.keys[0].column
		}
	case *ast.MappingValueNode:
		n.shape = mapping
		r.pair(n, v, depth, map[string]int{})
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
		r.fault(n, "not_in_language", "write the value out in full", "anchors, aliases, tags and merge keys are not used in %s", r.what)
	}
	return n
}

func (r *reader) pair(n *node, kv *ast.MappingValueNode, depth int, seen map[string]int) {
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
	if line, twice := seen[k.text]; twice {
		r.fault(k, "double_key", "remove one of the two", "%q is already given on line %d", k.text, line)
		return
	}
	seen[k.text] = k.line
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
	what   string
	broken bool // it is no group of keys, which was reported
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
		o.node, o.broken = &node{shape: mapping, line: n.line, column: n.column}, true
		return o
	}
	for _, k := range n.keys {
		if slices.Contains(allowed, k.text) {
			continue
		}
		do := "remove it, or use one of: " + strings.Join(allowed, ", ")
		if near := rankwright.Nearest(k.text, allowed); near != "" {
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
