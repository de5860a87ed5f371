package decide_test

import (
	"fmt"

	"rankwright"
	"rankwright/decide"
	"rankwright/scoring"
	"rankwright/syllabus"
)

// dice is where random choices come from: math/rand for many cases, rapid
// where a failing one is to be made small.
type dice interface{ IntN(n int) int }

func chance(d dice, in int) bool { return d.IntN(in) == 0 }

func oneOf[T any](d dice, list ...T) T { return list[d.IntN(len(list))] }

// world is a rank with its rules, one entry of it and the marks of that entry.
type world struct {
	syllabus *syllabus.Syllabus
	waived   []rankwright.RequirementID // for the whole grading
	marks    []scoring.Mark
	c        decide.Case // without its card
}

func (w *world) rank() *syllabus.Rank { return &w.syllabus.Ranks[0] }

var examiners = []rankwright.ExaminerID{"ann", "ben", "cleo", "dan", "eve", "finn"}

// randomWorld makes a small rank of requirements of every kind under every
// kind of rule, and an entry near the edge of it.
func randomWorld(d dice) *world {
	s := &syllabus.Syllabus{Ladder: "l", Name: "L", Bands: []syllabus.AgeBand{{ID: "A", From: 5, To: 8}, {ID: "B", From: 9, To: 15}},
		Sections:   []syllabus.Section{{ID: "sa"}, {ID: "sb"}, {ID: "sc"}},
		Clearances: []syllabus.Clearance{{ID: "sign", Name: "Signature"}, {ID: "fit", Name: "Fit", Before: syllabus.BeforeEntry}},
		Combine:    map[syllabus.Kind]syllabus.Combine{},
		Scales:     []syllabus.Scale{scale(1, 0, 1, 2, 3), scale(3, 1, 2, 3, 4, 5), scale(2, 0, 2, 7)},
	}
	for _, k := range syllabus.Kinds() {
		s.Combine[k] = combining(d)
	}
	s.Ranks = []syllabus.Rank{{ID: "yellow", Name: "Yellow", BonusCap: half(d.IntN(5))}}
	k := &s.Ranks[0]
	for i := range 1 + d.IntN(7) {
		k.Requirements = append(k.Requirements, requirement(d, s, fmt.Sprintf("q%d", i)))
	}
	if chance(d, 3) {
		k.Clearances = append(k.Clearances, "sign", "fit")
	}
	k.Panel = oneOf(d, []syllabus.Panel{{Size: 3, Consents: 2}}, []syllabus.Panel{{Size: 2, Consents: 2}, {Size: 4, Consents: 2}})
	k.Pass = passing(d, k)
	w := &world{syllabus: s}
	for i := range k.Requirements {
		if chance(d, 12) {
			w.waived = append(w.waived, k.Requirements[i].ID)
		}
	}
	w.entry(d)
	return w
}

func scale(enough int, levels ...int) syllabus.Scale {
	s := syllabus.Scale{ID: fmt.Sprint(levels), Enough: enough}
	for _, l := range levels {
		s.Levels = append(s.Levels, syllabus.Level{Value: l})
	}
	return s
}

// half returns n halves.
func half(n int) rankwright.Amount { return rankwright.One / 2 * rankwright.Amount(n) }

func combining(d dice) syllabus.Combine {
	method := func() syllabus.Method { return syllabus.Method(d.IntN(6)) }
	return syllabus.Combine{Method: method(), OfTwo: method(), Apart: rankwright.Whole(d.IntN(4))}
}

func requirement(d dice, s *syllabus.Syllabus, id string) syllabus.Requirement {
	q := syllabus.Requirement{ID: rankwright.RequirementID(id), Section: s.Sections[d.IntN(3)].ID, Show: id, Kind: syllabus.Kind(d.IntN(7)),
		Tries: 1, Must: chance(d, 4), Bonus: chance(d, 6)}
	q.Must = q.Must && !q.Bonus
	if chance(d, 3) {
		q.Tries, q.Keep = 2, syllabus.Keep(d.IntN(3))
	}
	if chance(d, 5) {
		c := combining(d)
		q.Combine = &c
	}
	expect := func(low, high int) {
		q.Expect = rankwright.Whole(low + d.IntN(high-low+1))
		if chance(d, 3) {
			q.ExpectByBand = []rankwright.Amount{q.Expect, rankwright.Whole(low + d.IntN(high-low+1))}
		}
	}
	switch q.Kind {
	case syllabus.Tick:
		q.Points, q.Expect = half(1+d.IntN(6)), rankwright.One
		q.ForRelease = !q.Must && !q.Bonus && chance(d, 8)
		if q.ForRelease {
			q.Points = 0
		}
	case syllabus.Leveled:
		q.Scale = &s.Scales[d.IntN(3)]
		q.Points = half(1+d.IntN(4)) * rankwright.Amount(q.Scale.Levels[len(q.Scale.Levels)-1].Value)
		q.Expect = rankwright.Whole(q.Scale.Enough)
	case syllabus.Steps, syllabus.Recall:
		q.Of = 1 + d.IntN(6)
		q.Points = half(1+d.IntN(3)) * rankwright.Amount(q.Of)
		expect(1, q.Of)
	case syllabus.Timed, syllabus.Count:
		q.AtMost = chance(d, 2)
		expect(1, 8)
		q.Points = rankwright.Whole(1 + d.IntN(3))
		if chance(d, 2) {
			rows := oneOf(d, []rankwright.Share{10000, 7500, 5000}, []rankwright.Share{7500, 5000, 2500}, []rankwright.Share{17500, 15000, 12500})
			if q.AtMost {
				rows = oneOf(d, []rankwright.Share{10000, 12500, 15000}, []rankwright.Share{12500, 15000, 17500}, []rankwright.Share{2500, 5000, 7500})
			}
			for i, at := range rows {
				q.Credit = append(q.Credit, syllabus.Credit{At: at, Points: rankwright.Whole(3 - i)})
			}
			q.Points = rankwright.Whole(3)
		}
	case syllabus.Consent:
		q.Must, q.Bonus, q.Expect = false, false, rankwright.One
	}
	return q
}

