package syllabus

import (
	"reflect"
	"strings"
	"testing"

	"rankwright"
)

func ownLadder() *Syllabus {
	return &Syllabus{
		Ladder:     "own",
		Ranks:      []Rank{{ID: "reed", Name: "Reed"}, {ID: "amber", Name: "Amber"}},
		Clearances: []Clearance{{ID: "fit", Name: "Fit to take part"}},
	}
}

func TestTheShortFormAndTheLongFormAreTheSame(t *testing.T) {
	for _, c := range [][2]string{
		{"{age: 5, weeks: 8, classes: 12, clearances: [fit]}",
			"all: [{age: {at_least: 5, counted: on_the_day}}, {wait: {weeks: 8, since: rank, counted: anniversary}}, {classes: {at_least: 12}}, {clearances: fit}]"},
		{"{gradings: 3}", "all: {gradings: {at_most: 3, months: 12, counted: calendar}}"},
		{"{any: [{years: 5}, {age: 60, years: 2}]}",
			"all:\n  any:\n    - wait: {years: 5}\n    - {age: {at_least: 60}, wait: [{years: 2}]}"},
		{"{holds: reed}", "all: {holds: {ladder: own, rank: [reed]}}"},
	} {
		short, err := ReadEligibility("short", []byte(c[0]), ownLadder())
		if err != nil {
			t.Fatal(err)
		}
		long, err := ReadEligibility("long", []byte(c[1]), ownLadder())
		if err != nil {
			t.Fatal(err)
		}
		if a, b := flat(short.Rules[0].Terms), flat(long.Rules[0].Terms); !reflect.DeepEqual(a, b) {
			t.Errorf("%s\n%+v\n%+v", c[0], a, b)
		}
	}
}

// flat takes apart groups of which all is asked, inside groups as well.
func flat(t Term) []Term {
	switch v := t.(type) {
	case AllOf:
		var out []Term
		for _, p := range v.Terms {
			out = append(out, flat(p)...)
		}
		return out
	case AnyOf:
		for i, p := range v.Terms {
			v.Terms[i] = AllOf{Terms: flat(p)}
		}
		return []Term{v}
	}
	return []Term{t}
}

