package scoring_test

import (
	"testing"

	"rankwright"
	"rankwright/scoring"
	"rankwright/syllabus"
)

var (
	tick   = &syllabus.Requirement{ID: "bow", Kind: syllabus.Tick}
	level  = &syllabus.Requirement{ID: "kick", Kind: syllabus.Leveled, Scale: &syllabus.Scale{Levels: []syllabus.Level{{Value: 1}, {Value: 2}, {Value: 5}}}}
	steps  = &syllabus.Requirement{ID: "belt", Kind: syllabus.Steps, Of: 7}
	recall = &syllabus.Requirement{ID: "words", Kind: syllabus.Recall, Of: 5}
	timed  = &syllabus.Requirement{ID: "plank", Kind: syllabus.Timed}
	count  = &syllabus.Requirement{ID: "jumps", Kind: syllabus.Count}
	calls  = &syllabus.Requirement{ID: "calls", Kind: syllabus.Count, Of: 3}
	vote   = &syllabus.Requirement{ID: "vote", Kind: syllabus.Consent}
)

// What marks.csv may hold for each kind, and how it is written back; "" is
// refused.
func TestValuesAsTheyStandInFiles(t *testing.T) {
	for _, c := range []struct {
		q          *syllabus.Requirement
		text, back string
	}{
		{tick, "1", "1"}, {tick, "0", "0"}, {tick, " 1 ", "1"}, {tick, "2", ""}, {tick, "yes", ""}, {tick, "1.0", ""}, {tick, "-1", ""},
		{level, "1", "1"}, {level, "5", "5"}, {level, "0", ""}, {level, "3", ""}, {level, "6", ""},
		{steps, "0", "0"}, {steps, "7", "7"}, {steps, "8", ""}, {steps, "3.5", ""},
		{recall, "5", "5"}, {recall, "6", ""},
		{timed, "12", "12"}, {timed, "12.5", "12.5"}, {timed, "12.125", "12.125"}, {timed, "0", "0"}, {timed, "12.1234", ""}, {timed, "-1", ""}, {timed, "1e3", ""}, {timed, "1000001", ""},
		{count, "31", "31"}, {count, "1000000", "1000000"}, {count, "1000001", ""}, {count, "3.0", ""},
		{calls, "3", "3"}, {calls, "4", ""},
		{vote, "yes", "yes"}, {vote, "NO", "no"}, {vote, "Abstain", "abstain"}, {vote, "1", ""}, {vote, "maybe", ""},
		{tick, "x", "x"}, {vote, "X", "x"}, {timed, "x", "x"}, {level, "", ""},
	} {
		v, err := scoring.ParseValue(c.q, c.text)
		if c.back == "" {
			if rankwright.KindOf(err) != rankwright.Invalid || err == nil {
				t.Errorf("%s %q is %s, %v; want a refusal", c.q.Kind, c.text, v, err)
			}
			continue
		}
		if err != nil || v.Format(c.q.Kind) != c.back {
			t.Errorf("%s %q comes back as %q, %v; want %q", c.q.Kind, c.text, v.Format(c.q.Kind), err, c.back)
		}
	}
}

func TestATimeIsInThousandths(t *testing.T) {
	for a, want := range map[rankwright.Amount]bool{rankwright.One / 1000: true, rankwright.One / 8: true, rankwright.One / 3: false, 1: false, rankwright.MaxAmount: true, rankwright.MaxAmount + rankwright.One: false} {
		if got := scoring.Can(timed, a); got != want {
			t.Errorf("%d parts of a second: %v, want %v", a, got, want)
		}
	}
}

func TestARefusedValueSaysWhatIsRight(t *testing.T) {
	for _, c := range []struct {
		q          *syllabus.Requirement
		text, want string
	}{
		{tick, "2", `"2" cannot be the mark of bow, which is marked by tick; write 1 for shown, 0 for not shown, or x for not seen`},
		{level, "9", `"9" cannot be the mark of kick, which is marked by level; write a level from 1 to 5, or x for not seen`},
		{steps, "8", `"8" cannot be the mark of belt, which is marked by steps; write a whole number from 0 to 7, or x for not seen`},
		{count, "a", `"a" cannot be the mark of jumps, which is marked by count; write a whole number, or x for not seen`},
		{timed, "1:30", `"1:30" cannot be the mark of plank, which is marked by time; write seconds such as 12 or 12.5, or x for not seen`},
		{vote, "1", `"1" cannot be the mark of vote, which is marked by consent; write yes, no, abstain, or x for not seen`},
	} {
		if _, err := scoring.ParseValue(c.q, c.text); err == nil || err.Error() != c.want {
			t.Errorf("got %v\nwant %s", err, c.want)
		}
	}
}
