package wording

import (
	"fmt"
	"html/template"
	"net/url"
	"strings"
	"unicode"

	"rankwright"
	"rankwright/internal/words"
)

// Values are what stands in the fields of one letter, by their names: one text
// for most, several for a list. A field that has none is empty.
type Values map[string][]string

// Filled is a wording with everything in its place.
type Filled struct {
	Lang    words.Lang
	Subject string
	Blocks  []Block
}

// Block is a part of a paragraph: lines of text, or a list. First says that a
// paragraph begins here.
type Block struct {
	First bool
	Lines [][]Run
	Items []string // of a list; there are no lines then
}

// Run is text of one sort: the wording's own, what stands in a field, or an
// address.
type Run struct {
	Text        string
	Value, Link bool
}

// Words is a line's words without regard to where they come from.
func Words(l []Run) string {
	var b strings.Builder
	for _, r := range l {
		b.WriteString(r.Text)
	}
	return b.String()
}

// Fill puts values into the wording. It fails where a field that is always
// there has none, where an address is none, and where a value has a name that
// the kind does not know, which are faults of the caller.
func (w *Wording) Fill(v Values) (*Filled, error) {
	clean := Values{}
	for name := range v {
		if !w.kind.has(name) {
			return nil, fmt.Errorf("wording: %s has no field %q", w.kind, name)
		}
	}
	for _, f := range w.kind.Fields() {
		for _, s := range v[f.Name] {
			if s = oneLine(s); s != "" {
				clean[f.Name] = append(clean[f.Name], s)
			}
		}
		list := clean[f.Name]
		switch {
		case len(list) == 0 && f.Sure:
			return nil, rankwright.Faultf(rankwright.Invalid, "no_value", "fill it in first", "there is nothing to put where the wording says {%s}", f.Name)
		case len(list) > 1 && !f.List:
			return nil, fmt.Errorf("wording: {%s} stands for one text, not for %d", f.Name, len(list))
		case f.Link && len(list) == 1 && !address(list[0]):
			return nil, rankwright.Faultf(rankwright.Invalid, "no_address", "give an address that begins with https://", "%q cannot be opened", list[0])
		}
	}
	out := &Filled{Lang: w.lang, Subject: Words(w.apart(w.runs(w.subject, clean)))}
	for _, p := range w.body {
		if !emptyIn(p, clean) {
			out.Blocks = append(out.Blocks, w.blocks(p, clean)...)
		}
	}
	return out, nil
}

func (k Kind) has(name string) bool {
	for _, f := range k.Fields() {
		if f.Name == name {
			return true
		}
	}
	return false
}

// oneLine is a value as it can stand in a line: no line ends, with which a name
// could begin a paragraph or a header of its own, and nothing hidden.
func oneLine(s string) string {
	keep := closed(s)
	s = strings.Map(func(c rune) rune {
		switch {
		case unicode.IsSpace(c):
			return ' '
		case hidden(c) && !(keep && isolates(c)):
			return -1
		}
		return c
	}, s)
	return strings.Join(strings.Fields(s), " ")
}

// isolates says whether a character begins or ends a part that is laid out by
// itself (Unicode Standard Annex 9); package words sets names apart with them.
func isolates(c rune) bool { return c >= 0x2066 && c <= 0x2069 }

// closed says whether each such part ends within the text.
func closed(s string) bool {
	depth := 0
	for _, c := range s {
		switch {
		case c == 0x2069:
			depth--
		case isolates(c):
			depth++
		}
		if depth < 0 {
			return false
		}
	}
	return depth == 0
}

func address(s string) bool {
	u, err := url.Parse(s)
	return err == nil && (u.Scheme == "https" || u.Scheme == "http") && u.Host != "" && !strings.ContainsAny(s, " \"'<>\\")
}

// emptyIn says whether a paragraph names something that is empty.
func emptyIn(p []line, v Values) bool {
	for _, l := range p {
		for _, x := range l {
			if x.field != nil && len(v[x.field.Name]) == 0 {
				return true
			}
		}
	}
	return len(p) == 0
}

func (w *Wording) blocks(p []line, v Values) (out []Block) {
	for _, l := range p {
		if l.list() {
			out = append(out, Block{Items: v[l.only().Name]})
			continue
		}
		if n := len(out); n == 0 || out[n-1].Items != nil {
			out = append(out, Block{})
		}
		last := &out[len(out)-1]
		last.Lines = append(last.Lines, w.runs(l, v))
	}
	out[0].First = true
	return out
}

// only is the one field of a line that has nothing else, or nil.
func (l line) only() (f *Field) {
	for _, x := range l {
		switch {
		case x.field == nil && strings.TrimSpace(x.text) == "":
		case x.field == nil || f != nil:
			return nil
		default:
			f = x.field
		}
	}
	return f
}

func (l line) list() bool {
	f := l.only()
	return f != nil && f.List
}

func (w *Wording) runs(l line, v Values) (out []Run) {
	for _, x := range l {
		switch {
		case x.field == nil:
			out = append(out, Run{Text: x.text})
		case x.field.List:
			out = append(out, Run{Text: words.In(w.lang).And(v[x.field.Name]), Value: true})
		default:
			out = append(out, Run{Text: v[x.field.Name][0], Value: true, Link: x.field.Link})
		}
	}
	return out
}

// apart sets values apart whose letters run the other way than the language: a
// subject is one plain text, without the marks of a page.
func (w *Wording) apart(list []Run) []Run {
	for i := range list {
		if list[i].Value {
			list[i].Text = words.In(w.lang).Apart(list[i].Text)
		}
	}
	return list
}

// Plain is the body as plain text: an empty line between paragraphs, a dash
// before each item of a list.
func (f *Filled) Plain() string {
	var b strings.Builder
	for _, x := range f.Blocks {
		if x.First && b.Len() > 0 {
			b.WriteString("\n")
		}
		for _, l := range x.Lines {
			b.WriteString(Words(l) + "\n")
		}
		for _, s := range x.Items {
			b.WriteString("- " + s + "\n")
		}
	}
	return b.String()
}

// body is the one template through which everything goes: what a school or a
// family wrote is data to it and is escaped for the place where it stands.
var body = template.Must(template.New("body").Parse(`{{range .}}{{if .Items}}<ul>{{range .Items}}<li><bdi>{{.}}</bdi></li>{{end}}</ul>
{{else}}<p>{{range $i, $l := .Lines}}{{if $i}}<br>{{end}}{{range $l}}` +
	`{{if .Link}}<a href="{{.Text}}">{{.Text}}</a>{{else if .Value}}<bdi>{{.Text}}</bdi>{{else}}{{.Text}}{{end}}{{end}}{{end}}</p>
{{end}}{{end}}`))

// HTML is the body as paragraphs and lists.
func (f *Filled) HTML() (template.HTML, error) {
	var b strings.Builder
	if err := body.Execute(&b, f.Blocks); err != nil {
		return "", fmt.Errorf("wording: %w", err)
	}
	return template.HTML(b.String()), nil
}
