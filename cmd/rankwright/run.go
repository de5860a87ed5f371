package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/spf13/cobra"

	"rankwright"
)

// The exit statuses of every command.
const (
	done     = 0
	answerNo = 1 // the answer is "no", or problems were found
	wrongUse = 2
)

// errNo ends a command with status 1 after it has said all there is to say.
var errNo = errors.New("no")

// used marks an error of wrong use.
type used struct{ error }

func run(ctx context.Context, args []string, in io.Reader, out, errs io.Writer) int {
	root := &cobra.Command{
		Use:           "rankwright",
		Short:         "Run a rank examination for a martial arts school",
		Long:          "Run a rank examination for a martial arts school.\n\nStart with: rankwright demo",
		SilenceErrors: true,
		SilenceUsage:  true,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return used{fmt.Errorf("there is no command %q", args[0])}
			}
			return nil
		},
		RunE: func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	root.SetArgs(args)
	root.SetIn(in)
	root.SetOut(out)
	root.SetErr(errs)
	root.CompletionOptions.HiddenDefaultCmd = true
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return used{err} })
	root.AddCommand(commands()...)
	c, err := root.ExecuteContextC(ctx)
	if err == nil {
		return done
	}
	var wrong used
	var fault *rankwright.Fault
	var faults rankwright.Faults
	switch {
	case errors.Is(err, errNo):
	case errors.As(err, &wrong):
		fmt.Fprintf(errs, "rankwright: %v\nsee: %s --help\n", wrong.error, c.CommandPath())
		return wrongUse
	case errors.As(err, &faults):
		fmt.Fprintln(errs, faults.Error())
	case errors.As(err, &fault):
		fmt.Fprintln(errs, fault.Error())
		if fault.Err != nil {
			fmt.Fprintf(errs, "  cause: %v\n", fault.Err)
		}
	default:
		fmt.Fprintf(errs, "rankwright: %v\n", err)
	}
	return answerNo
}

// needs marks a flag as required, with our own words.
func needs(c *cobra.Command, flags ...string) {
	c.Args = func(_ *cobra.Command, args []string) error {
		if len(args) > 0 {
			return used{fmt.Errorf("%q is not expected here", args[0])}
		}
		for _, f := range flags {
			if !c.Flags().Changed(f) {
				return used{fmt.Errorf("--%s is needed", f)}
			}
		}
		return nil
	}
}

// opened opens a file for reading, "-" being the standard input.
func opened(c *cobra.Command, path string) (io.ReadCloser, error) {
	if path == "-" {
		return io.NopCloser(c.InOrStdin()), nil
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, unreadable(path, err)
	}
	return f, nil
}

func unreadable(path string, err error) error {
	f := rankwright.Faultf(rankwright.NotFound, "unreadable", "check the name and that you may read it", "the file cannot be opened")
	f.Where.File, f.Err = path, err
	return f
}

// dayFlag reads a date, today in the local zone where none is given.
func dayFlag(s string) (rankwright.Day, error) {
	if s == "" {
		y, m, d := time.Now().Date()
		return rankwright.NewDay(y, m, d), nil
	}
	day, err := rankwright.ParseDay(s)
	if err != nil {
		return 0, used{err}
	}
	return day, nil
}
