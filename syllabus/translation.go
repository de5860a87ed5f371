package syllabus

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"rankwright"
)

// Translation holds texts of a ladder in another language, as one file says
// them. It says nothing about what is asked: a syllabus in another language
// asks and decides the same, word for word of its rules.
type Translation struct {
	Ladder  rankwright.LadderID
	Lang    string // a BCP 47 tag
	Entries []Entry
}

// Entry is one text with its translation. It holds as long as the text is From.
type Entry struct {
	ID       string // as in Text
	From, To string // To is "" where it is not translated yet
	Line     int    // of the file
}

// Text is a text of a syllabus that people read.
type Text struct {
	// ID says where it stands, such as sections/KI or ranks/reed/asks/RE-KI1.
	// The parts of requirements have no place of their own: parts.
	ID   string
	Text string
}

// kindOf is what an id names: the same words of one kind are translated alike.
func kindOf(id string) string {
	parts := strings.Split(id, "/")
	switch {
	case len(parts) == 3: // scales/MOVE/2
		return "level"
	case len(parts) == 4: // ranks/reed/asks/RE-KI1, ranks/reed/belt/tip
		if parts[2] == "belt" {
			return parts[3]
		}
		return parts[2]
	}
	return parts[0]
}

// each calls f for every text that people read, in the order of the file.
// Labels of results and names of conditions are for the desk and stay.
func (s *Syllabus) each(f func(id string, text *string)) {
	f("name", &s.Name)
	for i := range s.Sections {
		f("sections/"+string(s.Sections[i].ID), &s.Sections[i].Name)
	}
	for i := range s.Clearances {
		f("clearances/"+string(s.Clearances[i].ID), &s.Clearances[i].Name)
	}
	for m := time.January; m <= time.December; m++ {
		if text, ok := s.Themes[m]; ok {
			f("themes/"+strconv.Itoa(int(m)), &text)
			s.Themes[m] = text
		}
	}
	for i := range s.Scales {
		sc := &s.Scales[i]
		f("scales/"+sc.ID, &sc.Name)
		for j := range sc.Levels {
			f("scales/"+sc.ID+"/"+strconv.Itoa(sc.Levels[j].Value), &sc.Levels[j].Words)
		}
	}
	for i := range s.Ranks {
		k := &s.Ranks[i]
		at := "ranks/" + string(k.ID)
		f(at, &k.Name)
		f(at+"/belt/colour", &k.Belt.Colour)
		f(at+"/belt/tip", &k.Belt.Tip)
		for j := range k.Requirements {
			q := &k.Requirements[j]
			f(at+"/asks/"+string(q.ID), &q.Show)
			for n := range q.Parts {
				f("parts", &q.Parts[n])
			}
		}
	}
}

// Texts lists every text that people read, each once: of the same words of one
// kind the first.
func (s *Syllabus) Texts() []Text {
	var out []Text
	seen := map[string]bool{}
	s.copied().each(func(id string, text *string) {
		key := kindOf(id) + "\n" + *text
		if *text != "" && !seen[key] {
			seen[key] = true
			out = append(out, Text{id, *text})
		}
	})
	return out
}

// In returns the syllabus with its texts as the translations say them, the
// first that has an entry for a text deciding. A text of which none has one, or
// has it untranslated, stays as it is. Nothing but texts differs.
func (s *Syllabus) In(list ...*Translation) *Syllabus {
	if len(list) == 0 {
		return s
	}
	looked := make([]lookup, len(list))
	for i, t := range list {
		looked[i] = t.lookup()
	}
	out := s.copied()
	out.each(func(id string, text *string) {
		for _, l := range looked {
			if to, ok := l.of(id, *text); ok {
				if to != "" {
					*text = to
				}
				return
			}
		}
	})
	return out
}

// lookup finds entries: by place first, then the same words of the same kind.
type lookup struct{ place, words map[string]string }

func (t *Translation) lookup() lookup {
	l := lookup{map[string]string{}, map[string]string{}}
	for _, e := range t.Entries {
		l.place[e.ID+"\n"+e.From] = e.To
		if key := kindOf(e.ID) + "\n" + e.From; l.words[key] == "" {
			l.words[key] = e.To
		}
	}
	return l
}

