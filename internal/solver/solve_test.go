package solver

import (
	"context"
	"errors"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"rankwright"
	"rankwright/timetable"
)

const endless = timetable.Endless

func TestProgrammesWithoutAnOptimumAreToldApart(t *testing.T) {
	x := timetable.Column{Cost: -1, Upper: endless, Whole: true}
	y := timetable.Column{Cost: -1, Upper: endless}
	one := func(lower, upper int64, terms ...timetable.Term) []timetable.Row {
		return []timetable.Row{{Lower: lower, Upper: upper, Terms: terms}}
	}
	for name, c := range map[string]struct {
		p    timetable.Program
		want timetable.Status
	}{
		"whole and without end":       {timetable.Program{Columns: []timetable.Column{x, x}, Rows: one(0, 0, timetable.Term{Column: 0, Factor: 1}, timetable.Term{Column: 1, Factor: -1})}, timetable.Boundless},
		"fractions and without end":   {timetable.Program{Columns: []timetable.Column{y}}, timetable.Boundless},
		"twice a whole number is 3":   {timetable.Program{Columns: []timetable.Column{{Cost: 1, Upper: 9, Whole: true}}, Rows: one(3, 3, timetable.Term{Column: 0, Factor: 2})}, timetable.Infeasible},
		"at most 1 and at least 2":    {timetable.Program{Columns: []timetable.Column{{Upper: 1}}, Rows: one(2, endless, timetable.Term{Column: 0, Factor: 1})}, timetable.Infeasible},
		"no columns, nothing asked":   {timetable.Program{Rows: one(-1, 1)}, timetable.Optimal},
		"no columns, something asked": {timetable.Program{Rows: one(1, 1)}, timetable.Infeasible},
		"no rows":                     {timetable.Program{Columns: []timetable.Column{{Cost: 2, Lower: -3, Upper: 5, Whole: true}}}, timetable.Optimal},
	} {
		t.Run(name, func(t *testing.T) {
			s, err := shared().Solve(context.Background(), c.p, timetable.Limits{})
			if err != nil || s.Status != c.want {
				t.Errorf("%v, %v; want %v", s.Status, err, c.want)
			}
		})
	}
}

func TestAWrongProgrammeIsAFault(t *testing.T) {
	column := []timetable.Column{{Upper: 1}}
	for name, p := range map[string]timetable.Program{
		"a column that is not there": {Columns: column, Rows: []timetable.Row{{Terms: []timetable.Term{{Column: 1, Factor: 1}}}}},
		"a column twice in a row":    {Columns: column, Rows: []timetable.Row{{Terms: []timetable.Term{{Factor: 1}, {Factor: 1}}}}},
		"a start of another length":  {Columns: column, Start: []int64{0, 0}},
		"a number beyond 2^40":       {Columns: []timetable.Column{{Cost: 1 << 50}}},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := shared().Solve(context.Background(), p, timetable.Limits{})
			if rankwright.KindOf(err) != rankwright.Invalid || err == nil {
				t.Errorf("%v is not a fault of the programme", err)
			}
		})
	}
}

// The dual of a row says what one unit of its bound is worth. Textbook
// example (Hillier and Lieberman, Introduction to Operations Research, the
// Wyndor Glass Co. problem): optimum 36, shadow prices 0, 3/2 and 1.
func TestDualsOfATextbookProgramme(t *testing.T) {
	p := timetable.Program{
		Columns: []timetable.Column{{Cost: -3, Upper: endless}, {Cost: -5, Upper: endless}},
		Rows: []timetable.Row{
			{Lower: -endless, Upper: 4, Terms: []timetable.Term{{Column: 0, Factor: 1}}},
			{Lower: -endless, Upper: 12, Terms: []timetable.Term{{Column: 1, Factor: 2}}},
			{Lower: -endless, Upper: 18, Terms: []timetable.Term{{Column: 0, Factor: 3}, {Column: 1, Factor: 2}}},
		},
	}
	s, err := shared().Solve(context.Background(), p, timetable.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	want := []float64{0, -1.5, -1}
	for i, d := range s.Duals {
		if math.Abs(d-want[i]) > 1e-9 {
			t.Errorf("dual %d is %g, not %g", i, d, want[i])
		}
	}
	if s.Objective != -36 || len(s.Duals) != 3 {
		t.Errorf("objective %g with %d duals", s.Objective, len(s.Duals))
	}
}

// Small programmes against trying every point.
func TestSmallProgrammesAgreeWithTryingEverything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n, m := rapid.IntRange(1, 5).Draw(t, "columns"), rapid.IntRange(0, 4).Draw(t, "rows")
		var p timetable.Program
		for range n {
			lower := rapid.Int64Range(-2, 2).Draw(t, "lower")
			p.Columns = append(p.Columns, timetable.Column{Cost: rapid.Int64Range(-9, 9).Draw(t, "cost"), Lower: lower,
				Upper: lower + rapid.Int64Range(0, 3).Draw(t, "width"), Whole: true})
		}
		for range m {
			r := timetable.Row{Lower: -endless, Upper: endless}
			if rapid.Bool().Draw(t, "has lower") {
				r.Lower = rapid.Int64Range(-8, 8).Draw(t, "row lower")
			}
			if rapid.Bool().Draw(t, "has upper") {
				r.Upper = rapid.Int64Range(-8, 12).Draw(t, "row upper")
			}
			for j := range n {
				if f := rapid.Int64Range(-3, 3).Draw(t, "factor"); f != 0 {
					r.Terms = append(r.Terms, timetable.Term{Column: j, Factor: f})
				}
			}
			p.Rows = append(p.Rows, r)
		}
		best, found := int64(0), false
		point := make([]int64, n)
		var walk func(int)
		walk = func(i int) {
			if i == n {
				if p.Holds(point) && (!found || p.Value(point) < best) {
					best, found = p.Value(point), true
				}
				return
			}
			for v := p.Columns[i].Lower; v <= p.Columns[i].Upper; v++ {
				point[i] = v
				walk(i + 1)
			}
		}
		walk(0)
		s, err := shared().Solve(context.Background(), p, timetable.Limits{})
		switch {
		case err != nil:
			t.Fatal(err)
		case !found && s.Status != timetable.Infeasible:
			t.Fatalf("%v, and no point satisfies all rows", s.Status)
		case found && (s.Status != timetable.Optimal || s.Objective != float64(best) || s.WholeBound() != best):
			t.Fatalf("%v %g bound %g, and the best point has %d", s.Status, s.Objective, s.Bound, best)
		}
	})
}

