package solver

import (
	"context"
	"fmt"
	"io"
	"math"
	"os"
	"runtime/debug"
	"strconv"
	"strings"
	"testing"
	"time"

	"rankwright"
	"rankwright/timetable"
)

// dice is a seeded generator for problems: SplitMix64.
type dice struct{ state uint64 }

func (d *dice) below(n int) int {
	d.state += 0x9e3779b97f4a7c15
	z := d.state
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return int((z ^ z>>31) >> 33 % uint64(n))
}

// grown is a problem of so many entries with the structure of the placing
// problems: sessions of four hours on one to four mats, squads of 5 to 10 of
// two neighbouring ranks, two in three entries alone in their household, each
// session out of the question for one in three households, one examiner to
// twenty entries, one in three of them with a child that comes.
func grown(n int, seed uint64, fixed bool) *timetable.Problem {
	d := &dice{seed}
	p := &timetable.Problem{Rules: timetable.Rules{Unanswered: timetable.IfNeedBe, LittleAge: 7, LittleAfter: 60, Rest: 1}}
	p.Weights[timetable.AimPlaced], p.Weights[timetable.AimSplit], p.Weights[timetable.AimApart] = 400, 25, 4
	p.Weights[timetable.AimMakeup], p.Weights[timetable.AimLate], p.Weights[timetable.AimWish] = 20, 2, 1
	p.Weights[timetable.AimSession], p.Weights[timetable.AimSitting] = 1, 1
	const ranks = 10
	for r := range ranks {
		p.Ranks = append(p.Ranks, rankwright.RankID(fmt.Sprint("rank-", r)))
	}
	mats := 1 + min(3, n/150)
	sessions := max(3, (n*14/10)/(40*mats)+1)
	band := 0
	for s := range sessions {
		x := timetable.Session{ID: timetable.SessionID(fmt.Sprint("s", s)), Day: rankwright.MustDay("2026-10-10") + rankwright.Day(s), Cost: 30}
		p.Sessions = append(p.Sessions, x)
		for hour := range 4 {
			for mat := range mats {
				w := timetable.Sitting{ID: timetable.SittingID(fmt.Sprintf("s%d-%d-%d", s, hour, mat)), Session: x.ID, Mat: timetable.MatID(fmt.Sprint("mat", mat)),
					Start: 540 + timetable.Minute(30*hour), Minutes: 30, Least: 5, Most: 10, Panel: 2, Cost: 12, Width: 2}
				if fixed {
					low := []int{0, 1, 2, 0, 3, 5, 1, 7, 2, 4, 0, 6, 8}[band%13]
					band++
					w.Ranks, w.PanelFor = p.Ranks[low:low+2], p.Ranks[low+1]
				}
				p.Sittings = append(p.Sittings, w)
			}
		}
	}
	for len(p.Entries) < n {
		h := timetable.Household{ID: rankwright.HouseholdID(fmt.Sprint("h", len(p.Households)))}
		for s := range p.Sessions {
			a := timetable.Answer{Session: p.Sessions[s].ID, Points: d.below(9)}
			if d.below(3) > 0 {
				a.Suits = timetable.Yes
			}
			h.Answers = append(h.Answers, a)
		}
		p.Households = append(p.Households, h)
		for range []int{1, 1, 1, 1, 1, 1, 2, 2, 3, 4}[d.below(10)] {
			if len(p.Entries) < n {
				r := min(d.below(ranks), d.below(ranks))
				p.Entries = append(p.Entries, timetable.Entry{ID: rankwright.EntryID(fmt.Sprint("e", len(p.Entries))), Household: h.ID, Rank: p.Ranks[r], Age: 5 + r/2 + d.below(5)})
			}
		}
	}
	for i := range 4 + n/20 {
		x := timetable.Examiner{ID: rankwright.ExaminerID(fmt.Sprint("x", i)), Highest: p.Ranks[[]int{9, 9, 5, 7, 4, 9, 6, 8}[i%8]], MostSession: 3 + d.below(2)}
		for s := range p.Sessions {
			if i < 4 || d.below(5) > 0 {
				x.There = append(x.There, timetable.Presence{Session: p.Sessions[s].ID})
			}
		}
		if d.below(3) == 0 {
			x.Own = []rankwright.HouseholdID{p.Households[d.below(len(p.Households))].ID}
		}
		p.Examiners = append(p.Examiners, x)
	}
	return p
}

