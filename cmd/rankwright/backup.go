package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"rankwright"
	"rankwright/internal/app"
)

func backupCommand() *cobra.Command {
	var dir, file string
	c := &cobra.Command{
		Use:   "backup --data DIR -o FILE",
		Short: "Copy a school's data into one file",
		Long: `Copy a school's data into one file, also while the pages are being served. Every
mark that was saved before is in it, and so are the pictures and clips of the
guides. The copy is checked before it gets its name.`,
		RunE: func(c *cobra.Command, _ []string) error {
			st, a, err := openBase(c.Context(), dir)
			if err != nil {
				return err
			}
			defer st.Close()
			whole, err := filepath.Abs(file)
			if err != nil {
				return err
			}
			if _, err := os.Stat(filepath.Dir(whole)); err != nil {
				return rankwright.Faultf(rankwright.NotFound, "no_folder", "make it first, or choose another place", "there is no folder %s", filepath.Dir(file))
			}
			if err := st.Backup(c.Context(), whole); err != nil {
				return err
			}
			info, err := os.Stat(file)
			if err != nil {
				return err
			}
			_, lost, err := a.Lost(c.Context(), app.CommandLine())
			if err != nil {
				return err
			}
			fmt.Fprintf(c.OutOrStdout(), "%s: a whole copy of %s, %s, checked.\nIt holds children's data: keep it where nobody else reads it. Bring it back with: rankwright restore --data NEW-FOLDER %s\n",
				file, dir, size(info.Size()), file)
			if len(lost) > 0 {
				fmt.Fprintf(c.OutOrStdout(), "%s not in it, since the file is missing or damaged: rankwright verify --data %s names each.\n", many(len(lost), "picture or clip is", "pictures or clips are"), dir)
			}
			return nil
		},
	}
	dataFlag(c, &dir)
	c.Flags().StringVarP(&file, "output", "o", "", "the file to write")
	needs(c, "data", "output")
	return c
}

// size writes a number of bytes as people read it.
func size(n int64) string {
	if n < 1<<20 {
		return fmt.Sprintf("%d KB", (n+1023)>>10)
	}
	return fmt.Sprintf("%d.%d MB", n>>20, n%(1<<20)*10>>20)
}

// oneFile asks for one argument beside the flags, and says which are missing.
func oneFile(c *cobra.Command, what string, flags ...string) {
	needs(c, flags...)
	flagsOnly := c.Args
	c.Args = func(c *cobra.Command, args []string) error {
		if err := flagsOnly(c, nil); err != nil {
			return err
		}
		if len(args) != 1 {
			return used{errors.New("name " + what)}
		}
		return nil
	}
}
