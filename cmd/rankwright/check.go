package main

import (
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"

	"rankwright/syllabus"
)

func checkCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "check FILE...",
		Short: "Check syllabus files",
		Long: `Check syllabus files: every mistake with its line and what would be right, and
remarks on what is odd. "-" is the standard input.`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return used{errors.New("name at least one syllabus file")}
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			bad := false
			for _, path := range args {
				s, err := syllabusFrom(c, path)
				if err != nil {
					bad = true
					fmt.Fprintln(c.ErrOrStderr(), err)
					continue
				}
				path = named(path)
				asks := 0
				for _, k := range s.Ranks {
					asks += len(k.Requirements)
				}
				fmt.Fprintf(c.OutOrStdout(), "%s: %s, %s, %s: sound\n", path, s.Name, counted(len(s.Ranks), "rank"), counted(asks, "requirement"))
				for _, r := range syllabus.Lint(s) {
					fmt.Fprintf(c.OutOrStdout(), "%s:%d: remark: %s\n", path, r.Line, r.Say)
				}
			}
			if bad {
				return errNo
			}
			return nil
		},
	}
}

func readSyllabus(path string) (*syllabus.Syllabus, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, unreadable(path, err)
	}
	defer f.Close()
	return parseSyllabus(path, f)
}

// syllabusFrom reads a syllabus file, "-" being the standard input.
func syllabusFrom(c *cobra.Command, path string) (*syllabus.Syllabus, error) {
	if path == "-" {
		return parseSyllabus(named(path), c.InOrStdin())
	}
	return readSyllabus(path)
}

func parseSyllabus(name string, r io.Reader) (*syllabus.Syllabus, error) {
	// One byte more than is allowed, so that the reader refuses what is cut.
	data, err := io.ReadAll(io.LimitReader(r, syllabus.MaxBytes+1))
	if err != nil {
		return nil, unreadable(name, err)
	}
	return syllabus.Parse(name, data)
}

// named is how messages name a file.
func named(path string) string {
	if path == "-" {
		return "standard input"
	}
	return path
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
