//go:build race

package acceptancetest_test

// The race detector makes these tests ten times slower and finds nothing in
// code without goroutines: under it a small part of them is run.
const part = 8

// groundSpecies live in real ground.
var groundSpecies = []string{"red"}
