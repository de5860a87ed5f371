package demo

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"

	"rankwright"
	"rankwright/roster"
)

// child is a student with what the roster does not say.
type child struct {
	student roster.Student // the standing with which the roster first has them
	joins   rankwright.Day // when the roster first has them
	pace    int            // classes in ten weeks
	classes int            // since the rank, on the eve of the coming grading; -1 to go by pace
	ability int            // in hundredths of a level
	lean    map[rankwright.SectionID]int
	enters  bool // enters at the coming grading if the rules allow it
}

// told are the children of the club's story, by its own dates. What an engine
// should say of each stands in testdata, beside the tests.
var told = []struct {
	given, family, born  string
	rank                 rankwright.RankID // held
	since                string
	classes              int
	household, guardians string
	notes                string
}{
	{"Ayotomi", "Fasanwe", "2021-02-14", "", "2026-07-25", 15, "", "Folasade Fasanwe", ""},
	{"Inti", "Quispaya", "2020-11-30", "", "2026-08-01", 12, "", "Nayra Quispaya", ""},
	{"Maélle", "Vandestraete", "2020-12-03", "", "2026-08-22", 14, "", "Joris Vandestraete", ""},
	{"Siosifa", "Mahe-Tonga", "2019-05-09", "", "2026-07-18", 11, "", "Mele Mahe-Tonga", ""},
	{"Linh-Đan", "Phùng", "2019-10-10", "reed", "2026-07-04", 24, "", "Phùng Thu Hà; Phùng Quang", ""},
	{"Aarush", "Chettriwal", "2020-10-11", "reed", "2026-06-27", 22, "", "Sunita Chettriwal", ""},
	{"Zofia", "Krajewik", "2018-02-28", "reed", "2026-07-11", 27, "krajewik", "Beata Krajewik; Marek Krajewik", "No photos, not on the wall list."},
	{"Igor", "Krajewik", "2016-02-29", "amber", "2026-05-30", 33, "krajewik", "Beata Krajewik; Marek Krajewik", ""},
	{"Kwabena", "Darkofi", "2016-07-21", "amber", "2026-06-13", 30, "", "Akosua Darkofi", ""},
	{"Hanae", "Ishikure", "2017-03-03", "amber", "2026-02-28", 46, "", "Mayumi Ishikure", ""},
	{"Naveed", "Barakzoy", "2015-09-19", "slate", "2026-05-16", 41, "", "Shirin Barakzoy", "Adapted items agreed with the family: a one-hand cover counts as a full cover, belt clip at step 4."},
	{"Eilidh", "MacAskaig", "2014-12-12", "slate", "2026-05-23", 36, "", "Calum MacAskaig", ""},
	{"Talulah", "Begayson", "2013-08-08", "slate", "2026-05-09", 44, "", "Desbah Begayson", "Is not marked by Anahera Ropatini, her aunt."},
	{"Noam", "Elbazi", "2015-04-01", "copper", "2026-04-18", 47, "", "Tamar Elbazi; Yoav Elbazi", "Pads only, no partner work, until cleared in writing."},
	{"Amira", "Benslamane", "2012-06-30", "copper", "2026-04-25", 52, "", "Houda Benslamane", ""},
	{"Lucio", "Arriagada-Poe", "2013-11-05", "copper", "2026-05-02", 49, "", "Ximena Arriagada; Grant Poe", ""},
	{"Mahinalani", "Kealohi", "2012-01-17", "plum", "2026-02-14", 66, "", "Keola Kealohi", ""},
	{"Jonah", "Ekholmsson", "2010-10-11", "plum", "2026-02-21", 63, "", "Annika Ekholmsson", ""},
}

// cohorts say how many of the other children held what when the story begins,
// for how many weeks, and how old they are on the examination day.
var cohorts = []struct {
	count   int
	rank    rankwright.RankID
	ages    [2]int
	weeks   [2]int // before the first grading; negative is after it
	ability int
}{
	{13, "", [2]int{5, 8}, [2]int{-29, -6}, 160},
	{12, "", [2]int{6, 9}, [2]int{9, 19}, 165},
	{10, "reed", [2]int{7, 10}, [2]int{11, 26}, 165},
	{8, "amber", [2]int{8, 11}, [2]int{15, 30}, 170},
	{6, "slate", [2]int{9, 13}, [2]int{18, 34}, 175},
	{4, "copper", [2]int{10, 14}, [2]int{22, 36}, 180},
	{2, "plum", [2]int{12, 14}, [2]int{20, 40}, 185},
	{1, "indigo", [2]int{14, 15}, [2]int{20, 45}, 190},
}

// families is how many of the others' households have one, two and three
// children here.
var families = [3]int{14, 15, 4}

