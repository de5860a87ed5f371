package rankwright

import (
	"math"
	"math/big"
	"testing"

	"pgregory.net/rapid"
)

// rat is an amount as math/big has it; the exact values of this file's checks
// come from there.
func rat(a Amount) *big.Rat { return big.NewRat(int64(a), int64(One)) }

func TestParseAmount(t *testing.T) {
	for _, c := range []struct {
		about, in string
		want      Amount
		err       error
	}{
		{"a whole number", "3", 3 * One, nil},
		{"nothing at all is zero", "0", 0, nil},
		{"a half", "2.5", 5 * One / 2, nil},
		{"thousandths", "-0.125", -One / 8, nil},
		{"a plus sign", "+7", 7 * One, nil},
		{"minus zero is zero", "-0.000", 0, nil},
		{"leading noughts do not count", "0000000000012.50", 25 * One / 2, nil},
		{"the largest", "1000000", MaxAmount, nil},
		{"the largest, negative", "-1000000.000", -MaxAmount, nil},
		{"just over the largest", "1000000.001", 0, errAmountRange},
		{"a very long number", "99999999999999999999999999", 0, errAmountRange},
		{"a long word with digits is no number", "1234567890x", 0, errAmountForm},
		{"four decimals", "1.0000", 0, errAmountForm},
		{"nothing", "", 0, errAmountForm},
		{"a sign alone", "-", 0, errAmountForm},
		{"two signs", "--1", 0, errAmountForm},
		{"a point alone", ".", 0, errAmountForm},
		{"no digits before the point", ".5", 0, errAmountForm},
		{"no digits behind the point", "5.", 0, errAmountForm},
		{"two points", "1.2.3", 0, errAmountForm},
		{"an exponent", "1e3", 0, errAmountForm},
		{"the sign after the nine, before the point", "1:0", 0, errAmountForm},
		{"the sign after the nine, behind the point", "1.0:", 0, errAmountForm},
		{"a decimal comma", "2,5", 0, errAmountForm},
		{"a space", " 2", 0, errAmountForm},
		{"digits of another script", "٣", 0, errAmountForm},
		{"not a number", "NaN", 0, errAmountForm},
	} {
		t.Run(c.about, func(t *testing.T) {
			got, err := ParseAmount(c.in)
			if got != c.want || err != c.err {
				t.Errorf("ParseAmount(%q) = %d, %v; want %d, %v", c.in, got, err, c.want, c.err)
			}
		})
	}
}

func TestAnAmountOfThousandthsIsWrittenAndReadBackTheSame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := Amount(rapid.Int64Range(-1e9, 1e9).Draw(t, "thousandths")) * (One / 1000)
		for _, text := range []string{a.String(), a.Decimals(3)} {
			back, err := ParseAmount(text)
			if err != nil || back != a {
				t.Fatalf("%d is written %q and read back as %d, %v", a, text, back, err)
			}
			exact, ok := new(big.Rat).SetString(text)
			if !ok || exact.Cmp(rat(a)) != 0 {
				t.Fatalf("%d is written %q, which math/big reads as %v", a, text, exact)
			}
		}
	})
}

func TestDecimalsAreCutAndNotRounded(t *testing.T) {
	for _, c := range []struct {
		a    Amount
		n    int
		want string
	}{
		{2 * One / 3, 0, "0"},
		{2 * One / 3, 1, "0.6"},
		{2 * One / 3, 2, "0.66"},
		{2 * One / 3, 3, "0.666"},
		{-2 * One / 3, 2, "-0.66"},
		{-One / 2, 0, "0"}, // never "-0"
		{One, 2, "1.00"},
		{999_999 * One / 1000, 0, "999"},
		{1, 3, "0.000"},
		{MaxAmount, 3, "1000000.000"},
	} {
		if got := c.a.Decimals(c.n); got != c.want {
			t.Errorf("%v with %d decimals is %q, want %q", rat(c.a), c.n, got, c.want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		a := Amount(rapid.Int64Range(0, int64(MaxAmount)).Draw(t, "amount"))
		n := rapid.IntRange(0, 3).Draw(t, "decimals")
		shown, _ := new(big.Rat).SetString(a.Decimals(n))
		step := new(big.Rat).SetFrac(big.NewInt(1), new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(n)), nil))
		short := new(big.Rat).Sub(rat(a), shown)
		if short.Sign() < 0 || short.Cmp(step) >= 0 {
			t.Fatalf("%v is shown as %v with %d decimals", rat(a), shown, n)
		}
	})
}