func passing(d dice, k *syllabus.Rank) syllabus.Pass {
	var p syllabus.Pass
	for i := range 1 + d.IntN(5) {
		p.Conditions = append(p.Conditions, condition(d, k, fmt.Sprintf("c%d", i), 0))
	}
	result := func(o syllabus.Outcome, i int) syllabus.Result {
		r := syllabus.Result{Outcome: o, Label: oneOf(d, "", "honours", "T", "part")}
		for _, c := range p.Conditions {
			if chance(d, 2) {
				r.When = append(r.When, c.ID)
			}
		}
		if len(r.When) == 0 {
			r.When = []string{p.Conditions[i%len(p.Conditions)].ID}
		}
		return r
	}
	for i := range 1 + d.IntN(2) {
		r := result(syllabus.Promoted, i)
		r.FollowUp = oneOf(d, 0, 0, 28)
		p.Results = append(p.Results, r)
	}
	if chance(d, 2) {
		r := result(syllabus.NotYet, 0)
		r.ShowAgain, r.Within, r.Retries = syllabus.Again(d.IntN(2)), oneOf(d, 0, 84), d.IntN(3)
		r.Ask = oneOf(d, "", "Shall it be?")
		p.Results = append(p.Results, r)
	}
	p.Results = append(p.Results, syllabus.Result{Outcome: syllabus.NotYet, ShowAgain: syllabus.Again(d.IntN(2)), Within: oneOf(d, 0, 28)})
	return p
}

var shares = []rankwright.Share{0, 2500, 5000, 5500, 6667, 7000, 9000, 10000}

func condition(d dice, k *syllabus.Rank, id string, depth int) syllabus.Condition {
	c := syllabus.Condition{ID: id, Kind: syllabus.ConditionKind(d.IntN(7))}
	if depth > 1 {
		c.Kind = syllabus.ConditionKind(d.IntN(3))
	}
	need := func() syllabus.Need {
		n := syllabus.Need{Kind: syllabus.ShareNeed, Share: oneOf(d, shares...)}
		if chance(d, 3) {
			n = syllabus.Need{Kind: syllabus.AmountNeed, Amount: rankwright.Whole(d.IntN(7))}
		} else if c.Kind == syllabus.OnRequirements && chance(d, 2) {
			n = syllabus.Need{Kind: syllabus.Expected}
		}
		return n
	}
	switch c.Kind {
	case syllabus.OnTotal, syllabus.OnSections, syllabus.OnRequirements:
		c.Of, c.Need = among(d, k, c.Kind), need()
		c.Bonus = c.Kind == syllabus.OnTotal && !c.Of.Musts && chance(d, 2)
		c.Need.HalfUp = c.Kind != syllabus.OnRequirements && c.Need.Kind == syllabus.ShareNeed && c.Need.Share%100 == 0 && chance(d, 3)
		if c.Kind != syllabus.OnTotal && chance(d, 2) {
			c.Allow = syllabus.Allow{UpTo: d.IntN(3)}
			if chance(d, 3) {
				c.Allow = syllabus.Allow{Percent: oneOf[rankwright.Share](d, 2500, 3333, 5000)}
			}
			if c.Allow.HasFloor = chance(d, 2); c.Allow.HasFloor {
				c.Allow.Floor = need()
			}
			if c.Allow.HasNever = chance(d, 3); c.Allow.HasNever {
				c.Allow.Never = among(d, k, c.Kind)
				c.Allow.Never.Except = nil
			}
		}
	case syllabus.OnConsents:
		c.Panels, c.Veto = k.Panel, chance(d, 3)
	case syllabus.OnRuns:
		c.Label, c.Most = oneOf(d, "T", "honours"), 1+d.IntN(3)
	default:
		for i := range 1 + d.IntN(3) {
			c.Parts = append(c.Parts, condition(d, k, fmt.Sprintf("%s.%d", id, i+1), depth+1))
		}
	}
	return c
}

