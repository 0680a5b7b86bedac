package main

import (
	"context"
	"slices"

	"binwatchd/internal/dashboard"
)

func printDashboard(_ context.Context, c *call) error {
	kind := c.words[0]
	if !slices.Contains(dashboard.Kinds, kind) {
		return misusef("there is no dashboard %q", kind)
	}
	return dashboard.Print(c.out, kind)
}
