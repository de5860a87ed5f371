package solver

import (
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"slices"

	"github.com/tetratelabs/wazero"
	"github.com/tetratelabs/wazero/api"

	"rankwright"
	"rankwright/timetable"
)

var (
	putUint32 = binary.LittleEndian.PutUint32
	putUint64 = binary.LittleEndian.PutUint64
	getUint64 = binary.LittleEndian.Uint64
)

// Statuses of a model in HiGHS (its enumeration HighsModelStatus).
const (
	modelOptimal              = 7
	modelInfeasible           = 8
	modelUnboundedOrInfeasble = 9
	modelUnbounded            = 10
)

// Solve is the method of timetable.Solver. Work counts how often HiGHS read
// its clock: some twenty to fifty thousand times a second on an idle machine
// of 2024, the same number whenever the same programme is solved.
func (h *HiGHS) Solve(ctx context.Context, p timetable.Program, l timetable.Limits) (timetable.Solution, error) {
	if err := p.Check(); err != nil {
		return timetable.Solution{}, err
	}
	if s, ok := trivial(&p); ok {
		return s, nil
	}
	if ctx.Err() != nil {
		return timetable.Solution{Bound: math.Inf(-1)}, nil
	}
	r, m, err := h.ready(ctx)
	if err != nil {
		return timetable.Solution{}, err
	}
	s, model, err := h.once(ctx, r, m, &p, l, true)
	if err == nil && model == modelUnboundedOrInfeasble {
		// Presolve saw that one of the two holds; the simplex method tells which.
		work := s.Work
		s, model, err = h.once(ctx, r, m, &p, l, false)
		s.Work += work
		if err == nil && model == modelUnboundedOrInfeasble {
			s.Status = timetable.Infeasible
			if feasible(ctx, h, r, m, p, l) {
				s.Status = timetable.Boundless
			}
		}
	}
	return s, err
}

// feasible says whether a programme has any solution: it asks without costs.
func feasible(ctx context.Context, h *HiGHS, r wazero.Runtime, m wazero.CompiledModule, p timetable.Program, l timetable.Limits) bool {
	p.Columns = slices.Clone(p.Columns)
	for i := range p.Columns {
		p.Columns[i].Cost = 0
	}
	_, model, err := h.once(ctx, r, m, &p, l, true)
	return err == nil && model == modelOptimal
}

// trivial answers for a programme without columns, which HiGHS calls empty.
func trivial(p *timetable.Program) (timetable.Solution, bool) {
	if len(p.Columns) > 0 {
		return timetable.Solution{}, false
	}
	for _, r := range p.Rows {
		if r.Lower > 0 || r.Upper < 0 {
			return timetable.Solution{Status: timetable.Infeasible, Bound: math.Inf(1)}, true
		}
	}
	return timetable.Solution{Status: timetable.Optimal, Values: []float64{}}, true
}

// once solves in a fresh instance and gives HiGHS's own status beside.
func (h *HiGHS) once(ctx context.Context, r wazero.Runtime, m wazero.CompiledModule, p *timetable.Program, l timetable.Limits, presolve bool) (s timetable.Solution, model int, err error) {
	st := &state{limit: l.Work, pages: h.pages, caller: ctx}
	if l.Memory > 0 {
		st.pages = uint32(min(int64(h.pages), max(1, l.Memory/page)))
	}
	defer func() {
		if e := recover(); e != nil {
			err = trapped(st, fmt.Errorf("%v", e))
		}
	}()
	// The caller's context stops the clock, not the module: a module that is
	// cut off has no solution to give.
	inside := context.WithValue(context.WithoutCancel(ctx), stateKey{}, st)
	module, err := r.InstantiateModule(withMemory(inside), m, wazero.NewModuleConfig().WithName("").WithStartFunctions())
	if err != nil {
		return s, 0, trapped(st, err)
	}
	defer module.Close(inside)
	x := &instance{ctx: inside, module: module, memory: module.ExportedMemory(memoryName), state: st}
	s, model = x.solve(p, l, presolve)
	s.Work = st.readings
	if x.fail != nil {
		return timetable.Solution{Work: st.readings}, 0, trapped(st, x.fail)
	}
	return s, model, nil
}

func trapped(s *state, err error) error {
	if s.full {
		return &rankwright.Fault{Kind: rankwright.TooLarge, Code: "solver_memory", Err: err,
			Say: fmt.Sprintf("the programme needs more than the %d MiB of memory that the solver may take", int64(s.pages)*page>>20),
			Do:  "solve a smaller part, or allow more memory"}
	}
	return &rankwright.Fault{Kind: rankwright.Internal, Code: "solver_trap", Err: err, Say: "the solver broke off"}
}