// hard is a programme that takes seconds (problem 6.1), so that a limit or a
// word to stop comes before its end.
func hard(t testing.TB) timetable.Program {
	return covering(numbers(t, "testdata", "scp", "scp61.txt"))
}

func TestALimitOfWorkGivesTheSameSolutionEachTime(t *testing.T) {
	p := hard(t)
	for _, work := range []int64{5, 1500, 4000} {
		a, err := shared().Solve(context.Background(), p, timetable.Limits{Work: work})
		if err != nil {
			t.Fatal(err)
		}
		b, err := shared().Solve(context.Background(), p, timetable.Limits{Work: work})
		if err != nil || !reflect.DeepEqual(a, b) {
			t.Errorf("work %d: two runs differ: %v %g %g %d, %v %g %g %d (%v)", work, a.Status, a.Objective, a.Bound, a.Work, b.Status, b.Objective, b.Bound, b.Work, err)
		}
		if a.Status == timetable.Optimal || a.Bound > 138 || (a.Values != nil && a.Objective < 138) {
			t.Errorf("work %d: %v, objective %g, bound %g; the optimum is 138", work, a.Status, a.Objective, a.Bound)
		}
		t.Logf("work %d: %v, objective %g, bound %g, readings %d", work, a.Status, a.Objective, a.Bound, a.Work)
	}
}

func TestAStartIsKeptWhenThereIsNoTimeToFindBetter(t *testing.T) {
	p := hard(t)
	p.Start = make([]int64, len(p.Columns))
	for i := range p.Start {
		p.Start[i] = 1
	}
	s, err := shared().Solve(context.Background(), p, timetable.Limits{Work: 20})
	if err != nil || s.Status != timetable.Stopped || s.Values == nil {
		t.Errorf("%v, %v", s.Status, err)
	}
}

func TestACallerWhoStopsGetsThePlanSoFarWithItsBound(t *testing.T) {
	if err := shared().Prepare(context.Background()); err != nil {
		t.Fatal(err)
	}
	p := hard(t)
	p.Start = make([]int64, len(p.Columns))
	for i := range p.Start {
		p.Start[i] = 1
	}
	ctx, cancel := context.WithCancel(context.Background())
	timer := time.AfterFunc(300*time.Millisecond, cancel)
	defer timer.Stop()
	s, err := shared().Solve(ctx, p, timetable.Limits{})
	if err != nil || s.Status != timetable.Stopped || s.Objective < 138 || s.Bound > 138 {
		t.Errorf("%v, objective %g, bound %g, %v", s.Status, s.Objective, s.Bound, err)
	}
	if s, err = shared().Solve(ctx, p, timetable.Limits{}); err != nil || s.Status != timetable.NoneFound || s.WholeBound() != -endless {
		t.Errorf("a solve for somebody who has left: %v, bound %d, %v", s.Status, s.WholeBound(), err)
	}
}

func TestAProgrammeTooLargeForItsMemoryIsAFault(t *testing.T) {
	var f *rankwright.Fault
	_, err := shared().Solve(context.Background(), hard(t), timetable.Limits{Memory: 20 << 20})
	if !errors.As(err, &f) || f.Kind != rankwright.TooLarge || f.Code != "solver_memory" {
		t.Errorf("%v is not the fault of a programme that is too large", err)
	}
	// The solver is as good as before.
	proven(t, assignment(numbers(t, "testdata", "gap", "gap1-0")), 261)
}