func TestAnAmountCutForShowKeepsOnlyWhatIsExact(t *testing.T) {
	for a, want := range map[Amount]string{
		0: "0", One: "1", 10 * One: "10", 100 * One: "100", One / 10: "0.1", -3 * One / 2: "-1.5",
		One / 3: "0.333", 20*One + One/8: "20.125",
	} {
		if got := a.String(); got != want {
			t.Errorf("%v is written %q, want %q", rat(a), got, want)
		}
	}
}

func TestTheMeanOfUpToTenExaminersIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		marks := rapid.SliceOfN(rapid.Int64Range(-1e6, 1e6), 1, MaxMean).Draw(t, "thousandths")
		var sum Amount
		exact := new(big.Rat)
		for _, m := range marks {
			sum += Amount(m) * (One / 1000)
			exact.Add(exact, big.NewRat(m, 1000))
		}
		exact.Quo(exact, big.NewRat(int64(len(marks)), 1))
		if n := Amount(len(marks)); sum%n != 0 || rat(sum/n).Cmp(exact) != 0 {
			t.Fatalf("the mean of %v thousandths is %v, not %v", marks, rat(sum/n), exact)
		}
	})
}

func TestTimes(t *testing.T) {
	t.Run("a number of thousandths times a mean of whole numbers is exact", func(t *testing.T) {
		rapid.Check(t, func(t *rapid.T) {
			weight := rapid.Int64Range(-1e9, 1e9).Draw(t, "thousandths")
			n := rapid.Int64Range(1, MaxMean).Draw(t, "examiners")
			sum := rapid.Int64Range(-1e6*n, 1e6*n).Draw(t, "sum of whole numbers")
			got := (Amount(weight) * (One / 1000)).Times(Amount(sum) * One / Amount(n))
			want := new(big.Rat).Mul(big.NewRat(weight, 1000), big.NewRat(sum, n))
			if rat(got).Cmp(want) != 0 {
				t.Fatalf("%d/1000 × %d/%d = %v, want %v", weight, sum, n, rat(got), want)
			}
		})
	})
	t.Run("anything finer is cut towards zero", func(t *testing.T) {
		rapid.Check(t, func(t *rapid.T) {
			a := Amount(rapid.Int64Range(-int64(MaxAmount), int64(MaxAmount)).Draw(t, "a"))
			b := Amount(rapid.Int64Range(-int64(MaxAmount), int64(MaxAmount)).Draw(t, "b"))
			want := new(big.Int).Mul(big.NewInt(int64(a)), big.NewInt(int64(b)))
			want.Quo(want, big.NewInt(int64(One)))
			if got := a.Times(b); !want.IsInt64() || int64(got) != want.Int64() {
				t.Fatalf("%d × %d = %d parts, want %v", a, b, got, want)
			}
		})
	})
}

func TestParseShare(t *testing.T) {
	for in, want := range map[string]Share{
		"70%": 7000, "62.5 %": 6250, " 0% ": 0, "100.00%": 10000, "0.01%": 1, "1000%": 100_000,
	} {
		if got, err := ParseShare(in); err != nil || got != want {
			t.Errorf("ParseShare(%q) = %d, %v; want %d", in, got, err, want)
		}
	}
	for _, in := range []string{"", "%", "70", "0.7", "-1%", "1000.01%", "0.001%", "70%%", "70 percent", "7e1%"} {
		if got, err := ParseShare(in); err != errShareForm {
			t.Errorf("ParseShare(%q) = %d, %v; want it refused", in, got, err)
		}
	}
}

