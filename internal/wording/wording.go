// Package wording is what a school writes into its letters and messages: plain
// text with fields in braces, such as {child}, which are filled in for each
// family. Which fields there are for each kind of letter is settled here, and
// nothing else can be named; what stands in a field is text and never becomes
// markup.
//
// An empty line parts paragraphs. A paragraph that names something which is
// empty for a child is left out whole, its other words too. A list that stands
// alone on its line comes out as a list; within a sentence its items are joined
// as people join them.
package wording

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"rankwright"
	"rankwright/internal/words"
)

// The most that a school may write, in characters.
const (
	MaxSubject = 120
	MaxBody    = 4000
)

// Text is a wording as it is written: the line over a letter or the subject of
// a message, and what follows.
type Text struct{ Subject, Body string }

// Tidy is the text with Unix line ends and nothing but its words at both ends,
// as it is kept.
func (t Text) Tidy() Text {
	tidy := func(s string) string {
		return strings.TrimSpace(strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(s))
	}
	return Text{tidy(t.Subject), tidy(t.Body)}
}

// Default is the wording that holds where the school has none of its own.
func Default(k Kind, l words.Lang) Text {
	say := words.In(l)
	return Text{say.It(words.Key("wording." + string(k) + ".subject")), say.It(words.Key("wording." + string(k) + ".body"))}
}

// A Wording is a text that was found to be in order and can be filled in.
type Wording struct {
	kind    Kind
	lang    words.Lang
	subject line
	body    [][]line // paragraphs
}

// line is one line of a text, in parts that are words or fields.
type line []part

type part struct {
	text  string
	field *Field // nil for words
}

// Where in a Text a fault lies: Place.File.
const (
	InSubject = "subject"
	InBody    = "text"
)

// Compile reads a text for a kind of letter or message in a language. It
// returns rankwright.Faults, each with its line and column (in characters,
// from 1) in the subject or the body.
func Compile(k Kind, l words.Lang, t Text) (*Wording, error) {
	if !k.known() {
		return nil, rankwright.Faultf(rankwright.NotFound, "no_kind", "choose one of those that there are", "there is no wording %q", string(k))
	}
	t = t.Tidy()
	r := &reader{kind: k}
	w := &Wording{kind: k, lang: l}
	r.in = InSubject
	lines := r.lines(t.Subject, MaxSubject)
	switch {
	case len(lines) > 1:
		r.fault(2, 1, "many_lines", "write it in one line", "the line at the top has more than one line")
	case len(lines) == 1:
		w.subject = lines[0]
	}
	if len(w.subject) == 0 {
		r.fault(1, 1, "empty", "write what it is about, or take the usual wording back", "there is no line at the top")
	}
	r.in = InBody
	for _, l := range r.lines(t.Body, MaxBody) {
		if n := len(w.body); len(l) == 0 || n == 0 {
			w.body = append(w.body, nil)
		}
		if len(l) > 0 {
			w.body[len(w.body)-1] = append(w.body[len(w.body)-1], l)
		}
	}
	if t.Body == "" {
		r.fault(1, 1, "empty", "write something, or take the usual wording back", "there are no words yet")
	} else if len(r.faults) == 0 {
		r.whole(w)
	}
	if err := r.faults.Err(); err != nil {
		return nil, err
	}
	return w, nil
}

// Usual is the compiled Default.
func Usual(k Kind, l words.Lang) (*Wording, error) { return Compile(k, l, Default(k, l)) }

type reader struct {
	kind   Kind
	in     string
	faults rankwright.Faults
}

func (r *reader) fault(line, column int, code, do, say string, args ...any) {
	f := rankwright.Faultf(rankwright.Invalid, code, do, say, args...)
	f.Where = rankwright.Place{File: r.in, Line: line, Column: column}
	r.faults = append(r.faults, f)
}

// lines reads a text line by line. An empty line is an empty line.
func (r *reader) lines(text string, most int) (out []line) {
	if text == "" {
		return nil
	}
	if n := utf8.RuneCountInString(text); n > most {
		r.fault(1, 1, "too_long", fmt.Sprintf("shorten it by %d", n-most), "there are %d characters, and room for %d", n, most)
		return nil
	}
	for i, s := range strings.Split(text, "\n") {
		out = append(out, r.line(i+1, strings.TrimRight(s, " \t")))
	}
	return out
}

