package roster

import (
	"os"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"rankwright"
)

var today = rankwright.MustDay("2026-10-10")

func TestADateIsReadInEveryWayOfWritingIt(t *testing.T) {
	for _, c := range []struct {
		text  string
		order Order
		want  string
	}{
		{"2017-03-25", UnknownOrder, "2017-03-25"},
		{"2017/03/25", UnknownOrder, "2017-03-25"},
		{"2017.3.5", UnknownOrder, "2017-03-05"},
		{"20170325", UnknownOrder, "2017-03-25"},
		{"2017-03-25 00:00:00", UnknownOrder, "2017-03-25"},
		{"2017-03-25T00:00:00Z", UnknownOrder, "2017-03-25"},
		{"25/03/2017", UnknownOrder, "2017-03-25"},
		{"03/25/2017", UnknownOrder, "2017-03-25"},
		{"03/04/2017", DayFirst, "2017-04-03"},
		{"03/04/2017", MonthFirst, "2017-03-04"},
		{"3-4-2017 0:00", DayFirst, "2017-04-03"},
		{"07/07/2017", UnknownOrder, "2017-07-07"},
		{"03.04.2017", UnknownOrder, "2017-04-03"},
		{"3. 4. 2017", UnknownOrder, "2017-04-03"},
		{"25/03/17", UnknownOrder, "2017-03-25"},
		{"10/10/26", UnknownOrder, "2026-10-10"},
		{"11/10/26", DayFirst, "1926-10-11"},
		{"17-03-16", YearFirst, "2017-03-16"},
		{"25 March 2017", UnknownOrder, "2017-03-25"},
		{"March 25th, 2017", UnknownOrder, "2017-03-25"},
		{"25-Mar-17", UnknownOrder, "2017-03-25"},
		{"Saturday 25 Mar. 2017", UnknownOrder, "2017-03-25"},
		{"25 de marzo de 2017", UnknownOrder, "2017-03-25"},
		{"1 de SEPTIEMBRE del 2017", UnknownOrder, "2017-09-01"},
		{"9 setiembre 2017", UnknownOrder, "2017-09-09"},
		{"2-ene-2016", UnknownOrder, "2016-01-02"},
		{"29/02/2016", UnknownOrder, "2016-02-29"},
		{"42038", UnknownOrder, "2015-02-03"},
		{"42038.0", UnknownOrder, "2015-02-03"},
		{"42038.75", UnknownOrder, "2015-02-03"},
	} {
		got, ok := readDate(c.text, today, false).in(c.order)
		if !ok || got.String() != c.want {
			t.Errorf("%s in %s: got %s, want %s", c.text, c.order.Label(), got, c.want)
		}
	}
}

func TestWhatIsNoDateIsNotMadeOne(t *testing.T) {
	for _, text := range []string{"31.02.2017", "2017-02-29", "29/02/2017", "2017-13-01", "20171301", "00/01/2017", "1/1/1", "1/1/017",
		"March 2017", "2017", "32 March 2017", "soon", "12", "1/2/3/4", "0000-01-01", "999999", "25 March March", "1//2", "٣/٤/٢٠١٧", "-1"} {
		if rd := readDate(text, today, false); rd.isDate() || rd.trouble == "" {
			t.Errorf("%q was read as %v with the trouble %q", text, rd, rd.trouble)
		}
	}
}

// TestEveryDayIsReadAsGoWritesIt compares with Go's time package, which
// writes the same day in other ways.
func TestEveryDayIsReadAsGoWritesIt(t *testing.T) {
	layouts := map[string]Order{"2006-01-02": UnknownOrder, "02/01/2006": DayFirst, "1/2/2006": MonthFirst, "02.01.2006": UnknownOrder,
		"2 January 2006": UnknownOrder, "Jan 2, 2006": UnknownOrder, "Monday 02-Jan-2006": UnknownOrder, "20060102": UnknownOrder,
		"2/1/06": DayFirst, "06-01-02": YearFirst, "2006-01-02T15:04:05Z": UnknownOrder, "02/01/2006 15:04": DayFirst}
	for tm := time.Date(1927, 1, 1, 0, 0, 0, 0, time.UTC); tm.Year() < 2026; tm = tm.AddDate(0, 0, 1) {
		for layout, order := range layouts {
			text := tm.Format(layout)
			got, ok := readDate(text, today, false).in(order)
			if !ok || got != rankwright.NewDay(tm.Date()) {
				t.Fatalf("%s: got %s %v", text, got, ok)
			}
		}
	}
}

