package main

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"rankwright"
	"rankwright/internal/files"
	"rankwright/internal/paper"
	"rankwright/internal/sheets"
	"rankwright/internal/words"
	"rankwright/roster"
	"rankwright/syllabus"
)

// sheetKind is a kind of sheet that is printed for a rank.
type sheetKind struct {
	use, short, long string
	turn             paper.Turn
	of               func(*syllabus.Syllabus, *syllabus.Rank, sheets.Head, []sheets.Child) []paper.Table
}

func printRunSheetsCommand() *cobra.Command {
	return printSheetsCommand(sheetKind{use: "runsheets", short: "Run sheets: who of each rank is here, what is missing, room for notes",
		long: `Run sheets, one for each rank that somebody is entered for, for whoever leads it
round the stations: who is here, what is still missing, and room for notes.`,
		of: func(_ *syllabus.Syllabus, k *syllabus.Rank, h sheets.Head, list []sheets.Child) []paper.Table {
			return []paper.Table{sheets.Run(k, h, list)}
		}})
}

func printScoreSheetsCommand() *cobra.Command {
	return printSheetsCommand(sheetKind{use: "scoresheets", short: "Score tables to mark by hand: requirements down, children across",
		long: `Score tables to mark by hand, for each rank that somebody is entered for:
requirements down, at most eight children across. What is written into them can
be typed in on the pages with digits and Enter alone.`, turn: paper.Landscape, of: sheets.Scores})
}

func printSheetsCommand(kind sheetKind) *cobra.Command {
	var syl, entries, students, clearances, on, title, school, file, sheet string
	c := &cobra.Command{
		Use:   kind.use + " --syllabus FILE --entries FILE --students FILE [--clearances FILE] [--on DATE] [--title TEXT] [--school NAME] [--paper A4|Letter] -o FILE.pdf",
		Short: kind.short,
		Long: kind.long + `

They are made from files alone: entries.csv says who is entered for which rank,
students.csv how they are called. One of the files may be "-" for the standard
input.`,
		RunE: func(c *cobra.Command, _ []string) error {
			opt, err := printedOn(sheet)
			if err != nil {
				return err
			}
			opt.Turn = kind.turn
			day, err := dayFlag(on)
			if err != nil {
				return err
			}
			if err := onlyOne(syl, entries, students, clearances); err != nil {
				return err
			}
			s, err := syllabusFrom(c, syl)
			if err != nil {
				return err
			}
			es, err := entriesFrom(c, s, entries, clearances)
			if err != nil {
				return err
			}
			names, err := namesFrom(c, s, students, day)
			if err != nil {
				return err
			}
			head := sheets.Head{Title: title, Day: day, School: school, Cautions: strings.Join(words.In(words.English).MatCautions(), " ")}
			var tables []paper.Table
			for i := range s.Ranks {
				list, err := childrenOf(s, &s.Ranks[i], es, names, entries, students)
				if err != nil {
					return err
				}
				if len(list) > 0 {
					tables = append(tables, kind.of(s, &s.Ranks[i], head, list)...)
				}
			}
			if len(tables) == 0 {
				return rankwright.Faultf(rankwright.Invalid, "no_entries", "give at least one row", "%s: nobody is entered", named(entries))
			}
			var b bytes.Buffer
			if err := paper.WriteTables(&b, title, tables, opt); err != nil {
				return err
			}
			if err := os.WriteFile(file, b.Bytes(), 0o600); err != nil {
				return err
			}
			fmt.Fprintf(c.OutOrStdout(), "%s: %s.\n", file, many(len(tables), "sheet", "sheets"))
			return nil
		},
	}
	f := c.Flags()
	f.StringVar(&syl, "syllabus", "", "the syllabus file")
	f.StringVar(&entries, "entries", "", "entries.csv: entry, rank and optionally waived")
	f.StringVar(&students, "students", "", "students.csv: the names of those who are entered")
	f.StringVar(&clearances, "clearances", "", "clearances.csv: what is met is not printed as missing")
	f.StringVar(&on, "on", "", "the day of the grading, year-month-day (today where not given)")
	f.StringVar(&title, "title", "Grading", "what the grading is called")
	f.StringVar(&school, "school", "", "the school's name, for the foot of each page")
	f.StringVarP(&file, "output", "o", "", "the file to write")
	f.StringVar(&sheet, "paper", "A4", "A4 or Letter")
	needs(c, "syllabus", "entries", "students", "output")
	return c
}

// entriesFrom reads entries without their marks.
func entriesFrom(c *cobra.Command, s *syllabus.Syllabus, entries, clearances string) (*files.Entries, error) {
	r, err := opened(c, entries)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	es, err := files.ReadEntries(named(entries), r, s)
	if err != nil || clearances == "" {
		return es, err
	}
	l, err := opened(c, clearances)
	if err != nil {
		return nil, err
	}
	defer l.Close()
	return es, es.ReadClearances(named(clearances), l, s)
}

// namesFrom reads how the students are called. Who is on another ladder is left
// out; what is in doubt about the others' ranks does not matter here.
func namesFrom(c *cobra.Command, s *syllabus.Syllabus, path string, day rankwright.Day) (map[string]roster.Student, error) {
	r, err := opened(c, path)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	data, err := io.ReadAll(r)
	if err != nil {
		return nil, err
	}
	list, rest, err := readStudents(named(path), data, s, roster.Answers{}, day)
	if err != nil {
		return nil, err
	}
	if len(rest.faults) > 0 {
		return nil, rest.faults
	}
	out := map[string]roster.Student{}
	for _, st := range list {
		out[string(st.ID)] = st
	}
	return out, nil
}

// childrenOf are the entries of a rank in their order, with their names.
func childrenOf(s *syllabus.Syllabus, k *syllabus.Rank, es *files.Entries, names map[string]roster.Student, entries, students string) ([]sheets.Child, error) {
	var out []sheets.Child
	for i := range es.List {
		e := &es.List[i]
		if e.Rank.ID != k.ID {
			continue
		}
		st, ok := names[string(e.ID)]
		if !ok {
			return nil, rankwright.Faultf(rankwright.NotFound, "no_name", "add the student's row, or take the entry out", "%s has an entry %s, and %s has no student of that id", named(entries), e.ID, named(students))
		}
		child := sheets.Child{Given: st.GivenName, Family: st.FamilyName, Waived: e.Waived}
		for _, id := range k.Clearances {
			met := false
			for _, m := range e.Met {
				met = met || m == id
			}
			if x := s.Clearance(id); x != nil && !met {
				child.Missing = append(child.Missing, x.Name)
			}
		}
		out = append(out, child)
	}
	return out, nil
}
