package ready

import (
	"slices"

	"rankwright"
)

// The days this package reckons with. A span that ends on LastDay is open.
const (
	FirstDay rankwright.Day = 1       // 1 January of the year 1
	LastDay  rankwright.Day = 3652059 // 31 December 9999
)

// Span is the days from From to To, both included.
type Span struct{ From, To rankwright.Day }

// Days is a set of days: spans in order, with at least one day between two.
// The nil set is empty.
type Days []Span

func never() Days  { return nil }
func always() Days { return Days{{FirstDay, LastDay}} }

func alwaysIf(ok bool) Days {
	if ok {
		return always()
	}
	return never()
}

// between returns the days from a to b as far as this package reckons.
func between(a, b rankwright.Day) Days {
	a, b = max(a, FirstDay), min(b, LastDay)
	if a > b {
		return nil
	}
	return Days{{a, b}}
}

func from(a rankwright.Day) Days { return between(a, LastDay) }

// Has says whether the day is in the set.
func (ds Days) Has(d rankwright.Day) bool {
	_, ok := ds.span(d)
	return ok
}

func (ds Days) span(d rankwright.Day) (Span, bool) {
	for _, s := range ds {
		if d >= s.From && d <= s.To {
			return s, true
		}
	}
	return Span{}, false
}

// First returns the first day of the set on or after d, or no day.
func (ds Days) First(d rankwright.Day) rankwright.Day {
	for _, s := range ds {
		if s.To >= d {
			return max(s.From, d)
		}
	}
	return 0
}

// before returns the last day of the set before d, or no day.
func (ds Days) before(d rankwright.Day) rankwright.Day {
	for _, s := range slices.Backward(ds) {
		if s.From < d {
			return min(s.To, d-1)
		}
	}
	return 0
}

// and is the intersection.
func (ds Days) and(es Days) Days {
	var out Days
	for i, j := 0, 0; i < len(ds) && j < len(es); {
		a, b := ds[i], es[j]
		if lo, hi := max(a.From, b.From), min(a.To, b.To); lo <= hi {
			out = append(out, Span{lo, hi})
		}
		if a.To < b.To {
			i++
		} else {
			j++
		}
	}
	return out
}

// or is the union.
func (ds Days) or(es Days) Days {
	all := slices.Concat(ds, es)
	slices.SortFunc(all, func(a, b Span) int { return int(a.From) - int(b.From) })
	var out Days
	for _, s := range all {
		if n := len(out); n > 0 && s.From <= out[n-1].To+1 {
			out[n-1].To = max(out[n-1].To, s.To)
			continue
		}
		out = append(out, s)
	}
	return out
}

// not is every other day.
func (ds Days) not() Days {
	var out Days
	next := FirstDay
	for _, s := range ds {
		out = append(out, between(next, s.From-1)...)
		next = s.To + 1
	}
	return append(out, between(next, LastDay)...)
}
