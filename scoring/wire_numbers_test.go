package scoring_test

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"rankwright/scoring"
)

// Held against a count of each number by itself.
func TestGapsAreTheNumbersThatDidNotCome(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		after, last := rapid.Int64Range(0, 20).Draw(t, "after"), rapid.Int64Range(0, 60).Draw(t, "last")
		came := rapid.SliceOfDistinct(rapid.Int64Range(1, 70), func(n int64) int64 { return n }).Draw(t, "came")
		slices.Sort(came)
		gaps := scoring.Gaps(came, after, last)
		var missing []int64
		for n := after + 1; n <= last; n++ {
			if !slices.Contains(came, n) {
				missing = append(missing, n)
			}
		}
		var told []int64
		for i, s := range gaps {
			if s.Len() < 1 || i > 0 && s.From <= gaps[i-1].To+1 {
				t.Fatalf("the gaps %v do not stand apart and in order", gaps)
			}
			for n := s.From; n <= s.To; n++ {
				told = append(told, n)
			}
		}
		if !slices.Equal(told, missing) {
			t.Fatalf("%v are told, and %v are missing", told, missing)
		}
		// Where a device begins with some unsent, those are the latest gaps.
		unsent := rapid.IntRange(0, 30).Draw(t, "unsent")
		began := scoring.Began(gaps, last, unsent)
		left, want := 0, min(unsent, len(missing))
		for _, n := range missing {
			if n > began {
				left++
			}
		}
		if left != want || began > last {
			t.Fatalf("with %d unsent of %v it began after %d, which leaves %d", unsent, missing, began, left)
		}
		if !scoring.Within(scoring.Gaps(came, began, last), gaps) || len(gaps) > 0 && scoring.Within([]scoring.Span{{From: gaps[0].From, To: last + 1}}, gaps) {
			t.Fatal("what is within the gaps is told wrongly")
		}
		// Without those of others: each number by itself again, however they lie.
		others := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) scoring.Span {
			from := rapid.Int64Range(1, 60).Draw(t, "from")
			return scoring.Span{From: from, To: from + rapid.Int64Range(0, 20).Draw(t, "more")}
		}), 0, 4).Draw(t, "others")
		var rest []int64
		for _, n := range missing {
			if !slices.ContainsFunc(others, func(s scoring.Span) bool { return s.From <= n && n <= s.To }) {
				rest = append(rest, n)
			}
		}
		told = nil
		for _, s := range scoring.Without(gaps, others) {
			for n := s.From; n <= s.To; n++ {
				told = append(told, n)
			}
		}
		if !slices.Equal(told, rest) {
			t.Fatalf("%v without %v are told as %v, not %v", gaps, others, told, rest)
		}
	})
}

func TestNumbersAreWrittenAsPeopleDo(t *testing.T) {
	if a, b := (scoring.Span{From: 7, To: 7}).String(), (scoring.Span{From: 41, To: 57}).String(); a != "7" || b != "41–57" {
		t.Errorf("%s, %s", a, b)
	}
}
