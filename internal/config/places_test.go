package config_test

import (
	"strings"
	"testing"

	"binwatchd/internal/config"
	"binwatchd/internal/farm"
	"github.com/google/go-cmp/cmp"
)

// A bin stands in the place that names it, by its name or by a pattern. Its own
// ambient wins over the place's air, which a template may give.
func TestPlaces(t *testing.T) {
	c := parseAt(t, `
farm: Hillfoot Nursery
broker: {url: "tcp://127.0.0.1:1883"}
journal: {path: /j}
probes:
  "{n}-t": {topic: "shed/{n}", measures: temperature}
  "{site}-air": {topic: "air/{site}", measures: temperature}
bins:
  linden-01: {zones: {all: {aim: living, probes: [l1-t]}}}
  linden-02: {ambient: door-air, zones: {all: {aim: living, probes: [l2-t]}}}
  crate: {zones: {all: {aim: keeping, probes: [crate-t]}}}
  trough: {zones: {all: {aim: living, probes: [trough-t]}}}
places:
  linden: {air: linden-air, bins: "linden-*"}
  store: {bins: [crate]}
`, config.ForRun)
	if len(c.Notes) > 0 {
		t.Errorf("got notes %v", c.Notes)
	}
	want := []farm.Room{{Name: "linden", Air: "linden-air"}, {Name: "store"}}
	if diff := cmp.Diff(want, c.Farm.Rooms); diff != "" {
		t.Errorf("places (-want +got):\n%s", diff)
	}
	var got [][3]string
	for _, b := range c.Farm.Bins {
		got = append(got, [3]string{b.Name, b.Room, b.Ambient})
	}
	bins := [][3]string{
		{"linden-01", "linden", "linden-air"}, {"linden-02", "linden", "door-air"}, {"crate", "store", ""}, {"trough", "", ""},
	}
	if diff := cmp.Diff(bins, got); diff != "" {
		t.Errorf("bins with their place and air (-want +got):\n%s", diff)
	}
	var air []string
	for _, p := range c.Farm.Probes {
		if strings.HasSuffix(p.ID, "-air") {
			air = append(air, p.ID+" "+p.Topic)
		}
	}
	if diff := cmp.Diff([]string{"door-air air/door", "linden-air air/linden"}, air); diff != "" {
		t.Errorf("probes in the air (-want +got):\n%s", diff)
	}
}