func TestEligibilityFaultsNameThePlaceAndWhatWouldBeRight(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"{agee: 5}", `f.yaml:1:2: eligibility has no key "agee"; did you mean "age"?`},
		{"{age: five}", `f.yaml:1:7: eligibility age should be a whole number, not "five"; write a whole number from 1 to 120`},
		{"{age: }", `f.yaml:1:2: eligibility age has no value; write the value, or remove the key`},
		{"{age: {counted: on the day}}", `f.yaml:1:7: eligibility age gives neither at_least nor at_most; add at_least: 6 or at_most: 15`},
		{"{age: {at_least: 9, at_most: 8}}", `f.yaml:1:30: eligibility age is at most 8 and at least 9, which nobody is; swap the two numbers`},
		{"{age: {at_least: 9, counted: on_date}}", `f.yaml:1:7: eligibility age lacks "date"; add date: 04-01`},
		{"{age: {at_least: 9, counted: on_date, date: 02-29}}",
			`f.yaml:1:45: eligibility age date should be a day of every year, not "02-29"; write month-day, such as 04-01; 29 February cannot be used`},
		{"{age: {at_least: 9, date: 04-01}}", `f.yaml:1:27: eligibility age has a date that its way of counting does not use; write counted: on_date, or remove the date`},
		{"{age: {at_least: 9, counted: by birthday}}",
			`f.yaml:1:30: eligibility age counted cannot be "by birthday"; write one of: on the day, calendar year, year of life, on date, at last grading`},
		{"{weeks: 0}", `f.yaml:1:9: eligibility weeks is 0; write a whole number from 1 to 5200`},
		{"{weeks: 8.5}", `f.yaml:1:9: eligibility weeks should be a whole number, not "8.5"; write a whole number from 1 to 5200`},
		{"{wait: {since: start}}", `f.yaml:1:8: eligibility wait does not say how long; add days, weeks, months or years, such as months: 6`},
		{"{wait: {days: 3, weeks: 4}}", `f.yaml:1:18: eligibility wait is given both in days and in weeks; keep one of the two`},
		{"{wait: {days: 30, counted: same_month}}",
			`f.yaml:1:28: eligibility wait counts calendar months but is given in days; give the time in months or years, or count by anniversary`},
		{"{wait: {weeks: 3, since: gradin}}", `f.yaml:1:26: eligibility wait since cannot be "gradin"; did you mean "grading"?`},
		{"{wait: {weeks: 3, since: plum}}",
			`f.yaml:1:26: eligibility wait since names the rank "plum", which is not on this ladder; use the id of a rank of this file, or {ladder: its ladder, rank: plum}`},
		{"{holds: ambr}", `f.yaml:1:9: eligibility holds names the rank "ambr", which is not on this ladder; did you mean "amber"?`},
		{"{held: {years: 2}}", `f.yaml:1:8: eligibility held lacks "rank"; add rank: and the id of a rank`},
		{"{clearances: [fir]}", `f.yaml:1:15: eligibility clearances names "fir", which is not among the clearances; did you mean "fit"?`},
		{"{attendance: 70}", `f.yaml:1:14: eligibility attendance should be a percentage, not "70"; write it with the sign, such as 70%`},
		{"{attendance: 170%}", `f.yaml:1:14: eligibility attendance is 170%; write a percentage up to 100%`},
		{"{gradings: {at_most: 2, months: 5}}", `f.yaml:1:33: a calendar year does not divide into parts of 5 months; use 1, 2, 3, 4, 6 or 12, or counted: rolling`},
		{"{classes: {credits: {at_most: 30%}}}", `f.yaml:1:21: eligibility classes credits have no at_least to shorten; add at_least`},
		{"{any: []}", `f.yaml:1:7: eligibility any is an empty list; remove the key or write what it should hold`},
		{"{any: [{age: 5}, {name: other}]}", `f.yaml:1:18: eligibility any item asks for nothing; write a condition such as age: 6, or remove the item`},
		{"{any: [reed, amber]}", `f.yaml:1:8: eligibility any item should be a group of keys, not "reed"; write keys such as name, all, any`},
		{"{from: 2024-02-01, until: 2024-01-01, age: 5}", `f.yaml:1:27: eligibility ends on 2024-01-01, before it begins on 2024-02-01; swap the two dates`},
		{"versions:\n  - {until: 2024-01-01, age: 14}\n  - {from: 2024-01-01, age: 13}",
			`f.yaml:3:5: this version and the one on line 2 are in force on the same day; let one end the day before the other begins`},
		{"{may_be_waived: {at_most: {days: 7}}}", `f.yaml:1:17: eligibility may_be_waived lacks "by"; add by: head_instructor`},
		{"{conversion: {ladder: own, rank: x, age: 15}}",
			`f.yaml:1:23: eligibility conversion leads from this ladder to itself; name the ladder that the rank comes from`},
		{"{conversion: {ladder: poom, rank: x, age: 18, must_by: 16}}",
			`f.yaml:1:56: eligibility conversion must be done by age 16 but may only be from 18; swap the two ages`},
	} {
		_, err := ReadEligibility("f.yaml", []byte(c.text), ownLadder())
		if err == nil {
			t.Errorf("%s is read", c.text)
			continue
		}
		if !strings.Contains("\n"+err.Error()+"\n", "\n"+c.want+"\n") {
			t.Errorf("%s\n got %s\nwant %s", c.text, err, c.want)
		}
	}
}

func TestAllEligibilityFaultsAreReportedAtOnce(t *testing.T) {
	_, err := ReadEligibility("f.yaml", []byte("age: x\nweeks: y\nany:\n  - {classes: z}\n  - {holds: plum}\n"), ownLadder())
	fs, _ := err.(rankwright.Faults)
	var lines []int
	for _, f := range fs {
		lines = append(lines, f.Where.Line)
	}
	if !reflect.DeepEqual(lines, []int{1, 2, 4, 5}) {
		t.Errorf("faults on lines %v:\n%v", lines, err)
	}
}

