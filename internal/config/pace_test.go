package config_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/config"
)

// What a probe speaks too seldom to foretell is said where its pace stands;
// nothing is said of a room's thermometer or of one that is quick enough.
func TestSlowProbesAreNoted(t *testing.T) {
	const bedT, bedM, air = `bed-t: {topic: glass/bed, value: /t, measures: temperature`, `bed-m: {topic: glass/bed, value: /m, measures: moisture`, `air: {topic: glass/air, measures: temperature`
	notes := func(from, to string) (said []string) {
		for _, n := range parseAt(t, replaced(t, from, to), config.ForRun).Notes {
			said = append(said, n.String())
		}
		return said
	}
	want := []string{"/etc/binwatchd/farm.yaml:6:70: a thermometer that speaks every 6h can't foretell heating in time, only tell of it: every 2h would do"}
	if d := cmp.Diff(want, notes(bedT, bedT+", every: 6h")); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
	for _, c := range [][2]string{{bedT, ", every: 2h"}, {bedT, ", every: 10s"}, {bedM, ", every: 6h"}, {air, ", every: 6h"}} {
		if got := notes(c[0], c[0]+c[1]); got != nil {
			t.Errorf("%s%s: got notes %v, want none", c[0], c[1], got)
		}
	}
	if got := notes(bedM, bedM+", every: 2d"); len(got) != 1 {
		t.Errorf("moisture every two days: got notes %v, want one", got)
	}
}
