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

// The bins come in the order of the keeper's path: by name, by pattern, and those that it
// does not name behind, in the file's order. Their own settings go with them.
func TestPath(t *testing.T) {
	const file = `
farm: Hillfoot Nursery
broker: {url: "tcp://127.0.0.1:1883"}
journal: {path: /j}
probes:
  "{n}-t": {topic: "shed/{n}", measures: temperature}
  door-air: {topic: air/door, measures: temperature}
bins:
  crate: {zones: {all: {aim: keeping, probes: [crate-t]}}}
  trough: {ambient: door-air, zones: {all: {aim: living, probes: [trough-t]}}}
  linden-02: {zones: {all: {aim: living, probes: [l2-t]}}}
  linden-01: {zones: {all: {aim: living, probes: [l1-t]}}}
places: {store: {bins: [crate]}}
`
	for _, tt := range []struct{ path, want string }{
		{"", "crate/store trough/door-air linden-02 linden-01"},
		{"path: [trough]\n", "trough/door-air crate/store linden-02 linden-01"},
		{"path: linden-01\n", "linden-01 crate/store trough/door-air linden-02"},
		{"path: [linden-01, \"linden-*\", trough]\n", "linden-01 linden-02 trough/door-air crate/store"},
	} {
		var got []string
		for _, b := range parseAt(t, file+tt.path, config.ForRun).Farm.Bins {
			got = append(got, strings.TrimRight(b.Name+"/"+b.Room+b.Ambient, "/"))
		}
		if strings.Join(got, " ") != tt.want {
			t.Errorf("%q: got %q, want %q", tt.path, got, tt.want)
		}
	}
	for _, tt := range []struct{ path, want string }{
		{"path: [crat]\n", "there is no bin \"crat\": did you mean crate?"},
		{"path: [\"elm-*\"]\n", "no bin is called like \"elm-*\""},
	} {
		if _, err := atDesk.Parse("farm.yaml", []byte(file+tt.path), config.ForRun); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%q: got %v, want %q", tt.path, err, tt.want)
		}
	}
}
