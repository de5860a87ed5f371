package solver

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"rankwright"
	"rankwright/timetable"
)

// placing is read as in timetable/placing_test.go. That stands in the package
// itself, to try what it keeps to itself, and so cannot share a reader with
// other packages' tests: a reader would have to import it.
type placing struct {
	Name      string
	Ranks     int
	BandWidth int `json:"band_width"`
	Sessions  []struct {
		ID       string
		Makeup   bool
		OpenCost int `json:"open_cost"`
	}
	Waves []struct {
		ID                                  string
		Session, Slot, Mat, Min, Max, Panel int
		OpenCost                            int `json:"open_cost"`
	}
	Households []struct {
		ID       string
		Avail    []int
		PrefCost []int `json:"pref_cost"`
	}
	Candidates []struct {
		ID                   string
		Household, Rank, Age int
	}
	Examiners []struct {
		ID        string
		MaxRank   int `json:"max_rank"`
		Household int
		Avail     []int
		Most      int `json:"max_waves_per_session"`
	}
	Weights struct {
		Unplaced, Split, Apart, Makeup int
		LateKid                        int `json:"late_kid"`
	}
	Bands []int
	Known struct {
		Objective, Bound int64
		WaveOf           []int   `json:"wave_of"`
		ExaminersOf      [][]int `json:"examiners_of"`
	}
}

// readPlacing turns a file into a problem and the plan known for it.
func readPlacing(t testing.TB, path string) (*timetable.Problem, placing) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var f placing
	if err := json.Unmarshal(data, &f); err != nil {
		t.Fatal(path, err)
	}
	p := &timetable.Problem{Rules: timetable.Rules{LittleAge: 7, LittleAfter: 60, Rest: 1}}
	p.Weights = timetable.Weights{timetable.AimPlaced: f.Weights.Unplaced, timetable.AimSplit: f.Weights.Split, timetable.AimApart: f.Weights.Apart, timetable.AimMakeup: f.Weights.Makeup,
		timetable.AimLate: f.Weights.LateKid, timetable.AimWish: 1, timetable.AimSession: 1, timetable.AimSitting: 1}
	for r := range f.Ranks {
		p.Ranks = append(p.Ranks, rankwright.RankID(fmt.Sprintf("rank-%d", r+1)))
	}
	for i, s := range f.Sessions {
		p.Sessions = append(p.Sessions, timetable.Session{ID: timetable.SessionID(s.ID), Day: rankwright.MustDay("2026-10-10") + rankwright.Day(i), Makeup: s.Makeup, Cost: s.OpenCost})
	}
	for i, w := range f.Waves {
		s := timetable.Sitting{ID: timetable.SittingID(w.ID), Session: p.Sessions[w.Session].ID, Mat: timetable.MatID(fmt.Sprintf("mat-%d", w.Mat+1)),
			Start: 9*60 + 30*timetable.Minute(w.Slot), Minutes: 30, Least: w.Min, Most: w.Max, Panel: w.Panel, Cost: w.OpenCost, Width: f.BandWidth}
		if f.Bands != nil {
			s.Ranks = p.Ranks[f.Bands[i] : f.Bands[i]+f.BandWidth]
			s.PanelFor = s.Ranks[f.BandWidth-1]
		}
		p.Sittings = append(p.Sittings, s)
	}
	for _, h := range f.Households {
		house := timetable.Household{ID: rankwright.HouseholdID(h.ID)}
		for s, ok := range h.Avail {
			a := timetable.Answer{Session: p.Sessions[s].ID, Points: h.PrefCost[s]}
			if ok == 1 {
				a.Suits = timetable.Yes
			}
			house.Answers = append(house.Answers, a)
		}
		p.Households = append(p.Households, house)
	}
	for _, c := range f.Candidates {
		p.Entries = append(p.Entries, timetable.Entry{ID: rankwright.EntryID(c.ID), Household: p.Households[c.Household].ID, Rank: p.Ranks[c.Rank], Age: c.Age})
	}
	for _, x := range f.Examiners {
		e := timetable.Examiner{ID: rankwright.ExaminerID(x.ID), Highest: p.Ranks[x.MaxRank], MostSession: x.Most}
		for s, ok := range x.Avail {
			if ok == 1 {
				e.There = append(e.There, timetable.Presence{Session: p.Sessions[s].ID})
			}
		}
		if x.Household >= 0 {
			e.Own = append(e.Own, p.Households[x.Household].ID)
		}
		p.Examiners = append(p.Examiners, e)
	}
	return p, f
}

func freed(p *timetable.Problem) *timetable.Problem {
	for i := range p.Sittings {
		p.Sittings[i].Ranks, p.Sittings[i].PanelFor = nil, ""
	}
	return p
}

