package decide

import (
	"slices"

	"rankwright"
	"rankwright/scoring"
	"rankwright/syllabus"
)

// tries leaves out the marks of tries beyond those that the requirement gives.
func (a *asked) tries(seen []scoring.Seen) []scoring.Seen {
	for i := range seen {
		if a.beyond(&seen[i]) {
			return slices.DeleteFunc(slices.Clone(seen), func(m scoring.Seen) bool { return a.beyond(&m) })
		}
	}
	return seen
}

func (a *asked) beyond(m *scoring.Seen) bool { return m.Try > max(1, a.q.Tries) }

// one brings the tries of the examiner with whom seen begins down to one
// value, and says how many marks those were.
func (a *asked) one(seen []scoring.Seen) (v rankwright.Amount, n int) {
	v = seen[0].Value.Num
	for n = 1; n < len(seen) && seen[n].Examiner == seen[0].Examiner; n++ {
		w := seen[n].Value.Num
		if a.q.Keep == syllabus.KeepLast || a.q.Keep == syllabus.KeepBest && better(a.q, w, v) {
			v = w
		}
	}
	return v, n
}

// combine makes one value of several examiners' marks, after the tries of
// each examiner have been brought down to one.
func combine(a *asked, seen []scoring.Seen, lead rankwright.ExaminerID) rankwright.Amount {
	if len(seen) == 1 {
		return seen[0].Value.Num
	}
	var room [8]rankwright.Amount
	values, leads := room[:0], rankwright.Amount(-1)
	for len(seen) > 0 {
		v, n := a.one(seen)
		if seen[0].Examiner == lead {
			leads = v
		}
		values, seen = append(values, v), seen[n:]
	}
	return combined(a, values, leads)
}

func better(q *syllabus.Requirement, a, b rankwright.Amount) bool {
	if q.AtMost {
		return a < b
	}
	return a > b
}

// method is the combining rule for so many examiners.
func (a *asked) method(examiners int) syllabus.Method {
	if examiners == 2 {
		return a.combine.OfTwo
	}
	return a.combine.Method
}

// combined applies the combining rule; leads is the lead's value or -1.
func combined(a *asked, values []rankwright.Amount, leads rankwright.Amount) rankwright.Amount {
	slices.Sort(values)
	if a.q.AtMost {
		slices.Reverse(values) // from the least favourable to the best
	}
	n := len(values)
	switch a.method(n) {
	case syllabus.Mean:
		sum := rankwright.Amount(0)
		for _, v := range values {
			sum += v
		}
		return sum / rankwright.Amount(n)
	case syllabus.Median:
		if n%2 == 0 {
			return (values[n/2-1] + values[n/2]) / 2
		}
		return values[n/2]
	case syllabus.Majority:
		// The best value that more than half reach: at least n/2+1 marks are
		// at or above it.
		return values[n-(n/2+1)]
	case syllabus.Lowest:
		return values[0]
	}
	if leads >= 0 {
		return leads
	}
	return values[0]
}
