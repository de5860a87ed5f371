package timetable

import (
	"context"
	"math"
)

// part is a programme in which many columns stand still: those are put into
// the bounds of the rows, and rows without a free column are left out.
type part struct {
	Program
	column []int // of the whole programme, for each column here
	fixed  int64 // what the columns that stand still cost
}

// partOf makes the part of a programme in which the columns marked free may move
// and all others keep their values, which must satisfy the programme.
func partOf(p *Program, values []int64, free []bool) *part {
	c := &part{}
	at := make([]int, len(p.Columns))
	for i, col := range p.Columns {
		at[i] = -1
		if free[i] && col.Lower < col.Upper {
			at[i] = len(c.column)
			c.column = append(c.column, i)
			c.Columns = append(c.Columns, col)
			c.Start = append(c.Start, values[i])
		} else {
			c.fixed += col.Cost * values[i]
		}
	}
	terms := make([]Term, 0, 1024)
	for _, r := range p.Rows {
		var sum, least, most int64
		from := len(terms)
		for _, t := range r.Terms {
			j := at[t.Column]
			if j < 0 {
				sum += t.Factor * values[t.Column]
				continue
			}
			terms = append(terms, Term{j, t.Factor})
			a, b := t.Factor*c.Columns[j].Lower, t.Factor*c.Columns[j].Upper
			least, most = least+min(a, b), most+max(a, b)
		}
		if len(terms) == from {
			continue
		}
		lower, upper := shift(r.Lower, sum), shift(r.Upper, sum)
		if (lower == -Endless || least >= lower) && (upper == Endless || most <= upper) {
			terms = terms[:from] // holds whatever happens
			continue
		}
		c.Rows = append(c.Rows, Row{Lower: lower, Upper: upper, Terms: terms[from:len(terms):len(terms)]})
	}
	return c
}

func shift(bound, sum int64) int64 {
	if bound == Endless || bound == -Endless {
		return bound
	}
	return bound - sum
}

// improve solves the part and, where it finds better values, writes them into
// values. It says what was gained and how much work it took.
func (c *part) improve(ctx context.Context, s Solver, whole *Program, values []int64, limit Limits) (gain, work int64, err error) {
	sol, err := s.Solve(ctx, c.Program, limit)
	if err != nil || sol.Values == nil {
		return 0, sol.Work, err
	}
	was := make([]int64, len(c.column))
	for j, i := range c.column {
		was[j] = values[i]
		gain += whole.Columns[i].Cost * (values[i] - int64(math.Round(sol.Values[j])))
	}
	if gain <= 0 {
		return 0, sol.Work, nil
	}
	for j, i := range c.column {
		values[i] = int64(math.Round(sol.Values[j]))
	}
	if !whole.Holds(values) {
		for j, i := range c.column {
			values[i] = was[j]
		}
		return 0, sol.Work, nil
	}
	return gain, sol.Work, nil
}
