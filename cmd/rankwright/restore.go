package main

import (
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"rankwright/internal/store"
)

func restoreCommand() *cobra.Command {
	var dir string
	c := &cobra.Command{
		Use:   "restore --data DIR FILE",
		Short: "Bring a school's data back from a backup",
		Long: `Bring a school's data back from a backup, into a folder that is new or empty.
Nothing is ever written over: to go back to a backup, restore it beside what is
there and serve the new folder.`,
		RunE: func(c *cobra.Command, args []string) error {
			from, err := filepath.Abs(args[0])
			if err != nil {
				return err
			}
			if _, err := os.Stat(from); err != nil {
				return unreadable(args[0], err)
			}
			to, err := filepath.Abs(dir)
			if err != nil {
				return err
			}
			if err := store.Restore(c.Context(), from, to); err != nil {
				return err
			}
			fmt.Fprintf(c.OutOrStdout(), "%s is back in %s.\n", args[0], dir)
			return verify(c.Context(), c.OutOrStdout(), dir)
		},
	}
	dataFlag(c, &dir)
	oneFile(c, "one backup to restore", "data")
	return c
}
