package main

import (
	"os"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

// childMark makes a run of the test binary a run of the program.
const childMark = "BINWATCHD_IS_CHILD"

func TestMain(m *testing.M) {
	if os.Getenv(childMark) != "" {
		knowInvented()
		os.Exit(childMain())
	}
	m.Run()
}

// The scripts are sessions at a terminal, and the documentation of what the
// commands print.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{Dir: "testdata/script", Setup: func(e *testscript.Env) error {
		e.Setenv("TZ", "UTC")
		findsProgram(t, e)
		return nil
	}})
}