// TestDayNumbersOfSpreadsheets checks against ECMA-376 part 1, 18.17.4.1,
// which gives both systems and the false leap day, and against day numbers
// that Microsoft's support pages print (42038, 39448; from memory).
func TestDayNumbersOfSpreadsheets(t *testing.T) {
	for _, c := range []struct {
		n         int
		epoch1904 bool
		want      string
	}{
		{1, false, "1900-01-01"}, {59, false, "1900-02-28"}, {60, false, ""}, {61, false, "1900-03-01"},
		{39448, false, "2008-01-01"}, {42038, false, "2015-02-03"}, {2958465, false, "9999-12-31"}, {2958466, false, ""},
		{0, false, ""}, {0, true, "1904-01-01"}, {40576, true, "2015-02-03"}, {2957003, true, "9999-12-31"}, {-1, true, ""},
	} {
		if got := SerialDay(c.n, c.epoch1904).String(); got != c.want {
			t.Errorf("day %d (1904: %v) is %q, want %q", c.n, c.epoch1904, got, c.want)
		}
	}
}

// TestDayNumbersAgreeWithAnotherLibrary reads pairs that
// testdata/serials.py wrote with Python's datetime.
func TestDayNumbersAgreeWithAnotherLibrary(t *testing.T) {
	b, err := os.ReadFile("testdata/serials.txt")
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Fields(string(b))
	if len(lines) < 200 {
		t.Fatalf("only %d pairs", len(lines))
	}
	for _, l := range lines {
		n, iso, _ := strings.Cut(l, ",")
		if got := SerialDay(atoi(n), false).String(); got != iso {
			t.Errorf("day %s is %s, want %s", n, got, iso)
		}
	}
}

func TestReadingADateNeverPanics(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.OneOf(rapid.String(), rapid.StringMatching(`[0-9]{0,5}[-/. ]?[0-9a-z]{0,5}[-/. T]{0,2}[0-9:]{0,6}`)).Draw(t, "text")
		rd := readDate(s, today, rapid.Bool().Draw(t, "1904"))
		if rd.isDate() == (rd.trouble != "") {
			t.Fatalf("%q is both a date and trouble, or neither: %+v", s, rd)
		}
	})
}

func TestNamesAreSplitByTheRuleThatIsShown(t *testing.T) {
	for _, c := range []struct {
		full          string
		rule          NameRule
		given, family string
		sure          bool
	}{
		{"Zofia Krajewik", NameUnknown, "Zofia", "Krajewik", true},
		{"Krajewik, Zofia", NameUnknown, "Zofia", "Krajewik", true},
		{"Arriagada Poe, Lucía María", NameUnknown, "Lucía María", "Arriagada Poe", true},
		{"Rhodri ap Siencyn", NameUnknown, "Rhodri", "ap Siencyn", true},
		{"Ana de la Torre", NameUnknown, "Ana", "de la Torre", true},
		{"Lucía Arriagada Poe", NameUnknown, "Lucía Arriagada", "Poe", false},
		{"Lucía Arriagada Poe", FamilyTwo, "Lucía", "Arriagada Poe", true},
		{"Ishikure Hanae", FamilyFirst, "Hanae", "Ishikure", true},
		{"Ana Roe", FamilyTwo, "Ana", "Roe", true},
		{"Sukarno", NameUnknown, "Sukarno", "", false},
		{"Krajewik,", NameUnknown, "", "Krajewik", false},
		{"", NameUnknown, "", "", false},
	} {
		g, f, sure := splitName(c.full, c.rule)
		if g != c.given || f != c.family || sure != c.sure {
			t.Errorf("%q by %q: got %q, %q, %v", c.full, c.rule, g, f, sure)
		}
	}
}

func TestDistanceCountsSlips(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want int
	}{{"", "", 0}, {"amber", "amber", 0}, {"ambre", "amber", 1}, {"ámbar", "amber", 2}, {"reed", "red", 1}, {"kitten", "sitting", 3}, {"ca", "abc", 3}} {
		if got := distance(c.a, c.b, 5); got != c.want {
			t.Errorf("%s and %s: %d, want %d", c.a, c.b, got, c.want)
		}
	}
	if got := distance("kitten", "sitting", 2); got != 3 {
		t.Errorf("beyond the limit of 2: %d, want 3", got)
	}
}
