package main

import (
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"rankwright"
	"rankwright/ready"
	"rankwright/roster"
	"rankwright/roster/table"
	"rankwright/syllabus"
)

func eligibleCommand() *cobra.Command {
	var syl, students, on string
	var answers []string
	var asJSON bool
	c := &cobra.Command{
		Use:   "eligible --syllabus FILE --students FILE --on DATE [--json]",
		Short: "Who may enter for the next rank, or why not and from when",
		Long: `Who may enter for the next rank on a day, or why not and from when, from files.

The day from when is the one on which the answer becomes yes by waiting alone; a
class that is missing has no such day.`,
		RunE: func(c *cobra.Command, _ []string) error {
			day, err := dayFlag(on)
			if err != nil {
				return err
			}
			s, err := readSyllabus(syl)
			if err != nil {
				return err
			}
			answers, err := answered(answers)
			if err != nil {
				return err
			}
			data, err := readAll(c, students)
			if err != nil {
				return err
			}
			list, rest, err := readStudents(students, data, s, answers, day)
			if err != nil {
				return err
			}
			var out []candidate
			for _, st := range list {
				x, err := admit(s, st, day)
				if err != nil {
					return err
				}
				out = append(out, x)
			}
			if asJSON {
				err = writeEligibleJSON(c.OutOrStdout(), s, day, out)
			} else {
				err = writeEligible(c.OutOrStdout(), out)
			}
			if err != nil {
				return err
			}
			if rest.other > 0 {
				fmt.Fprintf(c.ErrOrStderr(), "note: %s on other ladders left out\n", many(rest.other, "student", "students"))
			}
			if len(rest.faults) == 0 && len(rest.questions) == 0 {
				return nil
			}
			for _, q := range rest.questions {
				writeQuestion(c.ErrOrStderr(), q)
			}
			for _, f := range rest.faults {
				fmt.Fprintln(c.ErrOrStderr(), f)
			}
			return errNo
		},
	}
	f := c.Flags()
	f.StringVar(&syl, "syllabus", "", "the syllabus file")
	f.StringVar(&students, "students", "", "students.csv, or the school's own spreadsheet")
	f.StringVar(&on, "on", "", "the day of the grading, year-month-day")
	f.StringArrayVar(&answers, "answer", nil, "the answer to a question, as ID=VALUE; may be given several times")
	f.BoolVar(&asJSON, "json", false, "write JSON, as docs/formats.md has it")
	needs(c, "syllabus", "students", "on")
	return c
}

// unread is what of a table could not be answered.
type unread struct {
	faults    rankwright.Faults
	questions []roster.Question
	other     int // students on other ladders
}

// readStudents reads a table as if it were brought into an empty roster.
func readStudents(file string, data []byte, s *syllabus.Syllabus, answers roster.Answers, day rankwright.Day) ([]roster.Student, unread, error) {
	var rest unread
	read, err := table.Read(data, table.Options{File: file})
	if err != nil {
		return nil, rest, err
	}
	lad := roster.Ladder{ID: s.Ladder, Names: []string{s.Name, string(s.Ladder)}}
	for _, k := range s.Ranks {
		names := []string{k.Name, string(k.ID)}
		if k.Belt.Colour != "" {
			names = append(names, k.Belt.Colour)
		}
		lad.Ranks = append(lad.Ranks, roster.RankName{ID: k.ID, Names: names})
	}
	m, _ := roster.Choose(read.Table, nil)
	p := roster.Plan(nil, read.Table, m, roster.School{Ladders: []roster.Ladder{lad}}, answers, day)
	if len(p.Faults) > 0 {
		return nil, rest, p.Faults
	}
	rest.questions = p.Questions
	var out []roster.Student
	for _, r := range p.Rows {
		switch {
		case r.Status.Good():
			out = append(out, r.Student)
		case len(r.Faults) > 0 && !slices.ContainsFunc(r.Faults, func(f *rankwright.Fault) bool { return f.Code != "ladder_unknown" }):
			rest.other++
		default:
			rest.faults = append(rest.faults, r.Faults...)
			if r.Question != nil {
				rest.questions = append(rest.questions, *r.Question)
			}
		}
	}
	return out, rest, nil
}

