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

// votes makes so many votes of each sort; the lead votes first.
func votes(id rankwright.RequirementID, yes, no, abstain int) []scoring.Mark {
	var out []scoring.Mark
	add := func(n int, v scoring.Value) {
		for range n {
			out = append(out, scoring.Mark{Requirement: id, Examiner: rankwright.ExaminerID(fmt.Sprintf("judge%02d", len(out))), Value: v})
		}
	}
	add(yes, scoring.N(1))
	add(no, scoring.N(0))
	add(abstain, scoring.Value{Sort: scoring.Abstain})
	return out
}

// Panels as published: an absolute number of consents of a panel of one of the
// allowed shapes.
func TestPublishedPanels(t *testing.T) {
	for _, c := range []struct {
		source, file     string
		rank             rankwright.RankID
		yes, no, abstain int
		want             syllabus.Outcome
	}{
		// International Kendo Federation, Standard Guideline for Dan/Kyu
		// Examination, Article 4: https://docslib.org/doc/1325071/standard-guideline-for-dan-kyu-examination
		{"1 dan, 2 of 5", "kendo-fik", "dan1", 2, 3, 0, syllabus.NotYet},
		{"1 dan, 3 of 5", "kendo-fik", "dan1", 3, 2, 0, syllabus.Promoted},
		{"3 dan, 3 of 5, two abstain", "kendo-fik", "dan3", 3, 0, 2, syllabus.Promoted},
		{"3 dan, 2 of 5, two abstain", "kendo-fik", "dan3", 2, 1, 2, syllabus.NotYet},
		{"4 dan, 3 of 6", "kendo-fik", "dan4", 3, 3, 0, syllabus.NotYet},
		{"4 dan, 4 of 6", "kendo-fik", "dan4", 4, 2, 0, syllabus.Promoted},
		{"1 dan, four of the five have voted", "kendo-fik", "dan1", 4, 0, 0, syllabus.Incomplete},
		{"1 dan, a sixth vote is no panel of five", "kendo-fik", "dan1", 6, 0, 0, syllabus.Incomplete},
		// Kendo-Andorra, Programa Examen Iaido: http://kendo-andorra.org/aken/Programa%20Examen%20IAIDO.htm
		{"4 dan, 3 of 5", "iaido-andorra", "dan4", 3, 2, 0, syllabus.NotYet},
		{"4 dan, 4 of 5", "iaido-andorra", "dan4", 4, 1, 0, syllabus.Promoted},
		{"4 dan, 4 of 6", "iaido-andorra", "dan4", 4, 2, 0, syllabus.Promoted},
		{"4 dan, 3 of 6", "iaido-andorra", "dan4", 3, 3, 0, syllabus.NotYet},
		{"1 dan, 3 of 5", "iaido-andorra", "dan1", 3, 2, 0, syllabus.Promoted},
		{"kyu, 2 of 3", "iaido-andorra", "kyu5", 2, 1, 0, syllabus.Promoted},
		{"kyu, 1 of 3", "iaido-andorra", "kyu5", 1, 2, 0, syllabus.NotYet},
		{"kyu, one judge alone", "iaido-andorra", "kyu5", 1, 0, 0, syllabus.Promoted},
		{"kyu, one judge alone says no", "iaido-andorra", "kyu5", 0, 1, 0, syllabus.NotYet},
		{"kyu, two judges are no panel", "iaido-andorra", "kyu5", 2, 0, 0, syllabus.Incomplete},
	} {
		t.Run(c.file+" "+c.source, func(t *testing.T) {
			s := load(t, "regulations/"+c.file+".yaml")
			j := judge(t, s, c.rank)
			v := j.Decide(decide.Case{Card: j.Fold(votes("panel", c.yes, c.no, c.abstain)), Met: clearances(s)})
			if v.Outcome != c.want {
				t.Errorf("%s, want %s: %s", v.Outcome, c.want, v.Summary())
			}
		})
	}
}

func clearances(s *syllabus.Syllabus) (out []rankwright.ClearanceID) {
	for _, c := range s.Clearances {
		out = append(out, c.ID)
	}
	return out
}

// All Japan Kendo Federation: five examiners for 1 to 3 dan
// (https://old2.kendo.or.jp/kendo/ranking_titles), three of five votes (read
// for iaido in Tochigi, http://usiken.g3.xrea.com/iaiken-dankyuu.htm); the
// title of hanshi with eight of ten (http://ithello.net/cid45520.html, which
// restates the rule).
func TestPanelsOfTheAllJapanFederation(t *testing.T) {
	const form = `rankwright: syllabus 1
ladder: ajkf
name: AJKF
sections: {exam: Examination}
pass: {consents: panel}
ranks:
  - {id: dan1, panel: {size: 5, consents: 3}, asks: [{id: panel, section: exam, show: The panel, kind: consent}]}
  - {id: hanshi, panel: {size: 10, consents: 8}, asks: [{id: panel, section: exam, show: The panel, kind: consent}]}
`
	s, err := syllabus.Parse("ajkf", []byte(form))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		rank    rankwright.RankID
		yes, no int
		want    syllabus.Outcome
	}{
		{"dan1", 2, 3, syllabus.NotYet}, {"dan1", 3, 2, syllabus.Promoted}, {"dan1", 5, 0, syllabus.Promoted},
		{"hanshi", 7, 3, syllabus.NotYet}, {"hanshi", 8, 2, syllabus.Promoted},
	} {
		j := judge(t, s, c.rank)
		if v := j.Decide(decide.Case{Card: j.Fold(votes("panel", c.yes, c.no, 0))}); v.Outcome != c.want {
			t.Errorf("%s with %d of %d is %s, want %s", c.rank, c.yes, c.yes+c.no, v.Outcome, c.want)
		}
	}
}

