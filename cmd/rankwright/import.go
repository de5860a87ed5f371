package main

import (
	"fmt"
	"io"
	"strings"
	"unicode"

	"github.com/spf13/cobra"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/roster"
	"rankwright/roster/table"
)

func importCommand() *cobra.Command {
	var dir, file, sheet, encoding string
	var answers []string
	var dry, onlyGood bool
	c := &cobra.Command{
		Use:   "import --data DIR --students FILE [--dry-run] [--only-good] [--answer ID=VALUE]...",
		Short: "Bring students in from a spreadsheet",
		Long: `Bring students in from a spreadsheet, CSV or XLSX, with the school's own
headings. It prints row by row what is new, changed or refused, and why. One row
that is doubtful or refused stops it all, unless --only-good leaves those out.
Nobody is removed because a file lacks them.`,
		RunE: func(c *cobra.Command, _ []string) error {
			im := app.Import{File: file, Options: table.Options{Sheet: sheet, Encoding: encoding}}
			var err error
			if im.Answers, err = answered(answers); err != nil {
				return err
			}
			if im.Data, err = readAll(c, file); err != nil {
				return err
			}
			st, a, err := openBase(c.Context(), dir)
			if err != nil {
				return err
			}
			defer st.Close()
			return importStudents(c, a, im, dry, onlyGood)
		},
	}
	dataFlag(c, &dir)
	f := c.Flags()
	f.StringVar(&file, "students", "", "the spreadsheet, CSV or XLSX")
	f.StringVar(&sheet, "sheet", "", "the sheet of a workbook (the first one with anything in it)")
	f.StringVar(&encoding, "encoding", "", "how a CSV file writes its letters, such as utf-8 or windows-1252 (found out)")
	f.BoolVar(&dry, "dry-run", false, "print what would happen and write nothing")
	f.BoolVar(&onlyGood, "only-good", false, "take the good rows and leave the others")
	f.StringArrayVar(&answers, "answer", nil, "the answer to a question, as ID=VALUE; may be given several times")
	needs(c, "data", "students")
	return c
}

func importStudents(c *cobra.Command, a *app.App, im app.Import, dry, onlyGood bool) error {
	out, who := c.OutOrStdout(), app.CommandLine()
	p, err := a.PreviewImport(c.Context(), who, im)
	if err != nil {
		return err
	}
	if len(p.Plan.Faults) > 0 {
		return p.Plan.Faults
	}
	if p.Read.EncodingAssumed {
		fmt.Fprintf(out, "The file does not show how its letters are written; they were read as %s. Choose another with --encoding:\n", p.Read.Encoding)
		for _, ch := range p.Read.Choices {
			fmt.Fprintf(out, "  %s: %s\n", ch.Name, strings.Join(ch.Words, ", "))
		}
	}
	if left := p.Mapping.NotRead(); len(left) > 0 {
		fmt.Fprintf(out, "Columns that are not read: %s\n", strings.Join(left, ", "))
	}
	ladders, err := a.Current(c.Context(), who)
	if err != nil {
		return err
	}
	if len(ladders) == 0 {
		fmt.Fprintln(out, "No syllabus is here yet, so ranks are taken as they are written. Better bring the syllabus in first.")
	}
	writePlan(out, p.Plan)
	bad := p.Plan.Count(roster.Doubtful) + p.Plan.Count(roster.Refused)
	good := p.Plan.Count(roster.New) + p.Plan.Count(roster.Changed)
	stops := bad > 0 || len(p.Plan.Questions) > 0
	switch {
	case dry:
		fmt.Fprintln(out, "Nothing was written: this was a dry run.")
	case stops && !onlyGood:
		fmt.Fprintln(out, "Nothing was written. Answer the questions, correct the rows, or take the good rows alone with --only-good.")
	case good == 0:
		fmt.Fprintln(out, "There was nothing to write.")
	default:
		if _, err := a.ApplyImport(c.Context(), who, im, onlyGood); err != nil {
			return err
		}
		fmt.Fprintf(out, "Written: %d new, %d changed.\n", p.Plan.Count(roster.New), p.Plan.Count(roster.Changed))
	}
	if stops {
		return errNo
	}
	return nil
}

// writePlan prints what an import would do, row by row. Rows that change
// nothing are only counted.
func writePlan(out io.Writer, p roster.ImportPlan) {
	for _, n := range p.Notes {
		fmt.Fprintln(out, n)
	}
	for _, r := range p.Rows {
		if r.Status == roster.Same && len(r.Remarks) == 0 {
			continue
		}
		fmt.Fprintf(out, "line %d: %s: %s\n", r.Line, r.Status, nameOf(r.Student))
		for _, ch := range r.Changes {
			if r.Status == roster.Changed {
				fmt.Fprintf(out, "  %s: %s → %s\n", ch.Field.Label(), orNothing(ch.Before), orNothing(ch.After))
			}
		}
		for _, f := range r.Faults {
			fmt.Fprintf(out, "  %v\n", f)
		}
		for _, say := range r.Remarks {
			fmt.Fprintf(out, "  remark: %s\n", say)
		}
		if r.Question != nil {
			writeQuestion(out, *r.Question)
		}
	}
	for _, q := range p.Questions {
		fmt.Fprint(out, "question")
		if where := q.Where.String(); where != "" {
			fmt.Fprintf(out, " about %s", where)
		}
		fmt.Fprintln(out)
		writeQuestion(out, q)
	}
	if n := len(p.NotInFile); n > 0 {
		fmt.Fprintf(out, "%s in the roster and not in the file; nothing happens to them.\n", many(n, "student is", "students are"))
	}
	fmt.Fprintf(out, "%s\n", p.Summary())
}

func writeQuestion(out io.Writer, q roster.Question) {
	fmt.Fprintf(out, "  %s\n", q.Ask)
	for _, ch := range q.Choices {
		fmt.Fprintf(out, "    --answer %s  %s\n", quoted(q.ID+"="+ch.Value), ch.Label)
	}
}

// quoted writes a word so that a shell takes it as one.
func quoted(s string) string {
	if strings.ContainsFunc(s, func(r rune) bool {
		return !strings.ContainsRune("-_=.:/@+", r) && !unicode.IsLetter(r) && !unicode.IsDigit(r)
	}) {
		return "'" + strings.ReplaceAll(s, "'", `'\''`) + "'"
	}
	return s
}

func nameOf(s roster.Student) string {
	if name := s.FullName(); strings.TrimSpace(name) != "" {
		return name
	}
	return "no name"
}

func orNothing(s string) string {
	if s == "" {
		return "(nothing)"
	}
	return s
}

// answered reads answers given as ID=VALUE.
func answered(list []string) (roster.Answers, error) {
	out := roster.Answers{}
	for _, x := range list {
		id, value, ok := strings.Cut(x, "=")
		if !ok || id == "" {
			return nil, used{fmt.Errorf("an answer is written as ID=VALUE, not %q", x)}
		}
		out[id] = value
	}
	return out, nil
}

// readAll reads a table, "-" being the standard input, within its limit.
func readAll(c *cobra.Command, path string) ([]byte, error) {
	r, err := opened(c, path)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	b, err := io.ReadAll(io.LimitReader(r, table.MaxBytes+1))
	if err != nil {
		f := rankwright.Faultf(rankwright.Invalid, "unreadable", "check the file and try again", "the file cannot be read")
		f.Where.File, f.Err = path, err
		return nil, f
	}
	return b, nil
}