// candidate is a student with the answer for the next rank; without a rank
// where there is none above the one held.
type candidate struct {
	student roster.Student
	rank    *syllabus.Rank
	answer  ready.Answer
}

func admit(s *syllabus.Syllabus, st roster.Student, day rankwright.Day) (candidate, error) {
	x := candidate{student: st, rank: s.Next(st.Rank)}
	if x.rank == nil {
		return x, nil
	}
	var err error
	x.answer, err = ready.Admit(ready.Question{Syllabus: s, Rank: x.rank.ID, Born: st.BirthDate, On: day,
		Standing: ready.Standing{Ladder: st.Ladder, Rank: st.Rank, Since: st.RankSince, Classes: st.ClassesSinceRank}})
	return x, err
}

func writeEligible(out io.Writer, list []candidate) error {
	if len(list) == 0 {
		return nil
	}
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "STUDENT\tNAME\tNEXT\tANSWER\tFROM\tWHY")
	for _, x := range list {
		if x.rank == nil {
			fmt.Fprintf(w, "%s\t%s\t\t\t\tholds the highest rank\n", x.student.ID, x.student.FullName())
			continue
		}
		answer, from := "yes", ""
		var why []string
		if !x.answer.Yes {
			answer, from = "no", x.answer.First.String()
			for _, r := range x.answer.Unmet() {
				why = append(why, ready.Sentence(&r))
			}
			if x.answer.Waivable {
				why = append(why, "What is short may be waived with a reason.")
			}
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\n", x.student.ID, x.student.FullName(), x.rank.Name, answer, from, strings.Join(why, " "))
	}
	return w.Flush()
}

// The JSON of eligible; its keys are a contract.
type (
	eligibleDocument struct {
		On       rankwright.Day      `json:"on"`
		Ladder   rankwright.LadderID `json:"ladder"`
		Students []eligibleStudent   `json:"students"`
	}
	eligibleStudent struct {
		Student  rankwright.StudentID `json:"student"`
		Name     string               `json:"name"`
		Holds    rankwright.RankID    `json:"holds"`
		Next     rankwright.RankID    `json:"next"`
		Eligible bool                 `json:"eligible"`
		AgeOnDay *int                 `json:"age_on_day"`
		First    rankwright.Day       `json:"first,omitzero"`
		Last     rankwright.Day       `json:"last,omitzero"`
		Waivable bool                 `json:"waivable"`
		Summary  string               `json:"summary"`
		Reasons  []eligibleReason     `json:"reasons"`
	}
	eligibleReason struct {
		Kind     ready.Kind     `json:"kind"`
		Asked    string         `json:"asked"`
		Shown    string         `json:"shown"`
		Met      bool           `json:"met"`
		Unknown  bool           `json:"unknown,omitempty"`
		First    rankwright.Day `json:"first,omitzero"`
		Sentence string         `json:"sentence"`
	}
)

func writeEligibleJSON(out io.Writer, s *syllabus.Syllabus, day rankwright.Day, list []candidate) error {
	doc := eligibleDocument{On: day, Ladder: s.Ladder, Students: make([]eligibleStudent, 0, len(list))}
	for _, x := range list {
		e := eligibleStudent{Student: x.student.ID, Name: x.student.FullName(), Holds: x.student.Rank, Reasons: []eligibleReason{}}
		if x.rank == nil {
			e.Summary = "Holds the highest rank."
			doc.Students = append(doc.Students, e)
			continue
		}
		a := &x.answer
		e.Next, e.Eligible, e.First, e.Last, e.Waivable, e.Summary = x.rank.ID, a.Yes, a.First, a.Last, a.Waivable, ready.Summary(a)
		if a.AgeOnDay >= 0 {
			e.AgeOnDay = &a.AgeOnDay
		}
		for i := range a.Reasons {
			r := &a.Reasons[i]
			one := eligibleReason{Kind: r.Kind, Asked: r.Asked(), Shown: r.Found(), Met: r.Met, Unknown: r.Unknown, Sentence: ready.Sentence(r)}
			if !r.Met {
				one.First = r.From()
			}
			e.Reasons = append(e.Reasons, one)
		}
		doc.Students = append(doc.Students, e)
	}
	enc := json.NewEncoder(out)
	enc.SetIndent("", " ")
	return enc.Encode(doc)
}
