package ready_test

import (
	"fmt"
	"testing"

	"rankwright"
	"rankwright/ready"
	"rankwright/syllabus"
)

// Iwate: any day of the month in which the time is complete; AJKF times.
func TestIwateCountsTheMonth(t *testing.T) {
	s := regulation(t, "kendo-iwate")
	limit{rank: "dan1", holds: "kyu1", since: "2024-01-01", born: "2011-05-12", first: "2024-05-12"}.bothSides(t, s)
	for n, years := range map[int]int{2: 1, 3: 2, 4: 3, 5: 4} {
		for _, since := range []string{"2019-12-01", "2019-12-20", "2019-12-31"} {
			limit{rank: fmt.Sprintf("dan%d", n), holds: fmt.Sprintf("dan%d", n-1), since: since,
				first: fmt.Sprintf("%d-12-01", 2019+years)}.bothSides(t, s)
		}
	}
}

// Chiba, examination of 27 December 2025: the published dates are 31 December
// 2022 for 4 dan and 31 December 2021 for 5 dan.
func TestChibaPublishedDates(t *testing.T) {
	s := regulation(t, "kendo-chiba")
	for rank, cut := range map[string]string{"dan4": "2022-12-31", "dan5": "2021-12-31"} {
		holds := map[string]string{"dan4": "dan3", "dan5": "dan4"}[rank]
		for late := range 2 {
			q := limit{rank: rank, holds: holds}.question(s, day("2025-12-27"))
			q.Standing.Since, q.CutOff = day(cut)+rankwright.Day(late), day(cut)
			a := admit(t, q)
			if a.Yes != (late == 0) || late == 1 && a.First != 0 {
				t.Errorf("%s dated %s: %v, first day %s", rank, q.Standing.Since, a.Yes, a.First)
			}
		}
		q := limit{rank: rank, holds: holds, since: "2010-01-01"}.question(s, day("2025-12-27"))
		if a := admit(t, q); a.Yes || !a.Unmet()[0].Unknown {
			t.Errorf("%s without a published date", rank)
		}
	}
}

// DJB kyu rules 2015 as restated by three clubs: ages.
func TestDJBTwoWaysOfCountingAge(t *testing.T) {
	s := regulation(t, "judo-djb-kyu")
	const born = "2010-10-31"
	for _, row := range []struct{ kyu, first string }{
		{"kyu8", "2017-10-31"}, // has turned 7
		{"kyu7", "2018-01-01"}, // 8th year, by year group
		{"kyu6", "2019-01-01"}, // 9th
		{"kyu5", "2019-01-01"}, // lowest: 9th
		{"kyu4", "2021-01-01"}, // 11th
		{"kyu3", "2021-10-31"}, // lowest: turned 11
		{"kyu2", "2023-01-01"}, // 13th
		{"kyu1", "2022-10-31"}, // lowest: turned 12
	} {
		k, place := s.Rank(rankwright.RankID(row.kyu))
		l := limit{rank: row.kyu, born: born, since: "2015-01-01", first: row.first}
		if place > 0 {
			l.holds = string(s.Ranks[place-1].ID)
		}
		if k == nil {
			t.Fatal(row.kyu)
		}
		l.bothSides(t, s)
	}
}

// The recommended ages of the same table, each by year group.
func TestDJBRecommendedYears(t *testing.T) {
	for kyu, year := range map[int]int{7: 8, 6: 9, 5: 10, 4: 11, 3: 12, 2: 13, 1: 14} {
		s := ladder(t, "kyu", map[string]string{"kyu": fmt.Sprintf("{age: {at_least: %d, counted: year_of_life}}", year)})
		for _, born := range []string{"2010-01-01", "2010-12-31"} {
			l := limit{rank: "kyu", born: born, since: "2010-12-31", first: fmt.Sprintf("%d-01-01", 2010+year)}
			t.Run(fmt.Sprint(kyu), func(t *testing.T) { l.bothSides(t, s) })
		}
	}
}

