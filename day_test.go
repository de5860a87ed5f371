package rankwright

import (
	"encoding/json"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// The ordinals are those of Python's datetime.date.toordinal, whose
// documentation promises that 1 January of year 1 has ordinal 1; the values
// were printed by CPython 3.11.
func TestDaysAreCountedAsPythonCountsThem(t *testing.T) {
	for s, ordinal := range map[string]Day{
		"0001-01-01": 1,
		"0001-12-31": 365,
		"0004-12-31": 1461,
		"0100-12-31": 36524,
		"0400-12-31": 146097,
		"1582-10-15": 577736,
		"1900-03-01": 693655,
		"1970-01-01": 719163,
		"2000-02-29": 730179,
		"2026-10-31": 739920,
		"9999-12-31": 3652059,
	} {
		if got := MustDay(s); got != ordinal {
			t.Errorf("%s is day %d, want %d", s, got, ordinal)
		}
		if got := ordinal.String(); got != s {
			t.Errorf("day %d is %s, want %s", ordinal, got, s)
		}
	}
}

// lastOrdinal is the ordinal of 9999-12-31 (Python's datetime.date.max).
const lastOrdinal = 3652059

func anyDay() *rapid.Generator[Day] {
	return rapid.Custom(func(t *rapid.T) Day {
		return Day(rapid.Int32Range(1, lastOrdinal).Draw(t, "ordinal"))
	})
}

// Every date of the years 1 to 9999, one after the other, against package
// time walking the calendar beside it.
func TestEveryDayIsTheDateThatPackageTimeHas(t *testing.T) {
	at := time.Date(1, time.January, 1, 12, 0, 0, 0, time.UTC)
	for d := Day(1); d <= lastOrdinal; d++ {
		y, m, day := d.Date()
		if ty, tm, td := at.Date(); y != ty || m != tm || day != td || d.Weekday() != at.Weekday() || NewDay(ty, tm, td) != d {
			t.Fatalf("day %d is %d-%d-%d, a %v; want %v", d, y, m, day, d.Weekday(), at)
		}
		at = at.AddDate(0, 0, 1)
	}
	if y := at.Year(); y != 10000 {
		t.Fatalf("the walk ended in year %d", y)
	}
}

func TestADayIsWrittenAndReadBackTheSame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		type page struct{ On, Never Day }
		want := page{On: anyDay().Draw(t, "day")}
		text, err := json.Marshal(want)
		if err != nil {
			t.Fatal(err)
		}
		got := page{Never: 7}
		if err := json.Unmarshal(text, &got); err != nil || got != want {
			t.Fatalf("%s is read back as %v, %v", text, got, err)
		}
	})
}

func TestADateThatDoesNotExistIsRefused(t *testing.T) {
	for _, s := range []string{
		"", "2026-02-29", "1900-02-29", "2026-04-31", "2026-13-01", "2026-00-10", "2026-01-00", "0000-01-01",
		"26-01-01", "2026-1-01", "2026-01-1", "31-10-2026", "2026/10/31", "2026-10-31T00:00", " 2026-10-31",
		"-026-10-31", "2026-10-3٣",
	} {
		d, err := ParseDay(s)
		if err == nil {
			t.Errorf("%q was read as %v", s, d)
		}
		if s != "" && new(Day).UnmarshalText([]byte(s)) == nil {
			t.Errorf("%q was unmarshalled", s)
		}
	}
}

func FuzzParseDay(f *testing.F) {
	for _, s := range []string{"2026-10-31", "2024-02-29", "0001-01-01", "9999-12-31", "2026-02-30"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if d, err := ParseDay(s); err == nil && d.String() != s {
			t.Errorf("%q was read as %v", s, d)
		}
	})
}

func TestNoDayHasNoText(t *testing.T) {
	var none Day
	if !none.IsZero() || none.String() != "" || none.Long() != "" {
		t.Errorf("no day is written %q and %q", none.String(), none.Long())
	}
	if got := MustDay("2026-10-10").Long(); got != "Saturday 10 October 2026" {
		t.Errorf("in words: %q", got)
	}
}

func TestDaysInAMonth(t *testing.T) {
	for _, c := range []struct {
		year  int
		month time.Month
		want  int
	}{
		{2026, time.January, 31}, {2026, time.April, 30}, {2026, time.December, 31},
		{2026, time.February, 28}, {2024, time.February, 29}, {1900, time.February, 28}, {2000, time.February, 29},
	} {
		if got := DaysIn(c.year, c.month); got != c.want {
			t.Errorf("%v %d has %d days, want %d", c.month, c.year, got, c.want)
		}
	}
}

