package rankwright

import (
	"errors"
	"math/bits"
	"strconv"
	"strings"
)

// Amount is an exact quantity: points, levels, counts or seconds. It is an
// integer number of 1/2520000 parts, since 2520000 = 1000 × lcm(1…10) holds
// thousandths, and the mean of up to ten examiners' thousandths, without a
// remainder. Nothing that decides is ever rounded.
type Amount int64

const (
	// One is the amount 1.
	One Amount = 2_520_000
	// MaxAmount bounds what may be typed in: a million. The bound keeps every
	// sum and cross-multiplication of this module inside 64 bits.
	MaxAmount = 1_000_000 * One
	// MaxMean is the largest number of examiners whose mean is exact.
	MaxMean = 10

	// tooMany is where ParseAmount stops counting: over a million, and far from
	// the end of 64 bits.
	tooMany = 10_000_000
)

// Whole returns the amount n.
func Whole(n int) Amount { return Amount(n) * One }

var (
	errAmountForm  = errors.New("not a number with at most three decimals")
	errAmountRange = errors.New("larger than a million")
)

// ParseAmount reads a decimal number such as "3", "2.5" or "-0.125": an
// optional sign, digits, and at most three decimals behind a point. Anything
// finer, an exponent, or a size over MaxAmount is refused.
func ParseAmount(s string) (Amount, error) {
	rest, neg := s, false
	if rest != "" && (rest[0] == '-' || rest[0] == '+') {
		neg, rest = rest[0] == '-', rest[1:]
	}
	whole, frac, point := strings.Cut(rest, ".")
	if whole == "" || len(frac) > 3 || (point && frac == "") {
		return 0, errAmountForm
	}
	var n int64
	for i := range len(whole) {
		c := whole[i] - '0'
		if c > 9 {
			return 0, errAmountForm
		}
		n = min(n*10+int64(c), tooMany)
	}
	a := Amount(n) * One
	scale := One
	for i := range len(frac) {
		c := frac[i] - '0'
		if c > 9 {
			return 0, errAmountForm
		}
		scale /= 10
		a += Amount(c) * scale
	}
	if a > MaxAmount {
		return 0, errAmountRange
	}
	if neg {
		a = -a
	}
	return a, nil
}

// IsWhole says whether the amount is a whole number.
func (a Amount) IsWhole() bool { return a%One == 0 }

// Int returns the whole part, cut towards zero.
func (a Amount) Int() int { return int(a / One) }

// Decimals writes the amount with n decimals (0 to 3), cut towards zero and
// not rounded: of points reached, never more is shown than there are.
func (a Amount) Decimals(n int) string {
	neg := a < 0
	if neg {
		a = -a
	}
	part := One
	for range n {
		part /= 10
	}
	units := int64(a / part)
	s := strconv.FormatInt(units, 10)
	if n > 0 {
		for len(s) <= n {
			s = "0" + s
		}
		s = s[:len(s)-n] + "." + s[len(s)-n:]
	}
	if neg && units != 0 {
		s = "-" + s
	}
	return s
}

// Times returns a × b, both being amounts of at most MaxAmount either way. The
// product of a number of thousandths with a mean of whole numbers is exact;
// anything finer is cut.
func (a Amount) Times(b Amount) Amount {
	hi, lo := bits.Mul64(uint64(max(a, -a)), uint64(max(b, -b)))
	q, _ := bits.Div64(hi, lo, uint64(One))
	if (a < 0) != (b < 0) {
		return -Amount(q)
	}
	return Amount(q)
}

// String writes the amount as briefly as it can be written exactly, and cut
// to three decimals where it cannot.
func (a Amount) String() string {
	s := a.Decimals(3)
	s = strings.TrimRight(s, "0")
	return strings.TrimSuffix(s, ".")
}

// Share is a proportion of a whole in hundredths of a percent: 70 % is 7000.
type Share int32

// Percent returns the share of n percent.
func Percent(n int) Share { return Share(n * 100) }

var errShareForm = errors.New("not a share: write it as a percentage with at most two decimals, such as 70%")

// ParseShare reads "70%" or "62.5 %"; the sign is required so that a share is
// never mistaken for a number of points.
func ParseShare(s string) (Share, error) {
	body, ok := strings.CutSuffix(strings.TrimSpace(s), "%")
	if !ok {
		return 0, errShareForm
	}
	a, err := ParseAmount(strings.TrimSpace(body))
	if err != nil || a < 0 || a > Whole(1000) || a%(One/100) != 0 {
		return 0, errShareForm
	}
	return Share(a / (One / 100)), nil
}

// String writes the share as a percentage, as briefly as it is exact.
func (s Share) String() string {
	out := Amount(s) * (One / 100)
	return out.String() + "%"
}

// Reaches says whether got is at least the share s of whole, exactly, by
// cross-multiplication: 10000 × got ≥ s × whole. An empty whole is reached by
// any share: where nothing is asked, nothing is missing.
func (s Share) Reaches(got, whole Amount) bool {
	return cmp128(got, 10000, whole, int64(s)) >= 0
}

// ShareAtMost says whether v is at most the share s of whole, exactly.
func ShareAtMost(v Amount, s Share, whole Amount) bool {
	return cmp128(v, 10000, whole, int64(s)) <= 0
}

// Proportional says whether got of whole is at least asked of full, exactly:
// got × full ≥ asked × whole. It is how a number of points asked of a full
// sheet is asked of a sheet from which something was waived.
func Proportional(got, whole, asked, full Amount) bool {
	return cmp128(got, int64(full), asked, int64(whole)) >= 0
}

// cmp128 compares a×x with b×y without overflow.
func cmp128(a Amount, x int64, b Amount, y int64) int {
	ah, al := mul128(int64(a), x)
	bh, bl := mul128(int64(b), y)
	switch {
	case ah != bh:
		if ah < bh {
			return -1
		}
		return 1
	case al != bl:
		if al < bl {
			return -1
		}
		return 1
	}
	return 0
}

func mul128(a, b int64) (hi int64, lo uint64) {
	h, l := bits.Mul64(uint64(max(a, -a)), uint64(max(b, -b)))
	if (a < 0) == (b < 0) {
		return int64(h), l
	}
	l, borrow := bits.Sub64(0, l, 0)
	h, _ = bits.Sub64(0, h, borrow)
	return int64(h), l
}

// ShareOf returns got as a share of whole in hundredths of a percent, cut; of
// an empty whole it is everything (100 %).
func ShareOf(got, whole Amount) Share {
	if whole <= 0 {
		return 10000
	}
	if got <= 0 {
		return 0
	}
	hi, lo := bits.Mul64(uint64(got), 10000)
	if hi >= uint64(whole) {
		return 1 << 30
	}
	q, _ := bits.Div64(hi, lo, uint64(whole))
	return Share(min(q, 1<<30))
}