// The same rules, preparation: months by age, the month counts; examinations a
// year.
func TestDJBPreparation(t *testing.T) {
	s := regulation(t, "judo-djb-kyu")
	for _, l := range []limit{
		{rank: "kyu7", holds: "kyu8", since: "2024-03-31", born: "2014-01-01", first: "2024-09-01"},
		{rank: "kyu4", holds: "kyu5", since: "2024-03-31", born: "2009-09-15", first: "2024-09-01"},
		{rank: "kyu4", holds: "kyu5", since: "2024-04-30", born: "2009-09-15", first: "2024-09-15"},
		{rank: "kyu3", holds: "kyu4", since: "2024-03-31", born: "2000-01-01", first: "2024-06-01"},
		{rank: "kyu2", holds: "kyu3", since: "2024-03-31", born: "2000-01-01", first: "2024-09-01"},
		{rank: "kyu1", holds: "kyu2", since: "2024-03-31", born: "2000-01-01", first: "2024-09-01"},
	} {
		l.bothSides(t, s)
	}
	for _, row := range []struct {
		rank, holds, born string
		most              int
	}{
		{"kyu6", "kyu7", "2014-01-01", 3}, {"kyu6", "kyu7", "2000-01-01", 4},
		{"kyu2", "kyu3", "2000-01-01", 2}, {"kyu1", "kyu2", "2000-01-01", 2},
	} {
		q := limit{rank: row.rank, holds: row.holds, since: "2023-01-01", born: row.born}.question(s, day("2024-12-20"))
		for n := 1; n <= row.most; n++ {
			if a := admit(t, q); !a.Yes {
				t.Errorf("%s, examination %d of the year: %s", row.rank, n, say(a))
			}
			q.Standing.Results = append(q.Standing.Results, ready.Result{Rank: q.Rank, On: day("2024-01-10") + rankwright.Day(20*n), Outcome: syllabus.NotYet})
		}
		if a := admit(t, q); a.Yes || a.First != day("2025-01-01") {
			t.Errorf("%s: one more than %d in a year is %v, first day %s", row.rank, row.most, a.Yes, a.First)
		}
	}
}

// BJA Mon grades: age 8; a promotion a calendar month up to 6 Mon, above one
// in two (metrojudoclub.com); six belts of three tags (BJA, May 2016).
func TestBJAMon(t *testing.T) {
	s := regulation(t, "judo-bja-mon")
	for n := 1; n <= 18; n++ {
		rank, holds, first := fmt.Sprintf("mon%d", n), "", "2024-04-01"
		if n > 1 {
			holds = fmt.Sprintf("mon%d", n-1)
			if n > 6 {
				first = "2024-05-01"
			}
			for _, since := range []string{"2024-03-01", "2024-03-31"} {
				limit{rank: rank, holds: holds, since: since, born: "2012-01-01", first: first}.bothSides(t, s)
			}
		}
		limit{rank: rank, holds: holds, since: "2023-01-01", born: "2016-03-01", first: "2024-03-01"}.bothSides(t, s)
		k, _ := s.Rank(rankwright.RankID(rank))
		belts := []string{"red", "yellow", "orange", "green", "blue", "brown"}
		tags := []string{"1 tag", "2 tags", "3 tags"}
		if k.Belt.Colour != belts[(n+2)/3-1] || k.Belt.Tip != tags[(n-1)%3] {
			t.Errorf("%d Mon is %s with %s", n, k.Belt.Colour, k.Belt.Tip)
		}
	}
}

