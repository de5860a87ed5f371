package decide_test

import (
	"math/big"
	"slices"

	"rankwright"
	"rankwright/scoring"
	"rankwright/syllabus"
)

// The naive decision's way from marks to points.

// asBest says whether a is at least as favourable as b.
func asBest(q *syllabus.Requirement, a, b fraction) bool {
	if q.AtMost {
		return a.Cmp(b) <= 0
	}
	return a.Cmp(b) >= 0
}

func (n *naively) combine(q *syllabus.Requirement, marks map[rankwright.ExaminerID][]scoring.Value) fraction {
	var values []fraction // the most favourable first
	var lead fraction
	for e, tries := range marks {
		v := rat(tries[0].Num)
		for _, t := range tries[1:] {
			if q.Keep == syllabus.KeepLast || q.Keep == syllabus.KeepBest && asBest(q, rat(t.Num), v) {
				v = rat(t.Num)
			}
		}
		if e == n.w.c.Lead {
			lead = v
		}
		values = append(values, v)
	}
	slices.SortFunc(values, func(a, b fraction) int {
		if a.Cmp(b) == 0 {
			return 0
		}
		if asBest(q, a, b) {
			return -1
		}
		return 1
	})
	rule := n.w.syllabus.Combine[q.Kind]
	if q.Combine != nil {
		rule = *q.Combine
	}
	method := rule.Method
	if len(values) == 2 {
		method = rule.OfTwo
	}
	worst := values[len(values)-1]
	switch method {
	case syllabus.Mean:
		sum := new(big.Rat)
		for _, v := range values {
			sum.Add(sum, v)
		}
		return over(sum, big.NewRat(int64(len(values)), 1))
	case syllabus.Median:
		return times(big.NewRat(1, 2), plus(values[(len(values)-1)/2], values[len(values)/2]))
	case syllabus.Majority:
		for _, v := range values { // the best that more than half reach
			reach := 0
			for _, x := range values {
				if asBest(q, x, v) {
					reach++
				}
			}
			if 2*reach > len(values) {
				return v
			}
		}
	case syllabus.Lowest:
		return worst
	}
	if lead != nil {
		return lead
	}
	return worst
}

func (n *naively) credit(c *card) fraction {
	q := c.q
	switch q.Kind {
	case syllabus.Tick:
		return times(c.value, rat(q.Points))
	case syllabus.Leveled:
		top := int64(q.Scale.Levels[len(q.Scale.Levels)-1].Value)
		return times(c.value, over(rat(q.Points), big.NewRat(top, 1)))
	case syllabus.Steps, syllabus.Recall:
		return times(c.value, over(rat(q.Points), big.NewRat(int64(q.Of), 1)))
	}
	target := rat(q.Expected(n.w.c.Band))
	for _, row := range q.Credit {
		if asBest(q, c.value, times(percent(row.At), target)) {
			return rat(row.Points)
		}
	}
	if len(q.Credit) == 0 && asBest(q, c.value, target) {
		return rat(q.Points)
	}
	return new(big.Rat)
}

func (n *naively) expected(c *card) bool {
	return c.value != nil && asBest(c.q, c.value, rat(c.q.Expected(n.w.c.Band)))
}
