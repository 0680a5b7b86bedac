package scenariotest_test

import (
	"math"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/scenariotest"
)

func TestEventsComeInOrder(t *testing.T) {
	c := scenariotest.Case{
		Kind: scenariotest.Quiet, Bin: scenariotest.Bed, Room: scenariotest.Shed, Probe: scenariotest.Cheap,
		Seed: 3, Start: start, Days: 10, Ambient: true,
	}
	r := c.Run()
	counts, probes := map[farm.EventKind]int{}, map[string]int{}
	last, first := start, true
	for e := range r.Events(time.Minute) {
		if first && e.Kind != farm.EventStart {
			t.Errorf("begins with %d, want the start", e.Kind)
		}
		first = false
		if e.Arrived.Before(last) {
			t.Fatalf("%+v after %s", e, last)
		}
		last = e.Arrived
		counts[e.Kind]++
		if e.Kind == farm.EventReading {
			probes[e.Reading.Probe]++
			if e.Reading.Doubt != farm.NoDoubt || !e.Reading.At.Equal(e.Arrived) || e.Reading.Value != e.Reading.Raw {
				t.Fatalf("got %+v", e.Reading)
			}
		}
		if e.Kind == farm.EventTick && !e.Arrived.Equal(e.Arrived.Truncate(time.Minute)) {
			t.Fatalf("tick at %s", e.Arrived)
		}
	}
	if counts[farm.EventTick] != 10*1440 || counts[farm.EventStart] != 1 || counts[farm.EventLink] != 1 || counts[farm.EventJot] != len(r.Jots) {
		t.Errorf("got %v by kind, with %d jots", counts, len(r.Jots))
	}
	for _, id := range []string{scenariotest.TempProbe, scenariotest.MoistProbe, scenariotest.AirProbe} {
		if n := probes[id]; n < 1400 || n >= 1440 {
			t.Errorf("%s spoke %d times in ten days, want nearly 1440", id, n)
		}
	}
}

func TestEventsMayBeLeftEarly(t *testing.T) {
	n := 0
	for range scenariotest.Suite(scenariotest.Heating, 1, 1, start)[0].Run().Events(0) {
		if n++; n == 50 {
			break
		}
	}
	if n != 50 {
		t.Errorf("got %d events", n)
	}
}

func TestProbesFollowTheTruthAsFarAsTheyCan(t *testing.T) {
	tests := []struct {
		probe       scenariotest.Probe
		temp, moist float64 // the most that a reading may err by noise
	}{
		{scenariotest.Fine, 0.4, 2.2},
		{scenariotest.Cheap, 1.6, 9},
		{scenariotest.Coarse, 0.9, 4},
	}
	for _, tt := range tests {
		t.Run(string(tt.probe), func(t *testing.T) {
			r := scenariotest.Case{
				Kind: scenariotest.Sifting, Bin: scenariotest.Bed, Room: scenariotest.Glasshouse, Probe: tt.probe,
				Seed: 5, Start: start, Days: 30, Every: 15 * time.Minute,
			}.Run()
			temp, moist := r.Clean(farm.Temperature), r.Clean(farm.Moisture)
			var noisy float64
			for e := range r.Events(0) {
				if e.Kind != farm.EventReading {
					continue
				}
				clean, most := temp, tt.temp
				if e.Reading.Probe == scenariotest.MoistProbe {
					clean, most = moist, tt.moist
				}
				off := math.Abs(e.Reading.Value - clean.At(e.Reading.At))
				noisy = max(noisy, off)
				if off > most {
					t.Fatalf("%s: %.2f is %.2f off", e.Reading.Probe, e.Reading.Value, off)
				}
			}
			if noisy < tt.moist/8 {
				t.Errorf("never off by more than %.2f: no noise", noisy)
			}
		})
	}
}

func TestFarm(t *testing.T) {
	species := []farm.Species{{ID: "red"}}
	tests := []struct {
		kind    scenariotest.Kind
		bin     scenariotest.Bin
		ambient bool
		aim     farm.Aim
		probes  int
	}{
		{scenariotest.Heating, scenariotest.Bed, true, farm.Living, 3},
		{scenariotest.Sifting, scenariotest.Tray, false, farm.Sifting, 2},
		{scenariotest.Quiet, scenariotest.Tub, true, farm.Keeping, 3},
		{scenariotest.Drying, scenariotest.Barrel, false, farm.Living, 2},
	}
	for _, tt := range tests {
		t.Run(string(tt.kind), func(t *testing.T) {
			r := scenariotest.Case{Kind: tt.kind, Bin: tt.bin, Room: scenariotest.Cellar, Ambient: tt.ambient, Start: start, Days: 5}.Run()
			f := r.Farm(species, nil)
			bin := f.Bins[0]
			if bin.Zones[0].Aim != tt.aim || len(f.Probes) != tt.probes || (bin.Ambient != "") != tt.ambient {
				t.Errorf("got aim %s, %d probes, ambient %q", bin.Zones[0].Aim, len(f.Probes), bin.Ambient)
			}
			if (len(bin.Species) == 1) != (tt.aim == farm.Living) {
				t.Errorf("got species %v", bin.Species)
			}
			if density := r.DryKg / bin.VolumeL; density < 0.1 || density > 0.5 {
				t.Errorf("%.0f kg dry in %.0f L", r.DryKg, bin.VolumeL)
			}
		})
	}
}