// BenchmarkGrowth shows time and memory against the number of entries: when the
// first plan was there, when one within 5 % and 1 % of the bound, when the proof;
// what the gap was in the end; and the most memory that the process held in
// between (VmHWM: what the garbage collector and the solver's modules together
// had of the machine), where the system says it under /proc. Where
// RANKWRIGHT_GROWTH_CSV names a file, that is written too, for tools/growth to
// draw.
//
//	go test -run '^$' -bench Growth -benchtime 1x ./internal/solver
func BenchmarkGrowth(b *testing.B) {
	if err := shared().Prepare(context.Background()); err != nil {
		b.Fatal(err)
	}
	var table io.Writer = io.Discard
	if path := os.Getenv("RANKWRIGHT_GROWTH_CSV"); path != "" {
		f, err := os.Create(path)
		if err != nil {
			b.Fatal(err)
		}
		defer f.Close()
		table = f
	}
	fmt.Fprintln(table, "ranks,entries,first_plan_s,within_5_percent_s,within_1_percent_s,proof_s,ended_s,gap_percent,peak_mib")
	for _, fixed := range []bool{true, false} {
		for _, n := range []int{30, 60, 120, 300, 500, 1000, 2000} {
			name := map[bool]string{true: "given", false: "free"}[fixed]
			b.Run(fmt.Sprintf("%s/%d", name, n), func(b *testing.B) {
				for b.Loop() {
					fmt.Fprintf(table, "%s,%d,%s\n", name, n, growth(b, prepared(b, grown(n, 1, fixed))))
				}
			})
		}
	}
}

// growth solves a problem and gives its cells of the table; what was not reached
// is empty.
func growth(b *testing.B, q *timetable.Prepared) string {
	most := 30 * time.Second
	if s := benchSeconds(); s < most {
		most = s
	}
	forgetPeak()
	ctx, cancel := context.WithTimeout(context.Background(), most)
	defer cancel()
	began := time.Now()
	names := []string{"s_to_plan", "s_to_5%", "s_to_1%", "s_to_proof"}
	within := []int64{math.MaxInt64, 50, 10, 0}
	reached := make([]float64, len(within))
	o, err := timetable.Solve(ctx, q, shared(), timetable.Search{Seed: 1, Tell: func(o timetable.Outcome) {
		for i, gap := range within {
			if reached[i] == 0 && o.Plan != nil && o.Gap() <= gap && (gap > 0 || o.Proven) {
				reached[i] = time.Since(began).Seconds()
			}
		}
	}})
	if err != nil {
		b.Error(err)
	}
	var cells []string
	cell := func(known bool, v float64, decimals int) {
		if !known {
			cells = append(cells, "")
			return
		}
		cells = append(cells, strconv.FormatFloat(v, 'f', decimals, 64))
	}
	for i, s := range reached {
		cell(s > 0, s, 3)
		if s > 0 {
			b.ReportMetric(s, names[i])
		}
	}
	cell(true, time.Since(began).Seconds(), 1)
	bounded := o.Gap() < 10_000
	cell(bounded, float64(o.Gap())/10, 1)
	if bounded {
		b.ReportMetric(float64(o.Gap())/10, "gap%_at_end")
	}
	peak := peakMemory()
	cell(peak > 0, peak, 0)
	b.ReportMetric(float64(o.Objective), "plan")
	b.ReportMetric(peak, "MiB")
	return strings.Join(cells, ",")
}

// forgetPeak lets go of what is not used, and has the system count the most
// memory anew from here.
func forgetPeak() {
	debug.FreeOSMemory()
	_ = os.WriteFile("/proc/self/clear_refs", []byte("5"), 0) // elsewhere there is no such file
}

// peakMemory is the most memory in MiB that the process held since forgetPeak,
// or 0 where the system does not say it.
func peakMemory() float64 {
	text, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return 0
	}
	_, rest, _ := strings.Cut(string(text), "VmHWM:")
	kib, _ := strconv.ParseFloat(strings.Fields(rest + " 0")[0], 64)
	return kib / 1024
}
