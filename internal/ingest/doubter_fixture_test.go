package ingest_test

import (
	"fmt"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
)

var spring = time.Date(2026, time.April, 1, 0, 0, 0, 0, time.UTC)

// probe makes a probe that speaks in inner units.
func probe(id string, q farm.Quantity, every time.Duration) farm.Probe {
	unit := farm.Celsius
	if q == farm.Moisture {
		unit = farm.Percent
	}
	return farm.Probe{ID: id, Topic: "hillfoot/" + id, Measures: q, Unit: unit, Every: every}
}

// nursery is a glasshouse with a bed of two zones and a crate in the store.
func nursery(every time.Duration) *farm.Farm {
	temp := func(id string) farm.Probe { return probe(id, farm.Temperature, every) }
	moist := func(id string) farm.Probe { return probe(id, farm.Moisture, every) }
	return &farm.Farm{
		Name: "Hillfoot Nursery", Units: farm.Metric, Location: time.UTC,
		Probes: []farm.Probe{
			temp("air"), temp("bed-top"), temp("bed-deep"), moist("bed-m1"), moist("bed-m2"),
			temp("far-t"), moist("far-m"), temp("crate-t"), moist("crate-m"),
			{ID: "crate-b", Topic: "hillfoot/crate-b", Measures: farm.Battery, Unit: farm.Volt, Every: every},
		},
		Bins: []farm.Bin{
			{Name: "bed", Ambient: "air", Zones: []farm.Zone{
				{Name: "near", Aim: farm.Living, Probes: []string{"bed-top", "bed-deep", "bed-m1", "bed-m2"}},
				{Name: "far", Aim: farm.Sifting, Probes: []string{"far-t", "far-m"}},
			}},
			{Name: "crate", Zones: []farm.Zone{{Name: "all", Aim: farm.Keeping, Probes: []string{"crate-t", "crate-m", "crate-b"}}}},
		},
		Species: []farm.Species{{ID: "red"}},
	}
}

// lone is a farm of one probe without neighbours.
func lone(q farm.Quantity, every time.Duration) *farm.Farm {
	return &farm.Farm{
		Probes: []farm.Probe{probe("p", q, every)},
		Bins:   []farm.Bin{{Name: "bin", Zones: []farm.Zone{{Name: "all", Aim: farm.Living, Probes: []string{"p"}}}}},
	}
}

// a tester judges readings and keeps those that were doubted.
type tester struct {
	*ingest.Doubter
	doubted []farm.Reading
	judged  int
}

func newTester(f *farm.Farm) *tester { return &tester{Doubter: ingest.NewDoubter(f)} }

func (d *tester) say(id string, at time.Time, v float64) farm.Doubt {
	r := farm.Reading{Probe: id, At: at, Raw: v, Value: v}
	d.Judge(&r)
	d.judged++
	if r.Doubt != farm.NoDoubt {
		d.doubted = append(d.doubted, r)
	}
	return r.Doubt
}

// none fails the test for every doubt, telling the first few.
func (d *tester) none(t *testing.T) {
	t.Helper()
	for i, r := range d.doubted {
		if i == 5 {
			t.Errorf("… %d doubts in all of %d readings", len(d.doubted), d.judged)
			return
		}
		t.Errorf("%s of %s at %s: doubted as %s", fmt.Sprint(r.Value), r.Probe, r.At.Format(time.DateTime), r.Doubt)
	}
}