// Elkhorn club table on the USJF handbook: age and classes; 11 kyu from USJF.
func TestElkhornAgesClassesAndCredits(t *testing.T) {
	s := regulation(t, "judo-elkhorn")
	rows := []struct {
		rank         string
		age, classes int
	}{
		{"kyu11", 5, 7}, {"kyu10", 5, 7}, {"kyu9", 6, 14}, {"kyu8", 6, 20}, {"kyu7", 7, 20}, {"kyu6", 7, 20}, {"kyu5", 8, 32},
		{"kyu4", 9, 40}, {"kyu3", 10, 40}, {"kyu2", 11, 52}, {"kyu1", 12, 52}, {"dan1", 13, 52},
	}
	const on = "2024-05-12"
	for i, row := range rows {
		l := limit{rank: row.rank, since: "2023-01-01", born: before(on, row.age), first: on, classes: row.classes}
		if i > 0 {
			l.holds = rows[i-1].rank
		}
		l.bothSides(t, s)
		l.classes--
		if a := admit(t, l.question(s, day(on))); a.Yes || a.Unmet()[0].Short.String() != "1 class" {
			t.Errorf("%s with a class less: %s", row.rank, say(a))
		}
		if i == 0 {
			continue
		}
		q := l.question(s, day(on))
		q.Standing.Credits = []ready.Tally{{Name: "seminar", N: 2}, {Name: "tournament", N: 1}, {Name: "win_over_higher", N: 2}}
		// 5+5+5+10+10 = 35, capped at 30: seven tenths, rounded up.
		q.Standing.Classes = (7*row.classes + 9) / 10
		if a := admit(t, q); !a.Yes {
			t.Errorf("%s with credit: %s", row.rank, say(a))
		}
		q.Standing.Classes--
		if admit(t, q).Yes {
			t.Errorf("%s: the credit is not capped at 30%%", row.rank)
		}
	}
}

// Aikikai Hombu Dojo (docslib.org/doc/3013610) and USAF 2018 (aikiaugusta.org).
func TestAikidoDaysOfPractice(t *testing.T) {
	for _, ladder := range []struct {
		name string
		rows []limit
	}{
		{"aikido-aikikai", []limit{
			{rank: "kyu5", classes: 30}, {rank: "kyu4", classes: 40}, {rank: "kyu3", classes: 50}, {rank: "kyu2", classes: 50},
			{rank: "kyu1", classes: 60}, {rank: "dan1", classes: 70}, {rank: "dan2", classes: 200}, {rank: "dan3", classes: 300},
			{rank: "dan4", classes: 400},
		}},
		{"aikido-usaf", []limit{
			{rank: "kyu6", classes: 20}, {rank: "kyu5", classes: 40}, {rank: "kyu4", classes: 80}, {rank: "kyu3", classes: 100},
			{rank: "kyu2", classes: 200}, {rank: "kyu1", classes: 300},
		}},
	} {
		s := regulation(t, ladder.name)
		holds, sum := "", 0
		for _, l := range ladder.rows {
			l.holds, l.born, l.since = holds, "1980-01-01", "2000-01-01"
			if a := admit(t, l.question(s, day("2024-05-12"))); !a.Yes {
				t.Errorf("%s %s with %d: %s", ladder.name, l.rank, l.classes, say(a))
			}
			l.classes--
			if admit(t, l.question(s, day("2024-05-12"))).Yes {
				t.Errorf("%s %s with %d", ladder.name, l.rank, l.classes)
			}
			if sum += l.classes + 1; l.rank == "dan1" && sum != 300 {
				t.Errorf("%d days to 1 dan, want 300", sum)
			}
			holds = l.rank
		}
		if ladder.name == "aikido-usaf" && sum != 740 {
			t.Errorf("%d days to 1 kyu, want 740", sum)
		}
	}
	s := regulation(t, "aikido-aikikai")
	const on = "2024-05-12"
	for _, l := range []limit{
		{rank: "dan1", holds: "kyu1", since: "2020-01-01", born: before(on, 15), classes: 70},
		{rank: "dan2", holds: "dan1", since: before(on, 1), classes: 200},
		{rank: "dan3", holds: "dan2", since: before(on, 2), classes: 300},
		{rank: "dan4", holds: "dan3", since: before(on, 3), born: "1980-01-01", classes: 400},
		{rank: "dan4", holds: "dan3", since: "2015-01-01", born: before(on, 22), classes: 400},
	} {
		l.first = on
		l.bothSides(t, s)
	}
}

