package timetable

import (
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rankwright"
)

// told is a placing problem whose known plan was published and told.
func told(t testing.TB, path string) (*Problem, *Plan) {
	t.Helper()
	p, plan, _ := readPlacing(t, path)
	p.Weights[AimMoved] = 200
	p.Weights[AimRedrawn] = 1
	return Published(p, plan, true), plan
}

func after(t testing.TB, p *Problem, events ...Event) *Prepared {
	t.Helper()
	c, err := p.After(events...)
	if err != nil {
		t.Fatal(err)
	}
	return prepared(t, c)
}

func movedFamilies(q *Prepared, plan *Plan) int { return int(q.Cost(plan).Aims[AimMoved].Units) }

func TestWhereNothingHappenedNothingIsChanged(t *testing.T) {
	p, plan := told(t, "testdata/placing/n60-s1-fixed.json")
	q := prepared(t, p)
	r := Repair(q, 1, 3000, nil)
	if len(r.Changes) > 0 || !r.Plan.Equal(plan) {
		t.Errorf("changed: %v", r.Changes)
	}
}

func TestAChildFallsIllAndNobodyElseIsMoved(t *testing.T) {
	p, plan := told(t, "testdata/placing/n60-s1-fixed.json")
	e := slices.IndexFunc(plan.At, func(at int) bool { return at != Waiting })
	q := after(t, p, Event{Kind: Withdrawn, Entry: p.Entries[e].ID})
	r := Repair(q, 1, 3000, nil)
	if n := movedFamilies(q, r.Plan); n > 0 {
		t.Errorf("%d families were moved", n)
	}
	if said := Verify(q.Problem, r.Plan); len(said) > 0 {
		t.Error(strings.Join(said, "\n"))
	}
}

func TestTenLateEntriesArePlacedWithoutMovingAnybodyWhereThereIsRoom(t *testing.T) {
	p, plan, _ := readPlacing(t, "testdata/placing/n30-s2-free.json")
	p.Weights[AimMoved] = 200
	for w := range p.Sittings {
		p.Sittings[w].Most += 3
	}
	p = Published(p, plan, true)
	var events []Event
	for i := range 10 {
		id := string(rune('a' + i))
		h := Household{ID: rankwright.HouseholdID("late-" + id)}
		for _, s := range p.Sessions {
			h.Answers = append(h.Answers, Answer{Session: s.ID, Suits: Yes})
		}
		events = append(events, Event{Kind: Late, Household: h, Add: Entry{ID: rankwright.EntryID("late-" + id), Household: h.ID, Rank: p.Ranks[i%len(p.Ranks)], Age: 9}})
	}
	q := after(t, p, events...)
	r := Repair(q, 1, 5000, nil)
	if n := movedFamilies(q, r.Plan); n > 0 || slices.Contains(r.Plan.At, Waiting) {
		t.Errorf("%d families were moved; %v", n, r.Plan.At)
	}
	if said := Verify(q.Problem, r.Plan); len(said) > 0 {
		t.Error(strings.Join(said, "\n"))
	}
	placed := 0
	for _, c := range r.Changes {
		if c.Kind == EntryPlaced {
			placed++
		}
	}
	if placed != 10 {
		t.Errorf("%d are told as placed: %v", placed, r.Changes)
	}
}

func TestALostSittingMovesNobodyWithoutTheirYesAndSaysWhomToAsk(t *testing.T) {
	p, plan := told(t, "testdata/placing/n30-s1-free.json")
	lost := plan.At[0]
	q := after(t, p, Event{Kind: Lost, Sitting: p.Sittings[lost].ID})
	r := Repair(q, 1, 5000, nil)
	if said := Verify(q.Problem, r.Plan); len(said) > 0 {
		t.Fatal(strings.Join(said, "\n"))
	}
	for e, at := range r.Plan.At {
		switch was := q.Was[e]; {
		case was == lost && at != Waiting:
			t.Errorf("entry %d was put elsewhere without a yes", e)
		case was != lost && was != Waiting && at != was && at != Waiting:
			t.Errorf("entry %d was moved without a yes", e)
		}
	}
	if len(r.Questions) == 0 || len(r.Gains) == 0 {
		t.Fatal("nobody is to be asked")
	}
	if s := q.SayQuestion(r.Questions[0]); !strings.HasPrefix(s, "Ask the H") || !strings.Contains(s, "instead of") {
		t.Error(s)
	}
	// With all the answers yes, Better is a plan that keeps every limit.
	yes := q.Problem.clone()
	for _, x := range r.Questions {
		yes.Households[x.Household].MayMove = true
	}
	if said := Verify(yes, r.Better); len(said) > 0 {
		t.Error(strings.Join(said, "\n"))
	}
}

func TestAnExaminerDropsOutAndOnlyPanelsChangeWhereTheyCan(t *testing.T) {
	p, plan := told(t, "testdata/placing/n120-s1-fixed.json")
	busy := plan.Panels[plan.At[0]][0]
	session := p.Sittings[plan.At[0]].Session
	q := after(t, p, Event{Kind: Away, Examiner: p.Examiners[busy].ID, Session: session})
	r := Repair(q, 1, 5000, nil)
	if said := Verify(q.Problem, r.Plan); len(said) > 0 {
		t.Fatal(strings.Join(said, "\n"))
	}
	out := false
	for _, c := range r.Changes {
		out = out || c.Kind == ExaminerOut && c.Examiner == busy
		if q.SayChange(c) == string(c.Kind) {
			t.Errorf("%v has no sentence", c)
		}
	}
	if !out {
		t.Errorf("nobody is told that the examiner is out: %v", r.Changes)
	}
}

