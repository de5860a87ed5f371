package syllabus

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

// Limits of a syllabus file. They keep a mistaken or hostile file from taking
// the machine down with it.
const (
	// MaxBytes is the size of the largest syllabus file that is read.
	MaxBytes = 1 << 20
	// The parser's time grows with the square of the length of a line and of
	// the number of keys or dashes below one another, and its stack with the
	// number of keys.
	maxLine   = 4096
	maxGroup  = 1000
	maxDepth  = 24
	maxFaults = 200
)

// load turns the bytes of a file into its one document, or reports why not.
func (r *reader) load(data []byte) *node {
	if len(data) > MaxBytes {
		r.fault(nil, "too_large", "split it into one file a ladder", "the file is larger than %d bytes, the most that is read", MaxBytes)
		return nil
	}
	text := strings.TrimPrefix(string(data), "\ufeff")
	text = strings.ReplaceAll(text, "\r\n", "\n")
	text = strings.ReplaceAll(text, "\r", "\n")
	r.lines = 1 + strings.Count(text, "\n")
	if !r.plain(text) {
		return nil
	}
	tokens, err := scan(text)
	if err == nil && !r.allowed(tokens) {
		return nil
	}
	var file *ast.File
	if err == nil {
		file, err = parse(tokens)
	}
	if err != nil {
		r.notYAML(err)
		return nil
	}
	var docs []*ast.DocumentNode
	for _, d := range file.Docs {
		if d.Body != nil {
			docs = append(docs, d)
		}
	}
	switch {
	case len(docs) == 0:
		r.fault(nil, "empty", "start from one of the example files", "the file is empty")
		return nil
	case len(docs) > 1:
		at := docs[1].Start
		if at == nil {
			at = docs[1].Body.GetToken()
		}
		r.fault(place(at), "many_documents", "keep one ladder in a file, and remove the line ---", "a second document begins here")
		return nil
	}
	return r.convert(docs[0].Body, 0)
}

// plain refuses what no line of a syllabus can hold, before the parser sees
// it: text that is not UTF-8, control characters, indentation by tabs, and
// lines so long that they would keep the parser busy for minutes.
func (r *reader) plain(text string) bool {
	before := r.found
	line := 0
	for l := range strings.SplitSeq(text, "\n") {
		line++
		if !utf8.ValidString(l) {
			r.fault(&node{line: line, column: 1 + utf8.RuneCountInString(l[:firstInvalid(l)])}, "not_utf8",
				"save the file again as UTF-8", "a letter here is not written in UTF-8")
			return false
		}
		if i := strings.IndexFunc(l, func(c rune) bool { return c != '\t' && unicode.IsControl(c) }); i >= 0 {
			r.fault(&node{line: line, column: 1 + utf8.RuneCountInString(l[:i])}, "bad_text",
				"delete it and write the line again", "the line holds a character that cannot be seen")
		}
		blank := len(l) - len(strings.TrimLeft(l, " \t"))
		if tab := strings.IndexByte(l[:blank], '\t'); tab >= 0 && blank < len(l) {
			r.fault(&node{line: line, column: 1 + tab}, "tab", "indent with spaces", "the line is indented with a tab")
		}
		if utf8.RuneCountInString(l) > maxLine {
			r.fault(&node{line: line, column: 1}, "too_long", "break it into several lines", "the line has more than %d characters", maxLine)
		}
	}
	return r.found == before
}

func firstInvalid(s string) int {
	for i := 0; i < len(s); {
		c, size := utf8.DecodeRuneInString(s[i:])
		if c == utf8.RuneError && size == 1 {
			return i
		}
		i += size
	}
	return len(s)
}

