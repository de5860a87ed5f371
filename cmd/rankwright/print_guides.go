package main

import (
	"bytes"
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"rankwright"
	"rankwright/internal/guide"
	"rankwright/internal/paper"
	"rankwright/internal/words"
	"rankwright/syllabus"
)

func printGuidesCommand() *cobra.Command {
	var from, file, sheet, lang, school string
	var ranks, translations []string
	c := &cobra.Command{
		Use:   "guides --syllabus FILE [--rank ID]... [--lang en|es] [--translation FILE]... [--school NAME] [--paper A4|Letter] -o FILE.pdf",
		Short: "The guides of a ladder's ranks for families",
		Long: `The guides of a ladder's ranks for families: what is asked, how much of it is
enough, what comes later, and when the rank is given. They are made from the
syllabus file alone; pictures that the school added are in the guides that its
pages print. "-" is the standard input.`,
		RunE: func(c *cobra.Command, _ []string) error {
			opt, err := printedOn(sheet)
			if err != nil {
				return err
			}
			if !words.Offered(words.Lang(lang)) {
				return used{fmt.Errorf("the language is %s, not %q", offered(), lang)}
			}
			s, err := syllabusFrom(c, from)
			if err != nil {
				return err
			}
			var list []*syllabus.Translation
			for _, path := range translations {
				data, err := bytesFrom(c, path)
				if err != nil {
					return err
				}
				t, err := syllabus.ParseTranslation(named(path), data)
				if err != nil {
					return err
				}
				list = append(list, t)
			}
			s = s.In(list...)
			if len(ranks) == 0 {
				for i := range s.Ranks {
					ranks = append(ranks, string(s.Ranks[i].ID))
				}
			}
			say := words.In(words.Lang(lang))
			var guides []paper.Guide
			for _, id := range ranks {
				x := guide.New(say, s, rankwright.RankID(id), guide.School{Name: school}, nil)
				if x == nil {
					return rankwright.Faultf(rankwright.NotFound, "no_rank", "choose one of "+rankIDs(s), "the ladder %s has no rank %q", s.Ladder, id)
				}
				guides = append(guides, x.Paper(nil))
			}
			title := s.Name
			if len(guides) == 1 {
				title = guides[0].Title
			}
			opt.Lang, opt.PageOf = lang, guide.PageOf(say)
			var b bytes.Buffer
			if err := paper.WriteGuides(&b, title, guides, opt); err != nil {
				return err
			}
			if err := os.WriteFile(file, b.Bytes(), 0o600); err != nil {
				return err
			}
			fmt.Fprintf(c.OutOrStdout(), "%s: %s.\n", file, many(len(guides), "guide", "guides"))
			return nil
		},
	}
	f := c.Flags()
	f.StringVar(&from, "syllabus", "", "the syllabus file")
	f.StringArrayVar(&ranks, "rank", nil, "one rank's id; may be given again, and without it all ranks are printed")
	f.StringVar(&lang, "lang", "en", "the language: en or es")
	f.StringArrayVar(&translations, "translation", nil, "a translation of the syllabus's own texts; may be given again")
	f.StringVar(&school, "school", "", "the school's name, for the foot of each page")
	f.StringVarP(&file, "output", "o", "", "the file to write")
	f.StringVar(&sheet, "paper", "A4", "A4 or Letter")
	needs(c, "syllabus", "output")
	return c
}

func rankIDs(s *syllabus.Syllabus) string {
	var out []string
	for i := range s.Ranks {
		out = append(out, string(s.Ranks[i].ID))
	}
	return strings.Join(out, ", ")
}

// offered lists the languages.
func offered() string {
	var out []string
	for _, l := range words.Langs() {
		out = append(out, string(l))
	}
	return strings.Join(out, " or ")
}

// printedOn reads the size of the paper.
func printedOn(sheet string) (paper.Options, error) {
	opt := paper.Options{Lang: "en"}
	switch strings.ToLower(sheet) {
	case "a4":
	case "letter":
		opt.Paper = paper.Letter
	default:
		return opt, used{fmt.Errorf("the paper is A4 or Letter, not %q", sheet)}
	}
	return opt, nil
}
