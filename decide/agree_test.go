package decide_test

import (
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"

	"rankwright"
	"rankwright/decide"
	"rankwright/scoring"
	"rankwright/syllabus"
)

// cases is how many random cases are tried: RANKWRIGHT_CASES, or a share that
// takes a few seconds.
func cases(t testing.TB, share int) int {
	t.Helper()
	text := os.Getenv("RANKWRIGHT_CASES")
	if text == "" {
		return share
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 {
		t.Fatalf("RANKWRIGHT_CASES is %q; write a number of cases", text)
	}
	return n
}

func (w *world) judge(t testing.TB) *decide.Judge {
	t.Helper()
	j, err := decide.Compile(w.syllabus, "yellow", w.waived...)
	if err != nil {
		t.Fatal(err)
	}
	return j
}

// decide folds the marks and decides.
func (w *world) decide(j *decide.Judge) decide.Verdict {
	c := w.c
	c.Card = j.Fold(w.marks)
	return j.Decide(c)
}

// Two decisions that share no line of code agree: the engine's, and the naive
// one that follows docs/rules.md with fractions.
func TestTheNaiveDecisionAgrees(t *testing.T) {
	count := map[syllabus.Outcome]int{}
	labels, followed, kept := 0, 0, 0
	n := cases(t, 20_000)
	for i := range n {
		w := randomWorld(rand.New(rand.NewPCG(uint64(i), 20261010)))
		v := w.decide(w.judge(t))
		if diff := differs(&v, naiveDecision(w)); diff != "" {
			t.Fatalf("case %d: %s\n%+v\n%+v", i, diff, v, w.rank())
		}
		count[v.Outcome]++
		if v.Label != "" {
			labels++
		}
		if v.FollowUp != 0 {
			followed++
		}
		if len(v.ShowAgain)+len(v.ShowAgainSections) > 0 {
			kept++
		}
	}
	t.Logf("%d cases: %v, %d with a label, %d with a follow-up, %d with something named to show again", n, count, labels, followed, kept)
	for o := syllabus.Promoted; o <= syllabus.Incomplete; o++ {
		if count[o] < n/200 {
			t.Errorf("only %d of %d cases are %s: too few to say anything", count[o], n, o)
		}
	}
}

func differs(v *decide.Verdict, r ruling) string {
	same := func(what string, a rankwright.Amount, b fraction) string {
		if rat(a).Cmp(b) != 0 {
			return fmt.Sprintf("%s is %s, by fractions %s", what, a, b.FloatString(4))
		}
		return ""
	}
	for _, x := range []string{same("base", v.Base, r.base), same("of", v.Of, r.of), same("bonus", v.Bonus, r.bonus), same("points", v.Points, plus(r.base, r.bonus))} {
		if x != "" {
			return x
		}
	}
	if v.Outcome != r.outcome || v.Label != r.label {
		return fmt.Sprintf("outcome %s %q, naively %s %q", v.Outcome, v.Label, r.outcome, r.label)
	}
	if !slices.Equal(v.Missing, r.missing) {
		return fmt.Sprintf("missing %v, naively %v", v.Missing, r.missing)
	}
	for _, x := range v.Reasons {
		if met, ok := r.met[x.Rule]; ok && met != x.Met {
			return fmt.Sprintf("condition %s met %v, naively %v", x.Rule, x.Met, met)
		}
	}
	var again []string
	for _, id := range v.ShowAgainSections {
		again = append(again, string(id))
	}
	for _, id := range v.ShowAgain {
		again = append(again, string(id))
	}
	slices.Sort(again)
	slices.Sort(r.again)
	if !slices.Equal(again, r.again) || v.Whole != r.whole || v.AgainUntil != r.until || v.FollowUp != r.follow {
		return fmt.Sprintf("shows again %v (all %v) until %s, follow-up %s; naively %v (all %v) until %s, follow-up %s",
			again, v.Whole, v.AgainUntil, v.FollowUp, r.again, r.whole, r.until, r.follow)
	}
	return ""
}

// Every second look at one mark is one that the naive decision confirms, and
// none is left out.
func TestTheNaiveDecisionAgreesOnOneMark(t *testing.T) {
	n, found := cases(t, 4_000)/5, 0
	for i := range n {
		w := randomWorld(rand.New(rand.NewPCG(uint64(i), 7)))
		j := w.judge(t)
		v := w.decide(j)
		var got []string
		for _, l := range v.SecondLook {
			if l.Key == decide.OneMark {
				got = append(got, fmt.Sprint(l.Requirement, l.Examiner, l.From, l.To, l.Would == syllabus.Promoted))
			}
		}
		want := naiveFlips(w, j)
		slices.Sort(got)
		slices.Sort(want)
		if !slices.Equal(got, want) {
			t.Fatalf("case %d: second looks at one mark %v, naively %v", i, got, want)
		}
		found += len(got)
	}
	if found < n/10 {
		t.Errorf("only %d outcomes of %d hang on one mark", found, n)
	}
}

func naiveFlips(w *world, j *decide.Judge) []string {
	before := naiveDecision(w)
	promoted := before.outcome == syllabus.Promoted || before.outcome == syllabus.Held
	if !promoted && before.outcome != syllabus.NotYet {
		return nil
	}
	var out []string
	card := j.Fold(w.marks)
	for i := range w.rank().Requirements {
		q := &w.rank().Requirements[i]
		if q.Kind == syllabus.Consent || q.ForRelease || promoted && q.Must {
			continue
		}
		for _, seen := range card.Seen[i] {
			to, ok := naiveStep(q, seen.Value.Num, !promoted)
			if seen.Try > q.Tries || !ok {
				continue
			}
			other := *w
			other.marks = append(slices.Clone(w.marks), scoring.Mark{Requirement: q.ID, Examiner: seen.Examiner, Try: seen.Try, Clock: 99, Value: scoring.Value{Sort: scoring.Number, Num: to}})
			other.c.Met = []rankwright.ClearanceID{"sign"}
			if now := naiveDecision(&other).outcome == syllabus.Promoted; now != promoted {
				out = append(out, fmt.Sprint(q.ID, seen.Examiner, seen.Value.Num, to, now))
			}
		}
	}
	return out
}

// naiveStep is the next value up or down that can be marked: the next level,
// one more or less, one second.
func naiveStep(q *syllabus.Requirement, v rankwright.Amount, better bool) (rankwright.Amount, bool) {
	step := rankwright.One
	if better == q.AtMost {
		step = -step
	}
	if q.Kind == syllabus.Timed {
		return max(0, v+step), v+step >= 0 || v > 0
	}
	for to := v + step; to >= 0 && to < rankwright.Whole(50); to += step {
		if scoring.Can(q, to) {
			return to, true
		}
	}
	return 0, false
}
