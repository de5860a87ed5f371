package demo

import (
	"testing"
	"time"

	"rankwright"
)

// Ages on the examination day and on the days around it decide who may enter;
// they must not depend on where the leap days fall.
func TestBirthdaysKeepTheirDistanceFromTheExamination(t *testing.T) {
	for _, x := range told {
		born := rankwright.MustDay(x.born)
		for start := rankwright.MustDay("2024-01-01"); start < rankwright.MustDay("2032-03-01"); start++ {
			d := datesFrom(start)
			moved := d.born(born)
			for off := rankwright.Day(-1); off <= 1; off++ {
				if off != 0 && byLeapDay(d.exam) {
					continue
				}
				want := rankwright.Age(born, scenarioExam+off, rankwright.FirstOfNext)
				if got := rankwright.Age(moved, d.exam+off, rankwright.FirstOfNext); got != want {
					t.Fatalf("%s, with the demo of %s: born %s and %d years old on %s, not %d", x.given, start, moved, got, d.exam+off, want)
				}
			}
		}
	}
}

// byLeapDay says that the examination is next to a 29 February; a birthday
// then moves by a day, for the age on the examination day to stay.
func byLeapDay(exam rankwright.Day) bool {
	_, m, day := exam.Date()
	return m == time.February && day >= 27 || m == time.March && day <= 2
}

func TestTheClockRunsAgainAfterwards(t *testing.T) {
	under := time.Date(2026, 9, 30, 10, 0, 0, 0, time.UTC)
	c := NewClock(func() time.Time { return under })
	c.set(rankwright.MustDay("2026-02-28"), 9, 15)
	if got := c.Now(); !got.Equal(time.Date(2026, 2, 28, 9, 15, 0, 0, time.UTC)) {
		t.Errorf("put back, it is %v", got)
	}
	c.run()
	if under = under.Add(time.Hour); !c.Now().Equal(under) {
		t.Errorf("running, it is %v", c.Now())
	}
}
