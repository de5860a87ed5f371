package timetable

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"sort"
	"strconv"
	"strings"
	"unicode/utf8"

	"rankwright"
)

// node is one value of a JSON text with its place.
type node struct {
	kind   byte // one of { [ s n b 0
	text   string
	flag   bool
	items  []*node
	keys   []string // of an object, beside items
	keysAt []int64
	at     int64 // offset of the value's first byte
}

// get is the value behind a key, or nil.
func (n *node) get(key string) *node {
	if n != nil {
		for i, k := range n.keys {
			if k == key {
				return n.items[i]
			}
		}
	}
	return nil
}

// deepest is how far values may be nested; our files need five.
const deepest = 20

// MostBytes is the largest file that is read.
const MostBytes = 16 << 20

// source is a JSON text that is being read, with the faults found so far.
type source struct {
	name   string
	data   []byte
	lines  []int64 // offset of each line's first byte
	faults rankwright.Faults
}

// mostFaults is how many faults are told at once.
const mostFaults = 50

func newSource(name string, data []byte) *source {
	s := &source{name: name, data: data, lines: []int64{0}}
	for i, b := range data {
		if b == '\n' {
			s.lines = append(s.lines, int64(i)+1)
		}
	}
	return s
}

// place turns an offset into line and column; columns count characters.
func (s *source) place(offset int64) rankwright.Place {
	line := sort.Search(len(s.lines), func(i int) bool { return s.lines[i] > offset })
	from := s.lines[line-1]
	return rankwright.Place{File: s.name, Line: line, Column: utf8.RuneCount(s.data[from:min(offset, int64(len(s.data)))]) + 1}
}

func (s *source) fault(offset int64, code, do, say string, args ...any) {
	if len(s.faults) < mostFaults {
		f := rankwright.Faultf(rankwright.Invalid, code, do, say, args...)
		f.Where = s.place(offset)
		s.faults = append(s.faults, f)
	}
}

// err is the faults in the order of their places.
func (s *source) err() error {
	sort.SliceStable(s.faults, func(i, j int) bool {
		a, b := s.faults[i].Where, s.faults[j].Where
		return a.Line < b.Line || a.Line == b.Line && a.Column < b.Column
	})
	return s.faults.Err()
}

// parse reads the text into a tree. It is nil where the text is no JSON.
func (s *source) parse() *node {
	switch {
	case len(s.data) > MostBytes:
		s.fault(0, "too_large", "split the grading", "the file has %d bytes, and at most %d are read", len(s.data), MostBytes)
		return nil
	case !utf8.Valid(s.data):
		at := int64(0)
		for rest := s.data; len(rest) > 0; {
			r, n := utf8.DecodeRune(rest)
			if r == utf8.RuneError && n < 2 {
				break
			}
			at, rest = at+int64(n), rest[n:]
		}
		s.fault(at, "not_utf8", "save the file as UTF-8", "the file is not UTF-8 text from here on")
		return nil
	}
	d := json.NewDecoder(bytes.NewReader(s.data))
	d.UseNumber()
	root, ok := s.value(d, 0)
	if !ok {
		return nil
	}
	end := d.InputOffset()
	if rest := strings.TrimLeft(string(s.data[end:]), " \t\r\n"); rest != "" {
		s.fault(int64(len(s.data)-len(rest)), "more_text", "remove what follows the closing bracket", "there is more text after the end of the problem")
		return nil
	}
	return root
}

// start is the offset of the next value's first byte.
func (s *source) start(d *json.Decoder) int64 {
	at := d.InputOffset()
	for at < int64(len(s.data)) && strings.IndexByte(" \t\r\n,:", s.data[at]) >= 0 {
		at++
	}
	return at
}

func (s *source) broken(d *json.Decoder, err error) (*node, bool) {
	at := s.start(d)
	var syntax *json.SyntaxError
	switch {
	case errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) || errors.As(err, &syntax) && syntax.Offset > int64(len(s.data)) ||
		err != nil && err.Error() == "unexpected end of JSON input":
		s.fault(int64(len(s.data)), "cut_off", "fetch or write the file again", "the text ends in the middle")
	case errors.As(err, &syntax):
		s.fault(max(0, min(at, int64(len(s.data)))), "not_json", "mend the text here; an editor that knows JSON shows it", "this is not JSON: %s", strings.TrimPrefix(syntax.Error(), "json: "))
	default:
		s.fault(at, "not_json", "mend the text here; an editor that knows JSON shows it", "this is not JSON")
	}
	return nil, false
}

// value reads one value with all that is in it.
func (s *source) value(d *json.Decoder, depth int) (*node, bool) {
	n := &node{at: s.start(d)}
	if depth > deepest {
		s.fault(n.at, "too_deep", "write it as the manual shows", "values are nested more than %d deep", deepest)
		return nil, false
	}
	t, err := d.Token()
	if err != nil {
		return s.broken(d, err)
	}
	switch t := t.(type) {
	case string:
		n.kind, n.text = 's', t
	case json.Number:
		n.kind, n.text = 'n', t.String()
	case bool:
		n.kind, n.flag = 'b', t
	case nil:
		n.kind = '0'
	case json.Delim:
		n.kind = byte(t)
		for d.More() {
			if n.kind == '{' {
				at := s.start(d)
				k, err := d.Token()
				if err != nil {
					return s.broken(d, err)
				}
				key, ok := k.(string)
				if !ok {
					return s.broken(d, nil)
				}
				if n.get(key) != nil {
					s.fault(at, "key_twice", "keep one", "the key %q stands here a second time", key)
				}
				n.keys, n.keysAt = append(n.keys, key), append(n.keysAt, at)
			}
			item, ok := s.value(d, depth+1)
			if !ok {
				return nil, false
			}
			n.items = append(n.items, item)
		}
		if _, err := d.Token(); err != nil {
			return s.broken(d, err)
		}
	}
	return n, true
}

// kindName is how a value is called when it is the wrong one.
func (n *node) kindName() string {
	switch n.kind {
	case '{':
		return "an object"
	case '[':
		return "a list"
	case 's':
		return fmt.Sprintf("the text %q", cut(n.text))
	case 'n':
		return "the number " + cut(n.text)
	case 'b':
		return strconv.FormatBool(n.flag)
	}
	return "null"
}

// cut shortens a text for a sentence.
func cut(s string) string {
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return s
}