func prepared(t testing.TB, p *timetable.Problem) *timetable.Prepared {
	t.Helper()
	q, err := timetable.Prepare(p)
	if err != nil {
		t.Fatal(err)
	}
	return q
}

func placingPath(name string) string {
	return filepath.Join("..", "..", "timetable", "testdata", "placing", name+".json")
}

// Outside check: what HiGHS 1.15.1 proved of these problems, made by another
// generator and formulated by others than ours.
func TestPlacingProblemsReachTheirProvenValue(t *testing.T) {
	for _, name := range []string{"n30-s1-fixed", "n30-s1-free", "n30-s2-fixed", "n30-s2-free", "n30-s3-fixed", "n30-s3-free",
		"n60-s1-fixed", "n60-s2-fixed", "n60-s3-fixed", "n120-s1-fixed", "n120-s2-fixed", "n120-s3-fixed"} {
		t.Run(name, func(t *testing.T) {
			p, f := readPlacing(t, placingPath(name))
			o, err := timetable.Solve(context.Background(), prepared(t, p), shared(), timetable.Search{Seed: 1})
			if err != nil || !o.Proven || o.Objective != f.Known.Objective || o.Bound != f.Known.Objective {
				t.Errorf("objective %d, bound %d, proven %v, %v; known to be %d", o.Objective, o.Bound, o.Proven, err, f.Known.Objective)
			}
			if said := timetable.Verify(p, o.Plan); len(said) > 0 {
				t.Errorf("the plan breaks a limit: %v", said)
			}
		})
	}
}

// The larger ones take minutes to prove. Their proven or best known values lie
// between our bound and our plan, and a limit of work gives the same each time.
func TestALimitOfWorkGivesTheSamePlanWithABoundBelowTheKnownValue(t *testing.T) {
	for name, work := range map[string]int64{"n60-s1-free": 12_000, "n200-s1-fixed": 24_000} {
		t.Run(name, func(t *testing.T) {
			p, f := readPlacing(t, placingPath(name))
			q := prepared(t, p)
			a, err := timetable.Solve(context.Background(), q, shared(), timetable.Search{Seed: 1, Work: work})
			if err != nil {
				t.Fatal(err)
			}
			b, err := timetable.Solve(context.Background(), q, shared(), timetable.Search{Seed: 1, Work: work})
			if err != nil || a.Objective != b.Objective || a.Bound != b.Bound || a.Work != b.Work || !a.Plan.Equal(b.Plan) {
				t.Errorf("two runs differ: %d/%d work %d, %d/%d work %d (%v)", a.Objective, a.Bound, a.Work, b.Objective, b.Bound, b.Work, err)
			}
			if a.Bound > f.Known.Objective || a.Objective < f.Known.Bound || a.Gap() > 20 {
				t.Errorf("plan %d, bound %d; known %d, bound %d", a.Objective, a.Bound, f.Known.Objective, f.Known.Bound)
			}
		})
	}
}

func TestACallerWhoStopsTheSearchGetsThePlanWithItsGap(t *testing.T) {
	p, f := readPlacing(t, placingPath("n300-s1-fixed"))
	q := prepared(t, p)
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	o, err := timetable.Solve(ctx, q, shared(), timetable.Search{Seed: 1, Tell: func(o timetable.Outcome) {
		if o.Bound > 0 {
			cancel()
		}
	}})
	if err != nil || o.Plan == nil || o.Bound <= 0 || o.Bound > f.Known.Objective || o.Objective < f.Known.Bound {
		t.Errorf("plan %v, objective %d, bound %d, %v", o.Plan != nil, o.Objective, o.Bound, err)
	}
}

// capped is a solver that may take only so many bytes.
type capped struct {
	timetable.Solver
	memory int64
}

func (c capped) Solve(ctx context.Context, p timetable.Program, l timetable.Limits) (timetable.Solution, error) {
	l.Memory = c.memory
	return c.Solver.Solve(ctx, p, l)
}

func TestAProblemTooLargeForTheSolverStillGetsAPlan(t *testing.T) {
	fixed, _ := readPlacing(t, placingPath("n300-s1-fixed"))
	free, _ := readPlacing(t, placingPath("n300-s1-fixed"))
	for name, q := range map[string]*timetable.Prepared{"fixed": prepared(t, fixed), "free": prepared(t, freed(free))} {
		o, err := timetable.Solve(context.Background(), q, capped{shared(), 20 << 20}, timetable.Search{Seed: 1})
		if err != nil || o.Plan == nil || o.Proven {
			t.Errorf("%s: plan %v, proven %v, %v", name, o.Plan != nil, o.Proven, err)
		} else if said := timetable.Verify(q.Problem, o.Plan); len(said) > 0 {
			t.Errorf("%s: %v", name, said)
		}
	}
}
