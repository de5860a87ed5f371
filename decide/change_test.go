package decide_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"rankwright"
	"rankwright/decide"
	"rankwright/scoring"
	"rankwright/syllabus"
)

// The answer really changes the outcome, and trying everything finds no set of
// fewer requirements, nor of as many with fewer points added.
func TestTheSmallestChangeIsOneAndIsTheSmallest(t *testing.T) {
	n, possible, more := cases(t, 6_000), 0, 0
	for i := range n {
		w := randomWorld(rand.New(rand.NewPCG(uint64(i), 99)))
		if len(w.rank().Requirements) > 5 {
			continue
		}
		j := w.judge(t)
		c := w.c
		c.Card = j.Fold(w.marks)
		if v := j.Decide(c); v.Outcome != syllabus.NotYet {
			if x := j.Change(c); x.Possible || x.Words() != "" {
				t.Fatalf("case %d: a %s is changed by %+v", i, v.Outcome, x)
			}
			continue
		}
		got := j.Change(c)
		fewest, points := everything(t, w, j, c)
		if got.Possible != (fewest >= 0) {
			t.Fatalf("case %d: possible %v, by trying everything %d requirements", i, got.Possible, fewest)
		}
		if got.Words() == "" {
			t.Fatalf("case %d: no words for %+v", i, got)
		}
		if !got.Possible {
			continue
		}
		possible++
		if len(got.Raises) > 1 {
			more++
		}
		if !got.Fewest || !got.Least || len(got.Raises) != fewest || rat(got.Points).Cmp(points) != 0 {
			t.Fatalf("case %d: found %d requirements, %s points (proven %v %v); trying everything finds %d and %s\n%+v",
				i, len(got.Raises), got.Points, got.Fewest, got.Least, fewest, points.FloatString(3), got)
		}
		if _, v := changed(t, j, c); v.Outcome != syllabus.Promoted && v.Outcome != syllabus.Held {
			t.Fatalf("case %d: with %s it is %s", i, got.Words(), v.Outcome)
		}
	}
	if possible < n/50 || more < n/200 {
		t.Errorf("only %d of %d can be changed, %d of them in more than one requirement", possible, n, more)
	}
}

// markedAs marks a requirement so that it comes to v.
func markedAs(q *syllabus.Requirement, v rankwright.Amount, seen []scoring.Seen, lead rankwright.ExaminerID) []scoring.Seen {
	if q.Kind != syllabus.Consent {
		return []scoring.Seen{{Examiner: "ann", Try: 1, Value: scoring.Value{Sort: scoring.Number, Num: v}}}
	}
	var out []scoring.Seen
	yes := 0
	for _, m := range seen { // one vote an examiner, the last try
		if m.Try > q.Tries {
			continue
		}
		if n := len(out); n > 0 && out[n-1].Examiner == m.Examiner {
			out[n-1] = m
		} else {
			out = append(out, m)
		}
	}
	for _, m := range out {
		if m.Value == scoring.N(1) {
			yes++
		}
	}
	turn := func(ok func(m scoring.Seen) bool) {
		for i := range out {
			if yes < v.Int() && out[i].Value != scoring.N(1) && ok(out[i]) {
				out[i].Value = scoring.N(1)
				yes++
			}
		}
	}
	turn(func(m scoring.Seen) bool { return m.Examiner == lead && m.Value == scoring.N(0) })
	turn(func(m scoring.Seen) bool { return m.Value == scoring.N(0) })
	turn(func(m scoring.Seen) bool { return true })
	return out
}

// everything tries every set of requirements with every better value that
// makes a difference to anything.
func everything(t *testing.T, w *world, j *decide.Judge, c decide.Case) (fewest int, points fraction) {
	k := w.rank()
	n := &naively{w: w}
	now := make([]*card, len(k.Requirements))
	better := make([][]rankwright.Amount, len(k.Requirements))
	for i := range k.Requirements {
		q := &k.Requirements[i]
		now[i] = n.card(q)
		better[i] = w.betterValues(n, q, now[i])
	}
	for size := range len(k.Requirements) + 1 {
		points = nil
		card := &scoring.Card{Seen: slices.Clone(c.Card.Seen)}
		var try func(from, left int, sum fraction)
		try = func(from, left int, sum fraction) {
			if left == 0 {
				after := c
				after.Card = card
				if v := j.Decide(after); (v.Outcome == syllabus.Promoted || v.Outcome == syllabus.Held) && (points == nil || sum.Cmp(points) < 0) {
					points = sum
				}
				return
			}
			for i := from; i < len(better); i++ {
				for _, v := range better[i] {
					gain := rat(0)
					if q := &k.Requirements[i]; q.Kind != syllabus.Consent {
						x := *now[i]
						x.value = rat(v)
						x.points = n.credit(&x)
						x.counted = x.counted || x.waived && x.points.Cmp(rat(q.Points)) >= 0 && n.expected(&x)
						gain = plus(counting(&x), times(counting(now[i]), rat(-rankwright.One)))
					}
					was := card.Seen[i]
					card.Seen[i] = markedAs(&k.Requirements[i], v, was, c.Lead)
					try(i+1, left-1, plus(sum, gain))
					card.Seen[i] = was
				}
			}
		}
		try(0, size, rat(0))
		if points != nil {
			return size, points
		}
	}
	return -1, nil
}

