package words_test

import (
	"encoding/json"
	"os/exec"
	"regexp"
	"strings"
	"testing"
	"time"
	"unicode"

	"rankwright"
	"rankwright/internal/words"
)

// intl asks the Intl of Node.js, which has the tables of the Unicode CLDR in
// ICU, and so is independent of ours.
func intl(t *testing.T, script string, out any) {
	t.Helper()
	b, err := exec.Command("node", "-e", "process.stdout.write(JSON.stringify((() => {"+script+"})()))").Output()
	if err != nil {
		t.Fatalf("node: %v", err)
	}
	if err := json.Unmarshal(b, out); err != nil {
		t.Fatal(err)
	}
}

// Places whose conventions differ: the first day of the week, the clock, the
// order of a date and the decimal mark.
func TestDatesTimesAndNumbersAreThoseOfThePlace(t *testing.T) {
	type said struct {
		Week         int
		Half         bool
		Month, Point bool
		List         string
	}
	tags := []string{"en-US", "en-GB", "en-CA", "en-AU", "en-IE", "en-IN", "en-PH", "en-NZ", "es-ES", "es-MX", "es-AR", "es-US", "es-CO", "es-PE", "es-CL", "es-PR", "es-UY", "es-VE"}
	list, err := json.Marshal(tags)
	if err != nil {
		t.Fatal(err)
	}
	var want map[string]said
	intl(t, `const out = {};
for (const tag of `+string(list)+`) {
  const l = new Intl.Locale(tag), w = l.getWeekInfo ? l.getWeekInfo() : l.weekInfo;
  const parts = new Intl.DateTimeFormat(tag, {dateStyle: "full"}).formatToParts(new Date(2026, 9, 10)).map(p => p.type);
  out[tag] = {Week: w.firstDay % 7, Half: new Intl.DateTimeFormat(tag, {hour: "numeric"}).resolvedOptions().hour12,
    Month: parts.indexOf("month") < parts.indexOf("day"), Point: new Intl.NumberFormat(tag).format(2.5) === "2.5",
    List: new Intl.ListFormat(tag.slice(0, 2) === "en" ? "en-GB" : tag).format(["Ana", "Ben", "Igor"])};
}
return out;`, &want)
	for _, tag := range tags {
		s := words.In(words.Lang(tag[:2])).At(words.Place{Country: tag[3:]})
		d := s.Day(rankwright.MustDay("2026-10-10"))
		half, err := rankwright.ParseAmount("2.5")
		if err != nil {
			t.Fatal(err)
		}
		got := said{int(s.FirstDay()), strings.Contains(s.Time(15*60+5), "3:05"), strings.Index(d, "ctob") < strings.Index(d, "10") && !strings.Contains(d, "octubre"),
			s.Number(half) == "2.5", s.And([]string{"Ana", "Ben", "Igor"})}
		if got != want[tag] {
			t.Errorf("%s: %+v, CLDR has %+v", tag, got, want[tag])
		}
	}
}

func TestTheClockIsTheSchoolsChoice(t *testing.T) {
	for _, tt := range []struct {
		l            words.Lang
		p            words.Place
		at           int
		want, ranged string
	}{
		{words.English, words.Place{}, 9*60 + 5, "09:05", "09:05–10:05"}, {words.Spanish, words.Place{}, 9*60 + 5, "9:05", "9:05–10:05"},
		{words.English, words.Place{Country: "US"}, 12 * 60, "12:00 pm", "12:00 pm–1:00 pm"}, {words.English, words.Place{Country: "US"}, 5, "12:05 am", "12:05 am–1:05 am"},
		{words.English, words.Place{Country: "US", Clock: "24"}, 15 * 60, "15:00", "15:00–16:00"}, {words.Spanish, words.Place{Country: "ES", Clock: "12"}, 15*60 + 30, "3:30 p. m.", "3:30 p. m.–4:30 p. m."},
		{words.Mirror, words.Place{}, 15*60 + 30, "١٥:٣٠", "١٥:٣٠–١٦:٣٠"},
	} {
		s := words.In(tt.l).At(tt.p)
		if got := strings.ReplaceAll(s.Time(tt.at), "\u00a0", " "); got != tt.want {
			t.Errorf("%s %+v: %q, want %q", tt.l, tt.p, got, tt.want)
		}
		if got := strings.ReplaceAll(s.Times(tt.at, tt.at+60), "\u00a0", " "); got != tt.ranged {
			t.Errorf("%s %+v: %q, want %q", tt.l, tt.p, got, tt.ranged)
		}
	}
	if words.In(words.English).FirstDay() != time.Monday || words.In(words.English).At(words.Place{Country: "EG"}).FirstDay() != time.Saturday {
		t.Error("weeks begin on another day")
	}
	for code, known := range map[string]bool{"GB": true, "gb": false, "XB": false, "": false, "419": false, "USA": false} {
		if words.KnownCountry(code) != known {
			t.Errorf("%q is a country: %v", code, !known)
		}
	}
}

