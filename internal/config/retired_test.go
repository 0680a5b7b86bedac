package config_test

import (
	"slices"
	"testing"
	"time"

	"binwatchd/internal/config"
	"binwatchd/internal/farm"
)

// What is retired leaves its probes to other bins, whether the file still has them or
// not; a zone is retired with its bin, or alone, or on a day of its own.
func TestRetired(t *testing.T) {
	c := parseAt(t, `
farm: Hillfoot Nursery
timezone: Europe/London
broker: {url: "tcp://127.0.0.1:1883"}
journal: {path: /j}
probes:
  "{n}-t": {topic: "shed/{n}", measures: temperature}
  vat-m: {topic: vat, measures: moisture, unit: "%"}
bins:
  oak: {retired: 2026-02-28, zones: {near: {aim: living, probes: [a-t, gone-m]}, far: {aim: living, probes: [b-t], retired: 2026-01-01}}}
  elm: {zones: {near: {aim: living, probes: [a-t, vat-m]}, far: {aim: sifting, probes: [c-t], retired: 2026-03-02}}}
`, config.ForRun)
	if len(c.Notes) > 0 {
		t.Errorf("got notes %v", c.Notes)
	}
	now := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	midnight := time.Date(2026, 2, 28, 0, 0, 0, 0, c.Farm.Location)
	oak, elm := c.Farm.Bins[0], c.Farm.Bins[1]
	if !oak.IsRetired(now) || !oak.IsRetired(midnight) || oak.IsRetired(midnight.Add(-time.Second)) || elm.IsRetired(now.AddDate(0, 1, 0)) {
		t.Errorf("got %+v", c.Farm.Bins)
	}
	if at := c.Farm.ZoneOf("a-t"); at != (farm.Place{Bin: "elm", Zone: "near"}) {
		t.Errorf("a-t stands in %s", at)
	}
	if len(oak.Zones[0].Probes) != 0 || !slices.Equal(oak.Zones[1].Probes, []string{"b-t"}) {
		t.Errorf("oak keeps %v and %v", oak.Zones[0].Probes, oak.Zones[1].Probes)
	}
	used := c.Farm.InUse(now)
	ids := func(f *farm.Farm) (all []string) {
		for _, p := range f.Probes {
			all = append(all, p.ID)
		}
		slices.Sort(all)
		return all
	}
	if len(used.Bins) != 1 || len(used.Bins[0].Zones) != 2 || !slices.Equal(ids(used), []string{"a-t", "c-t", "vat-m"}) {
		t.Errorf("in use are %+v with %v", used.Bins, ids(used))
	}
	if later := c.Farm.InUse(now.AddDate(0, 0, 2)); len(later.Bins[0].Zones) != 1 || !slices.Equal(ids(later), []string{"a-t", "vat-m"}) {
		t.Errorf("in use later are %+v", later.Bins)
	}
	if got := len(ids(&c.Farm)); got != 4 {
		t.Errorf("the farm itself has %d probes", got)
	}
}
