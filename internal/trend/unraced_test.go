//go:build !race

package trend_test

// weatherDays is all four years of the weather.
const weatherDays = 1461
