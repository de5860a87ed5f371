package timetable

import (
	"context"
	"math"
	"math/big"

	"rankwright"
)

// Program is a mathematical programme: minimise the sum of Cost × value over
// the columns, where every value stays within its column's bounds, is whole
// where the column says so, and every row's sum of Factor × value stays within
// the row's bounds. All data are integers, so that what a solver answers can be
// checked exactly.
type Program struct {
	Columns []Column
	Rows    []Row
	// Start is a value for every column from which a solver may begin, or nil.
	// A start that breaks a row is repaired or ignored.
	Start []int64
}

// Column is one unknown.
type Column struct {
	Cost         int64
	Lower, Upper int64 // -Endless and Endless where there is no bound
	Whole        bool  // integers only
}

// Row is one condition: Lower ≤ Σ Factor × value ≤ Upper.
type Row struct {
	Lower, Upper int64 // -Endless and Endless where there is no bound
	Terms        []Term
}

// Term is one column's part in a row. A row names a column once.
type Term struct {
	Column int
	Factor int64
}

// Endless stands for no bound.
const Endless int64 = math.MaxInt64

// Limits end a search early. The zero value asks for the proven optimum,
// however long it takes, within the solver's own limit of memory.
type Limits struct {
	// Work is the most work, in the solver's own repeatable units (see
	// Solution.Work); 0 is without limit. The same programme under the same
	// limit gives the same solution on the same kind of machine, busy or not.
	Work int64
	// Gap ends the search when the objective is within this share of the
	// bound, in thousandths of it; 0 asks for a proof.
	Gap int64
	// Whole says that the least objective is an integer, so that a solution less
	// than one unit above the bound is proven best.
	Whole bool
	// Memory is the most memory in bytes that the solver may take; 0 is the
	// solver's own limit.
	Memory int64
}

// Status says how a search ended.
type Status uint8

const (
	// NoneFound is a search that was ended before it had any solution.
	NoneFound Status = iota
	// Optimal is a solution that is proven best (within Limits.Gap).
	Optimal
	// Stopped is the best solution so far, not proven best.
	Stopped
	// Infeasible is a proof that no values satisfy all conditions.
	Infeasible
	// Boundless is a programme whose objective falls without end.
	Boundless
)

// String names the status.
func (s Status) String() string {
	switch s {
	case NoneFound:
		return "none found"
	case Optimal:
		return "optimal"
	case Stopped:
		return "stopped"
	case Infeasible:
		return "infeasible"
	case Boundless:
		return "boundless"
	}
	return "unknown"
}

// Solution is what a solver found.
type Solution struct {
	Status Status
	// Values has one number a column where Status is Optimal or Stopped. Whole
	// columns hold exact integers.
	Values []float64
	// Objective is the sum of Cost × Values. Where all columns with a cost are
	// whole it is an exact integer.
	Objective float64
	// Bound is proven: no solution has a smaller objective. It is -Inf where
	// nothing is known. The proof holds within the solver's tolerances; see
	// Solution.WholeBound.
	Bound float64
	// Duals has one number a row where the programme has no whole column and
	// Status is Optimal: by how much the objective changes with that row's
	// bound.
	Duals []float64
	// Reduced has one number a column under the same conditions: by how much
	// the objective changes with that column's value.
	Reduced []float64
	// Work is how much was done, in the solver's own repeatable units.
	Work int64
}

// boundTolerance is how far a floating-point bound may exceed the truth, as a
// share of its size and at least absolutely: ten times the tolerance within
// which solvers hold rows.
const boundTolerance = 1e-5

// WholeBound is the bound for a programme whose objective is an integer for
// every solution: the smallest integer that is not below Bound, after Bound
// was lowered by the solver's tolerance. It is -Endless where nothing is known.
func (s Solution) WholeBound() int64 {
	if math.IsInf(s.Bound, -1) || math.IsNaN(s.Bound) || s.Bound < -1e15 {
		return -Endless
	}
	if s.Bound > 1e15 {
		return 1e15
	}
	return int64(math.Ceil(s.Bound - boundTolerance*max(1, math.Abs(s.Bound)/1e3)))
}

// Solver solves programmes. A solution that is cut short, by Limits or because
// ctx is done, is no error: it comes with the best values so far and the bound.
// An error is a fault: a programme that is wrong in itself, or one that needs
// more memory than it may have.
type Solver interface {
	Solve(ctx context.Context, p Program, l Limits) (Solution, error)
}

// Value adds up a solution's objective exactly.
func (p *Program) Value(values []int64) int64 {
	var sum int64
	for i, c := range p.Columns {
		sum += c.Cost * values[i]
	}
	return sum
}

