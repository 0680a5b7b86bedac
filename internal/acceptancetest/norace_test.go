//go:build !race

package acceptancetest_test

const part = 1

// groundSpecies live in real ground.
var groundSpecies = []string{"red", "blue"}