func TestTheRuleInForce(t *testing.T) {
	e, err := ReadEligibility("f", []byte("versions: [{name: b, from: 2024-07-01}, {name: a, until: 2024-05-31}]"), ownLadder())
	if err != nil {
		t.Fatal(err)
	}
	for on, want := range map[string]string{"2024-05-31": "a", "2024-06-01": "", "2024-06-30": "", "2024-07-01": "b"} {
		got := ""
		if r := e.Rule(rankwright.MustDay(on)); r != nil {
			got = r.Name
		}
		if got != want {
			t.Errorf("on %s: %q, want %q", on, got, want)
		}
	}
}

// Whatever the bytes, reading ends with a rule that is whole or with faults
// that have a place.
func FuzzEligibility(f *testing.F) {
	for _, seed := range []string{
		"{age: 5, weeks: 8, classes: 12, clearances: [fit]}",
		"{any: [{holds: reed, years: 1}, {name: age route, age: {at_least: 35, counted: on_date, date: 04-01}}]}",
		"wait: [{months: 2, counted: month_slots}, {within: {years: 1}, since: not_yet}, {counted: cut_off}]",
		"{classes: {at_least: 20, per_week: 1.5, credits: {at_most: 30%, each: {seminar: 5%}}}, attendance: 70%}",
		"versions:\n - {until: 2018-12-31, age: 14}\n - {from: 2019-01-01, age: 13}\nmonths: 6",
		"{gradings: {at_most: 3, months: 6, counted: rolling}, retakes: 2, points: {of: w, at_least: 2}, result: {rank: reed, at_least: 75%}}",
		"{held: {ladder: juniors, rank: [red], years: 2}, conversion: {ladder: poom, rank: p1, age: 15, automatic: yes}}",
		"{may_be_waived: {by: head, at_most: {days: 7, classes: 1}, only_one: yes, reason: welcome}, skip: yes}",
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		e, err := ReadEligibility("f", data, ownLadder())
		if err != nil {
			fs, ok := err.(rankwright.Faults)
			if !ok || len(fs) == 0 {
				t.Fatalf("not faults: %v", err)
			}
			for _, fault := range fs {
				if fault.Say == "" || fault.Do == "" || fault.Where.File != "f" {
					t.Fatalf("half a fault: %+v", fault)
				}
			}
			return
		}
		for _, r := range e.Rules {
			Walk(r.Terms, func(term Term) { possible(t, term) })
		}
	})
}

// possible fails on a term that asks for what cannot be.
func possible(t *testing.T, term Term) {
	ok := true
	length := func(l Length, needed bool) bool { return l.N > 0 || !needed && l.N == 0 }
	switch v := term.(type) {
	case AnyOf:
		ok = len(v.Terms) > 0
	case AgeTerm:
		ok = v.AtLeast+v.AtMost > 0 && (v.AtMost == 0 || v.AtMost >= v.AtLeast) && (v.Counted != AgeOnDate || v.Month > 0 && v.Date > 0)
	case WaitTerm:
		ok = length(v.AtLeast, v.Counted != CutOff && v.Within.N == 0) && (v.Since.Kind == SinceNamed) == (v.Since.Rank != "")
	case ClassesTerm:
		ok = v.AtLeast > 0 && v.Credits.Cap <= rankwright.Percent(100)
	case AttendanceTerm:
		ok = v.AtLeast <= rankwright.Percent(100)
	case GradingsTerm:
		ok = v.AtMost > 0 && v.Months > 0 && (v.Rolling || 12%v.Months == 0)
	case HoldsTerm:
		ok = len(v.Ranks) > 0
	case HeldTerm:
		ok = len(v.Ranks) > 0 && v.AtLeast.N > 0
	case ClearanceTerm:
		ok = v.ID == "fit"
	}
	if !ok {
		t.Fatalf("a rule that cannot be: %+v", term)
	}
}
