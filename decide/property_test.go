package decide_test

import (
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rankwright"
	"rankwright/decide"
	"rankwright/scoring"
	"rankwright/syllabus"
)

// rapidDice lets rapid draw, so that a failing case is made small.
type rapidDice struct{ t *rapid.T }

func (r rapidDice) IntN(n int) int { return rapid.IntRange(0, n-1).Draw(r.t, "of "+fmt.Sprint(n)) }

// TestMain has each property tried on thousands of worlds, unless told
// otherwise.
func TestMain(m *testing.M) {
	flag.Parse()
	if f := flag.Lookup("rapid.checks"); f.Value.String() == f.DefValue {
		if err := f.Value.Set("4000"); err != nil {
			panic(err)
		}
	}
	os.Exit(m.Run())
}

func check(t *testing.T, property func(t *rapid.T, d dice, w *world, j *decide.Judge)) {
	t.Helper()
	rapid.Check(t, func(rt *rapid.T) {
		d := rapidDice{rt}
		w := randomWorld(d)
		j, err := decide.Compile(w.syllabus, "yellow", w.waived...)
		if err != nil {
			rt.Fatal(err)
		}
		property(rt, d, w, j)
	})
}

// place orders outcomes of whole cards: results stand from the best down.
func place(v *decide.Verdict) (int, bool) { return v.Line, v.Line >= 0 }

// The order of results is the syllabus's own; a promotion is always before a
// "not yet".
func TestABetterMarkNeverMakesAnOutcomeWorse(t *testing.T) {
	tried := 0
	check(t, func(t *rapid.T, d dice, w *world, j *decide.Judge) {
		before := w.decide(j)
		was, whole := place(&before)
		if !whole || len(w.marks) == 0 {
			return
		}
		m := &w.marks[d.IntN(len(w.marks))]
		q := w.rank().Requirement(m.Requirement)
		if m.Value.Sort == scoring.NotSeen {
			return
		}
		better := value(d, q)
		switch {
		case q.Kind == syllabus.Consent:
			better = scoring.N(1)
		case q.AtMost && better.Num > m.Value.Num, !q.AtMost && better.Num < m.Value.Num:
			better = m.Value
		}
		old := m.Value
		m.Value = better
		after := w.decide(j)
		if now, whole := place(&after); !whole || now > was {
			t.Fatalf("%s by %s from %s to %s: result %d (%s) became %d (%s)", m.Requirement, m.Examiner, old, better, was, before.Outcome, now, after.Outcome)
		}
		if after.Points < before.Points {
			t.Fatalf("points fell from %s to %s", before.Points, after.Points)
		}
		tried++
	})
	useful(t, tried, 400)
}

// A better mark of something waived, so far that it counts after all, is
// where a rule could slip: it is tried on its own.
func TestABetterMarkOfWhatIsWaivedNeverMakesAnOutcomeWorse(t *testing.T) {
	tried := 0
	check(t, func(t *rapid.T, d dice, w *world, j *decide.Judge) {
		for i := range w.rank().Requirements {
			w.c.Waived = append(w.c.Waived, w.rank().Requirements[i].ID)
		}
		w.c.Waived = w.c.Waived[d.IntN(len(w.c.Waived)):]
		before := w.decide(j)
		was, whole := place(&before)
		if !whole {
			return
		}
		for i := range w.marks {
			q := w.rank().Requirement(w.marks[i].Requirement)
			if q.Kind != syllabus.Consent && slices.Contains(w.c.Waived, q.ID) {
				w.marks[i].Value = best(q)
				tried++
			}
		}
		after := w.decide(j)
		if now, _ := place(&after); now > was {
			t.Fatalf("result %d (%s) became %d (%s)", was, before.Outcome, now, after.Outcome)
		}
	})
	useful(t, tried, 400)
}

func best(q *syllabus.Requirement) scoring.Value {
	switch {
	case q.AtMost:
		return scoring.N(0)
	case q.Kind == syllabus.Tick || q.Kind == syllabus.Consent:
		return scoring.N(1)
	case q.Kind == syllabus.Leveled:
		return scoring.N(q.Scale.Levels[len(q.Scale.Levels)-1].Value)
	case q.Of > 0:
		return scoring.N(q.Of)
	}
	return scoring.N(1000)
}

