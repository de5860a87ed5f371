package rankwright

import (
	"fmt"
	"time"
)

// Day is a civil date without a clock or a zone, counted from 1 January of
// the year 1 (which is day 1) in the Gregorian calendar. The zero Day is "no
// day". Days are compared and subtracted as integers.
type Day int32

// epochOffset is the Day of 1 January 1970.
const epochOffset = 719163

// NewDay returns the day of the given civil date. A date that does not exist,
// such as 31 April, moves on as time.Date does; use ParseDay to refuse it.
func NewDay(year int, month time.Month, day int) Day {
	t := time.Date(year, month, day, 0, 0, 0, 0, time.UTC)
	return Day(t.Unix()/86400 + epochOffset)
}

// ParseDay reads an ISO 8601 calendar date, YYYY-MM-DD, and refuses dates
// that do not exist.
func ParseDay(s string) (Day, error) {
	if len(s) != len(time.DateOnly) {
		return 0, fmt.Errorf("%q is not a date: write year-month-day, such as 2026-10-31", s)
	}
	t, err := time.Parse(time.DateOnly, s)
	if err != nil || t.Year() < 1 {
		return 0, fmt.Errorf("%q is not a date: write year-month-day, such as 2026-10-31", s)
	}
	return NewDay(t.Date()), nil
}

// MustDay is ParseDay for constants in tests and examples; it panics.
func MustDay(s string) Day {
	d, err := ParseDay(s)
	if err != nil {
		panic(err)
	}
	return d
}

func (d Day) time() time.Time {
	return time.Unix((int64(d)-epochOffset)*86400, 0).UTC()
}

// IsZero says whether this is "no day".
func (d Day) IsZero() bool { return d == 0 }

// Date returns year, month and day of the month.
func (d Day) Date() (year int, month time.Month, day int) { return d.time().Date() }

// Year returns the calendar year.
func (d Day) Year() int { return d.time().Year() }

// Weekday returns the day of the week.
func (d Day) Weekday() time.Weekday { return d.time().Weekday() }

// String writes the day as ISO 8601, or "" for no day.
func (d Day) String() string {
	if d == 0 {
		return ""
	}
	return d.time().Format(time.DateOnly)
}

// Long writes the day in words, such as "Saturday 10 October 2026".
func (d Day) Long() string {
	if d == 0 {
		return ""
	}
	return d.time().Format("Monday 2 January 2006")
}

// MarshalText and UnmarshalText carry the day as ISO 8601; no day is "".
func (d Day) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText reads what MarshalText wrote.
func (d *Day) UnmarshalText(b []byte) error {
	if len(b) == 0 {
		*d = 0
		return nil
	}
	v, err := ParseDay(string(b))
	if err != nil {
		return err
	}
	*d = v
	return nil
}

// DaysIn returns the number of days of a month.
func DaysIn(year int, month time.Month) int {
	return int(NewDay(year, month+1, 1) - NewDay(year, month, 1))
}

// MonthEnd says where a step of whole months lands when the month that it
// reaches is too short, as from 31 January by one month or from 29 February
// by one year.
type MonthEnd uint8

const (
	// LastDay lands on the last day of the short month: 31 January and one
	// month is 28 February; 29 February and one year is 28 February.
	LastDay MonthEnd = iota
	// FirstOfNext lands on the first of the following month: 31 January and
	// one month is 1 March; 29 February and one year is 1 March.
	FirstOfNext
)

// AddMonths moves by n calendar months to the same day of the month, and by
// end where that month has no such day.
func (d Day) AddMonths(n int, end MonthEnd) Day {
	y, m, day := d.Date()
	first := NewDay(y, m+time.Month(n), 1)
	fy, fm, _ := first.Date()
	if last := DaysIn(fy, fm); day > last {
		if end == FirstOfNext {
			return first + Day(last)
		}
		return first + Day(last) - 1
	}
	return first + Day(day) - 1
}

// AddYears moves by n calendar years, and by end from 29 February.
func (d Day) AddYears(n int, end MonthEnd) Day { return d.AddMonths(12*n, end) }

// Age returns the number of birthdays had from birth up to and including on;
// before birth it is 0. A birthday on 29 February falls, in other years, where
// end says. Neither may be "no day": whoever asks says first that the birth
// date is not on record.
func Age(birth, on Day, end MonthEnd) int {
	if on < birth {
		return 0
	}
	n := on.Year() - birth.Year()
	if birth.AddYears(n, end) > on {
		n--
	}
	return n
}
