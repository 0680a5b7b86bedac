//go:build !race

package rehearse_test

const million = 1_000_000
