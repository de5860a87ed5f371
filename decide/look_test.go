package decide_test

import (
	"fmt"
	"strings"
	"testing"

	"rankwright"
	"rankwright/decide"
	"rankwright/scoring"
	"rankwright/syllabus"
)

const lookHead = `rankwright: syllabus 1
ladder: l
name: L
sections: {s: Section, u: Other}
scales:
  move: {enough: 2, levels: {0: none, 1: one, 2: two, 3: three}}
`

// looks lists the reasons to look again, in order.
func looks(v *decide.Verdict) string {
	var out []string
	for _, l := range v.SecondLook {
		word := string(l.Key)
		switch l.Key {
		case decide.MarksApart, decide.NoLead, decide.OneMark:
			word += fmt.Sprintf(" %s-%s", l.From, l.To)
		case decide.KeptEnded:
			word += " " + l.From.String()
		}
		out = append(out, word)
	}
	return strings.Join(out, ", ")
}

func TestWhenExaminersDiffer(t *testing.T) {
	for _, c := range []struct{ name, combine, marks, want string }{
		{"the lead's mark there", "lead", "lead ann\nkick ann 2, ben 3", ""},
		{"nobody named to lead", "lead", "kick ann 2, ben 3", "no_lead 2-3"},
		{"the lead did not mark", "lead", "lead cleo\nkick ann 2, ben 3", "no_lead 2-3"},
		{"the lead did not mark, but all agree", "lead", "lead cleo\nkick ann 2, ben 2", ""},
		{"one examiner asked, two differ", "single", "lead ann\nkick ann 2, ben 3", "marks_apart 2-3"},
		{"one examiner asked, two differ and neither leads", "single", "kick ann 2, ben 3", "marks_apart 2-3, no_lead 2-3"},
		{"the median needs no lead", "median", "kick ann 2, ben 3", ""},
		{"apart by one where two are looked at", "{method: median, look_again_if_apart: 2}", "kick ann 2, ben 3", ""},
		{"apart by two", "{method: median, look_again_if_apart: 2}", "kick ann 1, ben 3, cleo 2", "marks_apart 1-3"},
		{"of two the lead's, and it is there", "{method: median, of_two: lead}", "lead ben\nkick ann 2, ben 3", ""},
		{"of two the lead's, and it is not", "{method: median, of_two: lead}", "kick ann 2, ben 3", "no_lead 2-3"},
		{"of three no lead is needed", "{method: median, of_two: lead}", "kick ann 2, ben 3, cleo 2", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := fragment(t, lookHead, "pass: {total: 10%}\nasks:\n  - {id: kick, section: s, show: Kick, kind: level, scale: move, combine: "+c.combine+"}\n")
			j := judge(t, s, "yellow")
			v := j.Decide(telling(t, s, j, c.marks))
			if got := looks(&v); got != c.want {
				t.Errorf("looked at again: %q, want %q", got, c.want)
			}
		})
	}
}

// Tries of one examiner differ all the time; only what is kept is compared.
func TestTriesAreNotADifferenceBetweenExaminers(t *testing.T) {
	s := fragment(t, lookHead, "pass: {total: 10%}\nasks:\n  - {id: kick, section: s, show: Kick, kind: level, scale: move, tries: 2, combine: {method: median, look_again_if_apart: 2}}\n")
	j := judge(t, s, "yellow")
	for marks, want := range map[string]string{
		"kick try 1 ann 0, ben 1\nkick try 2 ann 3, ben 3": "",
		"kick try 1 ann 3, ben 0\nkick try 2 ann 0, ben 1": "marks_apart 1-3",
		"kick try 1 ann 0\nkick try 2 ann 3":               "",
	} {
		v := j.Decide(telling(t, s, j, marks))
		if got := looks(&v); got != want {
			t.Errorf("%q: looked at again %q, want %q", marks, got, want)
		}
	}
}