func TestAddMonths(t *testing.T) {
	for _, c := range []struct {
		about                string
		from                 string
		months               int
		lastDay, firstOfNext string
	}{
		{"the same day of the next month", "2026-03-15", 1, "2026-04-15", "2026-04-15"},
		{"no months", "2024-02-29", 0, "2024-02-29", "2024-02-29"},
		{"from the 31st to a month of thirty days", "2026-03-31", 1, "2026-04-30", "2026-05-01"},
		{"from the 31st to a month of 31 days", "2026-07-31", 1, "2026-08-31", "2026-08-31"},
		{"from 31 January to a common February", "2026-01-31", 1, "2026-02-28", "2026-03-01"},
		{"from 31 January to a leap February", "2024-01-31", 1, "2024-02-29", "2024-03-01"},
		{"from 30 January to a leap February", "2024-01-30", 1, "2024-02-29", "2024-03-01"},
		{"from 29 January to a leap February", "2024-01-29", 1, "2024-02-29", "2024-02-29"},
		{"from 28 February, the last day, to the 28th", "2026-02-28", 1, "2026-03-28", "2026-03-28"},
		{"over the end of the year", "2026-11-30", 3, "2027-02-28", "2027-03-01"},
		{"back over the start of the year", "2026-01-31", -2, "2025-11-30", "2025-12-01"},
		{"back from 31 March to February", "2026-03-31", -1, "2026-02-28", "2026-03-01"},
		{"a year from 29 February", "2024-02-29", 12, "2025-02-28", "2025-03-01"},
		{"four years from 29 February", "2024-02-29", 48, "2028-02-29", "2028-02-29"},
		{"from 29 February over a century that is no leap year", "2096-02-29", 48, "2100-02-28", "2100-03-01"},
		{"back a year from 29 February", "2024-02-29", -12, "2023-02-28", "2023-03-01"},
		{"December and the first of the next year", "2026-10-31", 14, "2027-12-31", "2027-12-31"},
	} {
		t.Run(c.about, func(t *testing.T) {
			if got := MustDay(c.from).AddMonths(c.months, LastDay); got != MustDay(c.lastDay) {
				t.Errorf("to the last day: %v, want %s", got, c.lastDay)
			}
			if got := MustDay(c.from).AddMonths(c.months, FirstOfNext); got != MustDay(c.firstOfNext) {
				t.Errorf("to the first of the next: %v, want %s", got, c.firstOfNext)
			}
		})
	}
}

// Where the month has the day, time.AddDate goes to the same day; where it has
// not, time.AddDate overflows into the next month by the days that are short,
// and the two conventions stand just before and at that month's first.
func TestAddMonthsAgainstPackageTime(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := Day(rapid.Int32Range(400_000, 1_000_000).Draw(t, "ordinal"))
		n := rapid.IntRange(-1200, 1200).Draw(t, "months")
		y, m, day := d.Date()
		at := time.Date(y, m, day, 0, 0, 0, 0, time.UTC).AddDate(0, n, 0)
		last, next := d.AddMonths(n, LastDay), d.AddMonths(n, FirstOfNext)
		reached := NewDay(at.Date())
		if at.Day() == day {
			if last != reached || next != reached {
				t.Fatalf("%v and %d months: %v and %v, want %v", d, n, last, next, reached)
			}
			return
		}
		first := reached - Day(at.Day()) + 1
		if last != first-1 || next != first {
			t.Fatalf("%v and %d months: %v and %v, want %v and %v", d, n, last, next, first-1, first)
		}
	})
}

func TestAge(t *testing.T) {
	for _, c := range []struct {
		about     string
		birth, on string
		end       MonthEnd
		want      int
	}{
		{"the day of birth", "2016-05-10", "2016-05-10", LastDay, 0},
		{"before birth", "2016-05-10", "2016-05-09", LastDay, 0},
		{"the day before the sixth birthday", "2016-05-10", "2022-05-09", LastDay, 5},
		{"the sixth birthday", "2016-05-10", "2022-05-10", LastDay, 6},
		{"the day after", "2016-05-10", "2022-05-11", LastDay, 6},
		{"born on New Year's Eve, the day before", "2015-12-31", "2025-12-30", LastDay, 9},
		{"born on New Year's Eve, that day", "2015-12-31", "2025-12-31", LastDay, 10},
		{"born on New Year's Day, the eve", "2016-01-01", "2025-12-31", LastDay, 9},
		{"born on 29 February, on 28 February, which is the birthday", "2016-02-29", "2025-02-28", LastDay, 9},
		{"born on 29 February, on 28 February, the day before 1 March", "2016-02-29", "2025-02-28", FirstOfNext, 8},
		{"born on 29 February, on 1 March, which is the birthday", "2016-02-29", "2025-03-01", FirstOfNext, 9},
		{"born on 29 February, on 27 February", "2016-02-29", "2025-02-27", LastDay, 8},
		{"born on 29 February, on 28 February of a leap year", "2016-02-29", "2024-02-28", LastDay, 7},
		{"born on 29 February, on 29 February", "2016-02-29", "2024-02-29", FirstOfNext, 8},
		{"born on 28 February, on 28 February of a leap year", "2015-02-28", "2024-02-28", FirstOfNext, 9},
	} {
		t.Run(c.about, func(t *testing.T) {
			if got := Age(MustDay(c.birth), MustDay(c.on), c.end); got != c.want {
				t.Errorf("%d, want %d", got, c.want)
			}
		})
	}
}

// Age is the count of the birthdays, taken one by one.
func TestAgeCountsBirthdays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		birth := Day(rapid.Int32Range(700_000, 740_000).Draw(t, "birth"))
		if rapid.Bool().Draw(t, "on a leap day") {
			birth = NewDay(4*rapid.IntRange(480, 505).Draw(t, "year"), time.February, 29)
		}
		on := birth + Day(rapid.Int32Range(0, 40_000).Draw(t, "days lived"))
		end := rapid.SampledFrom([]MonthEnd{LastDay, FirstOfNext}).Draw(t, "end")
		y, m, day := birth.Date()
		count := 0
		for n := 1; ; n++ {
			birthday := NewDay(y+n, m, day) // from 29 February this is 1 March in a common year
			if end == LastDay && m == time.February && day == 29 && DaysIn(y+n, m) == 28 {
				birthday--
			}
			if birthday > on {
				break
			}
			count++
		}
		if got := Age(birth, on, end); got != count {
			t.Fatalf("born %v, on %v: %d, want %d", birth, on, got, count)
		}
	})
}
