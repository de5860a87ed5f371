package main

import (
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"

	"rankwright"
	"rankwright/syllabus"
)

func checkCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "check FILE...",
		Short: "Check syllabus files, and translations of them",
		Long: `Check syllabus files: every mistake with its line and what would be right, and
remarks on what is odd. Beside the syllabus, a translation of it is checked for
what it lacks and what has changed since. "-" is the standard input.`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return used{errors.New("name at least one syllabus file")}
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			bad := false
			sound := map[rankwright.LadderID]*syllabus.Syllabus{}
			translations := map[string]*syllabus.Translation{}
			var order []string
			for _, path := range args {
				s, t, err := checked(c, path)
				path = named(path)
				switch {
				case err != nil:
					bad = true
					fmt.Fprintln(c.ErrOrStderr(), err)
				case t != nil:
					translations[path] = t
					order = append(order, path)
				default:
					sound[s.Ladder] = s
					asks := 0
					for _, k := range s.Ranks {
						asks += len(k.Requirements)
					}
					fmt.Fprintf(c.OutOrStdout(), "%s: %s, %s, %s: sound\n", path, s.Name, counted(len(s.Ranks), "rank"), counted(asks, "requirement"))
					remarks(c, path, syllabus.Lint(s))
				}
			}
			for _, path := range order {
				t := translations[path]
				fmt.Fprintf(c.OutOrStdout(), "%s: %s, language %s, %s: sound\n", path, t.Ladder, t.Lang, counted(len(t.Entries), "text"))
				if s := sound[t.Ladder]; s != nil {
					remarks(c, path, t.Lint(s))
				} else {
					fmt.Fprintf(c.OutOrStdout(), "%s:1: remark: name the syllabus of the ladder %s beside it to see what is missing\n", path, t.Ladder)
				}
			}
			if bad {
				return errNo
			}
			return nil
		},
	}
}

func remarks(c *cobra.Command, path string, list []syllabus.Remark) {
	for _, r := range list {
		fmt.Fprintf(c.OutOrStdout(), "%s:%d: remark: %s\n", path, r.Line, r.Say)
	}
}

// checked reads a syllabus or a translation, whichever the file says it is.
func checked(c *cobra.Command, path string) (*syllabus.Syllabus, *syllabus.Translation, error) {
	data, err := bytesFrom(c, path)
	if err != nil {
		return nil, nil, err
	}
	if syllabus.IsTranslation(data) {
		t, err := syllabus.ParseTranslation(named(path), data)
		return nil, t, err
	}
	s, err := syllabus.Parse(named(path), data)
	return s, nil, err
}

// bytesFrom reads a file of our own, "-" being the standard input.
func bytesFrom(c *cobra.Command, path string) ([]byte, error) {
	if path == "-" {
		return allOf(named(path), c.InOrStdin())
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, unreadable(path, err)
	}
	defer f.Close()
	return allOf(path, f)
}

// allOf reads one byte more than is allowed, so that the reader refuses what
// is cut.
func allOf(name string, r io.Reader) ([]byte, error) {
	data, err := io.ReadAll(io.LimitReader(r, syllabus.MaxBytes+1))
	if err != nil {
		return nil, unreadable(name, err)
	}
	return data, nil
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
	data, err := allOf(name, r)
	if err != nil {
		return nil, err
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
