package timetable

import (
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rankwright"
)

// evening is a small grading of two sessions on one day and a make-up date,
// and a plan for it that keeps every limit.
func evening(t testing.TB) (*Problem, *Plan) {
	t.Helper()
	day := rankwright.MustDay("2026-10-30")
	sitting := func(id string, session SessionID, mat MatID, start string) Sitting {
		m, ok := ParseMinute(start)
		if !ok {
			t.Fatal(start)
		}
		return Sitting{ID: SittingID(id), Session: session, Mat: mat, Start: m, Minutes: 30, Least: 1, Most: 2, Panel: 1, Cost: 1}
	}
	yes := func(sessions ...SessionID) (out []Answer) {
		for _, s := range sessions {
			out = append(out, Answer{Session: s, Suits: Yes})
		}
		return out
	}
	p := &Problem{
		Ranks: []rankwright.RankID{"white", "yellow", "green"},
		Sessions: []Session{{ID: "noon", Day: day, Cost: 1}, {ID: "eve", Day: day, Cost: 1},
			{ID: "later", Day: day + 14, Cost: 1, Makeup: true}},
		Sittings: []Sitting{sitting("n1", "noon", "A", "12:00"), sitting("n2", "noon", "B", "12:00"), sitting("n3", "noon", "A", "12:30"),
			sitting("e1", "eve", "A", "18:00"), sitting("l1", "later", "A", "10:00"), sitting("n4", "noon", "A", "12:15")},
		Households: []Household{{ID: "okafor", Name: "Okafor", Answers: append(yes("noon"), Answer{Session: "eve", Suits: No})},
			{ID: "lindt", Name: "Lindt", Answers: yes("noon", "eve", "later")},
			{ID: "moreno", Name: "Moreno", Answers: yes("noon", "eve")}},
		Entries: []Entry{{ID: "ada", Name: "Ada", Household: "okafor", Rank: "white", Age: 7}, {ID: "ben", Name: "Ben", Household: "okafor", Rank: "yellow", Age: 11},
			{ID: "cleo", Name: "Cleo", Household: "lindt", Rank: "white", Age: 9}, {ID: "dan", Name: "Dan", Household: "moreno", Rank: "green", Age: 12}},
		Examiners: []Examiner{{ID: "sora", Name: "Sora", Highest: "green", There: []Presence{{Session: "noon"}, {Session: "eve"}, {Session: "later"}}},
			{ID: "kim", Name: "Kim", Highest: "yellow", There: []Presence{{Session: "noon"}, {Session: "eve"}}, Own: []rankwright.HouseholdID{"lindt"}}},
		Rules: DefaultRules(), Weights: DefaultWeights(),
	}
	p.Rules.Unanswered = No
	plan := EmptyPlan(p)
	plan.At = []int{0, 0, 2, 3} // Ada and Ben n1, Cleo n3, Dan e1
	plan.Panels[0], plan.Panels[2], plan.Panels[3] = []int{1}, []int{0}, []int{0}
	return p, plan
}

