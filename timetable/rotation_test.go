package timetable

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func circuit(squads int, minutes ...int) *Circuit {
	c := &Circuit{Start: 17 * 60, Squads: make([]CircuitSquad, squads)}
	for i, m := range minutes {
		c.Stops = append(c.Stops, Stop{ID: StationID(fmt.Sprint("station ", i+1)), Minutes: m})
	}
	return c
}

func TestARotationEndsWhenItCanAndNobodyWaitsForNothing(t *testing.T) {
	for _, c := range []struct {
		name    string
		circuit *Circuit
		end     Minute
		idle    int
	}{
		{"as many squads as stations, equal times: a Latin square", circuit(4, 10, 10, 10, 10), 17*60 + 40, 0},
		{"fewer squads than stations: nobody waits", circuit(3, 8, 8, 8, 8, 8), 17*60 + 40, 0},
		// Three turns of two: each squad waits one turn, and one of the three ends
		// after two turns, so that 10 + 10 minutes are waited.
		{"more squads than stations: the stations never stand still", circuit(3, 10, 10), 17*60 + 30, 10 + 10},
		{"one station", circuit(3, 5), 17*60 + 15, 0 + 5 + 10},
		{"one squad", circuit(1, 5, 7, 9), 17*60 + 21, 0},
		{"one long station sets the pace", circuit(3, 10, 20, 5), 17*60 + 60, -1},
		{"no stations", circuit(3), 17 * 60, 0},
		{"no squads", circuit(0, 5, 5), 17 * 60, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			r, err := Rotate(c.circuit, 0)
			if err != nil {
				t.Fatal(err)
			}
			if said := VerifyRotation(c.circuit, r); len(said) > 0 {
				t.Errorf("%s", strings.Join(said, "\n"))
			}
			if r.End != c.end || c.idle >= 0 && r.Idle != c.idle || !r.Proven {
				t.Errorf("ends at %s with %d idle (proven: %v), want %s and %d\n%v", r.End, r.Idle, r.Proven, c.end, c.idle, r.Visits)
			}
		})
	}
}

func TestLittleOnesGetTheirBreaksAndNobodyElse(t *testing.T) {
	c := circuit(3, 10, 10, 10)
	c.Squads[1].Little = true
	c.LittleWork, c.LittleBreak, c.Change = 20, 5, 1
	r, err := Rotate(c, 0)
	if err != nil {
		t.Fatal(err)
	}
	if said := VerifyRotation(c, r); len(said) > 0 {
		t.Errorf("%s", strings.Join(said, "\n"))
	}
	breaks := 0
	for _, v := range r.Visits {
		if v.Stop < 0 {
			breaks++
			if v.Squad != 1 || v.Until-v.From != 5 {
				t.Errorf("a break %+v", v)
			}
		}
	}
	if breaks != 1 || r.End > 17*60+40 {
		t.Errorf("%d breaks; ends at %s", breaks, r.End)
	}
}

func TestFallsComeBeforeThrows(t *testing.T) {
	c := circuit(3, 10, 10, 10)
	c.Stops[2].After = []StationID{"station 1"}
	r, err := Rotate(c, 0)
	if err != nil {
		t.Fatal(err)
	}
	if said := VerifyRotation(c, r); len(said) > 0 || !r.Proven {
		t.Errorf("proven %v: %s", r.Proven, strings.Join(said, "\n"))
	}
}

func TestWhatIsWrongWithARoundIsSaid(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*Circuit)
		want   string
	}{
		{"a circle", func(c *Circuit) {
			c.Stops[0].After, c.Stops[1].After = []StationID{"station 2"}, []StationID{"station 1"}
		}, "station station 1 would have to come after itself"},
		{"an unknown station", func(c *Circuit) { c.Stops[0].After = []StationID{"x"} }, `comes after "x", which is not in this round`},
		{"no minutes", func(c *Circuit) { c.Stops[0].Minutes = 0 }, "takes 0 minutes; write 1 to 240 minutes"},
		{"twice the same name", func(c *Circuit) { c.Stops[1].ID = "station 1" }, "station 2 has no name of its own"},
		{"too many", func(c *Circuit) { c.Squads = make([]CircuitSquad, 61) }, "there are 2 stations and 61 squads"},
		{"no such break", func(c *Circuit) { c.LittleBreak = -1 }, "out of range"},
	} {
		round := circuit(2, 5, 5)
		c.change(round)
		if _, err := Rotate(round, 0); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

func TestEveryBrokenRuleOfARotationIsSaid(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*Circuit, *Rotation)
		want   string
	}{
		{"two at one station", func(c *Circuit, r *Rotation) { r.Visits[1].Stop = r.Visits[0].Stop }, "at the same time"},
		{"a station left out", func(c *Circuit, r *Rotation) { r.Visits = r.Visits[1:] }, "is at station station 1 0 times"},
		{"too short", func(c *Circuit, r *Rotation) { r.Visits[0].Until-- }, "for 4 minutes instead of 5"},
		{"in two places", func(c *Circuit, r *Rotation) { r.Visits[2].From -= 2; r.Visits[2].Until -= 2 }, "has two times that overlap"},
		{"no time to change", func(c *Circuit, r *Rotation) { c.Change = 3 }, "has less than 3 minutes to change"},
		{"out of order", func(c *Circuit, r *Rotation) { c.Stops[0].After = []StationID{"station 2"} }, "squad 1 is at station station 1 before it was at station 2"},
		{"no break", func(c *Circuit, r *Rotation) { c.Squads[0].Little, c.LittleWork, c.LittleBreak = true, 6, 2 }, "squad 1 of little ones has no break of 2 minutes in 10 minutes of work"},
		{"outside the round", func(c *Circuit, r *Rotation) { r.End-- }, "outside the round"},
		{"an unknown squad", func(c *Circuit, r *Rotation) { r.Visits[0].Squad = 5 }, "which are not in the round"},
	} {
		round := circuit(2, 5, 5)
		r, err := Rotate(round, 0)
		if err != nil {
			t.Fatal(err)
		}
		c.change(round, r)
		if said := strings.Join(VerifyRotation(round, r), "; "); !strings.Contains(said, c.want) {
			t.Errorf("%s: %q", c.name, said)
		}
	}
}

