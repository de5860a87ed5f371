package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"rankwright/internal/app"
)

func linkCommand() *cobra.Command {
	var dir, name string
	c := &cobra.Command{
		Use:   "link --data DIR --name NAME",
		Short: "A new one-time link for somebody who cannot sign in",
		Long: `A new one-time link for somebody who cannot sign in.

Whoever opens it chooses a new password; sessions begun with the old one end.
It works once, within a week, and ends the links made before.`,
		RunE: func(c *cobra.Command, _ []string) error {
			st, a, err := openBase(c.Context(), dir)
			if err != nil {
				return err
			}
			defer st.Close()
			secret, err := a.Relink(c.Context(), app.CommandLine(), name)
			if err != nil {
				return err
			}
			fmt.Fprintf(c.OutOrStdout(), "Open this at the address of the pages, with the path:\n\n  /join/%s\n", secret)
			return nil
		},
	}
	dataFlag(c, &dir)
	c.Flags().StringVar(&name, "name", "", "the name with which they sign in")
	needs(c, "data", "name")
	return c
}