// solve passes the programme in, runs HiGHS and reads what it found.
func (x *instance) solve(p *timetable.Program, l timetable.Limits, presolve bool) (timetable.Solution, int) {
	x.call(fnStart)
	highs := x.call(fnCreate)
	x.options(highs, l, presolve)
	mixed := x.pass(highs, p)
	if p.Start != nil && mixed {
		values := make([]float64, len(p.Start))
		for i, v := range p.Start {
			values[i] = float64(v)
		}
		x.call(fnSetSolution, highs, uint64(x.floats(values)), 0, 0, 0)
	}
	values, rows := x.malloc(8*len(p.Columns)), x.malloc(8*len(p.Rows))
	reduced, duals := x.malloc(8*len(p.Columns)), x.malloc(8*len(p.Rows))
	x.call(fnRun, highs)
	model := int(int32(x.call(fnModelStatus, highs)))

	s := timetable.Solution{Bound: math.Inf(-1)}
	switch model {
	case modelInfeasible:
		s.Status, s.Bound = timetable.Infeasible, math.Inf(1)
		return s, model
	case modelUnbounded:
		s.Status = timetable.Boundless
		return s, model
	case modelUnboundedOrInfeasble:
		return s, model
	}
	if mixed {
		s.Bound = x.doubleInfo(highs, "mip_dual_bound")
	}
	if x.intInfo(highs, "primal_solution_status") == 2 && (mixed || model == modelOptimal) {
		x.call(fnGetSolution, highs, uint64(values), uint64(reduced), uint64(rows), uint64(duals))
		s.Values = x.readFloats(values, len(p.Columns))
		if !mixed && x.fail == nil {
			s.Duals, s.Reduced = x.readFloats(duals, len(p.Rows)), x.readFloats(reduced, len(p.Columns))
		}
	}
	if x.fail == nil && s.Values != nil {
		x.finish(p, &s, model, mixed)
	}
	return s, model
}

// finish makes whole columns whole, checks them exactly where all are, and
// says how the search ended.
func (x *instance) finish(p *timetable.Program, s *timetable.Solution, model int, mixed bool) {
	all := true
	for i, c := range p.Columns {
		if c.Whole {
			s.Values[i] = math.Round(s.Values[i])
		} else {
			all = false
		}
		s.Objective += float64(c.Cost) * s.Values[i]
	}
	if all {
		whole := make([]int64, len(s.Values))
		for i, v := range s.Values {
			whole[i] = int64(v)
		}
		if !p.Holds(whole) {
			// Within HiGHS's tolerance, and not in truth.
			s.Values, s.Objective = nil, 0
			return
		}
		s.Objective = float64(p.Value(whole))
	}
	s.Status = timetable.Stopped
	if model == modelOptimal {
		s.Status = timetable.Optimal
		if !mixed {
			s.Bound = s.Objective
		}
	}
	s.Bound = min(s.Bound, s.Objective)
}

// wholeGap is how far above the bound a solution may lie whose objective is
// known to be an integer: less than one unit by far more than the tolerance.
const wholeGap = 0.99

func (x *instance) options(highs uint64, l timetable.Limits, presolve bool) {
	set := func(function, name string, value uint64) {
		x.call(function, highs, uint64(x.text(name)), value)
	}
	set(fnBoolOption, "output_flag", 0)
	set(fnIntOption, "threads", 1)
	set(fnIntOption, "random_seed", 0)
	set(fnTextOption, "parallel", uint64(x.text("off")))
	set(fnRealOption, "time_limit", api.EncodeF64(jump/2))
	set(fnRealOption, "mip_rel_gap", api.EncodeF64(float64(l.Gap)/1000))
	apart := 1e-6
	if l.Whole {
		apart = wholeGap
	}
	set(fnRealOption, "mip_abs_gap", api.EncodeF64(apart))
	if !presolve {
		set(fnTextOption, "presolve", uint64(x.text("off")))
	}
}

// pass hands over the columns and rows and says whether any column is whole.
func (x *instance) pass(highs uint64, p *timetable.Program) bool {
	end := func(v int64) float64 {
		switch v {
		case timetable.Endless:
			return math.Inf(1)
		case -timetable.Endless:
			return math.Inf(-1)
		}
		return float64(v)
	}
	n, m := len(p.Columns), len(p.Rows)
	cost, lower, upper, kind := make([]float64, n), make([]float64, n), make([]float64, n), make([]int32, n)
	mixed := false
	for i, c := range p.Columns {
		cost[i], lower[i], upper[i] = float64(c.Cost), end(c.Lower), end(c.Upper)
		if c.Whole {
			kind[i], mixed = 1, true
		}
	}
	rowLower, rowUpper, starts := make([]float64, m), make([]float64, m), make([]int32, m+1)
	var index []int32
	var factor []float64
	for i, r := range p.Rows {
		rowLower[i], rowUpper[i] = end(r.Lower), end(r.Upper)
		starts[i] = int32(len(index))
		for _, t := range r.Terms {
			if t.Factor != 0 {
				index, factor = append(index, int32(t.Column)), append(factor, float64(t.Factor))
			}
		}
	}
	starts[m] = int32(len(index))
	const rowWise, minimise = 2, 1
	args := []uint64{highs, uint64(n), uint64(m), uint64(len(index)), rowWise, minimise, api.EncodeF64(0),
		uint64(x.floats(cost)), uint64(x.floats(lower)), uint64(x.floats(upper)),
		uint64(x.floats(rowLower)), uint64(x.floats(rowUpper)),
		uint64(x.ints(starts)), uint64(x.ints(index)), uint64(x.floats(factor))}
	function := fnPassLP
	if mixed {
		function, args = fnPassMIP, append(args, uint64(x.ints(kind)))
	}
	if status := int32(x.call(function, args...)); status == -1 && x.fail == nil {
		x.fail = fmt.Errorf("HiGHS refused the programme")
	}
	return mixed
}

func (x *instance) doubleInfo(highs uint64, name string) float64 {
	at := x.malloc(8)
	x.call(fnDoubleInfo, highs, uint64(x.text(name)), uint64(at))
	if v := x.readFloats(at, 1); x.fail == nil {
		return v[0]
	}
	return math.NaN()
}

func (x *instance) intInfo(highs uint64, name string) int {
	at := x.malloc(8)
	x.call(fnIntInfo, highs, uint64(x.text(name)), uint64(at))
	if b := x.bytes(at, 4); x.fail == nil {
		return int(int32(binary.LittleEndian.Uint32(b)))
	}
	return -1
}
