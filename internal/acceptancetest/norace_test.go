//go:build !race

package acceptancetest_test

import "testing"

// long lets what is long run beside the others.
func long(t *testing.T) { t.Parallel() }

const part = 1

// groundSpecies live in real ground.
var groundSpecies = []string{"red", "blue"}