// line reads one line.
func (r *reader) line(at int, s string) (out line) {
	column := 1
	for s != "" {
		i := strings.IndexAny(s, "{}")
		words := s
		if i >= 0 {
			words = s[:i]
		}
		r.seen(at, column, words)
		if words != "" {
			out = append(out, part{text: words})
		}
		if i < 0 {
			return out
		}
		column += utf8.RuneCountInString(words)
		if s[i] == '}' {
			r.fault(at, column, "no_brace", "take it away, or write { before the name of a field", "this brace closes nothing")
			return out
		}
		name, rest, closed := strings.Cut(s[i+1:], "}")
		if open := strings.IndexByte(name, '{'); !closed || open >= 0 {
			if open >= 0 {
				name = name[:open]
			}
			r.fault(at, column, "open_brace", "write } behind the name of the field, or use round brackets", "the brace before “%s” is not closed", short(strings.TrimSpace(name)))
			return out
		}
		if f := r.field(at, column, name); f != nil {
			out = append(out, part{field: f})
		}
		column += utf8.RuneCountInString(name) + 2
		s = rest
	}
	return out
}

// seen refuses characters that nobody sees and that could turn a text round.
func (r *reader) seen(at, column int, s string) {
	n := 0
	for _, c := range s {
		if hidden(c) && c != '\t' || c == utf8.RuneError {
			r.fault(at, column+n, "hidden", "delete it and type the word once more", "there is a character that nobody can see (U+%04X)", c)
			return
		}
		n++
	}
}

// hidden says whether a character is a control, or one of those that turn the
// direction of what follows (Unicode Standard Annex 9, explicit embeddings,
// overrides and isolates).
func hidden(c rune) bool {
	return unicode.IsControl(c) || c >= 0x202A && c <= 0x202E || c >= 0x2066 && c <= 0x2069
}

func short(s string) string {
	if r := []rune(s); len(r) > 20 {
		return string(r[:20]) + "…"
	}
	return s
}

// field finds the field that is named.
func (r *reader) field(at, column int, typed string) *Field {
	name := strings.TrimSpace(typed)
	var names []string
	list := r.kind.Fields()
	for i := range list {
		f := &list[i]
		if f.Name != name {
			if r.in == InBody || f.inSubject() {
				names = append(names, f.Name)
			}
			continue
		}
		if r.in == InSubject && !f.inSubject() {
			r.fault(at, column, "not_here", "name it further down", "{%s} may be empty or long, and cannot stand in the line at the top", name)
			return nil
		}
		return f
	}
	do := "write one of {" + strings.Join(names, "}, {") + "}"
	if elsewhere(name) {
		do += "; {" + name + "} belongs to others"
	} else if near := rankwright.Nearest(name, names); near != "" {
		do = "did you mean {" + near + "}?"
	}
	r.fault(at, column, "no_field", do, "{%s} names nothing in this wording", short(name))
	return nil
}

// elsewhere says whether a field is one of another kind.
func elsewhere(name string) bool {
	for _, k := range Kinds() {
		if k.has(name) {
			return true
		}
	}
	return false
}

// whole looks at what the text needs besides being readable.
func (r *reader) whole(w *Wording) {
	named := map[string]bool{}
	stays := false
	for _, p := range w.body {
		sure := len(p) > 0
		for _, l := range p {
			for _, x := range l {
				if x.field != nil {
					named[x.field.Name] = true
					sure = sure && x.field.Sure
				}
			}
		}
		stays = stays || sure
	}
	for _, f := range w.kind.Fields() {
		if f.Required && !named[f.Name] {
			r.fault(0, 0, "needed", "write {"+f.Name+"} where it belongs: it stands for "+f.Means, "{%s} is missing, and without it this does not do what it is for", f.Name)
		}
	}
	if !stays {
		r.fault(1, 1, "all_may_go", "write a paragraph without a field that may be empty", "every paragraph names something that may be empty, and then nothing would be left")
	}
}