// IBJJF General System of Graduation, Articles 2 and 3: ages by year of birth,
// with an upper end for children's belts, and the least stay.
func TestIBJJFAgesAndStay(t *testing.T) {
	s := regulation(t, "bjj-ibjjf")
	const year = 2010
	for group, age := range map[string]int{"grey": 4, "yellow": 7, "orange": 10, "green": 13} {
		for _, suffix := range []string{"-white", "", "-black"} {
			for _, born := range []string{"2010-01-01", "2010-12-31"} {
				l := limit{rank: group + suffix, holds: "white", since: "2013-01-01", born: born, first: fmt.Sprintf("%d-01-01", year+age)}
				l.bothSides(t, s)
				last := day(fmt.Sprintf("%d-12-31", year+15))
				if a := admit(t, l.question(s, last)); !a.Yes || a.Last != last {
					t.Errorf("%s is not open to the end of the year of 15", l.rank)
				}
				if a := admit(t, l.question(s, last+1)); a.Yes || a.First != 0 || a.Last != last {
					t.Errorf("%s is open in the year of 16", l.rank)
				}
			}
		}
	}
	for _, l := range []limit{
		{rank: "blue", holds: "green", since: "2024-01-01", born: "2010-12-31", first: "2026-01-01"},
		{rank: "purple", holds: "blue", since: "2025-06-01", born: "2007-12-31", first: "2027-06-01"},
		{rank: "brown", holds: "purple", since: "2020-01-01", born: "2007-12-31", first: "2025-01-01"},
		{rank: "brown", holds: "purple", since: "2024-01-31", born: "2000-01-01", first: "2025-07-31"},
		{rank: "black", holds: "brown", since: "2024-02-29", born: "2000-01-01", first: "2025-02-28"},
		{rank: "black", holds: "brown", since: "2020-01-01", born: "2005-12-31", first: "2024-01-01"},
		{rank: "red-black", holds: "black", since: "1990-03-01", born: "1960-01-01", first: "2021-03-01"},
		{rank: "red-black", holds: "black", since: "1980-03-01", born: "1970-12-31", first: "2020-01-01"},
		{rank: "red-white", holds: "red-black", since: "2015-03-01", born: "1950-01-01", first: "2022-03-01"},
		{rank: "red-white", holds: "red-black", since: "2000-03-01", born: "1960-12-31", first: "2017-01-01"},
		{rank: "red", holds: "red-white", since: "2010-03-01", born: "1940-01-01", first: "2020-03-01"},
		{rank: "red", holds: "red-white", since: "2000-03-01", born: "1950-12-31", first: "2017-01-01"},
	} {
		l.bothSides(t, s)
	}
	q := limit{rank: "purple", holds: "blue", since: "2024-01-02", born: "2007-05-05"}.question(s, day("2024-01-03"))
	if a := admit(t, q); !a.Yes {
		t.Errorf("at 17 there is no stay in blue: %s", say(a))
	}
}

// BCTA restatement of the Kukkiwon tables (barrycook.org), 1 to 5 dan.
func TestTaekwondoFromPoomAndFromDan(t *testing.T) {
	s := regulation(t, "taekwondo-dan")
	const on = "2024-05-12"
	for n, row := range map[int][3]int{2: {1, 15, 16}, 3: {2, 15, 18}, 4: {3, 18, 21}, 5: {4, 22, 25}} {
		rank, holds := fmt.Sprintf("dan%d", n), fmt.Sprintf("dan%d", n-1)
		for _, l := range []limit{
			{rank: rank, holds: holds, since: before(on, row[0]), born: "1980-01-01", first: on},
			{rank: rank, holds: holds, since: before(on, 9), born: before(on, row[2]), first: on},
		} {
			l.bothSides(t, s)
		}
		// From poom: nothing is held on this ladder until the rank turns.
		q := ready.Question{Syllabus: s, Rank: rankwright.RankID(rank), Born: day(before(on, row[1])), On: day(on)}
		q.Standing.History = []ready.Given{{Ladder: "taekwondo-poom", Rank: rankwright.RankID(fmt.Sprintf("poom%d", n-1)), On: day(before(on, row[0]+1))}}
		if a := admit(t, q); !a.Yes {
			t.Errorf("%s from poom at %d: %s", rank, row[1], say(a))
		}
		q.On--
		if a := admit(t, q); a.Yes || a.First != day(on) {
			t.Errorf("%s from poom a day before %d: %v, first day %s", rank, row[1], a.Yes, a.First)
		}
	}
	limit{rank: "dan1", born: before(on, 15), first: on}.bothSides(t, s)

	st := ready.Standing{Ladder: "taekwondo-poom", Rank: "poom4", Since: day("2020-01-01")}
	got := ready.Changes(s, day("2006-05-12"), st, day("2024-05-11"))
	if len(got) != 1 || got[0].To != "dan4" || got[0].May || got[0].MayFrom != day("2024-05-12") || !got[0].Automatic {
		t.Errorf("4 poom is kept until 18: %+v", got)
	}
}

