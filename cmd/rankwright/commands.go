package main

import "github.com/spf13/cobra"

// commands lists every command; docs/formats.md describes them, and a test
// compares the two.
func commands() []*cobra.Command {
	return []*cobra.Command{demoCommand(), serveCommand(), checkCommand(), importCommand(), eligibleCommand(), decideCommand(),
		printCommand(), backupCommand(), restoreCommand(), verifyCommand(), linkCommand(), mailCommand(), timetableCommand(), translateCommand()}
}
