package syllabus

import (
	"fmt"
	"strconv"
	"strings"

	"rankwright"
)

// TranslationFormat is the word and number with which a translation begins.
const TranslationFormat = "translation 1"

// IsTranslation says whether a file means to be a translation, and not a
// syllabus.
func IsTranslation(data []byte) bool {
	for line := range strings.Lines(strings.TrimPrefix(string(data), "\ufeff")) {
		key, value, _ := strings.Cut(line, ":")
		if strings.Trim(key, `"' `) == "rankwright" {
			return strings.HasPrefix(strings.TrimLeft(value, "\"' \t"), "translation")
		}
	}
	return false
}

// isTag says whether a text has the shape of a BCP 47 tag (RFC 5646), without
// private use alone: a language of two or three small letters, then subtags.
func isTag(s string) bool {
	parts := strings.Split(s, "-")
	for i, p := range parts {
		low, high := 2, 8
		if i == 0 {
			high = 3
		}
		if len(p) < low || len(p) > high {
			return false
		}
		for _, c := range p {
			if !(c >= 'a' && c <= 'z' || i > 0 && (c >= 'A' && c <= 'Z' || c >= '0' && c <= '9')) {
				return false
			}
		}
	}
	return true
}

// ParseTranslation reads one translation file. It reports every fault that it
// finds, each with line, column and what would be right; with a fault there is
// no translation. file is used in messages only. What the file lacks of a
// syllabus is for Lint.
func ParseTranslation(file string, data []byte) (*Translation, error) {
	r := &reader{file: file, what: "a translation"}
	p := &translator{builder: &builder{reader: r, s: &Syllabus{}}, t: &Translation{}, seen: map[string]int{}}
	if doc := r.load(data); doc != nil {
		p.document(doc)
	}
	if fs := r.sorted(); len(fs) > 0 {
		return nil, fs
	}
	return p.t, nil
}

type translator struct {
	*builder
	t    *Translation
	seen map[string]int // lines, by place and text
}

func (p *translator) document(doc *node) {
	o := p.object(doc, "the translation", "rankwright", "ladder", "language", "name", "sections", "clearances", "themes", "scales", "ranks", "parts")
	if f := p.need(o, "rankwright", "rankwright: "+TranslationFormat+" as the first line"); f != nil && f.text != TranslationFormat {
		p.fault(f, "other_format", "write rankwright: "+TranslationFormat, "this program reads %q, not %s", TranslationFormat, f.describe())
	}
	p.t.Ladder = rankwright.LadderID(p.ident(p.need(o, "ladder", "ladder: and the id of the ladder, as the syllabus has it"), "the ladder's id"))
	if n := p.need(o, "language", "language: and its tag, such as language: es"); n != nil {
		before := p.found
		if p.t.Lang = p.str(n, "the language", 35); p.found == before && !isTag(p.t.Lang) {
			p.fault(n, "bad_language", "write its tag, such as es, fr or pt-BR", "%q is not the tag of a language", p.t.Lang)
		}
	}
	p.entry("name", o.get("name"))
	p.group(o.get("sections"), "sections", "such as KI: {from: Kicks, to: Patadas}", p.entry)
	p.group(o.get("clearances"), "clearances", "such as consent: {from: Consent, to: Consentimiento}", p.entry)
	p.group(o.get("themes"), "themes", "such as 1: {from: patience, to: paciencia}", p.entry)
	p.group(o.get("scales"), "scales", "such as MOVE: and below it name and levels", func(id string, n *node) {
		f := p.object(n, id, "name", "levels")
		p.entry(id, f.get("name"))
		p.group(f.get("levels"), id, "such as 2: {from: steady, to: firme}", p.entry)
	})
	p.group(o.get("ranks"), "ranks", "such as reed: and below it name and asks", func(id string, n *node) {
		f := p.object(n, id, "name", "colour", "tip", "asks")
		p.entry(id, f.get("name"))
		p.entry(id+"/belt/colour", f.get("colour"))
		p.entry(id+"/belt/tip", f.get("tip"))
		p.group(f.get("asks"), id+"/asks", "such as K1: {from: Front kick, to: Patada frontal}", p.entry)
	})
	for _, n := range p.each(o.get("parts"), "parts") {
		p.entry("parts", n)
	}
}