// Sao Paulo federation (fpjjresultados.com.br): purple at 16 after two years in
// green; at 17 after one year in green and one in blue.
func TestSaoPauloAsksForTheWayByWhichOneCame(t *testing.T) {
	s := ladder(t, "green blue purple", map[string]string{"purple": `
holds: green
any:
  - {age: {at_least: 16, counted: calendar_year}, held: {rank: green, years: 2}}
  - {age: {at_least: 17, counted: calendar_year}, held: [{rank: green, years: 1}, {rank: blue, years: 1}]}
`})
	for _, c := range []struct {
		name, born, green, blue, first string
	}{
		{"16, two years in green", "2008-12-31", "2022-03-01", "", "2024-03-01"},
		{"two years in green, 16 in the year after", "2009-12-31", "2022-03-01", "", "2025-01-01"},
		{"17, a year in each", "2007-05-05", "2022-03-01", "2023-03-01", "2024-03-01"},
		{"17, green a day short and blue", "2007-05-05", "2022-03-01", "2023-02-28", ""},
		{"two years in green, then blue at 16", "2008-05-05", "2021-03-01", "2023-03-01", "2024-01-01"},
	} {
		t.Run(c.name, func(t *testing.T) {
			q := ready.Question{Syllabus: s, Rank: "purple", Born: day(c.born), On: day("2023-12-31")}
			q.Standing.History = []ready.Given{{Rank: "green", On: day(c.green)}}
			if c.blue != "" {
				q.Standing.History = append(q.Standing.History, ready.Given{Rank: "blue", On: day(c.blue)})
			}
			if a := admit(t, q); a.First != day(c.first) {
				t.Errorf("first day %q, want %q", a.First, c.first)
			}
		})
	}
}

// BJA: Mon may turn into kyu from 16 and must by 18 (metrojudoclub.com). Which
// kyu it is was not read and is the school's to say; it can be lower.
func TestMonMayTurnIntoKyuAt16AndMustBy18(t *testing.T) {
	s := ladder(t, "kyu3 kyu2", map[string]string{"kyu3": "{conversion: {ladder: judo-bja-mon, rank: [mon16, mon17, mon18], age: 16, must_by: 18}}"})
	st := ready.Standing{Ladder: "judo-bja-mon", Rank: "mon17", Since: day("2022-01-01")}
	for on, want := range map[string][2]bool{
		"2024-05-11": {false, false}, "2024-05-12": {true, false}, "2026-05-11": {true, false}, "2026-05-12": {true, true},
	} {
		got := ready.Changes(s, day("2008-05-12"), st, day(on))
		if len(got) != 1 || got[0].May != want[0] || got[0].Must != want[1] || got[0].To != "kyu3" || got[0].MustBy != day("2026-05-12") {
			t.Errorf("on %s: %+v", on, got)
		}
	}
	st.Rank = "mon15"
	if got := ready.Changes(s, day("2008-05-12"), st, day("2026-05-12")); len(got) != 0 {
		t.Errorf("15 Mon: %+v", got)
	}
	q := ready.Question{Syllabus: s, Rank: "kyu2", Born: day("2000-01-01"), On: day("2024-05-12"), Standing: st}
	q.Standing.Rank = "mon18"
	if a := admit(t, q); a.Yes {
		t.Error("a conversion that is not automatic served before it was entered")
	}
}
