package solver

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"rankwright/timetable"
)

// benchSeconds is how long each solver may take for each problem.
func benchSeconds() time.Duration {
	if s, err := strconv.Atoi(os.Getenv("RANKWRIGHT_BENCH_SECONDS")); err == nil {
		return time.Duration(s) * time.Second
	}
	return 20 * time.Second
}

// BenchmarkPlacing sets our search beside cbc and glpsol (Debian packages
// coinor-cbc and glpk-utils) on the same problems in the same run. They get the
// whole programme, which is the only one of ours that yields a plan by itself,
// twice: once to within 1 % of their own bound, once to the proof. Run it with
//
//	go test -run '^$' -bench Placing -benchtime 1x ./internal/solver
//
// The figures: s_to_1% and s_to_proof are seconds from the start (absent where
// the time ran out), cpu_ the same in seconds of the processor, which say more
// on a busy machine (Linux only); plan and bound what stood at the end. Ours
// uses two processors at once, the others one.
func BenchmarkPlacing(b *testing.B) {
	if err := shared().Prepare(context.Background()); err != nil {
		b.Fatal(err)
	}
	for _, size := range []int{30, 120, 300, 500} {
		for _, kind := range []string{"fixed", "free"} {
			p, _ := readPlacing(b, placingPath(fmt.Sprintf("n%d-s1-fixed", size)))
			if kind == "free" {
				p = freed(p)
			}
			q := prepared(b, p)
			name := fmt.Sprintf("%d/%s/", size, kind)
			b.Run(name+"ours", func(b *testing.B) {
				for b.Loop() {
					ours(b, q)
				}
			})
			for _, other := range []string{"cbc", "glpsol"} {
				b.Run(name+other, func(b *testing.B) {
					for b.Loop() {
						theirs(b, other, timetable.Whole(q))
					}
				})
			}
		}
	}
}

// cpuSeconds is how long this process has used the processors, or 0 where the
// system does not say it under /proc.
func cpuSeconds() float64 {
	text, err := os.ReadFile(filepath.Join("/proc", "self", "stat"))
	if err != nil {
		return 0
	}
	fields := strings.Fields(string(text[bytes.LastIndexByte(text, ')')+1:]))
	user, _ := strconv.ParseFloat(fields[11], 64)
	system, _ := strconv.ParseFloat(fields[12], 64)
	return (user + system) / 100
}

func ours(b *testing.B, q *timetable.Prepared) {
	ctx, cancel := context.WithTimeout(context.Background(), benchSeconds())
	defer cancel()
	began, used := time.Now(), cpuSeconds()
	within, near, cpu := time.Duration(0), time.Duration(0), 0.0
	o, err := timetable.Solve(ctx, q, shared(), timetable.Search{Seed: 1, Tell: func(o timetable.Outcome) {
		if near == 0 && o.Gap() <= 20 {
			near = time.Since(began)
		}
		if within == 0 && o.Gap() <= 10 {
			within, cpu = time.Since(began), cpuSeconds()-used
		}
	}})
	if err != nil {
		b.Error(err)
	}
	if near > 0 {
		b.ReportMetric(near.Seconds(), "s_to_2%")
	}
	if within > 0 {
		b.ReportMetric(within.Seconds(), "s_to_1%")
		b.ReportMetric(cpu, "cpu_to_1%")
	}
	if o.Proven {
		b.ReportMetric(time.Since(began).Seconds(), "s_to_proof")
		b.ReportMetric(cpuSeconds()-used, "cpu_to_proof")
	}
	b.ReportMetric(float64(o.Objective), "plan")
	b.ReportMetric(float64(o.Bound), "bound")
}

