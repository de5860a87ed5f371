package ready_test

import (
	"fmt"
	"os"
	"strconv"
	"strings"
	"testing"

	"rankwright"
	"rankwright/ready"
	"rankwright/syllabus"
)

// Every example of docs/eligibility.md is read and asked. Each yaml block is
// followed by a block of cases, "facts: answer".
func TestTheExamplesOfTheManual(t *testing.T) {
	data, err := os.ReadFile("../docs/eligibility.md")
	if err != nil {
		t.Fatal(err)
	}
	blocks := strings.Split(string(data), "```")
	var s *syllabus.Syllabus
	examples, cases := 0, 0
	for i := 1; i < len(blocks); i += 2 {
		kind, body, _ := strings.Cut(blocks[i], "\n")
		switch kind {
		case "yaml":
			if s != nil {
				t.Errorf("an example without cases before %q", body)
			}
			examples++
			s = ladder(t, "reed amber slate", map[string]string{"amber": unwrap(body)})
		case "cases":
			for line := range strings.Lines(body) {
				cases++
				facts, want, ok := strings.Cut(strings.TrimSpace(line), ": ")
				if !ok || s == nil {
					t.Fatalf("not a case: %q", line)
				}
				if got := answerTo(t, s, facts); got != want {
					t.Errorf("%s\n%s\n got %s\nwant %s", blocks[i-2], facts, got, want)
				}
			}
			s = nil
		default:
			t.Errorf("a block of unknown kind %q", kind)
		}
	}
	if examples < 20 || cases < 60 {
		t.Errorf("only %d examples with %d cases", examples, cases)
	}
}

// unwrap takes the key eligibility off.
func unwrap(body string) string {
	return strings.TrimLeft(strings.TrimPrefix(body, "eligibility:"), "\n")
}

func answerTo(t *testing.T, s *syllabus.Syllabus, facts string) string {
	q := ready.Question{Syllabus: s, Rank: "amber", On: day("2024-06-01"), Born: day("2000-01-01")}
	st := &q.Standing
	st.Rank, st.Since = "reed", day("2023-01-01")
	for fact := range strings.SplitSeq(facts, ", ") {
		f := strings.Fields(fact)
		at := func(i int) rankwright.Day {
			d, err := rankwright.ParseDay(f[i])
			if err != nil {
				t.Fatalf("%s: %v", fact, err)
			}
			return d
		}
		num := func(i int) int {
			n, err := strconv.Atoi(f[i])
			if err != nil {
				t.Fatalf("%s: %v", fact, err)
			}
			return n
		}
		amount := func(s string) rankwright.Amount {
			a, err := rankwright.ParseAmount(s)
			if err != nil {
				t.Fatalf("%s: %v", fact, err)
			}
			return a
		}
		result := func(o syllabus.Outcome) {
			st.Results = append(st.Results, ready.Result{Rank: "amber", On: at(1), Outcome: o})
		}
		switch f[0] {
		case "for":
			q.Rank = rankwright.RankID(f[1])
		case "on":
			q.On = at(1)
		case "born":
			var err error
			if q.Born, err = rankwright.ParseDay(f[1]); err != nil {
				return "cannot be"
			}
		case "age":
			years, days, _ := strings.Cut(f[1], "y")
			n, _ := strconv.Atoi(years)
			q.Born = q.On.AddYears(-n, rankwright.FirstOfNext)
			if days == "364d" {
				q.Born = q.On.AddYears(-n-1, rankwright.FirstOfNext) + 1
			}
		case "rank":
			if st.Rank = rankwright.RankID(f[1]); f[1] == "none" {
				st.Rank = ""
			}
		case "since":
			if st.Since = 0; f[1] != "unknown" {
				st.Since = at(1)
			}
		case "weeks":
			st.Since = q.On - rankwright.Day(7*num(1))
		case "started":
			st.Started = at(1)
		case "given":
			on, rank, _ := strings.Cut(f[1], "/")
			st.History = append(st.History, ready.Given{Ladder: rankwright.LadderID(on), Rank: rankwright.RankID(rank), On: at(2)})
		case "classes":
			st.Classes = num(1)
		case "offered":
			st.Offered = num(1)
		case "held_weeks":
			st.WeeksHeld = num(1)
		case "credit":
			st.Credits = append(st.Credits, ready.Tally{Name: f[1], N: num(2)})
		case "points":
			st.Points = append(st.Points, ready.Score{Name: f[1], Amount: amount(f[2])})
		case "cleared":
			st.Cleared = append(st.Cleared, rankwright.ClearanceID(f[1]))
		case "cut_off":
			q.CutOff = at(1)
		case "pace":
			q.Pace = amount(f[1])
		case "not_yet":
			result(syllabus.NotYet)
		case "absent":
			result(syllabus.Absent)
		case "result":
			got, of, _ := strings.Cut(f[2], "/")
			st.Results = append(st.Results, ready.Result{Rank: rankwright.RankID(f[1]), On: st.Since, Outcome: syllabus.Promoted, Points: amount(got), Of: amount(of)})
		default:
			t.Fatalf("unknown fact %q", fact)
		}
	}
	a := admit(t, q)
	var out strings.Builder
	switch {
	case a.Yes && a.Last != 0:
		fmt.Fprintf(&out, "yes, to %s", a.Last)
	case a.Yes:
		out.WriteString("yes")
	case a.First != 0 && a.Last != 0 && a.Rule == "":
		fmt.Fprintf(&out, "no, from %s to %s", a.First, a.Last)
	case a.First != 0:
		fmt.Fprintf(&out, "no, from %s", a.First)
	case a.Last != 0:
		fmt.Fprintf(&out, "no, ended %s", a.Last)
	default:
		out.WriteString("no")
	}
	if a.Waivable {
		out.WriteString(", waivable")
	}
	if a.Forecast != 0 {
		fmt.Fprintf(&out, ", forecast %s", a.Forecast)
	}
	return out.String()
}

// The tables of conventions name every word that the reader takes.
func TestTheManualNamesEveryConvention(t *testing.T) {
	data, err := os.ReadFile("../docs/eligibility.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, word := range []string{"on_the_day", "calendar_year", "year_of_life", "on_date", "at_last_grading",
		"anniversary", "same_month", "month_slots", "cut_off", "rolling", "since: rank", "since: grading", "since: start", "since: not_yet"} {
		if !strings.Contains(string(data), "`"+word) && !strings.Contains(string(data), word+"`") {
			t.Errorf("%q is not explained", word)
		}
	}
}
