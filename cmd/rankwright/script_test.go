package main

import (
	"flag"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

var updateScripts = flag.Bool("update", false, "write what the scripts print into their files")

// TestMain lets the scripts run the program itself, main and all.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"rankwright": main})
}

// Each file of testdata/script is a session at the command line.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{Dir: "testdata/script", UpdateScripts: *updateScripts, RequireExplicitExec: true, RequireUniqueNames: true})
}
