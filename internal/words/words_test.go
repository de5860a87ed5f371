package words_test

import (
	"regexp"
	"slices"
	"strings"
	"testing"

	"rankwright"
	"rankwright/internal/words"
)

var place = regexp.MustCompile(`\{\{\.([A-Za-z]+)\}\}`)

// names are the places for values in a text, each once.
func names(text string) (out []string) {
	for _, m := range place.FindAllStringSubmatch(text, -1) {
		if !slices.Contains(out, m[1]) {
			out = append(out, m[1])
		}
	}
	slices.Sort(out)
	return out
}

func TestEveryCatalogueSaysEverySentenceWithTheSameNamesInIt(t *testing.T) {
	english := words.Catalogue(words.English)
	if len(english) < 150 {
		t.Fatalf("the catalogue has %d sentences only", len(english))
	}
	for _, l := range words.Langs() {
		own := words.Catalogue(l)
		for key, m := range english {
			o, ok := own[key]
			switch {
			case !ok:
				t.Errorf("%s does not say %q", l, key)
			case o.Other == "" || m.One != "" && o.One == "":
				t.Errorf("%s says nothing for %q, or has no form for one", l, key)
			case !slices.Equal(names(o.Other), names(m.Other)):
				t.Errorf("%s has other names in %q: %v, not %v", l, key, names(o.Other), names(m.Other))
			case strings.Count(o.Other, "{{") != len(place.FindAllString(o.Other, -1)):
				t.Errorf("%s: %q has a place for a value that is no plain name", l, key)
			}
			if l != words.English && o.Other == m.Other && len(m.Other) > 12 && !strings.HasPrefix(m.Other, "{{") {
				t.Errorf("%s: %q is not translated", l, key)
			}
		}
		for key := range own {
			if _, ok := english[key]; !ok {
				t.Errorf("%s says %q, which nobody asks for", l, key)
			}
		}
	}
}

// Dates as the Unicode CLDR 46 writes them in full, without the comma behind
// the weekday, which our pages leave out (en-GB: Saturday 10 October 2026; es:
// sábado, 10 de octubre de 2026).
func TestDaysAreWrittenAsPeopleWriteThem(t *testing.T) {
	d := rankwright.MustDay("2026-10-10")
	for _, tt := range []struct {
		l                 words.Lang
		long, short, week string
	}{{words.English, d.Long(), "10 Oct", "Sat"}, {words.Spanish, "sábado 10 de octubre de 2026", "10 oct", "sáb"}} {
		s := words.In(tt.l)
		if s.Day(d) != tt.long || s.Short(d) != tt.short || s.WeekdayShort(d) != tt.week {
			t.Errorf("%s: %q, %q, %q", tt.l, s.Day(d), s.Short(d), s.WeekdayShort(d))
		}
	}
	for m := range 12 {
		for _, l := range words.Langs() {
			if words.In(l).Day(rankwright.NewDay(2026, 1, 1).AddMonths(m, rankwright.LastDay)) == "" {
				t.Error("no day")
			}
		}
	}
}

func TestNamesAreJoinedAndLanguagesAreChosen(t *testing.T) {
	for _, tt := range []struct{ got, want string }{
		{words.In(words.English).And(nil), ""}, {words.In(words.English).And([]string{"Ana"}), "Ana"},
		{words.In(words.English).And([]string{"Ana", "Ben", "Cy"}), "Ana, Ben and Cy"}, {words.In(words.Spanish).And([]string{"Ana", "Ben"}), "Ana y Ben"},
		{words.In(words.Spanish).And([]string{"Zofia", "Igor"}), "Zofia e Igor"}, {words.In(words.Spanish).And([]string{"Ana", "Hilda"}), "Ana e Hilda"},
		{words.In(words.Spanish).And([]string{"Ana", "Iago"}), "Ana y Iago"}, {words.In(words.English).And([]string{"Zofia", "Igor"}), "Zofia and Igor"},
		{string(words.Pick("", "")), "en"}, {string(words.Pick("", "es-MX,es;q=0.9,en;q=0.5")), "es"}, {string(words.Pick("en", "es")), "en"},
		{string(words.Pick("tlh", "ja,ko;q=0.5")), "en"}, {string(words.Pick("", ";;;")), "en"}, {string(words.In("tlh").Lang()), "en"},
		{words.In(words.English).It("no.such.sentence"), "no.such.sentence"},
	} {
		if tt.got != tt.want {
			t.Errorf("got %q, want %q", tt.got, tt.want)
		}
	}
}
