package scoring

import "fmt"

// A device numbers its marks from 1 without leaving one out, so that what
// never came can be told from the numbers of what did.

// Span is numbers of a device without a break, both ends among them.
type Span struct{ From, To int64 }

// Len is how many numbers there are in it.
func (s Span) Len() int64 { return s.To - s.From + 1 }

// String writes the numbers as people do: 7, or 41–57.
func (s Span) String() string {
	if s.From == s.To {
		return fmt.Sprint(s.From)
	}
	return fmt.Sprintf("%d–%d", s.From, s.To)
}

// Gaps returns the numbers after one and up to another that are not among
// those that came, which stand in order.
func Gaps(came []int64, after, last int64) []Span {
	var out []Span
	next := after + 1
	for _, n := range came {
		if n > last {
			break
		}
		if n > next {
			out = append(out, Span{next, n - 1})
		}
		next = max(next, n+1)
	}
	if next <= last {
		out = append(out, Span{next, last})
	}
	return out
}

// Without returns the numbers of spans that are in none of others. The spans
// stand in order and do not overlap; the others may stand and overlap as they
// like.
func Without(spans, others []Span) []Span {
	for _, o := range others {
		var out []Span
		for _, s := range spans {
			if o.To < s.From || s.To < o.From {
				out = append(out, s)
				continue
			}
			if s.From < o.From {
				out = append(out, Span{s.From, o.From - 1})
			}
			if o.To < s.To {
				out = append(out, Span{o.To + 1, s.To})
			}
		}
		spans = out
	}
	return spans
}

// Began says up to which number a device had counted before the marks that it
// has not sent yet: the latest so many of the gaps are theirs.
func Began(gaps []Span, last int64, unsent int) int64 {
	left := int64(unsent)
	for i := len(gaps) - 1; i >= 0 && left > 0; i-- {
		if n := gaps[i].Len(); n < left {
			left -= n
			last = gaps[i].From - 1
			continue
		}
		return gaps[i].To - left
	}
	return last
}

// Within says whether all of the numbers are among others.
func Within(these, others []Span) bool {
	for _, s := range these {
		ok := false
		for _, o := range others {
			ok = ok || o.From <= s.From && s.To <= o.To
		}
		if !ok {
			return false
		}
	}
	return true
}
