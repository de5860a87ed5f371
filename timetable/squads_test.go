package timetable

import (
	"fmt"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"rankwright"
)

// splitUnits counts in a split, from the manual: siblings against the wish, and
// further ranks in a squad.
func splitUnits(q *Prepared, squads [][]int, wish Siblings) (siblings, mixed int) {
	in := map[int]map[int]int{} // household: squad: how many
	for k, squad := range squads {
		ranks := map[int]bool{}
		for _, e := range squad {
			ranks[q.EntryRank[e]] = true
			h := q.EntryHousehold[e]
			if in[h] == nil {
				in[h] = map[int]int{}
			}
			in[h][k]++
		}
		mixed += len(ranks) - 1
	}
	for _, m := range in {
		if wish == SiblingsTogether {
			siblings += len(m) - 1
		}
		for _, n := range m {
			if wish == SiblingsApart {
				siblings += n * (n - 1) / 2
			}
		}
	}
	return siblings, mixed
}

// everySplit goes through all splits of that many into squads of those sizes.
func everySplit(n int, size []int, tell func([][]int)) {
	squads := make([][]int, len(size))
	var walk func(e int)
	walk = func(e int) {
		if e == n {
			tell(squads)
			return
		}
		for k := range squads {
			if len(squads[k]) < size[k] {
				squads[k] = append(squads[k], e)
				walk(e + 1)
				squads[k] = squads[k][:len(squads[k])-1]
			}
		}
	}
	walk(0)
}

func TestSquadsAreEvenAndTheBestOfAllSplits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := &Problem{Rules: DefaultRules(), Ranks: []rankwright.RankID{"white", "yellow", "green"}}
		for h := range 4 {
			p.Households = append(p.Households, Household{ID: rankwright.HouseholdID(fmt.Sprint("h", h))})
		}
		n := rapid.IntRange(0, 8).Draw(t, "entries")
		all := []int{}
		for e := range n {
			p.Entries = append(p.Entries, Entry{ID: rankwright.EntryID(fmt.Sprint("e", e)), Household: p.Households[rapid.IntRange(0, 3).Draw(t, "household")].ID,
				Rank: p.Ranks[rapid.IntRange(0, 2).Draw(t, "rank")]})
			all = append(all, e)
		}
		q := prepared2(t, p)
		most := rapid.IntRange(1, 5).Draw(t, "most")
		wish := Siblings(rapid.IntRange(0, 2).Draw(t, "wish"))
		squads := q.Squads(all, most, wish)
		if want := (n + most - 1) / most; len(squads) != want {
			t.Fatalf("%d squads, want %d", len(squads), want)
		}
		var seen, size []int
		for _, s := range squads {
			seen, size = append(seen, s...), append(size, len(s))
		}
		slices.Sort(seen)
		if n > 0 && (!slices.Equal(seen, all) || slices.Max(size)-slices.Min(size) > 1 || slices.Max(size) > most) {
			t.Fatalf("%v", squads)
		}
		siblings, mixed := splitUnits(q, squads, wish)
		everySplit(n, size, func(o [][]int) {
			if s, m := splitUnits(q, o, wish); s < siblings || s == siblings && m < mixed {
				t.Fatalf("%v has %d and %d; %v has %d and %d", squads, siblings, mixed, o, s, m)
			}
		})
	})
}

func TestALargeSittingIsSplitIntoSquadsToo(t *testing.T) {
	p, plan, _ := readPlacing(t, "testdata/placing/n500-s1-fixed.json")
	q := prepared(t, p)
	all := make([]int, len(plan.At))
	for e := range all {
		all[e] = e
	}
	squads := q.Squads(all, 6, SiblingsTogether)
	if len(squads) != 84 || len(squads[0]) > 6 {
		t.Errorf("%d squads", len(squads))
	}
}
