package ready_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"rankwright"
	"rankwright/ready"
	"rankwright/syllabus"
)

func day(s string) rankwright.Day {
	if s == "" {
		return 0
	}
	return rankwright.MustDay(s)
}

// regulation reads one of the shipped files.
func regulation(t testing.TB, name string) *syllabus.Syllabus {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "examples", "regulations", name+".yaml"))
	if err != nil {
		t.Fatal(err)
	}
	s, err := syllabus.Parse(name+".yaml", data)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// ladder makes a syllabus of the ranks named, of which each rule given by
// "id: yaml" is read; \n may stand in the yaml.
func ladder(t testing.TB, ranks string, rules map[string]string) *syllabus.Syllabus {
	t.Helper()
	s := &syllabus.Syllabus{Ladder: "own", Counting: syllabus.Counting{MonthEnd: rankwright.FirstOfNext}}
	s.Clearances = []syllabus.Clearance{{ID: "fit", Name: "Fit to take part", Before: syllabus.BeforeEntry}}
	for id := range strings.FieldsSeq(ranks) {
		s.Ranks = append(s.Ranks, syllabus.Rank{ID: rankwright.RankID(id), Name: strings.ToUpper(id[:1]) + id[1:]})
	}
	for id, text := range rules {
		k, _ := s.Rank(rankwright.RankID(id))
		if k == nil {
			t.Fatalf("no rank %s", id)
		}
		var err error
		if k.Eligibility, err = syllabus.ReadEligibility(id, []byte(text), s); err != nil {
			t.Fatal(err)
		}
	}
	return s
}

func admit(t testing.TB, q ready.Question) ready.Answer {
	t.Helper()
	a, err := ready.Admit(q)
	if err != nil {
		t.Fatal(err)
	}
	consistent(t, &q, &a)
	return a
}

// consistent checks what must hold of every answer: the first day is a yes,
// the day before it is not, and likewise for the last.
func consistent(t testing.TB, q *ready.Question, a *ready.Answer) {
	t.Helper()
	yes := func(d rankwright.Day) bool {
		p := *q
		p.On = d
		b, err := ready.Admit(p)
		if err != nil {
			t.Fatal(err)
		}
		return b.Yes
	}
	if a.Yes != (a.First == q.On) {
		t.Fatalf("yes is %v but the first day is %s, asked for %s", a.Yes, a.First, q.On)
	}
	if a.Yes == (len(a.Unmet()) > 0) {
		t.Fatalf("yes is %v with %d conditions unmet", a.Yes, len(a.Unmet()))
	}
	if a.First != 0 && (!yes(a.First) || a.First > q.On && yes(a.First-1)) {
		t.Fatalf("%s is not the first day", a.First)
	}
	if a.Last != 0 && (!yes(a.Last) || yes(a.Last+1)) {
		t.Fatalf("%s is not the last day", a.Last)
	}
	for i := range a.Reasons {
		if s := ready.Sentence(&a.Reasons[i]); !strings.HasSuffix(s, ".") || strings.Contains(s, "  ") || strings.Contains(s, "..") {
			t.Fatalf("not a sentence: %q", s)
		}
	}
}

// limit is one row of a table: somebody who enters on the day and not on the
// day before.
type limit struct {
	rank, holds, since, born, first string
	classes                         int
}

func (l limit) question(s *syllabus.Syllabus, on rankwright.Day) ready.Question {
	return ready.Question{
		Syllabus: s, Rank: rankwright.RankID(l.rank), Born: day(l.born), On: on,
		Standing: ready.Standing{Rank: rankwright.RankID(l.holds), Since: day(l.since), Classes: l.classes},
	}
}

// bothSides checks a limit on the day and one day early.
func (l limit) bothSides(t *testing.T, s *syllabus.Syllabus) {
	t.Helper()
	t.Run(fmt.Sprintf("%s from %s", l.rank, l.first), func(t *testing.T) {
		on := day(l.first)
		if a := admit(t, l.question(s, on)); !a.Yes {
			t.Errorf("on the day: no, %s", say(a))
		}
		a := admit(t, l.question(s, on-1))
		if a.Yes {
			t.Error("one day early: yes")
		}
		if a.First != on {
			t.Errorf("one day early the first day is %q, want %s", a.First, on)
		}
	})
}

func say(a ready.Answer) string {
	var out []string
	for _, r := range a.Unmet() {
		out = append(out, ready.Sentence(&r))
	}
	return strings.Join(out, " ")
}
