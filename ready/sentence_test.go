package ready_test

import (
	"strings"
	"testing"

	"rankwright"
	"rankwright/ready"
	"rankwright/syllabus"
)

func TestSentences(t *testing.T) {
	for _, c := range []struct {
		rule string
		set  func(q *ready.Question)
		want string
	}{
		{"{age: 6}", func(q *ready.Question) { q.Born = day("2018-06-14") },
			"Age on the grading day: 5 years. Asked: 6 years or older. 13 days to go. From Friday 14 June 2024."},
		{"{age: {at_most: 15, counted: calendar_year}}", func(q *ready.Question) { q.Born = day("2008-12-31") },
			"Age by calendar year: 16 years. Asked: up to 15 years. The last day was 153 days earlier."},
		{"{age: 6}", func(q *ready.Question) { q.Born = 0 },
			"Age on the grading day: the birth date is not on record. Asked: 6 years or older."},
		{"{weeks: 8}", func(q *ready.Question) { q.Standing.Since = day("2024-04-10") },
			"Time since Reed on 10 April 2024: 7 weeks and 3 days. Asked: at least 8 weeks. 4 days to go. From Wednesday 5 June 2024."},
		{"{wait: {within: {years: 1}, since: grading}}", func(q *ready.Question) { q.Standing.Since = day("2023-05-30") },
			"Time since the last grading on 30 May 2023: 1 year and 2 days. Asked: within 1 year. The last day was 2 days earlier."},
		{"{wait: {counted: cut_off}}", func(q *ready.Question) { q.CutOff = day("2023-12-31"); q.Standing.Since = day("2024-01-02") },
			"Time since Reed: dated 2 January 2024. Asked: dated on or before 31 December 2023. That is 2 days after the date."},
		{"{wait: {counted: cut_off}}", nil,
			"Time since Reed on 1 January 2024: no date was published with this grading. Asked: dated on or before the date published with the grading."},
		{"{classes: 12}", func(q *ready.Question) { q.Standing.Classes = 10; q.Deadline = day("2024-05-26") },
			"Classes since the last rank, counted to 26 May 2024: 10 classes. Asked: at least 12 classes. 2 classes more."},
		{"{attendance: 70%}", func(q *ready.Question) { q.Standing.Classes, q.Standing.Offered = 13, 20 },
			"Attendance since the last rank: 65%. Asked: at least 70% of the classes offered. 1 class more."},
		{"{classes: {per_week: 1.5}}", func(q *ready.Question) { q.Standing.Classes, q.Standing.WeeksHeld = 10, 7 },
			"Classes since the last rank: 10 classes. Asked: 1.5 a week, 11 classes in all. 1 class more."},
		{"{clearances: [fit]}", nil, "Fit to take part: still to come."},
		{"{holds: amber}", nil, "Amber comes first."},
		{"{held: {rank: reed, months: 6}}", nil,
			"Time as Reed: 152 days. Asked: Reed for at least 6 months. 30 days to go. From Monday 1 July 2024."},
		{"{gradings: 1}", nil,
			"Gradings, this one among them: 2 gradings. Asked: at most 1 grading a calendar year. From Wednesday 1 January 2025."},
		{"{retakes: 1}", func(q *ready.Question) {
			r := ready.Result{Rank: "amber", On: day("2024-02-02"), Outcome: syllabus.NotYet}
			q.Standing.Results = []ready.Result{r, r}
		}, "Retakes, this one among them: 2 retakes. Asked: at most 1 retake. That is over by 1 retake."},
		{"{points: {of: wins, at_least: 2.5}}", func(q *ready.Question) {
			q.Standing.Points = []ready.Score{{Name: "wins", Amount: rankwright.Whole(2)}}
		}, "Points: 2 points. Asked: at least 2.5 points of wins. 0.5 points more."},
		{"{result: {rank: reed, at_least: 75%}}", func(q *ready.Question) {
			q.Standing.Results = []ready.Result{{Rank: "reed", On: day("2024-01-01"), Points: rankwright.Whole(7), Of: rankwright.Whole(10)}}
		}, "Earlier result: 70%. Asked: at least 75% at Reed."},
		{"{any: [{weeks: 30}, {name: older beginners, age: 12, weeks: 10}]}", func(q *ready.Question) { q.Born = day("2012-06-14") },
			"One of these ways is enough. Time since Reed on 1 January 2024: 21 weeks and 5 days. Asked: at least 30 weeks." +
				" 58 days to go. From Monday 29 July 2024. Or: Older beginners: Age on the grading day: 11 years. Asked: 12 years or older." +
				" 13 days to go. From Friday 14 June 2024."},
	} {
		s := ladder(t, "reed amber", map[string]string{"amber": c.rule})
		q := limit{rank: "amber", holds: "reed", since: "2024-01-01", born: "2012-01-01"}.question(s, day("2024-06-01"))
		if strings.Contains(c.rule, "holds") {
			s = ladder(t, "reed amber slate", map[string]string{"slate": c.rule})
			q.Syllabus, q.Rank = s, "slate"
		}
		if c.set != nil {
			c.set(&q)
		}
		a := admit(t, q)
		if got := say(a); got != c.want {
			t.Errorf("%s\n got %s\nwant %s", c.rule, got, c.want)
		}
	}
}

func TestSummaries(t *testing.T) {
	s := club(t)
	q := limit{rank: "reed", since: "2026-08-22", born: "2019-05-09", classes: 12}.question(s, day("2026-10-10"))
	q.Standing.Cleared = []rankwright.ClearanceID{"fit"}
	a := admit(t, q)
	if got, want := ready.Summary(&a), "Not on this day. From Saturday 17 October 2026. What is short may be waived with a reason."; got != want {
		t.Errorf("got %s", got)
	}
	b, err := a.Overruled(ready.Overrule{By: "the head instructor", Reason: "A hall was closed.", On: day("2026-10-05")})
	if got, want := ready.Summary(&b), "Yes, by the decision of the head instructor on 5 October 2026: A hall was closed."; err != nil || got != want {
		t.Errorf("got %s, %v", got, err)
	}
}
