package timetable

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"rankwright"
)

// placing is a file of testdata/placing, whose README says what it means.
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
func readPlacing(t testing.TB, path string) (*Problem, *Plan, placing) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var f placing
	if err := json.Unmarshal(data, &f); err != nil {
		t.Fatal(path, err)
	}
	p := &Problem{Rules: Rules{LittleAge: 7, LittleAfter: 60, Rest: 1}}
	p.Weights = Weights{AimPlaced: f.Weights.Unplaced, AimSplit: f.Weights.Split, AimApart: f.Weights.Apart, AimMakeup: f.Weights.Makeup,
		AimLate: f.Weights.LateKid, AimWish: 1, AimSession: 1, AimSitting: 1}
	for r := range f.Ranks {
		p.Ranks = append(p.Ranks, rankwright.RankID(fmt.Sprintf("rank-%d", r+1)))
	}
	for i, s := range f.Sessions {
		p.Sessions = append(p.Sessions, Session{ID: SessionID(s.ID), Day: rankwright.MustDay("2026-10-10") + rankwright.Day(i), Makeup: s.Makeup, Cost: s.OpenCost})
	}
	for i, w := range f.Waves {
		s := Sitting{ID: SittingID(w.ID), Session: p.Sessions[w.Session].ID, Mat: MatID(fmt.Sprintf("mat-%d", w.Mat+1)),
			Start: 9*60 + 30*Minute(w.Slot), Minutes: 30, Least: w.Min, Most: w.Max, Panel: w.Panel, Cost: w.OpenCost, Width: f.BandWidth}
		if f.Bands != nil {
			s.Ranks = p.Ranks[f.Bands[i] : f.Bands[i]+f.BandWidth]
			s.PanelFor = s.Ranks[f.BandWidth-1]
		}
		p.Sittings = append(p.Sittings, s)
	}
	for _, h := range f.Households {
		house := Household{ID: rankwright.HouseholdID(h.ID)}
		for s, ok := range h.Avail {
			a := Answer{Session: p.Sessions[s].ID, Points: h.PrefCost[s]}
			if ok == 1 {
				a.Suits = Yes
			}
			house.Answers = append(house.Answers, a)
		}
		p.Households = append(p.Households, house)
	}
	for _, c := range f.Candidates {
		p.Entries = append(p.Entries, Entry{ID: rankwright.EntryID(c.ID), Household: p.Households[c.Household].ID, Rank: p.Ranks[c.Rank], Age: c.Age})
	}
	for _, x := range f.Examiners {
		e := Examiner{ID: rankwright.ExaminerID(x.ID), Highest: p.Ranks[x.MaxRank], MostSession: x.Most}
		for s, ok := range x.Avail {
			if ok == 1 {
				e.There = append(e.There, Presence{Session: p.Sessions[s].ID})
			}
		}
		if x.Household >= 0 {
			e.Own = append(e.Own, p.Households[x.Household].ID)
		}
		p.Examiners = append(p.Examiners, e)
	}
	return p, &Plan{At: f.Known.WaveOf, Panels: f.Known.ExaminersOf}, f
}

func placingFiles(t testing.TB) []string {
	t.Helper()
	files, err := filepath.Glob("testdata/placing/*.json")
	if err != nil || len(files) != 16 {
		t.Fatalf("%d placing files: %v", len(files), err)
	}
	return files
}

func prepared(t testing.TB, p *Problem) *Prepared {
	t.Helper()
	q, err := Prepare(p)
	if err != nil {
		t.Fatal(err)
	}
	return q
}

// Outside check: the objective that HiGHS 1.15.1 reports for its plan.
func TestTheCostOfEveryKnownPlanIsTheOneThatHighsReports(t *testing.T) {
	for _, path := range placingFiles(t) {
		p, plan, f := readPlacing(t, path)
		q := prepared(t, p)
		c := q.Cost(plan)
		if c.Total != f.Known.Objective || q.Total(plan) != c.Total {
			t.Errorf("%s: cost %d, total %d, HiGHS reports %d", f.Name, c.Total, q.Total(plan), f.Known.Objective)
		}
		if said := Verify(p, plan); len(said) > 0 {
			t.Errorf("%s: the known plan breaks a limit:\n%s", f.Name, strings.Join(said, "\n"))
		}
	}
}