func useful(t *testing.T, tried, least int) {
	t.Helper()
	if tried < least {
		t.Errorf("only %d cases were of use", tried)
	}
}

// shown writes everything about a verdict that leaves the program.
func shown(t interface{ Fatal(...any) }, v decide.Verdict) string {
	b, err := json.Marshal(v.Document())
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func TestOrderBatchesAndRepetitionChangeNothing(t *testing.T) {
	check(t, func(t *rapid.T, d dice, w *world, j *decide.Judge) {
		want := shown(t, w.decide(j))
		for range d.IntN(3) {
			if len(w.marks) > 0 {
				w.marks = append(w.marks, w.marks[d.IntN(len(w.marks))])
			}
		}
		w.marks = rapid.Permutation(w.marks).Draw(t, "order")
		if got := shown(t, w.decide(j)); got != want {
			t.Fatalf("became\n%s\nfrom\n%s", got, want)
		}
	})
}

// What is closed is worked out again years later, by another judge and other
// scratch space, and must come out the same to the byte.
func TestTheSameFactsGiveTheSameBytes(t *testing.T) {
	check(t, func(t *rapid.T, d dice, w *world, j *decide.Judge) {
		want := shown(t, w.decide(j))
		other := *w
		other.marks = nil
		other.entry(d)
		other.decide(j) // leaves its traces in the scratch space
		again, err := decide.Compile(w.syllabus, "yellow", w.waived...)
		if err != nil {
			t.Fatal(err)
		}
		if got := shown(t, w.decide(again)); got != want {
			t.Fatalf("first\n%s\nthen\n%s", want, got)
		}
		if got := shown(t, w.decide(j)); got != want {
			t.Fatalf("first\n%s\nthen by the same judge\n%s", want, got)
		}
	})
}

// Waiving what was shown in full can only help; there is no rule, of sections
// or otherwise, that turns it against the child.
func TestWaivingWhatWasFullyShownNeverHurts(t *testing.T) {
	tried := 0
	check(t, func(t *rapid.T, _ dice, w *world, j *decide.Judge) {
		before := w.decide(j)
		was, whole := place(&before)
		if !whole {
			return
		}
		card := j.Fold(w.marks)
		for i := range w.rank().Requirements {
			q := &w.rank().Requirements[i]
			full := len(card.Seen[i]) > 0
			for _, m := range card.Seen[i] {
				full = full && m.Value == best(q)
			}
			if !full || slices.Contains(w.c.Waived, q.ID) {
				continue
			}
			tried++
			other := *w
			other.c.Waived = append(slices.Clone(w.c.Waived), q.ID)
			after := other.decide(j)
			if now, _ := place(&after); now > was {
				t.Fatalf("waiving %s made result %d (%s) into %d (%s)", q.ID, was, before.Outcome, now, after.Outcome)
			}
		}
	})
	useful(t, tried, 400)
}

func TestBonusNeverRescuesAMust(t *testing.T) {
	tried := 0
	check(t, func(t *rapid.T, _ dice, w *world, _ *decide.Judge) {
		k := w.rank()
		k.Pass.Conditions = append(k.Pass.Conditions, syllabus.Condition{ID: "musts", Kind: syllabus.OnRequirements, Of: syllabus.Set{Musts: true}, Need: syllabus.Need{Kind: syllabus.Expected}})
		for i := range k.Pass.Results {
			if r := &k.Pass.Results[i]; r.Outcome == syllabus.Promoted {
				r.When = append(r.When, "musts")
			}
		}
		withMusts, err := decide.Compile(w.syllabus, "yellow", w.waived...)
		if err != nil {
			t.Fatal(err)
		}
		before := w.decide(withMusts)
		musts := func(v *decide.Verdict) bool {
			return slices.ContainsFunc(v.Reasons, func(r decide.Reason) bool { return r.Rule == "musts" && r.Met })
		}
		if before.Line < 0 || musts(&before) {
			return
		}
		for i := range k.Requirements {
			if q := &k.Requirements[i]; q.Bonus {
				w.marks = append(w.marks, scoring.Mark{Requirement: q.ID, Examiner: "ann", Try: 1, Clock: 99, Value: best(q)})
				tried++
			}
		}
		after := w.decide(withMusts)
		if after.Outcome == syllabus.Promoted || after.Outcome == syllabus.Held || musts(&after) {
			t.Fatalf("bonus made %s of %s", after.Outcome, before.Outcome)
		}
	})
	useful(t, tried, 150)
}

// Whoever has the reasons and the pass rule, and nothing else, comes to the
// same outcome.
func TestTheReasonsAloneDetermineTheOutcome(t *testing.T) {
	check(t, func(t *rapid.T, _ dice, w *world, j *decide.Judge) {
		v := w.decide(j)
		outcome, label := fromReasons(v.Reasons, &w.rank().Pass)
		if outcome != v.Outcome || label != v.Label {
			t.Fatalf("the reasons give %s %q, the verdict is %s %q: %+v", outcome, label, v.Outcome, v.Label, v.Reasons)
		}
		for _, r := range v.Reasons {
			if r.AskedWords() == "" || r.ShownWords() == "" || r.Title() == "" {
				t.Fatalf("a reason without words: %+v", r)
			}
		}
	})
}

func fromReasons(reasons []decide.Reason, p *syllabus.Pass) (syllabus.Outcome, string) {
	met := map[string]bool{}
	held := false
	for _, r := range reasons {
		switch r.Kind {
		case decide.AboutPresence:
			switch r.Shown.Word {
			case "stopped for safety":
				return syllabus.Stopped, ""
			case "not examined, unwell":
				return syllabus.Absent, "unwell"
			}
			return syllabus.Absent, ""
		case decide.AboutMarks:
			return syllabus.Incomplete, ""
		}
		met[r.Rule] = r.Met
		held = held || strings.HasPrefix(r.Rule, "clearance:") && !r.Met
	}
	for _, res := range p.Results {
		ok := res.Retries == 0 || met[fmt.Sprintf("retries:%d", res.Retries)]
		for _, id := range res.When {
			ok = ok && met[id]
		}
		if !ok {
			continue
		}
		if res.Outcome == syllabus.Promoted && held {
			return syllabus.Held, res.Label
		}
		return res.Outcome, res.Label
	}
	return syllabus.NotYet, ""
}

// What is kept from a part "not yet" and shown again where it was short comes
// out as if all of it had been shown on one day.
func TestKeptMarksStandAsIfMarked(t *testing.T) {
	tried := 0
	check(t, func(t *rapid.T, d dice, w *world, j *decide.Judge) {
		w.c.Kept = nil
		v := w.decide(j)
		c := w.c
		c.Card = j.Fold(w.marks)
		kept := j.Keep(c, &v)
		if v.Outcome != syllabus.NotYet || v.Whole {
			if kept != nil {
				t.Fatalf("kept %v of a %s", kept, v.Outcome)
			}
			return
		}
		if len(kept) == 0 {
			return
		}
		tried++
		until := kept[0].Until
		if v.AgainUntil != 0 && until != v.AgainUntil {
			t.Fatalf("kept until %s, to show again until %s", until, v.AgainUntil)
		}
		stands := map[rankwright.RequirementID]bool{}
		for _, k := range kept {
			stands[k.Requirement] = true
			if section := w.rank().Requirement(k.Requirement).Section; slices.Contains(v.ShowAgainSections, section) || slices.Contains(v.ShowAgain, k.Requirement) {
				t.Fatalf("%s of %s is kept, though it is to be shown again", k.Requirement, section)
			}
		}
		again := *w
		again.c.Kept, again.c.Day = kept, until
		again.marks = slices.DeleteFunc(slices.Clone(w.marks), func(m scoring.Mark) bool { return stands[m.Requirement] })
		if got, want := again.decide(j), v; got.Points != want.Points || got.Outcome != want.Outcome {
			t.Fatalf("with what is kept %s %s, as marked %s %s", got.Points, got.Outcome, want.Points, want.Outcome)
		}
		again.c.Day++
		late := again.decide(j)
		for _, k := range kept {
			q := w.rank().Requirement(k.Requirement)
			waived := slices.Contains(w.c.Waived, q.ID) || slices.Contains(w.waived, q.ID)
			if !q.Bonus && !waived && !slices.Contains(late.Missing, q.ID) {
				t.Fatalf("%s is not missed a day late: %v", q.ID, late.Missing)
			}
		}
	})
	useful(t, tried, 50)
}