// group reads a group of keys and hands each on with its place.
func (p *translator) group(n *node, at, example string, do func(id string, n *node)) {
	if n.empty() {
		return
	}
	o := p.anyKeys(n, at, example)
	for i, k := range o.keys {
		before := p.found
		if id := p.ident(k, "an id of "+at); p.found == before {
			do(at+"/"+id, o.items[i])
		}
	}
}

// entry reads one text with its translation.
func (p *translator) entry(id string, n *node) {
	if n.empty() {
		return
	}
	before := p.found
	o := p.object(n, id, "from", "to")
	e := Entry{ID: id, Line: n.line, From: p.words(p.need(o, "from", "from: and the text as the syllabus has it"), "from of "+id), To: p.words(o.get("to"), "to of "+id)}
	if p.found > before {
		return
	}
	key := id + "\n" + e.From
	if line, twice := p.seen[key]; twice {
		p.fault(n, "double_text", "remove one of the two", "%s is already translated on line %d", strconv.Quote(shorten(e.From)), line)
		return
	}
	p.seen[key] = n.line
	p.t.Entries = append(p.t.Entries, e)
}

// words reads a text. Marks that turn the direction of what follows (Unicode
// Standard Annex 9, 2.1 to 2.5) are refused, since they reach out of the text;
// pages set texts apart by themselves.
func (p *translator) words(n *node, what string) string {
	s := p.str(n, what, maxWords)
	if i := strings.IndexFunc(s, func(c rune) bool { return c >= 0x202a && c <= 0x202e || c >= 0x2066 && c <= 0x2069 }); i >= 0 {
		p.fault(n, "bad_text", "remove it: texts are set apart from what stands beside them as it is", "%s holds a mark that turns the direction of writing", what)
		return ""
	}
	return s
}

// maxWords is the length of the longest text, in characters: half as long
// again as the longest that a syllabus may have.
const maxWords = 600

// Untranslated writes the file in which a syllabus is translated: every text
// with what the translations, the first before the others, have for it, and
// "" where they have nothing.
func (s *Syllabus) Untranslated(lang string, list ...*Translation) []byte {
	looked := make([]lookup, len(list))
	for i, t := range list {
		looked[i] = t.lookup()
	}
	pair := func(x Text) string {
		to := ""
		for _, l := range looked {
			if have, ok := l.of(x.ID, x.Text); ok {
				to = have
				break
			}
		}
		return "{from: " + quoted(x.Text) + ", to: " + quoted(to) + "}\n"
	}
	var b strings.Builder
	fmt.Fprintf(&b, "rankwright: %s\nladder: %s\nlanguage: %s\n\n# Write behind each \"to\" what the text is called; \"from\" stays as it is. What is\n# left empty is shown as the syllabus has it.\n", TranslationFormat, key(string(s.Ladder)), lang)
	var in, parts []string
	for _, x := range s.Texts() {
		if x.ID == "parts" {
			parts = append(parts, "  - "+pair(x))
			continue
		}
		to := keysOf(x.ID)
		groups := to[:len(to)-1]
		same := 0
		for same < min(len(in), len(groups)) && in[same] == groups[same] {
			same++
		}
		for i := same; i < len(groups); i++ {
			b.WriteString(strings.Repeat("  ", i) + key(groups[i]) + ":\n")
		}
		b.WriteString(strings.Repeat("  ", len(groups)) + key(to[len(to)-1]) + ": " + pair(x))
		in = groups
	}
	if len(parts) > 0 {
		b.WriteString("parts:\n" + strings.Join(parts, ""))
	}
	return []byte(b.String())
}

// keysOf are the keys under which the file has the text of a place.
func keysOf(id string) []string {
	p := strings.Split(id, "/")
	switch {
	case p[0] == "scales" && len(p) == 3:
		return []string{p[0], p[1], "levels", p[2]}
	case p[0] == "ranks" && len(p) == 4 && p[2] == "belt":
		return []string{p[0], p[1], p[3]}
	case (p[0] == "scales" || p[0] == "ranks") && len(p) == 2:
		return append(p, "name")
	}
	return p
}

// key and quoted write an id and a text so that YAML reads them as they are.
func key(id string) string {
	if c := id[0]; c == '-' || c == '_' {
		return quoted(id)
	}
	return id
}

func quoted(text string) string { return strconv.Quote(text) }
