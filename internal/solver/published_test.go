package solver

import (
	"context"
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"

	"rankwright/timetable"
)

// shared is one solver for all tests, so that the module is compiled once.
var shared = sync.OnceValue(func() *HiGHS { return New(Options{}) })

// numbers reads a file of integers.
func numbers(t testing.TB, elem ...string) func() int64 {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(elem...))
	if err != nil {
		t.Fatal(err)
	}
	fields := strings.Fields(string(text))
	return func() int64 {
		t.Helper()
		v, err := strconv.ParseInt(fields[0], 10, 64)
		if err != nil {
			t.Fatal(err)
		}
		fields = fields[1:]
		return v
	}
}

// assignment is a generalized assignment problem in the format of the
// OR-Library: every job to one agent, no agent over its capacity.
func assignment(next func() int64) timetable.Program {
	m, n := int(next()), int(next())
	var p timetable.Program
	for range m * n {
		p.Columns = append(p.Columns, timetable.Column{Cost: next(), Upper: 1, Whole: true})
	}
	for j := range n {
		once := timetable.Row{Lower: 1, Upper: 1}
		for i := range m {
			once.Terms = append(once.Terms, timetable.Term{Column: i*n + j, Factor: 1})
		}
		p.Rows = append(p.Rows, once)
	}
	for i := range m {
		agent := timetable.Row{Lower: -timetable.Endless}
		for j := range n {
			agent.Terms = append(agent.Terms, timetable.Term{Column: i*n + j, Factor: next()})
		}
		p.Rows = append(p.Rows, agent)
	}
	for i := range m {
		p.Rows[n+i].Upper = next()
	}
	return p
}

// covering is a set covering problem in the format of the OR-Library.
func covering(next func() int64) timetable.Program {
	m, n := int(next()), int(next())
	var p timetable.Program
	for range n {
		p.Columns = append(p.Columns, timetable.Column{Cost: next(), Upper: 1, Whole: true})
	}
	for range m {
		r := timetable.Row{Lower: 1, Upper: timetable.Endless}
		for range next() {
			r.Terms = append(r.Terms, timetable.Term{Column: int(next()) - 1, Factor: 1})
		}
		p.Rows = append(p.Rows, r)
	}
	return p
}

func proven(t *testing.T, p timetable.Program, want float64) {
	t.Helper()
	s, err := shared().Solve(context.Background(), p, timetable.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	if s.Status != timetable.Optimal || s.Objective != want || s.WholeBound() != int64(want) {
		t.Errorf("%v with objective %g and bound %g, published optimum %g", s.Status, s.Objective, s.Bound, want)
	}
}

// D. G. Cattrysse, M. Salomon, L. N. Van Wassenhove, European Journal of
// Operational Research 72 (1994); files of the OR-Library (J. E. Beasley,
// Journal of the Operational Research Society 41 (1990) 1069-1072); optima for
// minimising from the table beside them.
func TestGeneralizedAssignmentReachesThePublishedOptimum(t *testing.T) {
	f, err := os.Open(filepath.Join("testdata", "gap", "optima.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	tried := 0
	for _, row := range rows[1:] {
		if _, err := os.Stat(filepath.Join("testdata", "gap", row[0])); err != nil {
			continue // the table has more than the files that we keep
		}
		tried++
		t.Run(row[0], func(t *testing.T) {
			want, err := strconv.ParseFloat(row[6], 64)
			if err != nil {
				t.Fatal(err)
			}
			proven(t, assignment(numbers(t, "testdata", "gap", row[0])), want)
		})
	}
	if tried != 8 {
		t.Errorf("%d files tried, not 8", tried)
	}
}

// E. Balas, A. Ho, Mathematical Programming Study 12 (1980), in the files of
// J. E. Beasley, European Journal of Operational Research 31 (1987) 85-93.
// Optima from memory of the published table, proven again with cbc.
func TestSetCoveringReachesThePublishedOptimum(t *testing.T) {
	for name, want := range map[string]float64{"41": 429, "42": 512, "51": 253, "61": 138} {
		t.Run(name, func(t *testing.T) {
			proven(t, covering(numbers(t, "testdata", "scp", fmt.Sprintf("scp%s.txt", name))), want)
		})
	}
}
