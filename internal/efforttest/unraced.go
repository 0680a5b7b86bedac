//go:build !race

package efforttest

// Raced tells whether the race detector looks on.
const Raced = false
