package solver

import (
	"context"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"rankwright/timetable"
)

// told draws a tiny problem in which families were told times, some of which
// are lost to them.
func told(t *rapid.T) *timetable.Prepared {
	return rapid.Custom(func(t *rapid.T) *timetable.Prepared {
		p := tiny(t)
		for i := range p.Entries {
			if rapid.IntRange(0, 3).Draw(t, "published") > 0 {
				p.Entries[i].Was, p.Entries[i].Told = p.Sittings[rapid.IntRange(0, len(p.Sittings)-1).Draw(t, "where")].ID, true
			}
			p.Entries[i].MustPlace = false
		}
		q, _ := timetable.Prepare(p)
		return q
	}).Filter(func(q *timetable.Prepared) bool { return q != nil }).Draw(t, "told")
}

func waits(plan *timetable.Plan) (n int64) {
	for _, w := range plan.At {
		if w == timetable.Waiting {
			n++
		}
	}
	return n
}

func TestNoPlanOfATinyProblemMovesFewerFamiliesThanIsProven(t *testing.T) {
	lifted, mended := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		q := told(t)
		careless := *q.Problem // moves whom it likes
		careless.Weights[timetable.AimMoved] = 0
		c, err := timetable.Prepare(&careless)
		if err != nil {
			t.Fatal(err)
		}
		plan := timetable.Improve(c, nil, 1, rapid.IntRange(0, 20).Draw(t, "rounds"), nil)
		if len(timetable.Verify(q.Problem, plan)) > 0 || q.MovedBy(plan) == 0 || rapid.Bool().Draw(t, "left out") {
			return
		}
		least, any := cheapest(q, func(p *timetable.Plan) int64 {
			if waits(p) > waits(plan) {
				return 1000
			}
			return int64(q.MovedBy(p))
		})
		f, err := timetable.FewestMoved(context.Background(), q, shared(), plan, 0)
		if err != nil || !any {
			t.Fatal(err, any)
		}
		if f.Moved != q.MovedBy(plan) || int64(f.Bound) > least || int64(f.Least(q)) < least {
			t.Fatalf("the fewest are %d; proven %d, found %d", least, f.Bound, f.Least(q))
		}
		// A limit that the programme does not know may keep its bound too low.
		if !slices.ContainsFunc(q.Problem.Examiners, func(x timetable.Examiner) bool { return x.InARow > 0 }) && (int64(f.Bound) != least || int64(f.Least(q)) != least) {
			t.Fatalf("the fewest are %d; proven %d, found %d", least, f.Bound, f.Least(q))
		}
		none, err := timetable.FewestMoved(context.Background(), q, nil, plan, 0)
		if err != nil || none.Bound > f.Bound {
			t.Fatalf("without a solver %d is proven, with one %d (%v)", none.Bound, f.Bound, err)
		}
		if f.Bound > none.Bound {
			lifted++
		}
		if f.Plan != nil {
			mended++
		}
		if rapid.IntRange(0, 3).Draw(t, "repair") > 0 {
			return
		}
		r, err := timetable.RepairProven(context.Background(), q, shared(), timetable.Search{Seed: 1}, 40)
		if err != nil {
			return // no plan to begin with
		}
		if said := timetable.Verify(q.Problem, r.Plan); len(said) > 0 || r.Fewest.Moved != q.MovedBy(r.Plan) || r.Fewest.Bound > r.Fewest.Moved {
			t.Fatalf("%v %+v", said, r.Fewest)
		}
	})
	t.Logf("%d bounds lifted and %d plans mended by the solver", lifted, mended)
	if lifted == 0 {
		t.Error("these draws prove little")
	}
}

// Ended at once there is what follows without the solver; ended by work it is
// the same each time.
func TestTheFewestMovedCanBeEndedAndRepeated(t *testing.T) {
	p, _ := readPlacing(t, placingPath("n60-s1-fixed"))
	before := prepared(t, p)
	plan := timetable.Improve(before, nil, 1, 5000, nil)
	p = timetable.Published(p, plan, true)
	p.Weights[timetable.AimMoved] = 200
	p.Sittings[plan.At[0]].Hold = timetable.Shut
	for h := range p.Households {
		p.Households[h].MayMove = true
	}
	q, err := timetable.Prepare(p)
	if err != nil {
		t.Fatal(err)
	}
	r := timetable.Repair(q, 1, 2000, nil)
	ended, cancel := context.WithCancel(context.Background())
	cancel()
	f, err := timetable.FewestMoved(ended, q, shared(), r.Plan, 0)
	if err != nil || f.Bound < 1 || f.Work > 0 {
		t.Errorf("%+v %v", f, err)
	}
	one, err := timetable.FewestMoved(context.Background(), q, shared(), r.Plan, 20_000)
	if err != nil || one.Bound < f.Bound {
		t.Errorf("%+v %v", one, err)
	}
	two, err := timetable.FewestMoved(context.Background(), q, shared(), r.Plan, 20_000)
	if err != nil || one.Bound != two.Bound || one.Work != two.Work || (one.Plan == nil) != (two.Plan == nil) {
		t.Errorf("%+v and %+v, %v", one, two, err)
	}
	t.Logf("%d of %d wait, %d moved, at least %d; %d work", f.Waiting, len(plan.At), one.Least(q), one.Bound, one.Work)
}
