//go:build race

package rules_test

import (
	"flag"
	"os"
	"testing"
)

// The race detector finds nothing in a fold without goroutines and makes its laws ten
// times slower: under it few histories are tried, all of them without it.
func TestMain(m *testing.M) {
	flag.Parse()
	if err := flag.Set("rapid.checks", "8"); err != nil {
		panic(err)
	}
	os.Exit(m.Run())
}
