package ready

import (
	"testing"

	"pgregory.net/rapid"

	"rankwright"
)

const someDays = 60

func daysOf(member [someDays]bool) Days {
	var out Days
	for i, in := range member {
		if in {
			out = out.or(between(rankwright.Day(i+1), rankwright.Day(i+1)))
		}
	}
	return out
}

// Every operation agrees with looking at each day, and leaves the spans in
// order with a day between them.
func TestSetsOfDaysAgreeWithLookingAtEachDay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var a, b [someDays]bool
		for i := range someDays {
			a[i], b[i] = rapid.Bool().Draw(t, "a"), rapid.Bool().Draw(t, "b")
		}
		x, y := daysOf(a), daysOf(b)
		both, either, not := x.and(y), x.or(y), x.not()
		for _, set := range []Days{x, both, either, not} {
			for i := 1; i < len(set); i++ {
				if set[i].From <= set[i-1].To+1 {
					t.Fatalf("spans touch: %v", set)
				}
			}
		}
		var first, last rankwright.Day
		mid := rankwright.Day(rapid.IntRange(1, someDays).Draw(t, "day"))
		for i := range someDays {
			d := rankwright.Day(i + 1)
			if both.Has(d) != (a[i] && b[i]) || either.Has(d) != (a[i] || b[i]) || not.Has(d) != !a[i] {
				t.Fatalf("day %d", d)
			}
			if a[i] && d >= mid && first == 0 {
				first = d
			}
			if a[i] && d < mid {
				last = d
			}
		}
		if x.First(mid) != first || x.before(mid) != last {
			t.Fatalf("from %d on the first is %d, before it the last %d", mid, x.First(mid), x.before(mid))
		}
	})
}

func TestTheEndsOfTime(t *testing.T) {
	if !always().Has(FirstDay) || !always().Has(LastDay) || len(always().not()) != 0 || len(never().not()) != 1 {
		t.Error("always and never are not each other's opposite")
	}
	if LastDay != rankwright.MustDay("9999-12-31") || FirstDay != rankwright.MustDay("0001-01-01") {
		t.Error("the ends are not those of the calendar")
	}
	if between(5, 4) != nil || len(between(-3, 4)) != 1 {
		t.Error("spans are not cut to the calendar")
	}
}
