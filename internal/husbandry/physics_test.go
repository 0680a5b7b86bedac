package husbandry_test

import (
	"math"
	"testing"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

// Butt 1997, Pedobiologia 41:369–374: cocoons of Allolobophora chlorotica took
// 90, 51 and 40 days at 10, 15 and 20 °C; the fitted line was computed.
func TestRateSummationOnChlorotica(t *testing.T) {
	s := farm.Species{
		Temperature: farm.Bands{Thrive: band(10, 20), Survive: band(0, 30)},
		Cardinal:    farm.Cardinal{Best: 20},
		Cocoon:      farm.Cocoon{BaseC: 1.6275, DegreeDays: 720},
	}
	for tempC, fitted := range map[float64]float64{10: 86.0, 15: 53.8, 20: 39.2} {
		near(t, "fitted", husbandry.HatchDueIn(s, 0, tempC), fitted, 0.06)
	}
	for tempC, published := range map[float64]float64{10: 90, 15: 51, 20: 40} {
		near(t, "published", husbandry.HatchDueIn(s, 0, tempC), published, 0.06*published)
	}
}

// D. veneta, 71 d at 15 °C (Viljoen et al. 1992) and 42.1 d at 25 °C (Viljoen,
// Reinecke & Hartman 1991): base and sums computed.
func TestRateSummationOnVeneta(t *testing.T) {
	s := species(t, "european")
	base := (71*15 - 42.1*25) / (71 - 42.1) // of the straight line of rate over temperature
	near(t, "base", s.Cocoon.BaseC, base, 1e-4)
	near(t, "degree-days", s.Cocoon.DegreeDays, 71*(15-base), 0.05)
	near(t, "12 h at each", 1/((husbandry.HatchRate(s, 15)+husbandry.HatchRate(s, 25))/2), 52.86, 0.01)
	part := 10 * husbandry.HatchRate(s, 15)
	near(t, "10 d at 15 then 25 °C", 10+husbandry.HatchDueIn(s, part, 25), 46.17, 0.01)
}

func TestHatchingLimits(t *testing.T) {
	s := species(t, "red")
	near(t, "too cold", husbandry.HatchRate(s, 2), 0, 0)
	near(t, "no faster above thrive", husbandry.HatchRate(s, 31), husbandry.HatchRate(s, 25), 0)
	near(t, "past survive", husbandry.HatchRate(s, 33), 0, 0)
	near(t, "NaN", husbandry.HatchRate(s, math.NaN()), 0, 0)
	near(t, "due", husbandry.HatchDueIn(s, 1.2, 20), 0, 0)
	near(t, "a species without figures", husbandry.HatchRate(farm.Species{}, 20), 0, 0)
	if d := husbandry.HatchDueIn(s, 0, 0); !math.IsInf(d, 1) {
		t.Errorf("in the cold due in %v days, want never", d)
	}
}
