package main

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"
)

func printCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "print certificates|guides|runsheets|scoresheets ... -o FILE.pdf",
		Short: "Print documents as PDF",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return used{errors.New("name what to print, such as certificates")}
			}
			return used{fmt.Errorf("%q cannot be printed; certificates, guides, runsheets and scoresheets can", args[0])}
		},
		RunE: func(*cobra.Command, []string) error { return nil },
	}
	c.AddCommand(printCertificatesCommand(), printGuidesCommand(), printRunSheetsCommand(), printScoreSheetsCommand())
	return c
}