// bestRotation goes through every order in which visits could be put one after
// the other, each as early as it can: the end and the sum of the squads' ends.
func bestRotation(c *Circuit) (end, sum int) {
	n, m := len(c.Squads), len(c.Stops)
	squadAt, stopAt, done := make([]int, n), make([]int, m), make([]bool, n*m)
	visited := make([]int, n)
	end = 1 << 30
	var walk func(left int)
	walk = func(left int) {
		if left == 0 {
			e, s := 0, 0
			for _, t := range squadAt {
				e, s = max(e, t), s+t
			}
			if e < end || e == end && s < sum {
				end, sum = e, s
			}
			return
		}
		for k := range done {
			i, s := k/m, k%m
			ok := !done[k]
			for _, id := range c.Stops[s].After {
				ok = ok && done[i*m+slices.IndexFunc(c.Stops, func(o Stop) bool { return o.ID == id })]
			}
			if !ok {
				continue
			}
			a, b := squadAt[i], stopAt[s]
			from := a
			if visited[i] > 0 {
				from += c.Change
			}
			t := max(from, b) + c.Stops[s].Minutes
			squadAt[i], stopAt[s], done[k] = t, t, true
			visited[i]++
			walk(left - 1)
			squadAt[i], stopAt[s], done[k] = a, b, false
			visited[i]--
		}
	}
	walk(n * m)
	return end, sum
}

func TestOnSmallRoundsTheRotationIsTheBestOfAll(t *testing.T) {
	sizes := [][2]int{{2, 2}, {2, 3}, {3, 2}, {1, 3}, {4, 2}, {2, 4}}
	rapid.Check(t, func(t *rapid.T) {
		size := rapid.SampledFrom(sizes).Draw(t, "size")
		c := circuit(size[0])
		c.Change = rapid.IntRange(0, 3).Draw(t, "change")
		for s := range size[1] {
			c.Stops = append(c.Stops, Stop{ID: StationID(fmt.Sprint(s)), Minutes: rapid.IntRange(1, 9).Draw(t, "minutes")})
			if s > 0 && rapid.IntRange(0, 3).Draw(t, "after") == 0 {
				c.Stops[s].After = []StationID{c.Stops[s-1].ID}
			}
		}
		r, err := Rotate(c, 0)
		if err != nil {
			t.Fatalf("%v", err)
		}
		end, sum := bestRotation(c)
		idle := sum
		for range c.Squads {
			for _, s := range c.Stops {
				idle -= s.Minutes
			}
			idle -= (len(c.Stops) - 1) * c.Change
		}
		if int(r.End-c.Start) != end || r.Idle != idle || !r.Proven || int(r.Least-c.Start) > end {
			t.Fatalf("%+v\n%+v\nends after %d with %d idle (proven %v, least %d); the best ends after %d with %d", c, r.Visits, r.End-c.Start, r.Idle, r.Proven, r.Least-c.Start, end, idle)
		}
	})
}

func TestNoRotationBreaksItsRules(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := circuit(rapid.IntRange(0, 8).Draw(t, "squads"))
		for i := range c.Squads {
			c.Squads[i].Little = rapid.Bool().Draw(t, "little")
		}
		for s := range rapid.IntRange(0, 7).Draw(t, "stations") {
			c.Stops = append(c.Stops, Stop{ID: StationID(fmt.Sprint(s)), Minutes: rapid.IntRange(1, 12).Draw(t, "minutes")})
			if s > 0 && rapid.IntRange(0, 4).Draw(t, "after") == 0 {
				c.Stops[s].After = []StationID{c.Stops[rapid.IntRange(0, s-1).Draw(t, "which")].ID}
			}
		}
		c.Change = rapid.IntRange(0, 3).Draw(t, "change")
		c.LittleWork, c.LittleBreak = rapid.IntRange(0, 30).Draw(t, "work"), rapid.IntRange(0, 6).Draw(t, "break")
		r, err := Rotate(c, 300)
		if err != nil {
			t.Fatalf("%v", err)
		}
		if said := VerifyRotation(c, r); len(said) > 0 {
			t.Fatalf("%s\n%+v", strings.Join(said, "\n"), r)
		}
		if r.End < r.Least || r.Idle < 0 {
			t.Fatalf("ends at %s, and the bound is %s; %d idle", r.End, r.Least, r.Idle)
		}
	})
}
