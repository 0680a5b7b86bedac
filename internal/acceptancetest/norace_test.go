//go:build !race

package acceptancetest_test

const part = 1
