//go:build race

package rehearse_test

// million is a tenth of one under the race detector, which makes the test ten
// times slower and finds nothing in code without goroutines.
const million = 100_000