func TestAShareIsWrittenAndReadBackTheSame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := Share(rapid.Int32Range(0, 100_000).Draw(t, "hundredths of a percent"))
		if back, err := ParseShare(s.String()); err != nil || back != s {
			t.Fatalf("%d is written %q and read back as %d, %v", s, s.String(), back, err)
		}
	})
}

// parts draws any 64-bit integer, and often one of the ends.
func parts() *rapid.Generator[int64] {
	return rapid.OneOf(
		rapid.Int64(),
		rapid.Int64Range(-20, 20),
		rapid.SampledFrom([]int64{math.MinInt64, math.MinInt64 + 1, math.MaxInt64 - 1, math.MaxInt64,
			int64(MaxAmount), -int64(MaxAmount), int64(One), 0}),
	)
}

// product is a×b as math/big has it.
func product(a, b int64) *big.Int { return new(big.Int).Mul(big.NewInt(a), big.NewInt(b)) }

func TestSharesAreComparedExactlyAtAnySize(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		got, whole := parts().Draw(t, "got"), parts().Draw(t, "whole")
		s := rapid.OneOf(rapid.Int32Range(0, 10_000), rapid.Int32()).Draw(t, "share")
		order := product(got, 10_000).Cmp(product(whole, int64(s)))
		if r := Share(s).Reaches(Amount(got), Amount(whole)); r != (order >= 0) {
			t.Fatalf("Reaches says %v", r)
		}
		if r := ShareAtMost(Amount(got), Share(s), Amount(whole)); r != (order <= 0) {
			t.Fatalf("ShareAtMost says %v", r)
		}
	})
}

func TestProportionalIsExactAtAnySize(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		got, whole := parts().Draw(t, "got"), parts().Draw(t, "whole")
		asked, full := parts().Draw(t, "asked"), parts().Draw(t, "full")
		want := product(got, full).Cmp(product(asked, whole)) >= 0
		if r := Proportional(Amount(got), Amount(whole), Amount(asked), Amount(full)); r != want {
			t.Fatalf("Proportional says %v", r)
		}
	})
}

// A share that is met to the last part, and missed by one part, whatever the
// size: rounding or floating point would confuse the two.
func TestAShareIsMissedByOnePart(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := Share(rapid.Int32Range(1, 10_000).Draw(t, "share"))
		whole := Amount(rapid.Int64Range(1, math.MaxInt64/20_000).Draw(t, "whole")) * 10_000
		least := whole / 10_000 * Amount(s)
		if !s.Reaches(least, whole) || s.Reaches(least-1, whole) {
			t.Fatalf("%v of %d is reached from %d on", s, whole, least)
		}
		if !ShareAtMost(least, s, whole) || ShareAtMost(least+1, s, whole) {
			t.Fatalf("at most %v of %d is up to %d", s, whole, least)
		}
	})
}

func TestOfAnEmptyWholeNothingIsMissing(t *testing.T) {
	if !Percent(100).Reaches(0, 0) || ShareOf(0, 0) != Percent(100) || !Proportional(0, 0, One, One) {
		t.Error("where nothing is asked, something is missing")
	}
}

func TestShareOfHasALargestValue(t *testing.T) {
	for _, whole := range []Amount{1, 4998, 4999, 5000} { // 10000 × the largest got is 4999 × 2^64 and more
		if s := ShareOf(math.MaxInt64, whole); s != 1<<30 {
			t.Errorf("of %d parts it is %d", whole, s)
		}
	}
}

func TestShareOfIsCut(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		got, whole := parts().Draw(t, "got"), parts().Draw(t, "whole")
		s := ShareOf(Amount(got), Amount(whole))
		switch {
		case whole <= 0:
			if s != Percent(100) {
				t.Fatalf("of nothing asked, %v", s)
			}
		case got <= 0:
			if s != 0 {
				t.Fatalf("nothing reached is %v", s)
			}
		default:
			want := product(got, 10_000)
			want.Quo(want, big.NewInt(whole))
			if most := big.NewInt(1 << 30); want.Cmp(most) > 0 {
				want = most
			}
			if want.Int64() != int64(s) {
				t.Fatalf("ShareOf = %d, want %v", s, want)
			}
		}
	})
}
