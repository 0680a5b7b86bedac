package main_test

import (
	"fmt"
	"math"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

// glasshouse has pairs of probes, a temperature and a moisture in a zone of its
// own, and a battery.
func glasshouse(probes int) *farm.Farm {
	f := &farm.Farm{Name: "Hillfoot Nursery", Units: farm.Metric, Location: time.UTC, Species: husbandry.Species(), Feeds: husbandry.Feeds()}
	for i := range probes / 2 {
		t, m := fmt.Sprintf("t%d", i), fmt.Sprintf("m%d", i)
		f.Probes = append(f.Probes,
			farm.Probe{ID: t, Topic: "glass/" + t, Measures: farm.Temperature, Unit: farm.Celsius, Every: time.Minute},
			farm.Probe{ID: m, Topic: "glass/" + m, Measures: farm.Moisture, Unit: farm.Percent, Every: time.Minute})
		f.Bins = append(f.Bins, farm.Bin{Name: fmt.Sprintf("bed%d", i), Species: []farm.Share{{Species: "red", Fraction: 1}}, VolumeL: 100,
			Zones: []farm.Zone{{Name: "all", Aim: farm.Living, Probes: []string{t, m}, Share: 1, Patience: 30 * time.Minute,
				Margin: map[farm.Quantity]float64{farm.Temperature: 0.5, farm.Moisture: 2}, LookAhead: farm.LookAhead{Heating: 12 * time.Hour, Drying: 7 * 24 * time.Hour}}}})
	}
	f.Probes = append(f.Probes, farm.Probe{ID: "battery", Topic: "glass/battery", Measures: farm.Battery, Unit: farm.Volt, Every: time.Minute, Low: 3.3, Of: []string{"t0"}})
	return f
}

// says is what a probe publishes for the nth time, a minute after the time
// before: days that warm and cool a bin, which dries a little with each, all
// inside its bands, with the noise and the steps that probes have.
func says(p farm.Probe, n int) string {
	day := float64(n) / (24 * 60)
	sun := math.Sin(2 * math.Pi * day)
	noise := math.Mod(float64(n)*math.Phi, 1) - 0.5
	if p.Measures == farm.Moisture {
		return fmt.Sprintf("%.1f", 75.5+2.5*math.Cos(2*math.Pi*day/28)+0.3*sun+0.4*noise)
	}
	return fmt.Sprintf("%.2f", math.Round(16*(20+2*sun+0.1*noise))/16)
}
