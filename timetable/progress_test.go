package timetable

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// A squad's place and delay by hand: it kicks until 9:10, has a break, falls
// until 9:24, and answers questions until 9:28.
func TestASquadIsLateWhenTheTimeOfItsStationIsOver(t *testing.T) {
	const kicks, falls, theme, none = 0, 1, 2, -1
	r := &Rotation{Visits: []Visit{
		{Squad: 0, Stop: kicks, From: 540, Until: 550},
		{Squad: 1, Stop: falls, From: 540, Until: 552},
		{Squad: 0, Stop: -1, From: 550, Until: 552},
		{Squad: 0, Stop: falls, From: 552, Until: 564},
		{Squad: 1, Stop: kicks, From: 552, Until: 562},
		{Squad: 0, Stop: theme, From: 564, Until: 568},
	}}
	for _, c := range []struct {
		name          string
		now           Minute
		given         [3]int // of six at each station
		last          int
		at, due, late int
		left          []int
	}{
		{"it has not begun, and has time", 549, [3]int{}, none, 0, 0, 0, nil},
		{"it has not begun, and its time is just over", 550, [3]int{}, none, 0, 0, 0, nil},
		{"it has not begun, and its time was over four minutes ago", 554, [3]int{}, none, 0, 0, 4, nil},
		{"it is in the middle of the first and late", 553, [3]int{3, 0, 0}, kicks, 0, 0, 3, nil},
		{"it is done with the first and goes to the next, past its break", 551, [3]int{6, 0, 0}, kicks, 3, 3, 0, nil},
		{"it is done with the first, and the next is over too", 570, [3]int{6, 0, 0}, kicks, 3, 3, 6, nil},
		{"a mark of the first was forgotten, and it went on", 560, [3]int{5, 1, 0}, falls, 3, 3, 0, []int{0}},
		{"a mark that was forgotten came, until the next one of the second", 560, [3]int{6, 1, 0}, kicks, 5, 5, 0, []int{3}},
		{"what was done out of turn makes nobody late", 551, [3]int{6, 0, 6}, theme, 3, 3, 0, nil},
		{"it does the last out of turn, and the second has time", 560, [3]int{6, 0, 2}, theme, 5, 3, 0, nil},
		{"it does the last out of turn, and the second is over", 566, [3]int{6, 0, 2}, theme, 5, 3, 2, nil},
		{"it has everything", 700, [3]int{6, 6, 6}, theme, -1, -1, 0, nil},
		{"it is done but for one mark on the way", 700, [3]int{6, 5, 6}, theme, -1, -1, 0, []int{3}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := Follow(r, 2, func(_, stop int) Progress { return Progress{c.given[stop], 6} }, func(int) int { return c.last }, c.now)[0]
			if got.At != c.at || got.Due != c.due || got.Late != c.late || !slices.Equal(got.Left, c.left) {
				t.Errorf("got %+v, want at %d, due %d, late %d, left %v", got, c.at, c.due, c.late, c.left)
			}
		})
	}
	nobody := Follow(r, 2, func(squad, _ int) Progress { return Progress{0, 6 * squad} }, func(int) int { return none }, 600)
	if q := nobody[0]; q.At != -1 || q.Late != 0 {
		t.Errorf("a squad of whom nobody is here is %+v", q)
	}
	if q := nobody[1]; q.At != 1 || q.Late != 48 {
		t.Errorf("the other one is %+v", q)
	}
}

// However the marks come: a minute more makes nobody less late and moves nobody;
// late is the first station that is still to do; every station that lacks marks
// is still to do or left, never both; and who lacks no mark is not late.
func TestWhereASquadIsFollowsFromItsMarks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := &Circuit{Start: 540}
		for i := range rapid.IntRange(1, 6).Draw(t, "stations") {
			c.Stops = append(c.Stops, Stop{ID: StationID(rune('a' + i)), Minutes: rapid.IntRange(2, 12).Draw(t, "minutes")})
		}
		c.Squads = make([]CircuitSquad, rapid.IntRange(1, 4).Draw(t, "squads"))
		r, err := Rotate(c, 200)
		if err != nil {
			t.Fatal(err)
		}
		marks, at := map[[2]int]Progress{}, make([]int, len(c.Squads))
		for s := range c.Squads {
			at[s] = -1
			for i := range c.Stops {
				asked := rapid.IntRange(0, 3).Draw(t, "asked")
				p := Progress{rapid.IntRange(0, asked).Draw(t, "given"), asked}
				if marks[[2]int{s, i}] = p; p.Given > 0 && (at[s] < 0 || rapid.Bool().Draw(t, "latest")) {
					at[s] = i
				}
			}
		}
		done := func(squad, stop int) Progress { return marks[[2]int{squad, stop}] }
		last := func(squad int) int { return at[squad] }
		now := Minute(rapid.IntRange(530, 700).Draw(t, "now"))
		got, later := Follow(r, len(c.Squads), done, last, now), Follow(r, len(c.Squads), done, last, now+1)
		for s, q := range got {
			if l := later[s]; q.Squad != s || l.At != q.At || l.Due != q.Due || l.Late < q.Late || l.Late > q.Late+1 {
				t.Fatalf("a minute later %+v is %+v", q, l)
			}
			toDo := 0
			for i, v := range r.Visits {
				if v.Squad != s || v.Stop < 0 || !done(s, v.Stop).open() {
					if slices.Contains(q.Left, i) || q.At == i || q.Due == i {
						t.Fatalf("%+v is sent to visit %d, where nothing is missing", q, i)
					}
					continue
				}
				still := done(s, v.Stop).Given == 0 || v.Stop == at[s]
				if still == slices.Contains(q.Left, i) {
					t.Fatalf("%+v: visit %d lacks marks; still to do is %t", q, i, still)
				}
				if still {
					toDo++
					if v.From < r.Visits[q.Due].From || q.Late < 0 {
						t.Fatalf("%+v: visit %d comes before", q, i)
					}
				}
			}
			if toDo == 0 != (q.At < 0) || q.At < 0 != (q.Due < 0) || q.At < 0 && q.Late != 0 {
				t.Fatalf("%+v with %d stations to do", q, toDo)
			}
			if q.Due >= 0 && q.Late != max(0, int(now-r.Visits[q.Due].Until)) {
				t.Fatalf("%+v at %s", q, now)
			}
		}
	})
}
