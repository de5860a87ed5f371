package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"rankwright/decide"
	"rankwright/internal/files"
	"rankwright/syllabus"
)

func decideCommand() *cobra.Command {
	var syl, entries, marks, clearances, on string
	var asJSON bool
	c := &cobra.Command{
		Use:   "decide --syllabus FILE --entries FILE --marks FILE [--clearances FILE] [--on DATE] [--json]",
		Short: "Outcomes with reasons, from files",
		Long: `Outcomes with reasons, from files.

A clearance that no row calls met counts as not met, and holds a promotion.
One of the files may be "-" for the standard input.`,
		RunE: func(c *cobra.Command, _ []string) error {
			day, err := dayFlag(on)
			if err != nil {
				return err
			}
			if err := onlyOne(syl, entries, marks, clearances); err != nil {
				return err
			}
			s, err := syllabusFrom(c, syl)
			if err != nil {
				return err
			}
			es, err := readEntries(c, s, entries, marks, clearances)
			if err != nil {
				return err
			}
			ages := 0
			for i := range es.List {
				if es.List[i].Age < 0 {
					ages++
				}
			}
			if ages > 0 && len(s.Bands) > 0 {
				who := "1 entry has no age_on_day"
				if ages > 1 {
					who = fmt.Sprintf("%d entries have no age_on_day", ages)
				}
				fmt.Fprintf(c.ErrOrStderr(), "note: %s; where age bands differ, the strictest expectation is asked\n", who)
			}
			if asJSON {
				docs, err := files.Decide(es, s, day, func(v *decide.Verdict) []byte {
					b, err := json.Marshal(v.Document())
					if err != nil {
						panic(err) // a verdict is plain data
					}
					return b
				})
				if err != nil {
					return err
				}
				return writeJSON(c.OutOrStdout(), docs)
			}
			verdicts, err := files.Decide(es, s, day, func(v *decide.Verdict) decide.Verdict { return *v })
			if err != nil {
				return err
			}
			return writeOutcomes(c.OutOrStdout(), verdicts)
		},
	}
	f := c.Flags()
	f.StringVar(&syl, "syllabus", "", "the syllabus file")
	f.StringVar(&entries, "entries", "", "entries.csv: entry, rank and optionally age_on_day, lead, status, waived, retries")
	f.StringVar(&marks, "marks", "", "marks.csv: entry, requirement, examiner, value, at")
	f.StringVar(&clearances, "clearances", "", "clearances.csv: entry, clearance, met, at")
	f.StringVar(&on, "on", "", "the day of the grading, year-month-day (today where not given)")
	f.BoolVar(&asJSON, "json", false, "write JSON, as docs/formats.md has it")
	needs(c, "syllabus", "entries", "marks")
	return c
}

// onlyOne refuses to read two files from the standard input.
func onlyOne(paths ...string) error {
	n := 0
	for _, p := range paths {
		if p == "-" {
			n++
		}
	}
	if n > 1 {
		return used{errors.New("only one of the files can be the standard input")}
	}
	return nil
}

func readEntries(c *cobra.Command, s *syllabus.Syllabus, entries, marks, clearances string) (*files.Entries, error) {
	r, err := opened(c, entries)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	es, err := files.ReadEntries(named(entries), r, s)
	if err != nil {
		return nil, err
	}
	m, err := opened(c, marks)
	if err != nil {
		return nil, err
	}
	defer m.Close()
	if err := es.ReadMarks(named(marks), m); err != nil {
		return nil, err
	}
	if clearances != "" {
		l, err := opened(c, clearances)
		if err != nil {
			return nil, err
		}
		defer l.Close()
		if err := es.ReadClearances(named(clearances), l, s); err != nil {
			return nil, err
		}
	}
	return es, nil
}

func writeJSON(out io.Writer, list [][]byte) error {
	w := bufio.NewWriterSize(out, 1<<16)
	w.WriteString(`{"entries":[`)
	for i, b := range list {
		if i > 0 {
			w.WriteString(",")
		}
		w.WriteString("\n")
		w.Write(b)
	}
	w.WriteString("\n]}\n")
	return w.Flush()
}

func writeOutcomes(out io.Writer, verdicts []decide.Verdict) error {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "ENTRY\tRANK\tOUTCOME\tTOTAL\tWHY")
	for i := range verdicts {
		v := &verdicts[i]
		outcome := strings.ReplaceAll(v.Outcome.String(), "_", " ")
		if v.Label != "" {
			outcome += " (" + v.Label + ")"
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s/%s %s\t%s\n", v.Entry, v.Rank, outcome, v.Points, v.Of, decide.Tenths(v.Share()), v.Summary())
	}
	return w.Flush()
}
