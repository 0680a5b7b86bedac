package scenariotest

import (
	"time"

	"binwatchd/internal/farm"
)

// Names in the farm of a case.
const (
	BinName    = "bin"
	ZoneName   = "all"
	TempProbe  = "bin-t"
	MoistProbe = "bin-m"
	AirProbe   = "air"
)

// Farm is the case's farm as a configuration would give it, with the program's
// defaults; species and feeds are the tables in force.
func (r *Run) Farm(species []farm.Species, feeds []farm.Feed) farm.Farm {
	b := farm.Bin{Name: BinName, VolumeL: r.VolumeL, Zones: []farm.Zone{r.zone()}}
	if b.Zones[0].Aim == farm.Living {
		b.Species = []farm.Share{{Species: "red", Fraction: 1}}
		b.WormsKg = r.VolumeL / 60
	}
	f := farm.Farm{
		Name: r.Case.String(), Units: farm.Metric, Location: time.UTC,
		Probes:  []farm.Probe{r.probe(TempProbe, farm.Temperature, farm.Celsius), r.probe(MoistProbe, farm.Moisture, farm.Percent)},
		Species: species, Feeds: feeds,
	}
	if r.Case.Ambient {
		b.Ambient = AirProbe
		f.Probes = append(f.Probes, r.probe(AirProbe, farm.Temperature, farm.Celsius))
	}
	f.Bins = []farm.Bin{b}
	return f
}

func (r *Run) zone() farm.Zone {
	aim := farm.Living
	switch {
	case r.Case.Kind == Sifting:
		aim = farm.Sifting
	case r.Case.Bin == Tub:
		aim = farm.Keeping
	}
	return farm.Zone{
		Name: ZoneName, Aim: aim, Probes: []string{TempProbe, MoistProbe}, Share: 1,
		Patience:  30 * time.Minute,
		Margin:    map[farm.Quantity]float64{farm.Temperature: 0.5, farm.Moisture: 2},
		LookAhead: defaultLookAhead,
	}
}

// defaultLookAhead is the program's.
var defaultLookAhead = farm.LookAhead{Heating: 12 * time.Hour, Cooling: 18 * time.Hour, Warming: 18 * time.Hour, Drying: 7 * 24 * time.Hour}

func (r *Run) probe(id string, q farm.Quantity, u farm.Unit) farm.Probe {
	return farm.Probe{ID: id, Topic: "case/" + id, Measures: q, Unit: u, Every: r.every()}
}

func (r *Run) every() time.Duration {
	if r.Case.Every == 0 {
		return 10 * time.Minute
	}
	return r.Case.Every
}