// counting is the points that count of a requirement.
func counting(x *card) fraction {
	if x.counted || x.q.Bonus {
		return x.points
	}
	return rat(0)
}

// betterValues lists the better values of a requirement, one of each sort
// that no rule can tell apart.
func (w *world) betterValues(n *naively, q *syllabus.Requirement, now *card) []rankwright.Amount {
	if q.ForRelease {
		return nil
	}
	var out []rankwright.Amount
	if q.Kind == syllabus.Consent {
		if slices.Contains(w.waived, q.ID) || slices.Contains(w.c.Waived, q.ID) {
			return nil
		}
		for v := now.yes + 1; v <= now.votes; v++ {
			out = append(out, rankwright.Whole(v))
		}
		return out
	}
	seen := map[string]bool{}
	for quarter := range 60 {
		v := rankwright.One / 4 * rankwright.Amount(quarter)
		if !scoring.Can(q, v) || now.value != nil && (!asBest(q, rat(v), now.value) || rat(v).Cmp(now.value) == 0) {
			continue
		}
		x := *now
		x.value = rat(v)
		sort := n.credit(&x).String() + fmt.Sprint(n.expected(&x))
		for a := range 8 {
			sort += fmt.Sprint(asBest(q, rat(v), rat(rankwright.Whole(a))))
		}
		if !seen[sort] {
			seen[sort] = true
			out = append(out, v)
		}
	}
	return out
}

// Of two promotions the nearer one is found: one requirement more for the
// first, which forgives two, or two for the second.
func TestTheNearerOfTwoPromotions(t *testing.T) {
	s := fragment(t, lookHead, `pass:
  conditions:
    few: {requirements: {at_least: expected, may_fall_short: {up_to: 2, at_least: 1}}}
    total: {total: 60%}
  results:
    - {outcome: promoted, label: few, when: [few]}
    - {outcome: promoted, label: total, when: [total]}
asks:
  - {id: a, section: s, show: A, kind: level, scale: move}
  - {id: b, section: s, show: B, kind: level, scale: move}
  - {id: c, section: s, show: C, kind: level, scale: move}
  - {id: d, section: s, show: D, kind: level, scale: move}
`)
	j := judge(t, s, "yellow")
	for marks, want := range map[string]string{
		"a 1\nb 1\nc 0\nd 2": "The least that would have been enough: C: 2 instead of 0.",
		"a 1\nb 1\nc 1\nd 2": "The least that would have been enough: A: 2 instead of 1.",
		"a 1\nb 0\nc 0\nd 0": "The least that would have been enough: B: 1 instead of 0; C: 2 instead of 0; D: 2 instead of 0.",
	} {
		got := j.Change(telling(t, s, j, marks))
		if got.Words() != want || !got.Least {
			t.Errorf("%q: %s\nwant %s", marks, got.Words(), want)
		}
	}
}

// What was waived can help too, shown in full after all: by its own points, or
// since of more requirements more may fall short.
func TestWhatWasWaivedMayBeTheChange(t *testing.T) {
	for _, c := range []struct{ name, body, marks, want string }{
		{"a waived requirement that brings its section up", `pass: {sections: 3}
asks:
  - {id: a, section: s, show: A, kind: recall, of: 6, each: 0.5}
  - {id: b, section: s, show: B, kind: tick, points: 1}
`, "waived a\na 5\nb 0", "The least that would have been enough: B: shown instead of not shown."},
		{"a waived requirement that makes room for one to fall short", `pass: {requirements: {at_least: 6, may_fall_short: 50%}}
asks:
  - {id: a, section: s, show: A, kind: count, of: 5, points: 1, expect: 5}
  - {id: b, section: s, show: B, kind: count, points: 1, expect: 1}
`, "waived b\na 5\nb 2", "The least that would have been enough: B: 6 instead of 2."},
		{"a bonus that was waived is still a bonus", `pass: {total: 100%}
bonus_cap: 1
asks:
  - {id: a, section: s, show: A, kind: recall, of: 4}
  - {id: b, section: s, show: B, kind: tick, points: 1, bonus: yes}
`, "waived b\na 3", "The least that would have been enough: A: 4 instead of 3."},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := fragment(t, lookHead, c.body)
			j := judge(t, s, "yellow")
			got, v := changed(t, j, telling(t, s, j, c.marks))
			if got.Words() != c.want || !got.Least || v.Outcome != syllabus.Promoted {
				t.Errorf("%s (with it %s)\nwant %s", got.Words(), v.Outcome, c.want)
			}
		})
	}
}