func theirs(b *testing.B, name string, p timetable.Program) {
	program, err := exec.LookPath(name)
	if err != nil {
		b.Fatalf("%s is missing: install the Debian packages coinor-cbc and glpk-utils", name)
	}
	folder := b.TempDir()
	model := filepath.Join(folder, "whole.lp")
	if err := os.WriteFile(model, writeLP(&p), 0o600); err != nil {
		b.Fatal(err)
	}
	limit := fmt.Sprint(int(benchSeconds().Seconds()))
	for _, gap := range []string{"0.01", "0"} {
		args := []string{model, "-timemode", "elapsed", "-sec", limit, "-ratioGap", gap, "-solve", "-quit"}
		if name == "glpsol" {
			args = []string{"--lp", model, "--tmlim", limit, "--mipgap", gap, "-o", filepath.Join(folder, "out.txt")}
		}
		// Reading a large file is not under their own limit.
		ctx, cancel := context.WithTimeout(context.Background(), 2*benchSeconds())
		began := time.Now()
		command := exec.CommandContext(ctx, program, args...)
		out, _ := command.CombinedOutput()
		cpu := command.ProcessState.UserTime().Seconds() + command.ProcessState.SystemTime().Seconds()
		took := time.Since(began)
		cancel()
		done := bytes.Contains(out, []byte("Result - Optimal solution found")) || bytes.Contains(out, []byte("INTEGER OPTIMAL SOLUTION FOUND")) ||
			bytes.Contains(out, []byte("RELATIVE MIP GAP TOLERANCE REACHED"))
		if done && gap == "0" {
			b.ReportMetric(took.Seconds(), "s_to_proof")
			b.ReportMetric(cpu, "cpu_to_proof")
		} else if done {
			b.ReportMetric(took.Seconds(), "s_to_1%")
			b.ReportMetric(cpu, "cpu_to_1%")
		}
		if gap != "0" {
			continue
		}
		if name == "glpsol" {
			if text, err := os.ReadFile(filepath.Join(folder, "out.txt")); err == nil && !bytes.Contains(out, []byte("PROBLEM HAS NO")) {
				out = append(text, out...)
			}
		}
		for unit, pattern := range map[string]string{"plan": `(?m)^Objective(?: value)?: +(?:obj = )?(-?[\d.]+)`, "bound": `Lower bound: +(-?[\d.]+)`} {
			if m := regexp.MustCompile(pattern).FindSubmatch(out); m != nil {
				if v, _ := strconv.ParseFloat(string(m[1]), 64); v != 0 { // 0 is no plan, and no bound
					b.ReportMetric(v, unit)
				}
			}
		}
	}
}

// writeLP writes a programme in the LP format that both programs read.
func writeLP(p *timetable.Program) []byte {
	var s bytes.Buffer
	terms := func(list []timetable.Term) {
		for i, t := range list {
			if i%8 == 7 {
				s.WriteString("\n ")
			}
			fmt.Fprintf(&s, " %+d x%d", t.Factor, t.Column)
		}
	}
	s.WriteString("Minimize\n obj:")
	var costs []timetable.Term
	for i, c := range p.Columns {
		if c.Cost != 0 {
			costs = append(costs, timetable.Term{Column: i, Factor: c.Cost})
		}
	}
	terms(costs)
	s.WriteString("\nSubject To\n")
	for i, r := range p.Rows {
		if len(r.Terms) == 0 {
			continue
		}
		switch {
		case r.Lower == r.Upper:
			fmt.Fprintf(&s, " r%d:", i)
			terms(r.Terms)
			fmt.Fprintf(&s, " = %d\n", r.Upper)
			continue
		case r.Upper != timetable.Endless:
			fmt.Fprintf(&s, " u%d:", i)
			terms(r.Terms)
			fmt.Fprintf(&s, " <= %d\n", r.Upper)
		}
		if r.Lower != -timetable.Endless {
			fmt.Fprintf(&s, " l%d:", i)
			terms(r.Terms)
			fmt.Fprintf(&s, " >= %d\n", r.Lower)
		}
	}
	s.WriteString("Bounds\n")
	var whole strings.Builder
	for i, c := range p.Columns {
		fmt.Fprintf(&s, " %d <= x%d <= %d\n", c.Lower, i, c.Upper)
		if c.Whole {
			fmt.Fprintf(&whole, " x%d\n", i)
		}
	}
	s.WriteString("Generals\n" + whole.String() + "End\n")
	return s.Bytes()
}
