// Package efforttest says how much a test tries: what a change must pass on any day,
// less of it where the race detector makes it ten times slower, and all that a person
// asks for with SOAK=1.
package efforttest

import (
	"flag"
	"fmt"
	"os"
	"testing"
)

// Soak tells whether everything is to be tried, however long it takes.
func Soak() bool { return os.Getenv("SOAK") != "" }

// Cases is how many of its cases a test tries: as many as usual, or all of them where
// there is time.
func Cases(usual, all int) int {
	if Soak() {
		return all
	}
	return usual
}

// Long marks a test that takes seconds and starts no goroutine. The race detector
// finds nothing in it; make test runs its package once more without.
func Long(t *testing.T) {
	t.Helper()
	if Raced {
		t.Skip("long, and without goroutines: run without the race detector")
	}
	t.Parallel()
}

// Unraced runs a package of such tests, with its laws.
func Unraced(m *testing.M) {
	if Raced {
		fmt.Println("long, and without goroutines: run without the race detector")
		return
	}
	Laws(m)
}

// Laws runs a package that holds laws against random histories: the same ones each
// time, so that no change fails by what it did not touch, and others under SOAK.
func Laws(m *testing.M) {
	flag.Parse()
	if flag.Lookup("rapid.seed") == nil { // the package has none
		m.Run()
		return
	}
	switch {
	case Soak():
		set("rapid.checks", "1000")
	case Raced:
		set("rapid.checks", "8")
	default:
		set("rapid.checks", "50")
	}
	if !Soak() {
		set("rapid.seed", "1")
	}
	m.Run()
}

// set gives a flag a value unless somebody has given it another.
func set(name, value string) {
	given := false
	flag.Visit(func(f *flag.Flag) { given = given || f.Name == name })
	if given {
		return
	}
	if err := flag.Set(name, value); err != nil {
		panic(err)
	}
}
