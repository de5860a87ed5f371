package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"rankwright/internal/app"
)

func verifyCommand() *cobra.Command {
	var dir string
	c := &cobra.Command{
		Use:   "verify --data DIR",
		Short: "Check a school's data and work every outcome out again",
		Long: `Check a school's data: that no page of it is damaged, that no line of the audit
and of the rank ledger was changed or removed, and that every signed outcome
comes out of its marks again, to the letter.`,
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
	if len(found.Differ) == 0 {
		fmt.Fprintf(out, "%s of %s worked out again: all as they were signed.\n",
			many(found.Outcomes, "outcome", "outcomes"), many(found.Gradings, "signed grading", "signed gradings"))
		return nil
	}
	fmt.Fprintf(out, "%s of %s worked out again: %d not as they were signed:\n",
		many(found.Outcomes, "outcome", "outcomes"), many(found.Gradings, "signed grading", "signed gradings"), len(found.Differ))
	for _, id := range found.Differ {
		fmt.Fprintf(out, "  entry %s\n", id)
	}
	return errNo
}

// many writes a number with its noun.
func many(n int, one, more string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, more)
}
