package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/award"
	"rankwright/internal/paper"
)

func printCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "print certificates|guides|runsheets|scoresheets ... -o FILE.pdf",
		Short: "Print documents as PDF",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return used{errors.New("name what to print, such as certificates")}
			}
			return used{fmt.Errorf("%q cannot be printed; certificates and guides can", args[0])}
		},
		RunE: func(*cobra.Command, []string) error { return nil },
	}
	c.AddCommand(printCertificatesCommand(), printGuidesCommand())
	for _, later := range []string{"runsheets", "scoresheets"} {
		c.AddCommand(&cobra.Command{
			Use: later, Short: "Not built yet", DisableFlagParsing: true,
			RunE: func(*cobra.Command, []string) error { return used{fmt.Errorf("printing %s is not built yet", later)} },
		})
	}
	return c
}

func printCertificatesCommand() *cobra.Command {
	var dir, grading, entry, file, sheet string
	c := &cobra.Command{
		Use:   "certificates --data DIR --grading ID [--entry ID] -o FILE.pdf [--paper A4|Letter]",
		Short: "The certificates of a signed grading",
		Long: `The certificates of a signed grading, one page each, in the order in which they
are read out. Where the rank is given now and something is looked at again, the
certificate comes later: it is printed only when asked for by its entry.`,
		RunE: func(c *cobra.Command, _ []string) error {
			opt, err := printedOn(sheet)
			if err != nil {
				return err
			}
			st, a, err := openBase(c.Context(), dir)
			if err != nil {
				return err
			}
			defer st.Close()
			list, err := a.Awards(c.Context(), app.CommandLine(), rankwright.GradingID(grading), rankwright.EntryID(entry))
			if err != nil {
				return gradings(c, a, err)
			}
			var now []app.Award
			for _, x := range list {
				if x.Line.FollowUp == 0 || entry != "" {
					now = append(now, x)
				}
			}
			later := len(list) - len(now)
			if len(now) == 0 {
				return rankwright.Faultf(rankwright.NotFound, "no_awards", "sign the grading first, or look into the rank ledger", "there is no certificate to print")
			}
			school, err := a.School(c.Context())
			if err != nil {
				return err
			}
			var b bytes.Buffer
			if err := paper.WriteCertificates(&b, award.Certificates(school, now), opt); err != nil {
				return err
			}
			if err := os.WriteFile(file, b.Bytes(), 0o600); err != nil {
				return err
			}
			fmt.Fprintf(c.OutOrStdout(), "%s: %s.\n", file, many(len(now), "certificate", "certificates"))
			if later > 0 {
				fmt.Fprintf(c.OutOrStdout(), "%s for what is looked at again; print it with --entry when that is done:\n", many(later, "more waits", "more wait"))
				for _, x := range list {
					if x.Line.FollowUp != 0 {
						fmt.Fprintf(c.OutOrStdout(), "  --entry %s  %s, by %s\n", x.Line.Entry, x.Name, x.Line.FollowUp.Long())
					}
				}
			}
			return nil
		},
	}
	dataFlag(c, &dir)
	f := c.Flags()
	f.StringVar(&grading, "grading", "", "the grading's id, as in the address of its page")
	f.StringVar(&entry, "entry", "", "one entry's id: its certificate alone")
	f.StringVarP(&file, "output", "o", "", "the file to write")
	f.StringVar(&sheet, "paper", "A4", "A4 or Letter")
	needs(c, "data", "grading", "output")
	return c
}

// gradings adds to the fault of an unknown grading which ones there are.
func gradings(c *cobra.Command, a *app.App, err error) error {
	if rankwright.KindOf(err) != rankwright.NotFound {
		return err
	}
	list, lerr := a.Gradings(c.Context(), app.CommandLine())
	if lerr != nil {
		return err
	}
	for _, g := range list {
		if app.State(g.State) == app.Closed {
			fmt.Fprintf(c.ErrOrStderr(), "%s  %s, %s\n", g.ID, g.Title, g.Day.Long())
		}
	}
	return rankwright.Faultf(rankwright.NotFound, "no_grading", "use one of the ids of signed gradings", "there is no such grading")
}