func among(d dice, k *syllabus.Rank, kind syllabus.ConditionKind) syllabus.Set {
	s := syllabus.Set{Musts: chance(d, 5), Weak: chance(d, 5)}
	if chance(d, 4) {
		s.Sections = append(s.Sections, oneOf[rankwright.SectionID](d, "sa", "sb", "sc"))
	}
	if kind != syllabus.OnSections && chance(d, 4) {
		s.Only = append(s.Only, k.Requirements[d.IntN(len(k.Requirements))].ID)
	}
	if chance(d, 4) {
		s.Except = append(s.Except, oneOf(d, "sa", "sb", string(k.Requirements[d.IntN(len(k.Requirements))].ID)))
	}
	return s
}

// entry fills in the case and its marks.
func (w *world) entry(d dice) {
	k := w.rank()
	w.c = decide.Case{Entry: "e", Day: rankwright.MustDay("2026-10-10"), Band: d.IntN(3) - 1, Retries: d.IntN(3), Lead: oneOf[rankwright.ExaminerID](d, "", "ann", "ben", "finn")}
	if chance(d, 30) {
		w.c.Presence = decide.Presence(1 + d.IntN(3))
	}
	if chance(d, 2) {
		w.c.Met = append(w.c.Met, "sign")
	}
	if chance(d, 2) {
		b := &decide.Before{}
		for i := range k.Requirements {
			if chance(d, 3) {
				b.Weak = append(b.Weak, k.Requirements[i].ID)
			}
		}
		if chance(d, 2) {
			b.WeakSections = append(b.WeakSections, "sb")
		}
		for range d.IntN(4) {
			b.Labels = append(b.Labels, oneOf(d, "T", "T", "honours", ""))
		}
		w.c.Before = b
	}
	panel := 1 + d.IntN(4)
	for i := range k.Requirements {
		q := &k.Requirements[i]
		if chance(d, 15) {
			w.c.Waived = append(w.c.Waived, q.ID)
		}
		if chance(d, 8) && q.Kind != syllabus.Consent {
			for range 1 + d.IntN(2) {
				w.c.Kept = append(w.c.Kept, decide.Kept{Requirement: q.ID, Value: value(d, q).Num, Until: w.c.Day + rankwright.Day(d.IntN(3)-1)})
			}
		}
		if chance(d, 25) {
			continue // nobody marked it
		}
		n := panel
		if chance(d, 4) {
			n = 1 + d.IntN(len(examiners))
		}
		for e := range n {
			for try := 1; try <= q.Tries && (try == 1 || chance(d, 2)); try++ {
				w.mark(d, q, examiners[e], try)
			}
		}
		if chance(d, 20) {
			w.mark(d, q, examiners[0], q.Tries+1)
		}
	}
}

// mark marks a requirement, sometimes twice: the later mark corrects.
func (w *world) mark(d dice, q *syllabus.Requirement, e rankwright.ExaminerID, try int) {
	times := 1
	if chance(d, 6) {
		times = 2
	}
	for range times {
		n := len(w.marks)
		m := scoring.Mark{ID: rankwright.MarkID(fmt.Sprintf("m%d", n)), Device: oneOf[rankwright.DeviceID](d, "pad", "phone"), Seq: int64(n + 1), Clock: int64(1 + d.IntN(3)),
			Entry: "e", Requirement: q.ID, Examiner: e, Try: try, Value: value(d, q), At: int64(d.IntN(3))}
		if chance(d, 40) {
			m.Value = scoring.Value{}
		}
		w.marks = append(w.marks, m)
	}
}

// value draws a value that the requirement can have, mostly one that is
// enough or nearly.
func value(d dice, q *syllabus.Requirement) scoring.Value {
	switch q.Kind {
	case syllabus.Tick:
		return scoring.N(min(1, d.IntN(4)))
	case syllabus.Consent:
		if chance(d, 8) {
			return scoring.Value{Sort: scoring.Abstain}
		}
		return scoring.N(min(1, d.IntN(4)))
	case syllabus.Leveled:
		l := q.Scale.Levels
		return scoring.N(l[max(d.IntN(len(l)), d.IntN(len(l)))].Value)
	case syllabus.Steps, syllabus.Recall:
		return scoring.N(max(d.IntN(q.Of+1), d.IntN(q.Of+1)))
	case syllabus.Timed:
		return scoring.Value{Sort: scoring.Number, Num: rankwright.Amount(d.IntN(25)) * (rankwright.One / 2)}
	}
	return scoring.N(d.IntN(12))
}
