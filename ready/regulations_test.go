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

func TestEveryRegulationNamesItsSourceAndVersion(t *testing.T) {
	files, _ := filepath.Glob("../examples/regulations/*.yaml")
	if len(files) < 13 {
		t.Fatalf("only %d files", len(files))
	}
	for _, f := range files {
		s := regulation(t, strings.TrimSuffix(filepath.Base(f), ".yaml"))
		if s.Source == "" || s.Version == "" {
			t.Errorf("%s lacks its source or version", f)
		}
		data, _ := os.ReadFile(f)
		if strings.Contains(string(data), "MEMORY") {
			t.Errorf("%s has a row from memory", f)
		}
	}
}

// before is the day so many years before a day.
func before(d string, years int) string {
	return day(d).AddYears(-years, rankwright.LastDay).String()
}

// FIK, Standard Guideline for Dan/Kyu Examination, Article 3(1): prior grade,
// time and lowest age, docslib.org/doc/1325071.
func TestFIKTimesAndAges(t *testing.T) {
	s := regulation(t, "kendo-fik")
	const on = "2024-05-12"
	for _, l := range []limit{
		{rank: "dan1", holds: "kyu1", since: "2024-01-01", born: before(on, 13)},
		{rank: "dan2", holds: "dan1", since: before(on, 1), born: "2005-01-01"},
		{rank: "dan3", holds: "dan2", since: before(on, 2), born: "2005-01-01"},
		{rank: "dan4", holds: "dan3", since: before(on, 3), born: "2000-01-01"},
		{rank: "dan5", holds: "dan4", since: before(on, 4), born: "1990-01-01"},
		{rank: "dan6", holds: "dan5", since: before(on, 5), born: "1980-01-01"},
		{rank: "dan7", holds: "dan6", since: before(on, 6), born: "1980-01-01"},
		{rank: "dan8", holds: "dan7", since: before(on, 10), born: "1970-01-01"},
		{rank: "dan8", holds: "dan7", since: before(on, 12), born: before(on, 46)},
		{rank: "dan9", holds: "dan8", since: "2020-01-01", born: before(on, 65)},
		// Article 3(2): a shorter time from 60 on, by the age and by the time.
		{rank: "dan6", holds: "dan5", since: before(on, 2), born: before(on, 61)},
		{rank: "dan7", holds: "dan6", since: before(on, 3), born: before(on, 61)},
		{rank: "dan8", holds: "dan7", since: before(on, 5), born: before(on, 61)},
		{rank: "dan6", holds: "dan5", since: before(on, 3), born: before(on, 60)},
		{rank: "dan7", holds: "dan6", since: before(on, 4), born: before(on, 60)},
		{rank: "dan8", holds: "dan7", since: before(on, 6), born: before(on, 60)},
	} {
		l.first = on
		l.bothSides(t, s)
	}
	for _, rank := range []rankwright.RankID{"dan10", "kyu1"} {
		holds := map[rankwright.RankID]rankwright.RankID{"dan10": "dan9", "kyu1": ""}[rank]
		q := ready.Question{Syllabus: s, Rank: rank, On: day(on), Standing: ready.Standing{Rank: holds, Since: day(on)}}
		if a := admit(t, q); !a.Yes {
			t.Errorf("%s asks for nothing but the rank below: %s", rank, say(a))
		}
	}
	q := limit{rank: "dan1", born: "2000-01-01", since: "2020-01-01"}.question(s, day(on))
	if a := admit(t, q); a.Yes || a.First != 0 || len(a.Unmet()) != 1 || a.Unmet()[0].Kind != ready.ByRank {
		t.Error("1 dan needs 1 kyu, and waiting does not bring it")
	}
}