// Yamagata: who fails only the kata or only the written part may take that
// subject again, once, within one year of the examination
// (https://expydoc.com/doc/12002711/). Whether the anniversary is the last day
// the page does not say; here it is, as `within` counts.
func TestARetakeOfOneSubjectWithinTheYear(t *testing.T) {
	const form = `rankwright: syllabus 1
ladder: kendo
name: Yamagata
sections: {exam: Examination}
pass:
  conditions:
    all: {requirements: {at_least: expected}}
    one_short: {requirements: {at_least: expected, may_fall_short: {up_to: 1, never: [practical]}}}
  results:
    - {outcome: promoted, when: [all]}
    - {outcome: not yet, label: subject, when: [one_short], within: 365 days, retries: 1}
    - {outcome: not yet, label: whole, show_again: everything}
ranks:
  - id: dan1
    asks:
      - {id: practical, section: exam, show: Practical, kind: tick, points: 1}
      - {id: kata, section: exam, show: Kata, kind: tick, points: 1}
      - {id: written, section: exam, show: Written, kind: tick, points: 1}
`
	s, err := syllabus.Parse("yamagata", []byte(form))
	if err != nil {
		t.Fatal(err)
	}
	j := judge(t, s, "dan1")
	first := telling(t, s, j, "day 2017-02-19\npractical 1\nkata 0\nwritten 1")
	v := j.Decide(first)
	if v.Label != "subject" || againWords(&v) != "kata" || v.AgainUntil.String() != "2018-02-19" {
		t.Fatalf("%s %q, shows again %s until %s", v.Outcome, v.Label, againWords(&v), v.AgainUntil)
	}
	kept := j.Keep(first, &v)
	for _, c := range []struct {
		name, day, kata string
		retries         int
		want, missing   string
	}{
		{"on the anniversary", "2018-02-19", "1", 0, "promoted", ""},
		{"a day later the rest no longer stands", "2018-02-20", "1", 0, "incomplete", "practical written"},
		{"failed again, there is no second retake", "2018-02-19", "0", 1, "not_yet whole", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			again := telling(t, s, j, "day "+c.day+"\nkata "+c.kata)
			again.Kept, again.Retries = kept, c.retries
			v := j.Decide(again)
			got := strings.TrimSpace(v.Outcome.String() + " " + v.Label)
			missing := strings.Trim(fmt.Sprint(v.Missing), "[]")
			if got != c.want || missing != c.missing {
				t.Errorf("%s, missing %q; want %s, %q", got, missing, c.want, c.missing)
			}
			ended := 0
			for _, l := range v.SecondLook {
				if l.Key == decide.KeptEnded {
					ended++
				}
			}
			if want := len(v.Missing); ended != want {
				t.Errorf("%d marks are said to have ended, want %d", ended, want)
			}
		})
	}
	practical := telling(t, s, j, "practical 0\nkata 1\nwritten 1")
	if v := j.Decide(practical); v.Label != "whole" || !v.Whole || j.Keep(practical, &v) != nil {
		t.Errorf("without the practical it is %q", v.Label)
	}
}

func TestTheLeadsVeto(t *testing.T) {
	const head = `rankwright: syllabus 1
ladder: l
name: L
sections: {exam: Examination}
panel: {size: 3, consents: 2}
`
	s := fragment(t, head, "pass: {consents: {of: panel, veto: lead}}\nasks:\n  - {id: vote, section: exam, show: Vote, kind: consent}\n")
	j := judge(t, s, "yellow")
	for marks, want := range map[string]string{
		"lead ann\nvote ann no, ben yes, cleo yes":        "not_yet",
		"lead ann\nvote ann yes, ben yes, cleo no":        "promoted",
		"lead ann\nvote ann abstain, ben yes, cleo yes":   "promoted",
		"vote ann no, ben yes, cleo yes":                  "promoted", // nobody is the lead
		"lead ann\nvote ann no, ben yes, cleo x":          "incomplete",
		"lead ann\nvote ann yes, ben abstain, cleo no":    "not_yet",
		"lead cleo\nvote ann yes, ben yes, cleo no":       "not_yet",
		"lead ann\nvote try 2 ann yes, ben yes, cleo yes": "incomplete", // there is one try
	} {
		c := telling(t, s, j, marks)
		if v := j.Decide(c); v.Outcome.String() != want {
			t.Errorf("%q is %s, want %s", marks, v.Outcome, want)
		}
	}
	got := j.Change(telling(t, s, j, "lead ann\nvote ann no, ben yes, cleo yes"))
	if want := "The least that would have been enough: Vote: 3 consents instead of 2."; got.Words() != want {
		t.Errorf("%s\nwant %s", got.Words(), want)
	}
}