// children makes the seventy-four, always the same ones.
func children(d dates, r *rand.Rand) []*child {
	guardians := shuffled(r, guardianNames)
	var out []*child
	for _, x := range told {
		house := strings.ToLower(roster.Fold(x.family))
		if x.household != "" {
			house = x.household
		}
		c := &child{classes: x.classes, pace: 20, ability: 235, enters: true}
		c.student = roster.Student{GivenName: x.given, FamilyName: x.family, BirthDate: d.born(rankwright.MustDay(x.born)), Rank: x.rank,
			RankSince: d.day(rankwright.MustDay(x.since)), Notes: x.notes, Household: household(house)}
		for g := range strings.SplitSeq(x.guardians, "; ") {
			c.student.Guardians = append(c.student.Guardians, guardian(g))
		}
		c.joins = c.student.RankSince
		if x.given == "Hanae" { // came up through both gradings
			c.student.Rank, c.student.RankSince = "reed", d.day(firstExam-7*16)
			c.joins = c.student.RankSince
		}
		out = append(out, c)
	}

	given, family := shuffled(r, givenNames), shuffled(r, familyNames)
	for _, co := range cohorts {
		for range co.count {
			c := &child{classes: -1, pace: 14 + r.IntN(11), ability: co.ability + r.IntN(50) + r.IntN(50), enters: r.IntN(100) < 45}
			age := co.ages[0] + r.IntN(co.ages[1]-co.ages[0]+1)
			born := scenarioExam.AddYears(-age, rankwright.LastDay) - 1 - Notice - rankwright.Day(r.IntN(350))
			weeks := co.weeks[0] + r.IntN(co.weeks[1]-co.weeks[0]+1)
			since := firstExam - rankwright.Day(7*weeks) - rankwright.Day(2*r.IntN(3))
			c.student = roster.Student{GivenName: given[0], BirthDate: d.born(born), Rank: co.rank, RankSince: d.day(since)}
			c.joins = c.student.RankSince
			given = given[1:]
			out = append(out, c)
		}
	}
	others := slices.Clone(out[len(told):])
	r.Shuffle(len(others), func(i, j int) { others[i], others[j] = others[j], others[i] })
	for size, n := range families {
		for range n {
			name := strings.TrimSpace(family[0])
			grown := []roster.Guardian{guardian(guardians[0] + " " + name)}
			if r.IntN(2) == 0 {
				grown = append(grown, guardian(guardians[1]+" "+name))
			}
			guardians = append(guardians[2:], guardians[:2]...)
			for _, c := range others[:size+1] {
				c.student.FamilyName, c.student.Guardians, c.student.Household = name, grown, household(roster.Fold(name))
			}
			family, others = family[1:], others[size+1:]
		}
	}
	for i, c := range out {
		s := &c.student
		s.ID, s.Ladder = rankwright.StudentID(fmt.Sprintf("ot-%03d", i+1)), "youth"
		s.BeltSize = beltSize(rankwright.Age(s.BirthDate, d.exam, rankwright.LastDay))
		s.Said = said[s.GivenName]
		c.lean = map[rankwright.SectionID]int{}
		for _, section := range []rankwright.SectionID{"ET", "KB", "PR", "SM", "HA", "KI", "BF", "GU", "PD", "FI", "TH"} {
			c.lean[section] = r.IntN(61) - 30
		}
	}
	return out
}

// said is how a few names are said.
var said = map[string]string{"Eilidh": "AY-lee", "Laoise": "LEE-sha", "Siosifa": "see-oh-SEE-fah", "Gwenllian": "gwen-THLEE-an", "Quỳnh": "kwin"}

func shuffled(r *rand.Rand, words []string) []string {
	out := slices.Clone(words)
	r.Shuffle(len(out), func(i, j int) { out[i], out[j] = out[j], out[i] })
	return out
}

func household(name string) rankwright.HouseholdID {
	return rankwright.HouseholdID("h-" + strings.ReplaceAll(name, " ", "-"))
}

func guardian(name string) roster.Guardian {
	return roster.Guardian{Name: name, Email: strings.ReplaceAll(roster.Fold(name), " ", ".") + "@example.org"}
}

// beltSize is the length of a belt in centimetres that goes round twice.
func beltSize(age int) string {
	return fmt.Sprintf("%d cm", 180+20*max(0, min(5, (age-5)/2)))
}

// table writes the roster as the school's spreadsheet has it on a day: who has
// joined by then, each with the classes since the rank held.
func (f *filler) table(on rankwright.Day, now []roster.Student) ([]byte, error) {
	var rows []roster.Student
	for _, c := range f.children {
		if c.joins > on {
			continue
		}
		s := c.student
		if i := slices.IndexFunc(now, func(x roster.Student) bool { return x.ID == s.ID }); i >= 0 {
			s = now[i]
		}
		s.ClassesSinceRank = int(on-s.RankSince) / 7 * c.pace / 10
		if c.classes >= 0 && on > f.dates.day(secondExam) {
			s.ClassesSinceRank = c.classes
		}
		rows = append(rows, s)
	}
	var b bytes.Buffer
	err := roster.WriteStudents(&b, rows)
	return b.Bytes(), err
}