func TestNothingIsLeftRunning(t *testing.T) {
	p := assignment(numbers(t, "testdata", "gap", "gap1-0"))
	proven(t, p, 261)
	before := runtime.NumGoroutine()
	for range 5 {
		proven(t, p, 261)
	}
	if after := runtime.NumGoroutine(); after > before {
		t.Errorf("%d goroutines before, %d after", before, after)
	}
}

func TestSolvesAtTheSameTimeDoNotMeet(t *testing.T) {
	p := assignment(numbers(t, "testdata", "gap", "gap4-0"))
	done := make(chan timetable.Solution)
	for range 3 {
		go func() {
			s, _ := shared().Solve(context.Background(), p, timetable.Limits{})
			done <- s
		}()
	}
	first := <-done
	for range 2 {
		if s := <-done; !reflect.DeepEqual(s, first) || s.Objective != 423 {
			t.Errorf("objective %g with %d readings beside %g with %d", s.Objective, s.Work, first.Objective, first.Work)
		}
	}
}

func TestAFolderKeepsTheMachineCodeAndABrokenOneIsReplaced(t *testing.T) {
	folder := t.TempDir()
	p := assignment(numbers(t, "testdata", "gap", "gap1-0"))
	solve := func(want string) {
		t.Helper()
		h := New(Options{Folder: folder})
		defer h.Close()
		if s, err := h.Solve(context.Background(), p, timetable.Limits{}); err != nil || s.Objective != 261 {
			t.Errorf("%s: objective %g, %v", want, s.Objective, err)
		}
	}
	kept := func() (files []string) {
		filepath.WalkDir(folder, func(path string, d os.DirEntry, err error) error {
			if err == nil && !d.IsDir() {
				files = append(files, path)
			}
			return err
		})
		return files
	}
	solve("an empty folder")
	files := kept()
	if !Fast() {
		return // nothing is compiled here, and nothing kept
	}
	if len(files) != 1 {
		t.Fatalf("%d files are kept, not one", len(files))
	}
	whole, err := os.ReadFile(files[0])
	if err != nil {
		t.Fatal(err)
	}
	if len(whole) < 1<<20 {
		t.Errorf("%d bytes are no machine code", len(whole))
	}
	flipped := slices.Clone(whole)
	flipped[len(flipped)/2] ^= 0xff
	for want, broken := range map[string][]byte{"half a file": whole[:len(whole)/2], "a flipped byte": flipped} {
		if err := os.WriteFile(files[0], broken, 0o600); err != nil {
			t.Fatal(err)
		}
		solve(want)
		if again, err := os.ReadFile(files[0]); err != nil || len(again) != len(whole) {
			t.Errorf("%s was not replaced: %d bytes, %v", want, len(again), err)
		}
	}
	if runtime.GOOS != "windows" {
		if err := os.Chmod(filepath.Dir(filepath.Dir(files[0])), 0o777); err != nil {
			t.Fatal(err)
		}
		if got := attempts(folder); !slices.Equal(got, []string{""}) {
			t.Errorf("a folder that others may write into is used: %q", got)
		}
	}
}

func TestAModuleThatIsNotOursIsRefused(t *testing.T) {
	if _, err := unpack(packed); err != nil {
		t.Error(err)
	}
	for _, b := range [][]byte{nil, packed[:len(packed)-9], []byte("\x1f\x8b")} {
		if _, err := unpack(b); err == nil {
			t.Errorf("%d bytes of it pass", len(b))
		}
	}
}

func TestAClosedSolverSaysSo(t *testing.T) {
	h := New(Options{})
	if err := h.Close(); err != nil {
		t.Fatal(err)
	}
	if err := h.Prepare(context.Background()); rankwright.KindOf(err) != rankwright.Internal {
		t.Errorf("%v", err)
	}
}

// The bound from duals is exact for the duals of the relaxation, and a bound
// for any duals at all.
func TestABoundFromDualsHoldsWhateverTheDualsAre(t *testing.T) {
	p := covering(numbers(t, "testdata", "scp", "scp41.txt"))
	s, err := shared().Solve(context.Background(), p.Relaxed(), timetable.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	// The relaxation of 4.1 is whole: its optimum is the published 429.
	if got := p.DualBound(s.Duals); got != 429 {
		t.Errorf("the duals of the relaxation prove %d; it is %g", got, s.Objective)
	}
	rapid.Check(t, func(t *rapid.T) {
		duals := slices.Clone(s.Duals)
		for range 20 {
			duals[rapid.IntRange(0, len(duals)-1).Draw(t, "row")] += rapid.Float64Range(-50, 50).Draw(t, "by")
		}
		if got := p.DualBound(duals); got > 429 {
			t.Fatalf("%d is above the optimum 429", got)
		}
	})
}
