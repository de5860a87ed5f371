package demo

import (
	"sync"
	"time"

	"rankwright"
)

// Clock is the hour by which the demo's app lives. Fill puts it back to write
// the club's past; then it runs again with the clock underneath.
type Clock struct {
	under func() time.Time

	mu  sync.Mutex
	put time.Time // zero while it runs
}

// NewClock returns a clock that runs with another, such as time.Now.
func NewClock(under func() time.Time) *Clock { return &Clock{under: under} }

// Now is the hour, to be given to app.Options.
func (c *Clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.put.IsZero() {
		return c.under()
	}
	return c.put
}

func (c *Clock) set(day rankwright.Day, hour, minute int) {
	y, m, d := day.Date()
	c.mu.Lock()
	defer c.mu.Unlock()
	c.put = time.Date(y, m, d, hour, minute, 0, 0, c.under().Location())
}

// pass lets some time go by.
func (c *Clock) pass(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.put = c.put.Add(d)
}

func (c *Clock) run() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.put = time.Time{}
}

// Notice is how many days after the demo's start the coming grading is.
const Notice rankwright.Day = 10

// The club's story is written for one examination day.
var scenarioExam = rankwright.MustDay("2026-10-10")

// dates moves every date of the story, so that its examination comes ten days
// after the day on which the demo starts.
type dates struct{ exam rankwright.Day }

func datesFrom(start rankwright.Day) dates { return dates{start + Notice} }

// day moves a day; the days between two days stay the same.
func (d dates) day(scenario rankwright.Day) rankwright.Day { return scenario + d.exam - scenarioExam }

// born moves a birthday: the age on the examination day stays the same, and so
// do the days to the nearest birthday, whatever leap days lie between.
func (d dates) born(scenario rankwright.Day) rankwright.Day {
	if d.exam == scenarioExam {
		return scenario
	}
	years := scenarioExam.Year() - scenario.Year()
	nearest := rankwright.Day(1 << 20)
	for n := years - 1; n <= years+1; n++ {
		off := scenario.AddYears(n, rankwright.FirstOfNext) - scenarioExam
		if abs(off) < abs(nearest) {
			years, nearest = n, off
		}
	}
	if nearest > 0 {
		return (d.exam + nearest).AddYears(-years, rankwright.FirstOfNext)
	}
	return (d.exam + nearest).AddYears(-years, rankwright.LastDay)
}

func abs(d rankwright.Day) rankwright.Day { return max(d, -d) }