func TestEveryBrokenLimitIsSaid(t *testing.T) {
	p, plan := evening(t)
	if said := Verify(p, plan); len(said) > 0 {
		t.Fatalf("the plan is in order, and Verify says %s", strings.Join(said, "\n"))
	}
	for _, c := range []struct {
		name   string
		change func(*Problem, *Plan)
		want   string
	}{
		{"a plan for another problem", func(p *Problem, plan *Plan) { plan.At = plan.At[:3] }, "the plan has 3 entries and 6 sittings, and the problem 4 and 6"},
		{"a sitting that is not there", func(p *Problem, plan *Plan) { plan.At[0] = 6 }, "entry ada stands in sitting number 6, which is not in the problem"},
		{"an examiner who is not there", func(p *Problem, plan *Plan) { plan.Panels[0] = []int{2} }, "sitting n1 has examiner number 2, who is not in the problem"},
		{"must be placed", func(p *Problem, plan *Plan) { p.Entries[0].MustPlace = true; plan.At[0] = Waiting }, "entry ada waits, and must be placed"},
		{"locked and waits", func(p *Problem, plan *Plan) { p.Entries[0].Locked = "n1"; plan.At[0] = Waiting }, "entry ada waits, and is locked to sitting n1"},
		{"locked elsewhere", func(p *Problem, plan *Plan) { p.Entries[0].Locked = "n3" }, "entry ada stands in sitting n1, and is locked to sitting n3"},
		{"a rank that may not come", func(p *Problem, plan *Plan) { p.Sittings[0].Ranks = []rankwright.RankID{"yellow", "green"} }, "entry ada tries for white, which may not come to sitting n1"},
		{"told and moved", func(p *Problem, plan *Plan) { p.Entries[0].Was, p.Entries[0].Told = "n3", true }, "entry ada was told sitting n3 and stands in sitting n1, and its household has not said yes to a move"},
		{"does not suit", func(p *Problem, plan *Plan) { p.Households[0].Answers[0].Suits = No }, "entry ada stands in session noon, which does not suit its household"},
		{"no answer", func(p *Problem, plan *Plan) { p.Households[0].Answers = nil }, "entry ada stands in session noon, which does not suit its household"},
		{"too early in the session", func(p *Problem, plan *Plan) { p.Households[0].Answers[0].From = 12*60 + 1 }, "entry ada stands in sitting n1 from 12:00, which is outside its household's times in this session"},
		{"too late on the day", func(p *Problem, plan *Plan) { p.Households[0].Until = 12*60 + 29 }, "entry ada stands in sitting n1 from 12:00, which is outside its household's times"},
		{"a panel for nobody", func(p *Problem, plan *Plan) { plan.Panels[1] = []int{0} }, "sitting n2 is not open and has a panel"},
		{"shut", func(p *Problem, plan *Plan) { p.Sittings[0].Hold = Shut }, "sitting n1 is shut and has 2 entries"},
		{"too many", func(p *Problem, plan *Plan) { p.Sittings[0].Most = 1 }, "sitting n1 has 2 entries and room for 1"},
		{"too few", func(p *Problem, plan *Plan) { p.Sittings[2].Least, p.Sittings[2].Most = 2, 3 }, "sitting n3 has 1 entry and takes place with at least 2"},
		{"a panel too small", func(p *Problem, plan *Plan) { p.Sittings[0].Panel = 2 }, "sitting n1 has 1 examiner and needs 2"},
		{"held without a panel", func(p *Problem, plan *Plan) { p.Sittings[4].Hold = Held }, "sitting l1 has 0 examiners and needs 1"},
		{"one examiner on two seats", func(p *Problem, plan *Plan) { p.Sittings[0].Panel = 2; plan.Panels[0] = []int{1, 1} }, "the panel of sitting n1 is not in order, or names somebody twice"},
		{"too wide", func(p *Problem, plan *Plan) { p.Sittings[0].Width = 1 }, "sitting n1 mixes ranks from white to yellow, which is wider than 1"},
		{"above the examiner", func(p *Problem, plan *Plan) { plan.Panels[3] = []int{1} }, "examiner kim may examine up to yellow, and sitting e1 needs green"},
		{"above the examiner, whoever comes", func(p *Problem, plan *Plan) { p.Sittings[0].PanelFor = "green" }, "examiner kim may examine up to yellow, and sitting n1 needs green"},
		{"their own child", func(p *Problem, plan *Plan) { plan.Panels[2] = []int{1} }, "examiner kim is on the panel of sitting n3, in which entry cleo of their own household stands"},
		{"two sittings on one mat", func(p *Problem, plan *Plan) {
			plan.At[3], plan.Panels[5], plan.Panels[3] = 5, []int{0}, nil
			plan.Panels[2] = nil
		}, "sittings n1 and n4 are on the same mat at the same time"},
		{"not there", func(p *Problem, plan *Plan) { p.Examiners[1].There = p.Examiners[1].There[1:] }, "examiner kim is not there for sitting n1"},
		{"there too late", func(p *Problem, plan *Plan) { p.Examiners[1].There[0].From = 12*60 + 10 }, "examiner kim is not there for sitting n1"},
		{"another mat", func(p *Problem, plan *Plan) { p.Examiners[1].Mats = []MatID{"B"} }, "examiner kim does not examine on mat A, where sitting n1 is"},
		{"in two places", func(p *Problem, plan *Plan) { plan.At[3], plan.Panels[1], plan.Panels[3] = 1, []int{1}, nil }, "examiner kim is in sittings n1 and n2 at the same time"},
		{"too many in a session", func(p *Problem, plan *Plan) { p.Examiners[0].MostSession = 1; plan.Panels[0] = []int{0} }, "examiner sora has 2 sittings in session noon and takes at most 1"},
		{"too many on a day", func(p *Problem, plan *Plan) { p.Examiners[0].MostDay = 1 }, "examiner sora has 2 sittings on 2026-10-30 and takes at most 1"},
		{"too many in a row", func(p *Problem, plan *Plan) { p.Examiners[0].InARow = 1; plan.Panels[0] = []int{0} }, "examiner sora has more than 1 sittings in a row on 2026-10-30, up to sitting n3"},
	} {
		t.Run(c.name, func(t *testing.T) {
			p, plan := evening(t)
			c.change(p, plan)
			if said := Verify(p, plan); !slices.Contains(said, c.want) {
				t.Errorf("want %q, said %q", c.want, said)
			}
		})
	}
}

func TestALockIsStrongerThanAnAnswer(t *testing.T) {
	p, plan := evening(t)
	p.Entries[0].Locked = "n1"
	p.Households[0].Answers[0].Suits = No
	if said := Verify(p, plan); len(said) != 1 || !strings.Contains(said[0], "entry ben") {
		t.Errorf("said %q", said)
	}
}

func TestARestBreaksARow(t *testing.T) {
	p, plan := evening(t)
	p.Examiners[0].InARow = 1
	plan.Panels[0] = []int{0}
	p.Sittings[2].Start += 10 // a rest of ten minutes
	if said := Verify(p, plan); len(said) > 0 {
		t.Errorf("said %q", said)
	}
}

// Where an entry may stand is worked out twice, by Prepare for the search and
// by Verify for the judge.
func TestPrepareAndVerifyAgreeWhereAnEntryMayStand(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t, 3)
		q := prepared2(t, p)
		b := &brute{q: q}
		for e := range p.Entries {
			for w := range p.Sittings {
				may := b.mayCome(e, w) && p.Sittings[w].Most > 0
				if q.MayStand(e, w) != may {
					t.Fatalf("entry %d in sitting %d: Prepare says %v, Verify %v", e, w, q.MayStand(e, w), may)
				}
			}
		}
	})
}