func TestOneStepOfEachKind(t *testing.T) {
	for _, c := range []struct{ name, ask, marks, want string }{
		{"the next level of a scale with gaps", "kind: level, scale: gaps", "kick 2", "one_mark 2-5"},
		{"no level above the top", "kind: level, scale: gaps", "kick 9", ""},
		{"one more item", "kind: recall, of: 4", "kick 3", "one_mark 3-4"},
		{"a second longer", "kind: time, points: 1, expect: 10", "kick 9", "one_mark 9-10"},
		{"a second longer from half a second", "kind: time, points: 1, expect: 10", "kick 9.5", "one_mark 9.5-10.5"},
		{"more than a second away", "kind: time, points: 1, expect: 10", "kick 8.999", ""},
		{"a second faster", "kind: time, aim: at most, points: 1, expect: 10", "kick 11", "one_mark 11-10"},
		{"more than a second slower", "kind: time, aim: at most, points: 1, expect: 10", "kick 11.001", ""},
		{"under a second is as fast as it gets", "kind: count, aim: at most, points: 1, expect: 0", "kick 1", "one_mark 1-0"},
		{"a tick", "kind: tick, points: 1", "kick 0", "one_mark 0-1"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := fragment(t, strings.Replace(lookHead, "scales:\n", "scales:\n  gaps: {enough: 5, levels: {0: none, 2: two, 5: five, 9: nine}}\n", 1),
				"pass: {requirements: expected}\nasks:\n  - {id: kick, section: s, show: Kick, "+c.ask+"}\n")
			j := judge(t, s, "yellow")
			v := j.Decide(telling(t, s, j, c.marks))
			if got := looks(&v); got != c.want {
				t.Errorf("looked at again: %q, want %q", got, c.want)
			}
		})
	}
}

// The percent is rounded at the half, and nowhere else.
func TestRoundingIsAtTheHalf(t *testing.T) {
	s := fragment(t, lookHead, `pass: {total: {at_least: 55%, rounded: half up}}
asks:
  - {id: a, section: s, show: A, kind: recall, of: 60}
  - {id: b, section: s, show: B, kind: recall, of: 60}
  - {id: c, section: s, show: C, kind: recall, of: 58}
`)
	j := judge(t, s, "yellow")
	for marks, want := range map[string]string{
		"a 60\nb 37\nc 0": "not_yet",  // 97 of 178 are 54.494 %
		"a 60\nb 38\nc 0": "promoted", // 98 of 178 are 55.06 %
	} {
		if v := j.Decide(telling(t, s, j, marks)); v.Outcome.String() != want {
			t.Errorf("%q is %s, want %s", marks, v.Outcome, want)
		}
	}
}

// A result that is closed for want of retries is a reason, and the one that is
// shown; where it would not have been reached anyhow it is not.
func TestUsedUpRetriesAreAReason(t *testing.T) {
	s := load(t, "otterlight.yaml")
	j := judge(t, s, "reed")
	band := s.Band(8)
	marks := func(sections map[string]int) []scoring.Mark {
		return append(bySections(t, j.Rank(), band, sections), scoring.Mark{Requirement: "RE-CN1", Value: scoring.N(1)})
	}
	short := marks(map[string]int{"ET": 3, "KB": 5, "PR": 4, "SM": 4, "HA": 4, "KI": 2, "BF": 7, "GU": 4, "PD": 2, "FI": 2, "TH": 2})
	far := marks(map[string]int{"ET": 2, "KB": 3, "PR": 2, "SM": 3, "HA": 2, "KI": 1, "BF": 5, "GU": 2, "PD": 0, "FI": 1, "TH": 0})
	for _, c := range []struct {
		name    string
		marks   []scoring.Mark
		retries int
		label   string
		met     bool
		decides bool
	}{
		{"none had", short, 0, "part", true, false},
		{"one had", short, 1, "whole", false, true},
		{"one had, but too far anyhow", far, 1, "whole", false, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			v := j.Decide(decide.Case{Band: band, Card: j.Fold(c.marks), Retries: c.retries})
			r := v.Reasons[len(v.Reasons)-1]
			if v.Label != c.label || r.Rule != "retries:1" || r.Met != c.met || r.Decides != c.decides {
				t.Errorf("%q because of %+v", v.Label, r)
			}
			if told := strings.Contains(v.Summary(), "part retries"); told != c.decides {
				t.Errorf("the summary is %q", v.Summary())
			}
		})
	}
}

// What a verdict leaves behind is what fell short of the conditions that
// decided, forgiven or not, and nothing of the others.
func TestWhatAGradingLeavesBehind(t *testing.T) {
	s := load(t, "otterlight.yaml")
	j := judge(t, s, "reed")
	band := s.Band(8)
	marks := bySections(t, j.Rank(), band, map[string]int{"ET": 3, "KB": 7, "PR": 5, "SM": 4, "HA": 5, "KI": 2, "BF": 8, "GU": 4, "PD": 2, "FI": 2, "TH": 2})
	marks = append(marks, scoring.Mark{Requirement: "RE-CN1", Value: scoring.N(1)})
	v := j.Decide(decide.Case{Band: band, Card: j.Fold(marks)})
	if kept := j.KeepAs(decide.Case{Band: band, Card: j.Fold(marks)}, &v, syllabus.NotYet, nil); kept != nil {
		t.Errorf("a not yet against the rule that names nothing keeps %v", kept)
	}
	weak, sections := v.Left()
	if v.Label != "with follow-up" || fmt.Sprint(weak, sections) != "[] [SM]" {
		t.Errorf("%q leaves %v and %v", v.Label, weak, sections)
	}
	p := load(t, "rules/p05.yaml")
	j = judge(t, p, "any")
	v = j.Decide(telling(t, p, j, strings.Join([]string{"stance 1", "hands 1", "kicks 2", "forms 2", "partner 2", "falls 2", "fitness 2", "manners 2", "licence 1"}, "\n")))
	weak, sections = v.Left()
	if v.Outcome != syllabus.Promoted || fmt.Sprint(weak, sections) != "[stance hands] []" {
		t.Errorf("%s leaves %v and %v", v.Outcome, weak, sections)
	}
}

