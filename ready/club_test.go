package ready_test

import (
	"fmt"
	"os"
	"testing"

	"rankwright"
	"rankwright/ready"
	"rankwright/syllabus"
)

// club is the demo club's ladder: age on the day, whole weeks and sessions
// since the last grading, and one session or seven days that may be waived.
func club(t testing.TB) *syllabus.Syllabus {
	rules := map[string]string{}
	for _, r := range []struct {
		id                  string
		age, weeks, classes int
	}{{"reed", 5, 8, 12}, {"amber", 6, 12, 20}, {"slate", 7, 16, 28}, {"copper", 8, 20, 36}, {"plum", 9, 24, 44}, {"indigo", 10, 32, 60}} {
		rules[r.id] = fmt.Sprintf("{age: %d, weeks: %d, classes: %d, clearances: [fit],"+
			" may_be_waived: {by: head_instructor, at_most: {days: 7, classes: 1}, only_one: yes, reason: required}}", r.age, r.weeks, r.classes)
	}
	s := ladder(t, "reed amber slate copper plum indigo", rules)
	s.Bands = []syllabus.AgeBand{{ID: "A", From: 5, To: 7}, {ID: "B", From: 8, To: 10}, {ID: "C", From: 11, To: 13}, {ID: "D", From: 14, To: 15}}
	return s
}

// The eighteen invented candidates of the demo day, Saturday 10 October 2026,
// with the answers that were worked out by hand when the club was invented.
func TestTheEighteenCandidates(t *testing.T) {
	s := club(t)
	data, err := os.ReadFile("../examples/otterlight.yaml")
	if err != nil {
		t.Fatal(err)
	}
	shipped, err := syllabus.Parse("otterlight.yaml", data)
	if err != nil {
		t.Fatal(err)
	}
	on := day("2026-10-10")
	for _, c := range []struct {
		name, born string
		age        int
		band, rank string
		last       string
		sessions   int
		unmet      ready.Kind // "" is a yes
		short      string
		first      string
		waivable   bool
	}{
		{"Ayotomi Fasanwe", "2021-02-14", 5, "A", "reed", "2026-07-25", 15, "", "", "", false},
		{"Inti Quispaya", "2020-11-30", 5, "A", "reed", "2026-08-01", 12, "", "", "", false},
		{"Maélle Vandestraete", "2020-12-03", 5, "A", "reed", "2026-08-22", 14, ready.ByTime, "7 days", "2026-10-17", true},
		{"Siosifa Mahe-Tonga", "2019-05-09", 7, "A", "reed", "2026-07-18", 11, ready.ByClasses, "1 class", "", true},
		{"Linh-Đan Phùng", "2019-10-10", 7, "A", "amber", "2026-07-04", 24, "", "", "", false},
		{"Aarush Chettriwal", "2020-10-11", 5, "A", "amber", "2026-06-27", 22, ready.ByAge, "1 day", "2026-10-11", false},
		{"Zofia Krajewik", "2018-02-28", 8, "B", "amber", "2026-07-11", 27, "", "", "", false},
		{"Igor Krajewik", "2016-02-29", 10, "B", "slate", "2026-05-30", 33, "", "", "", false},
		{"Kwabena Darkofi", "2016-07-21", 10, "B", "slate", "2026-06-13", 30, "", "", "", false},
		{"Hanae Ishikure", "2017-03-03", 9, "B", "slate", "2026-02-28", 46, "", "", "", false},
		{"Naveed Barakzoy", "2015-09-19", 11, "C", "copper", "2026-05-16", 41, "", "", "", false},
		{"Eilidh MacAskaig", "2014-12-12", 11, "C", "copper", "2026-05-23", 36, "", "", "", false},
		{"Talulah Begayson", "2013-08-08", 13, "C", "copper", "2026-05-09", 44, "", "", "", false},
		{"Noam Elbazi", "2015-04-01", 11, "C", "plum", "2026-04-18", 47, "", "", "", false},
		{"Amira Benslamane", "2012-06-30", 14, "D", "plum", "2026-04-25", 52, "", "", "", false},
		{"Lucio Arriagada-Poe", "2013-11-05", 12, "C", "plum", "2026-05-02", 49, ready.ByTime, "7 days", "2026-10-17", true},
		{"Mahinalani Kealohi", "2012-01-17", 14, "D", "indigo", "2026-02-14", 66, "", "", "", false},
		{"Jonah Ekholmsson", "2010-10-11", 15, "D", "indigo", "2026-02-21", 63, "", "", "", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			l := limit{rank: c.rank, since: c.last, born: c.born, classes: c.sessions}
			if _, place := s.Rank(rankwright.RankID(c.rank)); place > 0 {
				l.holds = string(s.Ranks[place-1].ID)
			}
			q := l.question(s, on)
			q.Standing.Cleared = []rankwright.ClearanceID{"fit"}
			q.Deadline = day("2026-10-04")
			a := admit(t, q)
			if a.Yes != (c.unmet == "") || a.AgeOnDay != c.age {
				t.Fatalf("yes is %v at %d: %s", a.Yes, a.AgeOnDay, say(a))
			}
			if a.Waivable != c.waivable {
				t.Errorf("waivable is %v", a.Waivable)
			}
			q.Syllabus = shipped
			if b := admit(t, q); b.Yes != a.Yes || b.First != a.First {
				t.Errorf("the club's file says %v from %s: %s", b.Yes, b.First, say(b))
			}
			if !a.Yes {
				un := a.Unmet()
				if len(un) != 1 || un[0].Kind != c.unmet || un[0].Short.String() != c.short || a.First != day(c.first) {
					t.Errorf("told: %s; first day %s", say(a), a.First)
				}
				if _, err := ready.Enter("e", "s", s, a); err == nil {
					t.Error("entered on a no")
				}
				return
			}
			e, err := ready.Enter("e1", "s1", s, a)
			if err != nil || e.Band != c.band || e.AgeOnDay != c.age || e.Overrule != nil {
				t.Errorf("entry %+v, %v", e, err)
			}
		})
	}
}