// The club's own examples, with the answer that a parent would be given.
func TestWhatWouldHaveBeenEnough(t *testing.T) {
	s := load(t, "otterlight.yaml")
	j := judge(t, s, "reed")
	band := s.Band(8)
	for _, c := range []struct {
		name   string
		marks  map[string]int
		change map[rankwright.RequirementID]int
		want   string
	}{
		{"a fall at level 1", map[string]int{"ET": 3, "KB": 8, "PR": 6, "SM": 9, "HA": 6, "KI": 3, "BF": 9, "GU": 5, "PD": 2, "FI": 3, "TH": 2},
			map[rankwright.RequirementID]int{"RE-BF1": 1}, "The least that would have been enough: Settle-back from sitting: 2 instead of 1."},
		{"the total two points short", map[string]int{"ET": 3, "KB": 5, "PR": 3, "SM": 6, "HA": 3, "KI": 2, "BF": 7, "GU": 3, "PD": 2, "FI": 3, "TH": 0},
			nil, "The least that would have been enough: Bridge-and-tunnel belt knot, coach may start it: 6 instead of 3."},
	} {
		t.Run(c.name, func(t *testing.T) {
			marks := bySections(t, j.Rank(), band, c.marks)
			for id, v := range c.change {
				marks = append(marks, scoring.Mark{Requirement: id, Examiner: "lead", Clock: 1, Value: scoring.N(v)})
			}
			marks = append(marks, scoring.Mark{Requirement: "RE-CN1", Examiner: "lead", Value: scoring.N(1)})
			got := j.Change(decide.Case{Band: band, Card: j.Fold(marks), Lead: "lead"})
			if got.Words() != c.want || !got.Fewest || !got.Least {
				t.Errorf("%q (proven %v %v), want %q", got.Words(), got.Fewest, got.Least, c.want)
			}
		})
	}
}

// Even where nothing of 35 requirements was shown, the answer is proven.
func TestACardWithNothingOnIt(t *testing.T) {
	s := load(t, "otterlight.yaml")
	j := judge(t, s, "indigo")
	got, v := changed(t, j, nothing(j, s.Band(12)))
	if !got.Fewest || !got.Least || got.Work > decide.ChangeWork || v.Outcome != syllabus.Held {
		t.Errorf("proven %v %v after %d sets; with all of it %s", got.Fewest, got.Least, got.Work, v.Outcome)
	}
	t.Logf("%d requirements, %s points, after %d sets", len(got.Raises), got.Points, got.Work)
}

// nothing marks every requirement with the worst there is.
func nothing(j *decide.Judge, band int) decide.Case {
	var marks []scoring.Mark
	for i := range j.Rank().Requirements {
		q := &j.Rank().Requirements[i]
		v := scoring.N(0)
		if q.ForRelease {
			v = scoring.N(1)
		} else if q.AtMost {
			v = scoring.N(999)
		}
		marks = append(marks, scoring.Mark{Requirement: q.ID, Examiner: "lead", Value: v})
	}
	return decide.Case{Band: band, Lead: "lead", Card: j.Fold(marks)}
}

// changed asks for the change and makes it.
func changed(t *testing.T, j *decide.Judge, c decide.Case) (decide.Changes, decide.Verdict) {
	t.Helper()
	got := j.Change(c)
	after := c
	after.Card = &scoring.Card{Seen: slices.Clone(c.Card.Seen)}
	for _, r := range got.Raises {
		at := slices.IndexFunc(j.Rank().Requirements, func(q syllabus.Requirement) bool { return q.ID == r.Requirement })
		after.Card.Seen[at] = markedAs(&j.Rank().Requirements[at], r.To.Num, c.Card.Seen[at], c.Lead)
	}
	return got, j.Decide(after)
}