// The fastest way is arithmetic on Article 3: 34 for 7 dan, and 44 for 8 dan
// by the times, so that at 8 dan the age of 46 decides.
func TestFIKFastestWay(t *testing.T) {
	s := regulation(t, "kendo-fik")
	born := day("1960-03-01")
	at := born.AddYears(14, rankwright.LastDay) // the revision of 2006 was in force
	st := ready.Standing{Rank: "dan1", Since: at}
	for n := 2; n <= 8; n++ {
		a := admit(t, ready.Question{Syllabus: s, Rank: rankwright.RankID(fmt.Sprintf("dan%d", n)), Born: born, Standing: st, On: st.Since})
		st = ready.Standing{Rank: a.Rank, Since: a.First}
		want := []int{0, 0, 15, 17, 20, 24, 29, 35, 46}[n]
		if got := rankwright.Age(born, a.First, rankwright.LastDay); got != want {
			t.Errorf("%d dan from age %d, want %d", n, got, want)
		}
	}
}

// AJKF rules of 1 April 2012, Articles 15 and 17 (old2.kendo.or.jp; Oita
// extract for the age route).
func TestAJKFTimesAndTheAgeRoute(t *testing.T) {
	s := regulation(t, "kendo-ajkf")
	const on = "2024-05-12"
	rows := []limit{
		{rank: "dan1", holds: "kyu1", since: "2024-01-01", born: before(on, 13)},
		{rank: "dan8", holds: "dan7", since: before(on, 10), born: "1970-01-01"},
		{rank: "dan8", holds: "dan7", since: before(on, 11), born: before(on, 46)},
	}
	for n, years := range map[int]int{2: 1, 3: 2, 4: 3, 5: 4, 6: 5, 7: 6} {
		rows = append(rows, limit{rank: fmt.Sprintf("dan%d", n), holds: fmt.Sprintf("dan%d", n-1), since: before(on, years), born: "1999-01-01"})
	}
	for _, l := range rows {
		l.first = on
		l.bothSides(t, s)
	}
	for rank, age := range map[string]int{"dan2": 35, "dan3": 40, "dan4": 45, "dan5": 50} {
		l := limit{rank: rank, born: before(on, age), since: "2020-01-01"}
		q := l.question(s, day(on))
		if a := admit(t, q); a.Yes {
			t.Errorf("%s by age needs a special reason", rank)
		}
		q.Standing.Cleared = []rankwright.ClearanceID{"special-reason"}
		if a := admit(t, q); !a.Yes {
			t.Errorf("%s at %d with a special reason: %s", rank, age, say(a))
		}
		q.On--
		if a := admit(t, q); a.Yes || a.First != day(on) {
			t.Errorf("%s is open a day before %d, or first on %s", rank, age, a.First)
		}
	}
}

// Kendo-Andorra, Programa Examen Iaido.
func TestAndorraTimes(t *testing.T) {
	s := regulation(t, "iaido-andorra")
	const on = "2024-09-15"
	months := func(n int) string { return day(on).AddMonths(-n, rankwright.LastDay).String() }
	for _, l := range []limit{
		{rank: "kyu5", since: months(4)},
		{rank: "kyu4", holds: "kyu5", since: months(4)},
		{rank: "kyu3", holds: "kyu4", since: months(4)},
		{rank: "kyu2", holds: "kyu3", since: months(6)},
		{rank: "kyu1", holds: "kyu2", since: months(6)},
		{rank: "dan1", holds: "kyu1", since: before(on, 1), born: "2000-01-01"},
		{rank: "dan1", holds: "kyu1", since: before(on, 2), born: before(on, 13)},
		{rank: "dan2", holds: "dan1", since: before(on, 1)},
		{rank: "dan3", holds: "dan2", since: before(on, 2)},
		{rank: "dan4", holds: "dan3", since: before(on, 3)},
		{rank: "dan5", holds: "dan4", since: before(on, 4)},
		{rank: "dan6", holds: "dan5", since: before(on, 5), born: "1980-01-01"},
		{rank: "dan6", holds: "dan5", since: before(on, 2), born: "1950-01-01"},
		{rank: "dan6", holds: "dan5", since: before(on, 3), born: before(on, 60)},
		{rank: "dan7", holds: "dan6", since: before(on, 6), born: "1980-01-01"},
		{rank: "dan7", holds: "dan6", since: before(on, 3), born: "1950-01-01"},
	} {
		l.first = on
		l.bothSides(t, s)
	}
}

