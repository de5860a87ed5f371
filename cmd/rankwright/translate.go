package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"rankwright"
	"rankwright/syllabus"
)

func translateCommand() *cobra.Command {
	var path, lang string
	c := &cobra.Command{
		Use:   "translate --syllabus FILE --language TAG [TRANSLATION...]",
		Short: "Write the file in which a syllabus is translated",
		Long: `Write the file in which the texts of a syllabus are translated, to be filled in
with any editor. What earlier translations have is in it, the first named before
the others; a text that has changed since is empty.`,
		RunE: func(c *cobra.Command, args []string) error {
			s, err := syllabusFrom(c, path)
			if err != nil {
				return err
			}
			var list []*syllabus.Translation
			for _, p := range args {
				data, err := bytesFrom(c, p)
				if err != nil {
					return err
				}
				t, err := syllabus.ParseTranslation(named(p), data)
				if err != nil {
					return err
				}
				if t.Lang != lang || t.Ladder != s.Ladder {
					return rankwright.Faultf(rankwright.Invalid, "other_translation", "name a translation of the ladder "+string(s.Ladder)+" into "+lang,
						"%s translates the ladder %s into %s", named(p), t.Ladder, t.Lang)
				}
				list = append(list, t)
			}
			out := s.Untranslated(lang, list...)
			if _, err := syllabus.ParseTranslation("--language", out); err != nil {
				return rankwright.Faultf(rankwright.Invalid, "bad_language", "write its tag, such as es, fr or pt-BR", "--language cannot be %q", lang)
			}
			fmt.Fprintf(c.OutOrStdout(), "%s", out)
			return nil
		},
	}
	c.Flags().StringVar(&path, "syllabus", "", "the syllabus `FILE` that is translated; - is the standard input")
	c.Flags().StringVar(&lang, "language", "", "the `TAG` of the language, such as es")
	needs(c, "syllabus", "language")
	flags := c.Args
	c.Args = func(c *cobra.Command, _ []string) error { return flags(c, nil) } // files may follow
	return c
}