// allowed refuses what the language leaves out, and nesting deeper than any
// syllabus needs, before the parser, which recurses, sees them.
func (r *reader) allowed(tokens token.Tokens) bool {
	before := r.found
	depth, line, onLine := 0, 0, 0
	var columns []column
	for _, t := range tokens {
		at := place(t)
		if at.line != line && t.Type != token.CommentType {
			line, onLine = at.line, 0
			for len(columns) > 0 && columns[len(columns)-1].at > at.column {
				columns = columns[:len(columns)-1]
			}
			if len(columns) == 0 || columns[len(columns)-1].at < at.column {
				columns = append(columns, column{at: at.column})
			}
			top := &columns[len(columns)-1]
			if top.lines++; top.lines > maxGroup {
				r.fault(at, "too_many", "split it", "one group or list has more than %d lines of its own", maxGroup)
				return false
			}
		}
		switch t.Type {
		case token.AnchorType, token.AliasType, token.TagType:
			mark := map[token.Type]string{token.AnchorType: "&", token.AliasType: "*", token.TagType: "!"}[t.Type]
			r.fault(at, "not_in_language", "write the value out in full; if it is text, put it in double quotes", "a value cannot begin with %s in %s", mark, r.what)
		case token.DirectiveType:
			r.fault(at, "not_in_language", "put the text in double quotes, or remove the line", "a value cannot begin with %% in %s", r.what)
		case token.MergeKeyType:
			r.fault(at, "not_in_language", "write the keys out in full, or use a shared requirement", "the key << is not used in %s", r.what)
		case token.MappingKeyType:
			r.fault(at, "not_in_language", "put the text in double quotes", "a line cannot begin with ? in %s", r.what)
		case token.MappingStartType, token.SequenceStartType:
			depth++
		case token.MappingEndType, token.SequenceEndType:
			depth = max(0, depth-1)
		case token.SequenceEntryType:
			onLine++
		}
		if depth > maxDepth || onLine > maxDepth {
			r.fault(at, "too_deep", "write it with fewer brackets or dashes", "values are nested more than %d deep", maxDepth)
			return false
		}
	}
	return r.found == before
}

// column counts the lines of one group: those that begin in one column, with
// no line between that begins further left.
type column struct{ at, lines int }

// scan and parse call the YAML library; a panic of it becomes an error.
func scan(text string) (tokens token.Tokens, err error) {
	defer caught(&err)
	return lexer.Tokenize(text), nil
}

func parse(tokens token.Tokens) (file *ast.File, err error) {
	defer caught(&err)
	return parser.Parse(tokens, 0, parser.AllowDuplicateMapKey())
}

func caught(err *error) {
	if v := recover(); v != nil {
		*err = fmt.Errorf("yaml: %v", v)
	}
}

// plainWords says in plain words what the YAML library means. The first entry
// that the library's sentence holds is taken.
var plainWords = []struct{ theirs, say, do string }{
	{"mapping value is not allowed", "there is a second colon in this value",
		"put the value in double quotes; or, if the next line was meant as a key, indent it like the keys around it"},
	{"map key-value is pre-defined", "there is more text here after the value has ended",
		"put the whole value in double quotes, or check how far this line is indented"},
	{"block sequence entries are not allowed", "a list with dashes cannot begin on the line of its key",
		"move the dash to the next line, or write the list as [one, two]"},
	{"value is not allowed in this context", "this does not fit what stands above it",
		"check how far it is indented: the keys of one group, or the dashes of one list, begin in the same column"},
	{"non-map value is specified", "this line has no key with a value", "write it as key: value, with a space after the colon"},
	{"end character of double-quoted", "the text that begins here is never closed", "close it with \""},
	{"end character of single-quoted", "the text that begins here is never closed", "close it with '; an apostrophe inside is written twice"},
	{"sequence end token", "the list that begins here is never closed", "close it with ]"},
	{"flow mapping end token", "the group that begins here is never closed", "close it with }; note that # begins a comment, so a colour stands in quotes"},
	{"',' or '}' must", "a comma or a } is missing before this", "add it"},
	{"',' or ']' must", "a comma or a ] is missing before this", "add it"},
	{"corresponding to ']'", "this ] closes nothing", "remove it, or put the text in double quotes"},
	{"corresponding to '}'", "this } closes nothing", "remove it, or put the text in double quotes"},
	{"found ','", "a value is missing before this comma", "write the value, or remove the comma"},
	{"unexpected scalar value type", "a value is missing before this", "write the value, or remove the comma"},
	{"escape character", "a backslash in double quotes has a meaning of its own", "write it twice, or put the text in single quotes"},
	{"reserved character", "a value cannot begin with @ or `", "put the text in double quotes"},
	{"tab character", "a tab stands here", "write a space in its place"},
	{"'\t'", "a tab stands here", "write a space in its place"},
}

func (r *reader) notYAML(err error) {
	at := &node{}
	theirs := err.Error()
	var syntax *yaml.SyntaxError
	if errors.As(err, &syntax) {
		at, theirs = place(syntax.Token), syntax.Message
		if t := syntax.Token; t != nil && (t.Type == token.SequenceEndType || t.Type == token.MappingEndType) {
			theirs = "corresponding to '" + t.Value + "'"
		}
	}
	say, do := "the structure of the file cannot be read here", "check indentation, quotes and brackets here and on the line above"
	i := slices.IndexFunc(plainWords, func(p struct{ theirs, say, do string }) bool { return strings.Contains(theirs, p.theirs) })
	if i >= 0 {
		say, do = plainWords[i].say, plainWords[i].do
	}
	if f := r.fault(at, "not_yaml", do, "%s", say); f != nil {
		f.Err = err
	}
}