// The same table, panels: "5/3" is five judges of whom three must agree.
func TestAndorraPanels(t *testing.T) {
	s := regulation(t, "iaido-andorra")
	for _, c := range []struct {
		rank     rankwright.RankID
		judges   string
		fits     bool
		consents int
	}{
		{"kyu3", "dan3 dan3 dan4", true, 2},
		{"kyu3", "dan3 dan3 dan2", false, 0},
		{"kyu3", "dan5", true, 1},
		{"kyu3", "dan4", false, 0},
		{"kyu3", "dan5 dan5", false, 0},
		{"dan1", "dan4 dan4 dan4 dan4 dan4", true, 3},
		{"dan1", "dan4 dan4 dan4 dan4 dan3", false, 0},
		{"dan2", "dan5 dan5 dan5 dan5 dan5", true, 3},
		{"dan3", "dan5 dan5 dan5 dan5 dan4", false, 0},
		{"dan4", "dan6 dan6 dan6 dan6 dan6 dan6", true, 4},
		{"dan4", "dan6 dan6 dan6 dan6 dan6", true, 4},
		{"dan5", "dan7 dan7 dan7 dan7 dan7", true, 4},
		{"dan6", "dan7 dan7 dan7 dan7 dan6", false, 0},
		{"dan7", "dan7 dan7 dan7 dan7 dan7 dan7", true, 4},
		{"dan7", "", false, 0},
	} {
		k, _ := s.Rank(c.rank)
		var held []rankwright.RankID
		for id := range strings.FieldsSeq(c.judges) {
			held = append(held, rankwright.RankID(id))
		}
		if p, ok := ready.PanelFits(s, k, held); ok != c.fits || p.Consents != c.consents {
			t.Errorf("%s before %q: %v with %d consents", c.rank, c.judges, ok, p.Consents)
		}
	}
}

// WKF Dan Grade Regulation 2.1. For dans 2 to 8 the age is that of the dan
// before and the time together, so that both can come due on one day.
func TestWKFAgeAndTime(t *testing.T) {
	s := regulation(t, "karate-wkf")
	ages := []int{0, 15, 17, 20, 24, 29, 35, 42, 50}
	times := []int{0, 3, 2, 3, 4, 5, 6, 7, 8}
	const born = "1970-06-20"
	at := func(age int) string { return day(born).AddYears(age, rankwright.LastDay).String() }
	for n := 1; n <= 8; n++ {
		rank, holds := fmt.Sprintf("dan%d", n), ""
		if n > 1 {
			holds = fmt.Sprintf("dan%d", n-1)
			if ages[n] != ages[n-1]+times[n] {
				t.Errorf("%d dan: the ages do not add up", n)
			}
		}
		both := limit{rank: rank, holds: holds, since: at(ages[n] - times[n]), born: born, first: at(ages[n])}
		both.bothSides(t, s)
		byTime := limit{rank: rank, holds: holds, since: at(ages[n] - times[n] + 1), born: born, first: at(ages[n] + 1)}
		byTime.bothSides(t, s)
		byAge := limit{rank: rank, holds: holds, since: at(ages[n] - times[n] - 1), born: born, first: at(ages[n])}
		byAge.bothSides(t, s)
		if a := admit(t, both.question(s, day(at(ages[n]))-1)); len(a.Unmet()) != 2 {
			t.Errorf("%d dan: both age and time are a day short, told: %s", n, say(a))
		}
	}
}

