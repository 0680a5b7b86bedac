//go:build race

package acceptancetest_test

import "testing"

// long skips what is long: make test runs it without the race detector.
func long(t *testing.T) {
	t.Helper()
	t.Skip("long, and without goroutines: run without the race detector")
}

// The race detector makes these tests ten times slower and finds nothing in
// code without goroutines: under it a small part of them is run.
const part = 8

// groundSpecies live in real ground.
var groundSpecies = []string{"red"}