func TestOneSessionOrSevenDaysMayBeWaivedNotBoth(t *testing.T) {
	s := club(t)
	for _, c := range []struct {
		since    string
		sessions int
		waivable bool
	}{
		{"2026-08-22", 12, true},  // seven days
		{"2026-08-23", 12, false}, // eight
		{"2026-08-01", 11, true},  // a session
		{"2026-08-01", 10, false}, // two
		{"2026-08-22", 11, false}, // both
		{"2026-08-01", 12, false}, // nothing is short
	} {
		q := limit{rank: "reed", since: c.since, born: "2019-01-01", classes: c.sessions}.question(s, day("2026-10-10"))
		q.Standing.Cleared = []rankwright.ClearanceID{"fit"}
		if a := admit(t, q); a.Waivable != c.waivable {
			t.Errorf("since %s with %d: waivable is %v: %s", c.since, c.sessions, a.Waivable, say(a))
		}
		q.Standing.Cleared = nil
		if a := admit(t, q); a.Waivable {
			t.Error("a clearance was waived with the rest")
		}
	}
}

func TestAnOverruleCarriesWhoWhyAndWhen(t *testing.T) {
	s := club(t)
	q := limit{rank: "reed", since: "2026-07-18", born: "2019-05-09", classes: 11}.question(s, day("2026-10-10"))
	q.Standing.Cleared = []rankwright.ClearanceID{"fit"}
	a := admit(t, q)
	full := ready.Overrule{By: "S. Lindqvist-Amoako", Reason: "Away with a broken bus, not idle", On: day("2026-10-05")}
	for name, o := range map[string]ready.Overrule{
		"who":  {Reason: full.Reason, On: full.On},
		"why":  {By: full.By, Reason: "  ", On: full.On},
		"when": {By: full.By, Reason: full.Reason},
	} {
		if b, err := a.Overruled(o); err == nil || b.Yes {
			t.Errorf("overruled without %s", name)
		}
	}
	b, err := a.Overruled(full)
	if err != nil || !b.Yes || b.Overrule == nil || !b.Overrule.Within || len(b.Unmet()) != 1 || a.Yes {
		t.Fatalf("%+v, %v", b.Overrule, err)
	}
	if e, err := ready.Enter("e1", "s1", s, b); err != nil || e.Overrule.Reason != full.Reason {
		t.Errorf("%+v, %v", e, err)
	}
	if _, err := b.Overruled(full); err == nil {
		t.Error("a yes was overruled")
	}
}

func TestASessionShortIsForecastWithThePaceGiven(t *testing.T) {
	s := club(t)
	q := limit{rank: "reed", since: "2026-07-18", born: "2019-05-09", classes: 9}.question(s, day("2026-10-10"))
	q.Standing.Cleared = []rankwright.ClearanceID{"fit"}
	if a := admit(t, q); a.First != 0 || a.Forecast != 0 {
		t.Error("waiting alone brings no session")
	}
	q.Pace = rankwright.Whole(2) // three sessions at two a week are eleven days
	if a := admit(t, q); a.First != 0 || a.Forecast != day("2026-10-21") {
		t.Errorf("forecast %s", a.Forecast)
	}
	q.Standing.Cleared = nil
	if a := admit(t, q); a.Forecast != 0 {
		t.Error("a forecast against a clearance that is missing")
	}
}
