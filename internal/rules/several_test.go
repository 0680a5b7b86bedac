package rules_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
)

// several is a bed of red worms whose only zone has these probes, beside the
// moisture probe "m" and a thermometer "air" in its room.
func several(q farm.Quantity, ids ...string) *farm.Farm {
	f := nursery(farm.Living, "red")
	zone := []string{"m"}
	if q == farm.Moisture {
		zone = []string{"t"}
	}
	for _, id := range ids {
		f.Probes = append(f.Probes, farm.Probe{ID: id, Measures: q, Every: 10 * time.Minute})
		zone = append(zone, id)
	}
	f.Probes = append(f.Probes, farm.Probe{ID: "air", Measures: farm.Temperature, Every: 10 * time.Minute})
	f.Bins[0].Ambient, f.Bins[0].Zones[0].Probes = "air", zone
	return f
}

// A heap heats in one place first: the probe there foretells it, though the
// middle of the zone's probes never comes near the limit.
func TestHeatIsForetoldByTheProbeThatHeats(t *testing.T) {
	for _, ids := range [][]string{{"near", "far"}, {"far", "near"}, {"far", "deep", "near"}} {
		t.Run(strings.Join(ids, " "), func(t *testing.T) {
			w := watching(several(farm.Temperature, ids...))
			fed := t0.Add(5 * day)
			for at := t0; at.Before(fed.Add(30 * time.Hour)); at = at.Add(10 * time.Minute) {
				if at.Equal(fed) {
					w.jot(at, farm.Jot{What: farm.Fed, Kg: 4, Of: "mash"})
				}
				wave := math.Sin(2 * math.Pi * at.Sub(t0).Hours() / 24)
				w.say("air", at, 18+2*wave)
				for _, id := range ids {
					v := 21 + 0.5*wave
					if h := at.Sub(fed).Hours(); id == "near" && h > 0 {
						v += 17 / (1 + math.Exp(-(h-14)/4)) // an S to 38 °C
					}
					w.say(id, at, v)
				}
			}
			got := w.of(farm.Heating)
			if len(got) == 0 {
				t.Fatal("no heating was told")
			}
			crossed := fed.Add(16 * time.Hour) // 21 + 17/(1+e^-0.5) = 31.6 °C
			if lead := crossed.Sub(got[0].At); lead < 4*time.Hour {
				t.Errorf("told %s before the crossing, want four hours or more", lead)
			}
			if !strings.Contains(got[0].Text, "near says ") {
				t.Errorf("text %q does not name the probe that heats", got[0].Text)
			}
		})
	}
}
