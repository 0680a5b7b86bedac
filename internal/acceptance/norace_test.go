//go:build !race

package acceptance_test

const part = 1
