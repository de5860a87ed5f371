package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/syllabus"
)

func verifyCommand() *cobra.Command {
	var dir string
	c := &cobra.Command{
		Use:   "verify --data DIR",
		Short: "Check a school's data and work every outcome out again",
		Long: `Check a school's data: that no page of it is damaged, that no line of the audit
and of the rank ledger was changed or removed, that every signed outcome comes
out of its marks again, to the letter, and that no picture or clip of the guides
is missing or changed.`,
		RunE: func(c *cobra.Command, _ []string) error { return verify(c.Context(), c.OutOrStdout(), dir) },
	}
	dataFlag(c, &dir)
	needs(c, "data")
	return c
}

func verify(ctx context.Context, out io.Writer, dir string) error {
	st, a, err := openBase(ctx, dir)
	if err != nil {
		return err
	}
	defer st.Close()
	if err := st.Check(ctx); err != nil {
		return err
	}
	who := app.CommandLine()
	found, err := a.Verify(ctx, who)
	if err != nil {
		return err
	}
	last, err := a.Audit(ctx, who, 0, 1)
	if err != nil {
		return err
	}
	ledger, err := a.Ledger(ctx, who)
	if err != nil {
		return err
	}
	audit := int64(0)
	if len(last) > 0 {
		audit = last[0].No
	}
	fmt.Fprintf(out, "The data is whole.\n%s of the audit and %s of the rank ledger are unbroken.\n",
		many(int(audit), "line", "lines"), many(len(ledger), "line", "lines"))
	whole, gone, err := a.Lost(ctx, who)
	if err != nil {
		return err
	}
	if whole > 0 {
		fmt.Fprintf(out, "%s in the guides as they were added.\n", many(whole, "file of pictures and clips stands", "files of pictures and clips stand"))
	}
	lost, err := unlisted(ctx, a, ledger)
	if err != nil {
		return err
	}
	outcomes, signed := many(found.Outcomes, "outcome", "outcomes"), many(found.Gradings, "signed grading", "signed gradings")
	if len(found.Differ) == 0 {
		fmt.Fprintf(out, "%s of %s worked out again: all as they were signed.\n", outcomes, signed)
	} else {
		fmt.Fprintf(out, "%s of %s worked out again: %d not as they were signed:\n", outcomes, signed, len(found.Differ))
		listEntries(out, found.Differ)
	}
	if len(lost) > 0 {
		fmt.Fprintf(out, "%s missing from the rank ledger:\n", many(len(lost), "promotion is", "promotions are"))
		listEntries(out, lost)
	}
	if len(gone) > 0 {
		fmt.Fprintf(out, "%s missing or damaged; take it back on the page “Pictures and clips” and add it anew:\n", many(len(gone), "picture or clip is", "pictures or clips are"))
		for _, p := range gone {
			fmt.Fprintf(out, "  ladder %s, %s %s: %s\n", p.Ladder, p.Kind, p.About, p.Alt)
		}
	}
	if len(found.Differ)+len(lost)+len(gone) > 0 {
		return errNo
	}
	return nil
}

// unlisted finds promotions that were signed and have no line in the rank
// ledger: its chain alone does not show that the last lines were taken off.
func unlisted(ctx context.Context, a *app.App, ledger []app.Award) ([]rankwright.EntryID, error) {
	listed := map[rankwright.EntryID]bool{}
	for _, x := range ledger {
		listed[x.Line.Entry] = true
	}
	all, err := a.Gradings(ctx, app.CommandLine())
	if err != nil {
		return nil, err
	}
	var out []rankwright.EntryID
	for _, g := range all {
		if app.State(g.State) != app.Closed {
			continue
		}
		_, outcomes, err := a.Outcomes(ctx, app.CommandLine(), g.ID)
		if err != nil {
			return nil, err
		}
		for i := range outcomes {
			if o := &outcomes[i]; o.Stands() == syllabus.Promoted && !listed[o.Entry.Entry.ID] {
				out = append(out, o.Entry.Entry.ID)
			}
		}
	}
	return out, nil
}

func listEntries(out io.Writer, list []rankwright.EntryID) {
	for _, id := range list {
		fmt.Fprintf(out, "  entry %s\n", id)
	}
}

// many writes a number with its noun.
func many(n int, one, more string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, more)
}