// The usual cases of the Diccionario panhispánico de dudas (RAE), "y" and "o".
func TestSpanishJoinsBySound(t *testing.T) {
	es := words.In(words.Spanish)
	for _, tt := range []struct{ got, want string }{
		{es.And([]string{"padre", "hijo"}), "padre e hijo"}, {es.And([]string{"aceite", "hierro"}), "aceite y hierro"}, {es.And([]string{"Ana", "Inés"}), "Ana e Inés"},
		{es.And([]string{"Ana", "Íñigo"}), "Ana e Íñigo"}, {es.And([]string{"Inés", "Ana", "Yago"}), "Inés, Ana y Yago"},
		{es.Or([]string{"siete", "ocho"}), "siete u ocho"}, {es.Or([]string{"mujer", "hombre"}), "mujer u hombre"}, {es.Or([]string{"Ana", "Ben", "Cy"}), "Ana, Ben o Cy"},
		{words.In(words.English).Or([]string{"Ana", "Omar"}), "Ana or Omar"},
	} {
		if tt.got != tt.want {
			t.Errorf("got %q, want %q", tt.got, tt.want)
		}
	}
}

// The test language has the plural forms of Arabic, by the rules of CLDR.
func TestTheTestLanguageCountsAsArabicDoes(t *testing.T) {
	var forms map[string]string
	intl(t, `const r = new Intl.PluralRules("ar"), out = {}; for (let n = 0; n < 120; n++) out[n] = r.select(n); return out;`, &forms)
	letters := map[string]string{"zero": "ص", "one": "و", "two": "ث", "few": "ق", "many": "ك", "other": "غ"}
	s := words.In(words.Mirror)
	for n, form := range forms {
		var count int
		if err := json.Unmarshal([]byte(n), &count); err != nil {
			t.Fatal(err)
		}
		if got := s.Many("home.open", count); !strings.HasPrefix(got, letters[form]+" ") {
			t.Errorf("%s: %q, CLDR has the form %q", n, got, form)
		}
	}
}

// It has every sentence, in letters that run from right to left, and is offered
// to nobody.
func TestTheTestLanguageIsWholeAndOfferedToNobody(t *testing.T) {
	s := words.In(words.Mirror)
	for key, m := range words.Catalogue(words.English) {
		text := s.It(key)
		if m.One != "" {
			text = s.Many(key, 3)
		}
		if text == string(key) {
			t.Errorf("%s is missing", key)
		}
		bare := regexp.MustCompile(`<no value>|\{[^}]*\}`).ReplaceAllString(text, "")
		for _, r := range bare {
			if unicode.Is(unicode.Latin, r) {
				t.Errorf("%s: %q has Latin letters", key, text)
				break
			}
		}
	}
	if words.Offered(words.Mirror) || words.Pick("ar-XB", "ar-XB,ar") == words.Mirror {
		t.Error("the test language is offered")
	}
	if !words.Mirror.Right() || words.Spanish.Dir() != "" || !strings.Contains(words.Mirror.Name(), "test only") {
		t.Error("its direction or its label")
	}
}

// A name that runs the other way is set apart, so that the marks beside it stay
// where they belong; others are left as they are.
func TestNamesThatRunTheOtherWayAreSetApart(t *testing.T) {
	for _, tt := range []struct{ got, want string }{
		{words.In(words.English).And([]string{"Ana", "נועם"}), "Ana and \u2068נועם\u2069"},
		{words.In(words.English).It("plan.title", words.Set{Name: "Name", Value: "نوید"}), "\u2068نوید\u2069 practises at home"},
		{words.In(words.English).It("plan.title", words.Set{Name: "Name", Value: "Hanae"}), "Hanae practises at home"},
	} {
		if tt.got != tt.want {
			t.Errorf("got %q, want %q", tt.got, tt.want)
		}
	}
	if got := words.In(words.Mirror).It("plan.title", words.Set{Name: "Name", Value: "Ana"}); !strings.HasPrefix(got, "\u2068Ana\u2069 ") {
		t.Errorf("%q", got)
	}
}
