//go:build race

package trend_test

// weatherDays is one year of the weather under the race detector: nothing here runs beside
// anything else, and four years would take minutes.
const weatherDays = 366
