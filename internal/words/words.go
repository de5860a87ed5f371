// Package words says to families what the pages and papers have to say, in
// their language. Every sentence stands in one catalogue a language, en.json
// and the others beside it; a test holds them complete. What a school writes
// itself, such as its syllabus, is not translated here.
package words

import (
	"embed"
	"encoding/json"
	"fmt"
	"io/fs"
	"slices"
	"strings"
	"sync"

	"github.com/nicksnyder/go-i18n/v2/i18n"
	"golang.org/x/text/language"

	"rankwright"
)

// Lang is a language as a BCP 47 tag.
type Lang string

// The languages, each with a whole catalogue.
const (
	English Lang = "en"
	Spanish Lang = "es"
)

// Langs lists the languages, the first for whoever asks for none of them.
func Langs() []Lang { return []Lang{English, Spanish} }

// Name is what a language is called by those who speak it.
func (l Lang) Name() string {
	switch l {
	case Spanish:
		return "Español"
	}
	return "English"
}

// Offered says whether a language is one of Langs.
func Offered(l Lang) bool { return slices.Contains(Langs(), l) }

//go:embed *.json
var files embed.FS

// Key names a sentence in the catalogues.
type Key string

// Set is a value for the place of a name in a sentence.
type Set struct {
	Name  string
	Value any
}

// Say says sentences in one language.
type Say struct {
	lang Lang
	loc  *i18n.Localizer
}

var all = sync.OnceValue(func() map[Lang]*Say {
	b := i18n.NewBundle(language.English)
	b.RegisterUnmarshalFunc("json", json.Unmarshal)
	out := map[Lang]*Say{}
	for _, l := range Langs() {
		if _, err := b.LoadMessageFileFS(files, string(l)+".json"); err != nil {
			panic("words: the catalogue " + string(l) + " that is built in cannot be read: " + err.Error())
		}
	}
	for _, l := range Langs() {
		out[l] = &Say{l, i18n.NewLocalizer(b, string(l))}
	}
	return out
})

// In returns what says sentences in a language, English where it is none of
// Langs.
func In(l Lang) *Say {
	if s, ok := all()[l]; ok {
		return s
	}
	return all()[English]
}

// Pick chooses a language: the one that was chosen, else the best for a
// browser's Accept-Language.
func Pick(chosen, accept string) Lang {
	for _, l := range Langs() {
		if string(l) == chosen {
			return l
		}
	}
	var tags []language.Tag
	for _, l := range Langs() {
		tags = append(tags, language.Make(string(l)))
	}
	want, _, err := language.ParseAcceptLanguage(accept)
	if err != nil || len(want) == 0 {
		return Langs()[0]
	}
	_, i, _ := language.NewMatcher(tags).Match(want...)
	return Langs()[i]
}

// Lang is the language in which it speaks.
func (s *Say) Lang() Lang { return s.lang }

// It says a sentence, with values for the names in it. A sentence that is not
// there is said as its key; the tests let none be missing.
func (s *Say) It(key Key, values ...Set) string {
	return s.say(&i18n.LocalizeConfig{MessageID: string(key), TemplateData: data(values)})
}

// Many says a sentence that has a form for one and for many; the number stands
// in it as N.
func (s *Say) Many(key Key, n int, values ...Set) string {
	return s.say(&i18n.LocalizeConfig{MessageID: string(key), TemplateData: data(append(values, Set{"N", n})), PluralCount: n})
}

func (s *Say) say(c *i18n.LocalizeConfig) string {
	text, err := s.loc.Localize(c)
	if err != nil || text == "" {
		return c.MessageID
	}
	return text
}

func data(values []Set) map[string]any {
	out := map[string]any{}
	for _, v := range values {
		out[v.Name] = v.Value
	}
	return out
}

// Has says whether a sentence is in the catalogue of the language itself.
func (s *Say) Has(key Key) bool {
	_, ok := Catalogue(s.lang)[key]
	return ok
}

// Message is a sentence of a catalogue as it is written; One is "" where it
// has no form for one.
type Message struct{ One, Other string }

var catalogues = sync.OnceValue(func() map[Lang]map[Key]Message {
	out := map[Lang]map[Key]Message{}
	for _, l := range Langs() {
		b, err := fs.ReadFile(files, string(l)+".json")
		if err != nil {
			panic("words: " + err.Error())
		}
		var raw map[Key]json.RawMessage
		if err := json.Unmarshal(b, &raw); err != nil {
			panic(fmt.Sprintf("words: catalogue %s: %v", l, err))
		}
		out[l] = map[Key]Message{}
		for k, v := range raw {
			var m Message
			if json.Unmarshal(v, &m.Other) != nil {
				if err := json.Unmarshal(v, &m); err != nil {
					panic(fmt.Sprintf("words: catalogue %s, %s: %v", l, k, err))
				}
			}
			out[l][k] = m
		}
	}
	return out
})

// Catalogue is every sentence of a language. It is read only.
func Catalogue(l Lang) map[Key]Message { return catalogues()[l] }

// Day writes a day in words, such as "Saturday 10 October 2026" and "sábado 10
// de octubre de 2026".
func (s *Say) Day(d rankwright.Day) string {
	if d == 0 {
		return ""
	}
	y, m, day := d.Date()
	return s.It("day.long", Set{"Weekday", s.Weekday(d)}, Set{"Day", day}, Set{"Month", s.pick("day.months", int(m)-1)}, Set{"Year", y})
}

// Date writes a day without its day of the week, such as "10 October 2026" and
// "10 de octubre de 2026".
func (s *Say) Date(d rankwright.Day) string {
	if d == 0 {
		return ""
	}
	y, m, day := d.Date()
	return s.It("day.date", Set{"Day", day}, Set{"Month", s.pick("day.months", int(m)-1)}, Set{"Year", y})
}

// Short writes a day without its year, such as "10 Oct" and "10 oct".
func (s *Say) Short(d rankwright.Day) string {
	_, m, day := d.Date()
	return s.It("day.short", Set{"Day", day}, Set{"Month", s.pick("day.months.short", int(m)-1)})
}

// Weekday is the name of a day of the week.
func (s *Say) Weekday(d rankwright.Day) string {
	return s.pick("day.weekdays", (int(d.Weekday())+6)%7)
}

// WeekdayShort is the name of a day of the week in a few letters.
func (s *Say) WeekdayShort(d rankwright.Day) string {
	return s.pick("day.weekdays.short", (int(d.Weekday())+6)%7)
}

// pick takes one of the words of a list, which stand with a comma between.
func (s *Say) pick(key Key, i int) string {
	return strings.Split(s.It(key), ",")[i]
}

// And joins names as a sentence does.
func (s *Say) And(names []string) string {
	if n := len(names); n > 1 {
		last, key := names[n-1], Key("and")
		if soundsLikeI(last) {
			key = "and.before-i"
		}
		return s.It(key, Set{"Before", strings.Join(names[:n-1], ", ")}, Set{"Last", last})
	}
	return strings.Join(names, "")
}

// soundsLikeI says whether a word begins with the sound of i, before which
// Spanish joins with "e" (Real Academia Española, Diccionario panhispánico de
// dudas, "y").
func soundsLikeI(word string) bool {
	w := []rune(strings.TrimPrefix(strings.ToLower(word), "h"))
	if len(w) == 0 || w[0] != 'i' && w[0] != 'í' {
		return false
	}
	return len(w) < 2 || !strings.ContainsRune("aeouáéóú", w[1]) // as in hielo
}
