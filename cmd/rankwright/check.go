package main

import (
	"errors"
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"rankwright"
	"rankwright/syllabus"
)

func checkCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "check FILE...",
		Short: "Check syllabus files",
		Long:  "Check syllabus files: every mistake with its line and what would be right, and remarks on what is odd.",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return used{errors.New("name at least one syllabus file")}
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			bad := false
			for _, path := range args {
				s, err := readSyllabus(path)
				if err != nil {
					bad = true
					fmt.Fprintln(c.ErrOrStderr(), err)
					continue
				}
				asks := 0
				for _, k := range s.Ranks {
					asks += len(k.Requirements)
				}
				fmt.Fprintf(c.OutOrStdout(), "%s: %s, %d ranks, %d requirements: sound\n", path, s.Name, len(s.Ranks), asks)
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
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, unreadable(path, err)
	}
	s, err := syllabus.Parse(path, data)
	var fs rankwright.Faults
	if errors.As(err, &fs) {
		return nil, fs
	}
	return s, err
}
