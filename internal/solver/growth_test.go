package solver

import (
	"context"
	"fmt"
	"math"
	"runtime"
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

// BenchmarkGrowth shows time and memory against the number of entries: what is
// there after 3, 10 and 30 seconds, and the most memory that Go held.
//
//	go test -run '^$' -bench Growth -benchtime 1x ./internal/solver
func BenchmarkGrowth(b *testing.B) {
	if err := shared().Prepare(context.Background()); err != nil {
		b.Fatal(err)
	}
	for _, fixed := range []bool{true, false} {
		for _, n := range []int{30, 60, 120, 300, 500, 1000, 2000} {
			name := map[bool]string{true: "fixed", false: "free"}[fixed]
			b.Run(fmt.Sprintf("%s/%d", name, n), func(b *testing.B) {
				for b.Loop() {
					growth(b, prepared(b, grown(n, 1, fixed)))
				}
			})
		}
	}
}

func growth(b *testing.B, q *timetable.Prepared) {
	most := 30 * time.Second
	if s := benchSeconds(); s < most {
		most = s
	}
	ctx, cancel := context.WithTimeout(context.Background(), most)
	defer cancel()
	began := time.Now()
	marks := []time.Duration{3 * time.Second, 10 * time.Second}
	gaps := []int64{math.MaxInt64, math.MaxInt64}
	memory := uint64(0)
	o, err := timetable.Solve(ctx, q, shared(), timetable.Search{Seed: 1, Tell: func(o timetable.Outcome) {
		for i := range marks {
			if time.Since(began) <= marks[i] {
				gaps[i] = o.Gap()
			}
		}
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		memory = max(memory, m.Sys)
	}})
	if err != nil {
		b.Error(err)
	}
	for i, g := range gaps {
		if g < 10_000 {
			b.ReportMetric(float64(g)/10, fmt.Sprintf("gap%%_at_%gs", marks[i].Seconds()))
		}
	}
	if o.Gap() < 10_000 {
		b.ReportMetric(float64(o.Gap())/10, "gap%_at_end")
	}
	if o.Proven {
		b.ReportMetric(time.Since(began).Seconds(), "s_to_proof")
	}
	b.ReportMetric(float64(o.Objective), "plan")
	b.ReportMetric(float64(memory>>20), "MiB")
}