// Whatever happens, a locked entry stays, and a told one moves only with a yes.
func TestARepairNeverMovesALockedOrUnaskedFamily(t *testing.T) {
	files := []string{"testdata/placing/n30-s1-free.json", "testdata/placing/n30-s2-fixed.json", "testdata/placing/n60-s1-free.json"}
	rapid.Check(t, func(t *rapid.T) {
		p, plan, _ := readPlacing(&fatal{t: t}, rapid.SampledFrom(files).Draw(t, "file"))
		p = Published(p, plan, true)
		for e := range p.Entries {
			if plan.At[e] != Waiting && rapid.IntRange(0, 9).Draw(t, "lock") == 0 {
				p.Entries[e].Locked = p.Entries[e].Was
			}
		}
		for h := range p.Households {
			p.Households[h].MayMove = rapid.Bool().Draw(t, "yes")
		}
		var events []Event
		for range rapid.IntRange(1, 3).Draw(t, "events") {
			switch rapid.IntRange(0, 2).Draw(t, "kind") {
			case 0:
				events = append(events, Event{Kind: Withdrawn, Entry: p.Entries[rapid.IntRange(0, len(p.Entries)-1).Draw(t, "entry")].ID})
			case 1:
				events = append(events, Event{Kind: Away, Examiner: p.Examiners[rapid.IntRange(0, len(p.Examiners)-1).Draw(t, "examiner")].ID})
			default:
				events = append(events, Event{Kind: Lost, Sitting: p.Sittings[rapid.IntRange(0, len(p.Sittings)-1).Draw(t, "sitting")].ID})
			}
		}
		c, err := p.After(events...)
		if err != nil {
			return // the same entry twice
		}
		q := prepared2(t, c)
		r := Repair(q, 1, 300, nil)
		for e, at := range r.Plan.At {
			x := &c.Entries[e]
			w := q.Was[e]
			if w == Waiting || at == w {
				continue
			}
			if x.Locked != "" && at != Waiting {
				t.Fatalf("entry %s was locked and moved", x.ID)
			}
			if at != Waiting && !c.Households[q.EntryHousehold[e]].MayMove {
				t.Fatalf("entry %s was moved without a yes", x.ID)
			}
			if x.Locked != "" && c.Sittings[w].Hold != Shut && !panelGone(q, w) {
				t.Fatalf("entry %s was locked to a sitting that could take place, and waits", x.ID)
			}
		}
	})
}

// panelGone says whether fewer examiners than needed are left for a sitting, or
// some were lost at all, so that a locked entry may have to wait.
func panelGone(q *Prepared, w int) bool {
	for _, x := range q.WasPanel[w] {
		if !slices.Contains(q.CanSit[w], x) {
			return true
		}
	}
	n := 0
	for _, was := range q.Was {
		if was == w {
			n++
		}
	}
	return n < q.Problem.Sittings[w].Least
}

// fatal lends a property's t to helpers that want a test's.
type fatal struct {
	testing.TB
	t *rapid.T
}

func (f *fatal) Helper()           {}
func (f *fatal) Fatal(args ...any) { f.t.Fatal(args...) }

// Against every plan there is, on small published problems to which something
// happened: the repair is the cheapest, families that are moved and all.
func TestOnSmallProblemsTheRepairIsTheBestOfAllPlans(t *testing.T) {
	repaired, changed := 0, 0
	for seed := 0; repaired < 250 && seed < 5000; seed++ {
		p := rapid.Custom(func(t *rapid.T) *Problem { return drawProblem(t, 4) }).Example(seed)
		p.Weights[AimPlaced], p.Weights[AimMoved] = 200, 60
		first := Improve(prepared(t, p), nil, 1, 300, nil)
		if len(Verify(p, first)) > 0 || len(p.Entries) < 2 {
			continue
		}
		p = Published(p, first, true)
		events := []Event{{Kind: Lost, Sitting: p.Sittings[seed%len(p.Sittings)].ID}}
		if seed%3 == 0 {
			events = []Event{{Kind: Withdrawn, Entry: p.Entries[0].ID}}
		} else if seed%3 == 1 && len(p.Examiners) > 0 {
			events = []Event{{Kind: Away, Examiner: p.Examiners[0].ID}}
		}
		q := after(t, p, events...)
		r := Repair(q, 1, 500, nil)
		if len(Verify(q.Problem, r.Plan)) > 0 {
			if cheaperPlan(q, 1<<50) != nil {
				t.Errorf("problem %d: the repair breaks a limit, and there is a plan that does not\n%s", seed, WriteProblem(q.Problem))
			}
			continue
		}
		repaired++
		if len(r.Changes) > 0 {
			changed++
		}
		if better := cheaperPlan(q, q.Total(r.Plan)); better != nil {
			t.Errorf("problem %d: the repair costs %d, and %v costs %d\n%s", seed, q.Total(r.Plan), better, q.Total(better), WriteProblem(q.Problem))
		}
	}
	if repaired < 250 || changed < 30 {
		t.Errorf("only %d were repaired and %d of them changed", repaired, changed)
	}
}