// Rules that pull in sixty directions are more than the search can prove. It
// stops in time, says that it is only one way, and the way works.
func TestWhereTheWorkIsTooMuchNothingIsClaimed(t *testing.T) {
	d := rand.New(rand.NewPCG(1, 2))
	s := &syllabus.Syllabus{Sections: []syllabus.Section{{ID: "s"}}, Ranks: []syllabus.Rank{{ID: "yellow"}}}
	k := &s.Ranks[0]
	for i := range 40 {
		k.Requirements = append(k.Requirements, syllabus.Requirement{ID: rankwright.RequirementID(fmt.Sprint("q", i)), Section: "s", Show: "x", Kind: syllabus.Tick, Points: rankwright.One, Expect: rankwright.One, Tries: 1})
	}
	r := syllabus.Result{Outcome: syllabus.Promoted}
	for i := range 60 {
		c := syllabus.Condition{ID: fmt.Sprint("c", i), Kind: syllabus.OnAny}
		for range 3 {
			c.Parts = append(c.Parts, syllabus.Condition{Kind: syllabus.OnRequirements, Of: syllabus.Set{Only: []rankwright.RequirementID{k.Requirements[d.IntN(40)].ID}}})
		}
		k.Pass.Conditions = append(k.Pass.Conditions, c)
		r.When = append(r.When, c.ID)
	}
	k.Pass.Results = []syllabus.Result{r, {Outcome: syllabus.NotYet}}
	j := judge(t, s, "yellow")
	got, v := changed(t, j, nothing(j, -1))
	if !got.Possible || got.Fewest || got.Least || got.Work > decide.ChangeWork || !strings.HasPrefix(got.Words(), "One way") {
		t.Errorf("proven %v %v after %d sets: %s", got.Fewest, got.Least, got.Work, got.Words())
	}
	if v.Outcome != syllabus.Promoted {
		t.Errorf("with all of it the outcome is %s", v.Outcome)
	}
	for i := range got.Raises {
		less := got
		less.Raises = slices.Delete(slices.Clone(got.Raises), i, i+1)
		after := nothing(j, -1)
		for _, r := range less.Raises {
			at := slices.IndexFunc(k.Requirements, func(q syllabus.Requirement) bool { return q.ID == r.Requirement })
			after.Card.Seen[at][0].Value = scoring.N(1)
		}
		if v := j.Decide(after); v.Outcome == syllabus.Promoted {
			t.Errorf("%s is not needed", got.Raises[i].Requirement)
		}
	}
}

// Eight choices of three: that it takes eight is proven, but not that none of
// the many other eights adds less.
func TestWhereOnlyTheNumberIsProven(t *testing.T) {
	levels := scale(1, 0, 1, 2, 3)
	s := &syllabus.Syllabus{Sections: []syllabus.Section{{ID: "s"}}, Ranks: []syllabus.Rank{{ID: "yellow"}}}
	k := &s.Ranks[0]
	r := syllabus.Result{Outcome: syllabus.Promoted}
	for i := range 8 {
		c := syllabus.Condition{ID: fmt.Sprint("c", i), Kind: syllabus.OnAny}
		for m := range 3 {
			id := rankwright.RequirementID(fmt.Sprint("q", i, m))
			k.Requirements = append(k.Requirements, syllabus.Requirement{ID: id, Section: "s", Show: "x", Kind: syllabus.Leveled, Scale: &levels, Points: rankwright.Whole(3), Expect: rankwright.One, Tries: 1})
			c.Parts = append(c.Parts, syllabus.Condition{Kind: syllabus.OnRequirements, Of: syllabus.Set{Only: []rankwright.RequirementID{id}}})
		}
		k.Pass.Conditions, r.When = append(k.Pass.Conditions, c), append(r.When, c.ID)
	}
	k.Pass.Results = []syllabus.Result{r, {Outcome: syllabus.NotYet}}
	j := judge(t, s, "yellow")
	got, v := changed(t, j, nothing(j, -1))
	if len(got.Raises) != 8 || !got.Fewest || got.Least || v.Outcome != syllabus.Promoted {
		t.Errorf("%d, proven %v %v after %d sets; with all of it %s", len(got.Raises), got.Fewest, got.Least, got.Work, v.Outcome)
	}
}

func BenchmarkChange(b *testing.B) {
	s := load(b, "otterlight.yaml")
	j := judge(b, s, "indigo")
	band := s.Band(12)
	c := decide.Case{Band: band, Lead: "lead", Card: j.Fold(marked(j.Rank(), band, map[rankwright.RequirementID]int{"IN-BF1": 1, "IN-KI1": 0, "IN-KI2": 2, "IN-SM2": 3}, "lead"))}
	b.ReportAllocs()
	for b.Loop() {
		j.Change(c)
	}
}