func TestKeepOnlyOfAPartNotYet(t *testing.T) {
	s := fragment(t, lookHead, `pass:
  conditions:
    total: {total: 70%}
    half: {total: 50%}
  results:
    - {outcome: promoted, when: [total]}
    - {outcome: not yet, label: part, when: [half], within: 28 days}
    - {outcome: not yet, label: whole, show_again: everything}
asks:
  - {id: kick, section: s, show: Kick, kind: recall, of: 5}
  - {id: turn, section: s, show: Turn, kind: recall, of: 5}
  - {id: bow, section: u, show: Bow, kind: recall, of: 5}
`)
	j := judge(t, s, "yellow")
	for _, c := range []struct{ name, marks, named, want string }{
		{"named by a person", "kick 5\nturn 2\nbow 3", "turn", "kick 5 until 2026-11-07, bow 3 until 2026-11-07"},
		{"a section named by a person", "kick 5\nturn 2\nbow 3", "s", "bow 3 until 2026-11-07"},
		{"nothing named yet", "kick 5\nturn 2\nbow 3", "", ""},
		{"the whole of it again by the rule", "kick 1\nturn 2\nbow 3", "", ""},
		{"the whole of it by the rule, but a person named less", "kick 1\nturn 2\nbow 3", "turn", "kick 1 until 2026-11-07, bow 3 until 2026-11-07"},
		{"promoted", "kick 5\nturn 5\nbow 3", "turn", ""},
		{"incomplete", "kick 5\nturn 2", "turn", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			x := telling(t, s, j, c.marks)
			v := j.Decide(x)
			var got []string
			for _, k := range j.Keep(x, &v, strings.Fields(c.named)...) {
				got = append(got, fmt.Sprintf("%s %s until %s", k.Requirement, k.Value, k.Until))
			}
			if strings.Join(got, ", ") != c.want {
				t.Errorf("kept %v, want %s", got, c.want)
			}
		})
	}
}

// Where the head instructor's "not yet" stands against the rule, what stands
// lasts as long as the rule gives a part retry; and what stood before never
// lasts longer for being kept again.
func TestHowLongKeptMarksStand(t *testing.T) {
	s := fragment(t, lookHead, `pass:
  conditions:
    total: {total: 70%}
    half: {total: 50%}
    some: {total: 20%}
  results:
    - {outcome: promoted, when: [total]}
    - {outcome: not yet, label: all of it, when: [half], show_again: everything, within: 7 days}
    - {outcome: not yet, label: part, when: [some], within: 28 days}
    - {outcome: not yet, label: whole, show_again: everything}
asks:
  - {id: kick, section: s, show: Kick, kind: recall, of: 5}
  - {id: bow, section: u, show: Bow, kind: recall, of: 5}
`)
	j := judge(t, s, "yellow")
	for _, c := range []struct {
		name, marks string
		stands      syllabus.Outcome
		named, want string
	}{
		{"a promotion that a person holds back", "kick 5\nbow 5", syllabus.NotYet, "bow", "kick 5 until 2026-11-07"},
		{"a person's own not yet that names nothing", "kick 5\nbow 5", syllabus.NotYet, "", ""},
		{"a not yet that a person promotes", "kick 2\nbow 1", syllabus.Promoted, "bow", ""},
		{"what stood before ends as it would have", "bow 1\nkept kick 2 until 2026-10-12", syllabus.NotYet, "bow", "kick 2 until 2026-10-12"},
		{"shown anew it stands anew", "kick 2\nbow 1\nkept kick 2 until 2026-10-12", syllabus.NotYet, "bow", "kick 2 until 2026-11-07"},
		{"what stood too long ago", "kick 2\nbow 1\nkept bow 5 until 2026-10-09", syllabus.NotYet, "bow", "kick 2 until 2026-11-07"},
	} {
		t.Run(c.name, func(t *testing.T) {
			x := telling(t, s, j, c.marks)
			v := j.Decide(x)
			var got []string
			for _, k := range j.KeepAs(x, &v, c.stands, strings.Fields(c.named)) {
				got = append(got, fmt.Sprintf("%s %s until %s", k.Requirement, k.Value, k.Until))
			}
			if strings.Join(got, ", ") != c.want {
				t.Errorf("kept %v, want %s", got, c.want)
			}
		})
	}
}