// Holds says whether whole values satisfy all bounds and rows, exactly.
func (p *Program) Holds(values []int64) bool {
	if len(values) != len(p.Columns) {
		return false
	}
	for i, c := range p.Columns {
		if values[i] < c.Lower || values[i] > c.Upper {
			return false
		}
	}
	for _, r := range p.Rows {
		var sum int64
		for _, t := range r.Terms {
			sum += t.Factor * values[t.Column]
		}
		if sum < r.Lower || sum > r.Upper {
			return false
		}
	}
	return true
}

// mostFactor is the largest number that a programme may hold: floating point
// keeps integers up to 2^53 exactly, and products of values must stay below.
const mostFactor = 1 << 40

// Check says what is wrong with a programme in itself, or nil.
func (p *Program) Check() error {
	bad := func(say string, args ...any) error {
		return rankwright.Faultf(rankwright.Invalid, "bad_program", "", "the programme cannot be solved: "+say, args...)
	}
	large := func(v int64) bool { return v != Endless && v != -Endless && (v > mostFactor || v < -mostFactor) }
	for i, c := range p.Columns {
		if large(c.Cost) || c.Cost == Endless || c.Cost == -Endless || large(c.Lower) || large(c.Upper) {
			return bad("column %d has a number beyond ±2^40", i)
		}
	}
	seen := make([]int, len(p.Columns))
	for i, r := range p.Rows {
		if large(r.Lower) || large(r.Upper) {
			return bad("row %d has a bound beyond ±2^40", i)
		}
		for _, t := range r.Terms {
			switch {
			case t.Column < 0 || t.Column >= len(p.Columns):
				return bad("row %d names column %d, and there are %d", i, t.Column, len(p.Columns))
			case seen[t.Column] == i+1:
				return bad("row %d names column %d twice", i, t.Column)
			case t.Factor > mostFactor || t.Factor < -mostFactor:
				return bad("row %d has a factor beyond ±2^40", i)
			}
			seen[t.Column] = i + 1
		}
	}
	if p.Start != nil && len(p.Start) != len(p.Columns) {
		return bad("the start has %d values for %d columns", len(p.Start), len(p.Columns))
	}
	return nil
}

// dualScale is the denominator of the prices in DualBound.
const dualScale = 1 << 20

// DualBound is a bound that the duals of a relaxation prove, worked out in
// integers, so that it holds without any tolerance: no values within the
// columns' bounds that satisfy the rows have a smaller objective, for whatever
// duals (A. Neumaier, O. Shcherbina, "Safe bounds in linear and mixed-integer
// linear programming", Mathematical Programming 99 (2004)). It is for
// programmes with an integer objective, and -Endless where nothing is proven.
func (p *Program) DualBound(duals []float64) int64 {
	if len(duals) != len(p.Rows) {
		return -Endless
	}
	// What a column costs beyond what the rows pay for it.
	rest := make([]*big.Int, len(p.Columns))
	scale := big.NewInt(dualScale)
	for i, c := range p.Columns {
		rest[i] = new(big.Int).Mul(big.NewInt(c.Cost), scale)
	}
	sum, part := new(big.Int), new(big.Int)
	for i, r := range p.Rows {
		if math.IsNaN(duals[i]) || math.Abs(duals[i]) > 1<<40 {
			continue // a price of nothing proves less, and nothing wrong
		}
		price, limit := int64(math.Round(duals[i]*dualScale)), r.Lower
		if price < 0 {
			limit = r.Upper
		}
		if price == 0 || limit == Endless || limit == -Endless {
			continue
		}
		y := big.NewInt(price)
		sum.Add(sum, part.Mul(y, big.NewInt(limit)))
		for _, t := range r.Terms {
			rest[t.Column].Sub(rest[t.Column], part.Mul(y, big.NewInt(t.Factor)))
		}
	}
	for i, c := range p.Columns {
		limit := c.Lower
		switch rest[i].Sign() {
		case 0:
			continue
		case -1:
			limit = c.Upper
		}
		if limit == Endless || limit == -Endless {
			return -Endless
		}
		sum.Add(sum, part.Mul(rest[i], big.NewInt(limit)))
	}
	// The next integer above, in whole units.
	sum.Add(sum, big.NewInt(dualScale-1))
	sum.Div(sum, scale) // rounds down, also below 0
	if !sum.IsInt64() {
		return -Endless
	}
	return sum.Int64()
}

// Relaxed is the programme without the condition that values are whole.
func (p *Program) Relaxed() Program {
	r := *p
	r.Start = nil
	r.Columns = append([]Column(nil), p.Columns...)
	for i := range r.Columns {
		r.Columns[i].Whole = false
	}
	return r
}
