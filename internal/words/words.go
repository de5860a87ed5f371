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

// Langs lists the languages that families are offered, the first for whoever
// asks for none of them.
func Langs() []Lang { return []Lang{English, Spanish} }

// All lists every catalogue, that of the test language too.
func All() []Lang { return append(Langs(), Mirror) }

// Name is what a language is called by those who speak it.
func (l Lang) Name() string {
	switch l {
	case Spanish:
		return "Español"
	case Mirror:
		return "ابجد (test only)"
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
	lang  Lang
	loc   *i18n.Localizer
	place Place
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
	if err := b.AddMessages(language.Make(string(Mirror)), mirrorMessages()...); err != nil {
		panic("words: the test language cannot be made: " + err.Error())
	}
	for _, l := range All() {
		out[l] = &Say{lang: l, loc: i18n.NewLocalizer(b, string(l))}
	}
	return out
})

// mirrorMessages are the sentences of the test language.
func mirrorMessages() (out []*i18n.Message) {
	for key, m := range Catalogue(English) {
		x := &i18n.Message{ID: string(key), Other: mirrored(key, m.Other)}
		if m.One != "" {
			for i, to := range []*string{&x.Zero, &x.One, &x.Two, &x.Few, &x.Many, &x.Other} {
				*to = mirrorForms[i].letter + " " + mirrored(key, m.Other)
			}
		}
		out = append(out, x)
	}
	return out
}

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
	return s.plain(key, s.data(values))
}

// plain says a sentence with values that are written already.
func (s *Say) plain(key Key, values map[string]any) string {
	return s.say(&i18n.LocalizeConfig{MessageID: string(key), TemplateData: values})
}

// Many says a sentence that has a form for one and for many; the number stands
// in it as N.
func (s *Say) Many(key Key, n int, values ...Set) string {
	return s.say(&i18n.LocalizeConfig{MessageID: string(key), TemplateData: s.data(append(values, Set{"N", n})), PluralCount: n})
}

func (s *Say) say(c *i18n.LocalizeConfig) string {
	text, err := s.loc.Localize(c)
	if err != nil || text == "" {
		return c.MessageID
	}
	return text
}

// data writes values as the language does: numbers with its digits and marks,
// and words that run the other way set apart.
func (s *Say) data(values []Set) map[string]any {
	out := map[string]any{}
	for _, v := range values {
		switch x := v.Value.(type) {
		case int:
			out[v.Name] = s.Number(rankwright.Whole(x))
		case rankwright.Amount:
			out[v.Name] = s.Number(x)
		case string:
			out[v.Name] = s.lang.apart(x)
		default:
			out[v.Name] = x
		}
	}
	return out
}

// Has says whether a sentence is in the catalogue of the language itself.
func (s *Say) Has(key Key) bool {
	l := s.lang
	if l == Mirror { // made of the English one
		l = English
	}
	_, ok := Catalogue(l)[key]
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
	return s.It(s.dated("day.long"), Set{"Weekday", s.Weekday(d)}, Set{"Day", day}, Set{"Month", s.pick("day.months", int(m)-1)}, Set{"Year", y})
}

// Date writes a day without its day of the week, such as "10 October 2026" and
// "10 de octubre de 2026".
func (s *Say) Date(d rankwright.Day) string {
	if d == 0 {
		return ""
	}
	y, m, day := d.Date()
	return s.It(s.dated("day.date"), Set{"Day", day}, Set{"Month", s.pick("day.months", int(m)-1)}, Set{"Year", y})
}

// Short writes a day without its year, such as "10 Oct" and "10 oct".
func (s *Say) Short(d rankwright.Day) string {
	_, m, day := d.Date()
	return s.It(s.dated("day.short"), Set{"Day", day}, Set{"Month", s.pick("day.months.short", int(m)-1)})
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

// Comma is what stands between the members of a list.
func (s *Say) Comma() string { return s.plain("list.comma", nil) }

// And joins names as a sentence does, in the order in which they are given.
func (s *Say) And(names []string) string { return s.join("and", names) }

// Or joins names of which one is meant.
func (s *Say) Or(names []string) string { return s.join("or", names) }

func (s *Say) join(key Key, names []string) string {
	if n := len(names); n > 1 {
		last := names[n-1]
		if sound := soundOf(last); sound == 'i' && key == "and" || sound == 'o' && key == "or" {
			key += Key(".before-" + string(sound))
		}
		var before []string
		for _, x := range names[:n-1] {
			before = append(before, s.lang.apart(x))
		}
		return s.plain(key, map[string]any{"Before": strings.Join(before, s.Comma()), "Last": s.lang.apart(last)})
	}
	return s.lang.apart(strings.Join(names, ""))
}

// soundOf is the sound with which a word begins, 'i' or 'o', as far as Spanish
// minds it: before the sound of i it joins with "e", unless a vowel follows at
// once as in hielo, and before that of o with "u" (Real Academia Española,
// Diccionario panhispánico de dudas, "y" and "o"). 0 is any other.
func soundOf(word string) rune {
	w := []rune(strings.TrimPrefix(strings.ToLower(word), "h"))
	if len(w) == 0 {
		return 0
	}
	switch w[0] {
	case 'o', 'ó', '8': // as in ocho
		return 'o'
	case 'i', 'í':
		if w[0] == 'i' && len(w) > 1 && strings.ContainsRune("aeouáéóú", w[1]) {
			return 0
		}
		return 'i'
	}
	return 0
}