// A kept value is taken over only where the requirement is still marked over
// the same range.
func TestKeptValuesThatMeanTheSame(t *testing.T) {
	ask := func(how string) (*decide.Judge, *syllabus.Requirement) {
		s := fragment(t, strings.Replace(lookHead, "scales:\n", "scales:\n  four: {enough: 2, levels: {0: none, 1: one, 2: two, 4: four}}\n  words: {enough: 1, levels: {0: a, 1: b, 2: c, 3: d}}\n", 1),
			"pass: {total: 10%}\nasks:\n  - {id: kick, section: s, show: Kick, "+how+"}\n")
		return judge(t, s, "yellow"), s.Ranks[0].Requirement("kick")
	}
	for _, c := range []struct {
		was, is string
		want    bool
	}{
		{"kind: recall, of: 5", "kind: recall, of: 5, expect: 2", true},
		{"kind: recall, of: 5", "kind: recall, of: 6", false},
		{"kind: recall, of: 5", "kind: steps, of: 5", false},
		{"kind: level, scale: move", "kind: level, scale: words, weight: 2", true},
		{"kind: level, scale: move", "kind: level, scale: four", false},
		{"kind: level, scale: move", "kind: tick, points: 3", false},
		{"kind: time, points: 1, expect: 5", "kind: time, aim: at most, points: 1, expect: 5", false},
		{"kind: time, points: 1, expect: 5", "kind: time, points: 2, expect: 9", true},
	} {
		_, was := ask(c.was)
		j, _ := ask(c.is)
		if got := j.Takes(decide.Kept{Requirement: "kick"}, was); got != c.want {
			t.Errorf("%s taken over as %s: %v", c.was, c.is, got)
		}
	}
	j, was := ask("kind: tick, points: 1")
	if j.Takes(decide.Kept{Requirement: "turn"}, was) || j.Takes(decide.Kept{Requirement: "kick"}, nil) {
		t.Error("what is not asked, or was not, is taken over")
	}
}

// What went well is what was shown in full, musts first.
func TestWhatWentWell(t *testing.T) {
	s := fragment(t, lookHead, `pass: {total: 70%}
bonus_cap: 1
asks:
  - {id: kick, section: s, show: Kick, kind: level, scale: move}
  - {id: turn, section: s, show: Turn, kind: level, scale: move}
  - {id: stop, section: u, show: Stop, kind: tick, points: 1, must: yes}
  - {id: kit, section: u, show: Kit, kind: tick, points: 1}
  - {id: more, section: u, show: More, kind: tick, points: 1, bonus: yes}
`)
	j := judge(t, s, "yellow")
	if got := strings.Join(j.Well(telling(t, s, j, "kick 3\nturn 2\nstop 1\nkit 0\nmore 1")), ", "); got != "Stop, Kick" {
		t.Errorf("what went well: %s", got)
	}
	if got := j.Well(decide.Case{}); got != nil {
		t.Errorf("of no card: %v", got)
	}
}

// Votes without a name are nobody's veto.
func TestNobodyIsNotTheLead(t *testing.T) {
	s := fragment(t, lookHead, "panel: {size: 2, consents: 1}\npass: {consents: {of: panel, veto: lead}}\nasks:\n  - {id: vote, section: s, show: Vote, kind: consent}\n")
	j := judge(t, s, "yellow")
	v := j.Decide(decide.Case{Card: j.Fold([]scoring.Mark{
		{Requirement: "vote", Value: scoring.N(0)}, {Requirement: "vote", Examiner: "ann", Value: scoring.N(1)}})})
	if v.Outcome != syllabus.Promoted {
		t.Errorf("%s: %s", v.Outcome, v.Summary())
	}
}

func TestAnUnknownRankOrRequirementIsRefused(t *testing.T) {
	s := load(t, "rules/p07.yaml")
	for name, compile := range map[string]func() (*decide.Judge, error){
		`there is no rank "brown" on the ladder "An average of three"; use one of the ranks of the syllabus`: func() (*decide.Judge, error) { return decide.Compile(s, "brown") },
		`rank "Any rank" does not ask for "i9"; waive one of the requirements of the rank`:                   func() (*decide.Judge, error) { return decide.Compile(s, "any", "i9") },
	} {
		if j, err := compile(); j != nil || err == nil || err.Error() != name || rankwright.KindOf(err) != rankwright.NotFound {
			t.Errorf("%v", err)
		}
	}
}