func (l lookup) of(id, text string) (string, bool) {
	to, ok := l.place[id+"\n"+text]
	if !ok {
		to, ok = l.words[kindOf(id)+"\n"+text]
	}
	return to, ok
}

// copied is the syllabus with texts of its own.
func (s *Syllabus) copied() *Syllabus {
	out := *s
	out.Sections, out.Clearances, out.Ranks = slices.Clone(s.Sections), slices.Clone(s.Clearances), slices.Clone(s.Ranks)
	out.Scales = slices.Clone(s.Scales)
	scales := map[string]*Scale{}
	for i := range out.Scales {
		out.Scales[i].Levels = slices.Clone(out.Scales[i].Levels)
		scales[out.Scales[i].ID] = &out.Scales[i]
	}
	out.Themes = maps.Clone(s.Themes)
	for i := range out.Ranks {
		k := &out.Ranks[i]
		k.Requirements = slices.Clone(k.Requirements)
		for j := range k.Requirements {
			q := &k.Requirements[j]
			q.Parts = slices.Clone(q.Parts)
			if q.Scale != nil && scales[q.Scale.ID] != nil {
				q.Scale = scales[q.Scale.ID]
			}
		}
	}
	return &out
}

// Missing is what a translation lacks.
type Missing struct {
	Untranslated []Text  // no entry, or one without words
	Stale        []Stale // the text has changed since
	Unknown      []Entry // no such place any more
}

// Stale is an entry whose text has changed since it was translated.
type Stale struct {
	Entry
	Now string
}

// Compare says what a translation lacks of a syllabus. A stale text is not
// counted among the untranslated.
func (t *Translation) Compare(s *Syllabus) (m Missing) {
	l := t.lookup()
	now := map[string]string{}
	words := map[string]bool{}
	s.copied().each(func(id string, text *string) {
		if id != "parts" {
			now[id] = *text
		}
		words[kindOf(id)+"\n"+*text] = true
	})
	stale := map[string]bool{}
	for _, e := range t.Entries {
		text, ok := now[e.ID]
		switch {
		case words[kindOf(e.ID)+"\n"+e.From]:
		case !ok || text == "":
			m.Unknown = append(m.Unknown, e)
		default:
			m.Stale = append(m.Stale, Stale{e, text})
			stale[kindOf(e.ID)+"\n"+text] = true
		}
	}
	for _, x := range s.Texts() {
		if to, ok := l.of(x.ID, x.Text); (!ok || to == "") && !stale[kindOf(x.ID)+"\n"+x.Text] {
			m.Untranslated = append(m.Untranslated, x)
		}
	}
	return m
}

// Lint says in words what a translation lacks of a syllabus, in the order of
// lines; what has no line comes first, as one remark.
func (t *Translation) Lint(s *Syllabus) (out []Remark) {
	m := t.Compare(s)
	if n := len(m.Untranslated); n > 0 {
		first := m.Untranslated[0]
		of := len(s.Texts())
		say := fmt.Sprintf("%d of %d texts are not translated; the first is %s, %s", n, of, first.ID, strconv.Quote(shorten(first.Text)))
		if n == 1 {
			say = fmt.Sprintf("1 of %d texts is not translated: %s, %s", of, first.ID, strconv.Quote(shorten(first.Text)))
		}
		out = append(out, Remark{1, say})
	}
	var ids []string
	written := map[string]string{} // by the id in small letters
	s.copied().each(func(id string, _ *string) {
		ids = append(ids, strings.ToLower(id))
		written[strings.ToLower(id)] = id
	})
	for _, x := range m.Stale {
		out = append(out, Remark{x.Line, fmt.Sprintf("%s has changed since it was translated: it says %s now, so the original is shown", x.ID, strconv.Quote(shorten(x.Now)))})
	}
	for _, e := range m.Unknown {
		say := fmt.Sprintf("the syllabus has no %s any more", e.ID)
		if e.ID == "parts" {
			say = fmt.Sprintf("no requirement of the syllabus has the part %s any more", strconv.Quote(shorten(e.From)))
		} else if near := rankwright.Nearest(e.ID, ids); near != "" {
			say += "; did you mean " + written[near] + "?"
		}
		out = append(out, Remark{e.Line, say})
	}
	slices.SortStableFunc(out, func(a, b Remark) int { return a.Line - b.Line })
	return out
}
