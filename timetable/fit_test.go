package timetable

import (
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestStationsGetTheMinutesThatThereIsRoomFor(t *testing.T) {
	for _, c := range []struct {
		name    string
		squads  int
		shares  []int
		room    int
		minutes []int // nil is too short
	}{
		{"equal shares fill the time", 4, []int{1, 1, 1, 1}, 40, []int{10, 10, 10, 10}},
		{"fewer squads than stations", 2, []int{1, 1, 1, 1, 1}, 41, []int{8, 8, 8, 8, 8}},
		{"one squad has the whole time, in proportion", 1, []int{1, 2, 3}, 60, []int{10, 20, 30}},
		{"a small share is a minute all the same", 1, []int{1, 200}, 30, []int{1, 29}},
		{"many squads: each station has its part of the time, also one with a small share", 4, []int{1, 9}, 40, []int{10, 10}},
		{"too short for a minute each", 3, []int{1, 1, 1, 1}, 3, nil},
		{"no squads", 0, []int{1}, 30, nil},
		{"given minutes stay, and the others share what is left", 1, []int{1, 0, 2}, 39, []int{10, 9, 20}},
		{"all minutes are given", 2, []int{0, 0}, 18, []int{9, 9}},
		{"given minutes that do not fit are not made fewer", 2, []int{0, 0}, 17, nil},
		{"given minutes leave none for another station", 1, []int{0, 1}, 9, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := circuit(c.squads, slices.Repeat([]int{9}, len(c.shares))...)
			x, r, err := Fit(in, c.shares, in.Start+Minute(c.room), 0)
			if err != nil {
				t.Fatal(err)
			}
			if c.minutes == nil {
				if x != nil || r != nil {
					t.Fatalf("there is a round: %v", r)
				}
				return
			}
			var got []int
			for _, s := range x.Stops {
				got = append(got, s.Minutes)
			}
			if !slices.Equal(got, c.minutes) {
				t.Errorf("minutes %v, want %v", got, c.minutes)
			}
			if in.Stops[0].Minutes != 9 {
				t.Error("the circuit that was handed in is changed")
			}
		})
	}
	if _, _, err := Fit(circuit(1, 1, 1), []int{1}, 1100, 0); err == nil || !strings.Contains(err.Error(), "2 stations and 1 shares") {
		t.Errorf("a share that is missing: %v", err)
	}
	if _, _, err := Fit(circuit(1, 1), []int{-1}, 1100, 0); err == nil || !strings.Contains(err.Error(), "cannot have -1 shares") {
		t.Errorf("less than no share: %v", err)
	}
}

func TestTheLeastRoundSaysWhatGivenMinutesTake(t *testing.T) {
	for _, c := range []struct {
		name   string
		squads int
		shares []int
		want   int
	}{
		{"one squad goes from one to the next", 1, []int{0, 0, 1}, 19},
		{"no more squads than stations: they walk one behind the other", 2, []int{0, 0, 0}, 27},
		{"more squads than stations", 3, []int{0, 0}, 27},
		{"a minute each", 4, []int{3, 3, 3, 3}, 4},
		{"nobody", 0, []int{0}, 0},
	} {
		if got, err := LeastRound(circuit(c.squads, slices.Repeat([]int{9}, len(c.shares))...), c.shares, 0); err != nil || got != c.want {
			t.Errorf("%s: %d minutes, want %d (%v)", c.name, got, c.want, err)
		}
	}
	if _, err := LeastRound(circuit(1, 1, 1), []int{1}, 0); err == nil {
		t.Error("a share is missing, and nothing is said")
	}
}

func TestARoundThatFitsKeepsItsRulesAndItsEnd(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 5).Draw(t, "stations")
		given := rapid.SliceOfN(rapid.IntRange(1, 12), n, n).Draw(t, "given")
		c := circuit(rapid.IntRange(1, 5).Draw(t, "squads"), given...)
		c.Change = rapid.IntRange(0, 2).Draw(t, "change")
		c.LittleWork, c.LittleBreak = DefaultLittleWork, DefaultLittleBreak
		for i := range c.Squads {
			c.Squads[i].Little = rapid.Bool().Draw(t, "little")
		}
		for i := 1; i < n; i++ {
			if rapid.Bool().Draw(t, "after") {
				c.Stops[i].After = []StationID{c.Stops[0].ID}
			}
		}
		shares := rapid.SliceOfN(rapid.IntRange(0, 12), n, n).Draw(t, "shares")
		until := c.Start + Minute(rapid.IntRange(1, 90).Draw(t, "room"))
		x, r, err := Fit(c, shares, until, 300)
		if err != nil {
			t.Fatal(err)
		}
		least, err := LeastRound(c, shares, 300)
		if err != nil || (x != nil) != (least <= int(until-c.Start)) {
			t.Fatalf("the least round takes %d of %d minutes (%v), and there is a round: %t", least, until-c.Start, err, x != nil)
		}
		if x == nil {
			return
		}
		if r.End > until {
			t.Fatalf("ends at %s, after %s", r.End, until)
		}
		if said := VerifyRotation(x, r); len(said) > 0 {
			t.Fatal(strings.Join(said, "\n"))
		}
		for i := range shares {
			if shares[i] == 0 && x.Stops[i].Minutes != given[i] {
				t.Fatalf("%d minutes were given, and there are %d", given[i], x.Stops[i].Minutes)
			}
			for j := range shares {
				if shares[i] > shares[j] && shares[j] > 0 && x.Stops[i].Minutes < x.Stops[j].Minutes {
					t.Fatalf("shares %v give %v", shares, x.Stops)
				}
			}
		}
	})
}