// karateschule-riess.de, rules of a DKV member club.
func TestRiessChildrenWaitLonger(t *testing.T) {
	s := regulation(t, "karate-dkv-riess")
	const on = "2024-06-15"
	back := func(months int) string { return day(on).AddMonths(-months, rankwright.LastDay).String() }
	for n := 8; n >= 1; n-- {
		adult, child, classes := 3, 9, 20
		if n < 6 {
			adult, child, classes = 4, 12, 25
		}
		rank, holds := fmt.Sprintf("kyu%d", n), fmt.Sprintf("kyu%d", n+1)
		for _, l := range []limit{
			{rank: rank, holds: holds, since: back(adult), born: "2000-01-01", first: on, classes: classes},
			{rank: rank, holds: holds, since: back(child), born: "2014-01-01", first: on, classes: classes},
			{rank: rank, holds: holds, since: back(adult + 1), born: before(on, 14), first: on, classes: classes},
		} {
			l.bothSides(t, s)
			l.classes--
			if a := admit(t, l.question(s, day(on))); a.Yes || a.First != 0 {
				t.Errorf("%s with %d classes", rank, l.classes)
			}
		}
		q := limit{rank: rank, holds: holds, since: back(24), born: "2000-01-01", classes: classes}.question(s, day(on))
		for tries := 1; tries <= 5; tries++ {
			q.Standing.Results = append(q.Standing.Results, ready.Result{Rank: q.Rank, On: day(on) - rankwright.Day(100*tries), Outcome: syllabus.NotYet})
			if a := admit(t, q); a.Yes != (tries <= 3) {
				t.Errorf("%s after %d tries: %v; at most 3 retakes", rank, tries, a.Yes)
			}
		}
	}
	for n, row := range [][3]int{{}, {1, 18}, {2, 20}, {3, 25}, {4, 30, 15}, {5, 37, 22}} {
		if n == 0 {
			continue
		}
		rank, holds := fmt.Sprintf("dan%d", n), fmt.Sprintf("dan%d", n-1)
		if n == 1 {
			holds = "kyu1"
		}
		for _, l := range []limit{
			{rank: rank, holds: holds, since: before(on, row[0]), born: "1950-01-01", first: on},
			{rank: rank, holds: holds, since: before(on, 8), born: before(on, row[1]), first: on},
		} {
			q := l.question(s, day(on))
			q.Standing.Started = day("1990-01-01")
			early := q
			early.On--
			if !admit(t, q).Yes || admit(t, early).Yes {
				t.Errorf("%s: the limit is not on %s", rank, on)
			}
			if row[2] > 0 {
				q.Standing.Started = day(before(on, row[2]))
				early.Standing.Started = q.Standing.Started
				q.Born, early.Born = day("1950-01-01"), day("1950-01-01")
				q.Standing.Since, early.Standing.Since = day("2010-01-01"), day("2010-01-01")
				if !admit(t, q).Yes || admit(t, early).Yes {
					t.Errorf("%s: %d years of karate are not asked", rank, row[2])
				}
			}
			tried := day(on).AddMonths(-6, rankwright.LastDay)
			q.Standing.Results = []ready.Result{{Rank: q.Rank, On: tried, Outcome: syllabus.NotYet}}
			if !admit(t, q).Yes {
				t.Errorf("%s: six months after a try", rank)
			}
			q.Standing.Results[0].On++
			if a := admit(t, q); a.Yes || a.First != day(on)+1 {
				t.Errorf("%s: six months less a day after a try", rank)
			}
			old := ready.Result{Rank: q.Rank, On: tried - 400, Outcome: syllabus.NotYet}
			q.Standing.Results = []ready.Result{old, old}
			if !admit(t, q).Yes {
				t.Errorf("%s: the second retake", rank)
			}
			q.Standing.Results = append(q.Standing.Results, old)
			if admit(t, q).Yes {
				t.Errorf("%s: a third retake", rank)
			}
		}
	}
}
