//go:build !race

package trend_test

// weatherDays is all four years of the weather; other long tests are shortened
// under the race detector in the same measure.
const weatherDays = 1461
