package physics_test

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"binwatchd/internal/physics"
)

// bed is a usual worm bed of 170 L.
var bed = physics.Make{
	SurfaceM2: 0.7, OpenKg: 2e-5, LossWK: 6, InnerWK: 9, SkinShare: 0.35, WickKg: 2e-4, HoldsKg: 4.6, BreathW: 120,
}

// sealed lets no vapour out, so that only heat flows.
func sealed(m physics.Make) physics.Make {
	m.OpenKg, m.SurfaceM2 = 0, 0
	return m
}

func room(tempC float64) physics.Air {
	return physics.Air{TempC: tempC, VapourKPa: 0.6 * physics.SaturationKPa(tempC)}
}

func live(h *physics.Heap, d time.Duration, air physics.Air) {
	for range d / time.Minute {
		h.Step(60, air)
	}
}

// Newton's law of cooling: 32 °C in a room of 20 °C with k = 0.1/h is 27.2784 °C
// after 5 h, 24.4146 after 10 h and 25 at 8.7547 h (closed form). The two layers
// are joined well enough to be nearly one body.
func TestHeapCoolsAsNewtonSaysWhenItsLayersAreOne(t *testing.T) {
	m := sealed(bed)
	h := physics.Build(m, 20, 0, 75, 32)
	capacity := h.Core.HeatCapacity() + h.Skin.HeatCapacity()
	h.LossWK = 0.1 / 3600 * capacity
	h.InnerWK = 60 * h.LossWK
	live(h, 5*time.Hour, room(20))
	near(t, "after 5 h", (h.Core.TempC*0.65 + h.Skin.TempC*0.35), 27.2784, 0.05)
	live(h, 5*time.Hour, room(20))
	near(t, "after 10 h", (h.Core.TempC*0.65 + h.Skin.TempC*0.35), 24.4146, 0.05)
	live(h, 400*time.Hour, room(20))
	near(t, "in the end", h.TempC(), 20, 1e-6)
}

// Two bodies in a row have a closed form: with x = core − room and y = skin −
// room, x' = −a(x−y), y' = b(x−y) − cy, whose slow mode decays with the smaller
// root of s² − (a+b+c)s + ac = 0.
func TestHeapCoolsWithTheSlowModeOfItsTwoLayers(t *testing.T) {
	h := physics.Build(sealed(bed), 29, 0, 75, 30)
	a := h.InnerWK / h.Core.HeatCapacity()
	b := h.InnerWK / h.Skin.HeatCapacity()
	c := h.LossWK / h.Skin.HeatCapacity()
	sum := a + b + c
	slow := (sum - math.Sqrt(sum*sum-4*a*c)) / 2
	live(h, 48*time.Hour, room(18)) // the fast mode is long gone
	before := h.TempC() - 18
	live(h, 24*time.Hour, room(18))
	near(t, "decay over a day", math.Log(before/(h.TempC()-18))/86400/slow, 1, 0.01)
}

func randomHeap(t *rapid.T) *physics.Heap {
	m := bed
	m.OpenKg = rapid.Float64Range(0, 6e-5).Draw(t, "open")
	m.LossWK = rapid.Float64Range(0.5, 12).Draw(t, "loss")
	m.BreathW = rapid.SampledFrom([]float64{0, 10, 150}).Draw(t, "breath")
	dry := rapid.Float64Range(2, 50).Draw(t, "dry")
	h := physics.Build(m, dry, dry/4, rapid.Float64Range(15, 88).Draw(t, "moisture"), rapid.Float64Range(0, 45).Draw(t, "temp"))
	grain := physics.Foodstuff{Dry: 0.88, Quick: 0.75, Slow: 0.15}
	h.Put(grain.Portion(rapid.Float64Range(0, dry/8).Draw(t, "fed"), 15))
	return h
}

// Heat, water and dry matter only change by what crosses the wall: first law,
// and C6H12O6 + 6 O2 → 6 CO2 + 6 H2O, by which a kg burned leaves 0.6 kg of water.
func TestStepConservesEnergyWaterAndMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := randomHeap(t)
		energy, water, dry := physics.EnergyJ(h), h.WaterKg(), h.DryKg()
		air := room(rapid.Float64Range(-8, 40).Draw(t, "air"))
		air.RainKgM2S = rapid.Float64Range(0, 6e-4).Draw(t, "rain")
		for range rapid.IntRange(1, 3000).Draw(t, "minutes") {
			f := h.Step(60, air)
			energy -= f.HeatJ
			water += f.RainKg - f.VapourKg - f.DrainKg + 0.6*f.BurnedKg
			dry -= f.BurnedKg
		}
		for _, c := range []struct {
			what      string
			got, want float64
		}{{"energy", physics.EnergyJ(h), energy}, {"water", h.WaterKg(), water}, {"dry matter", h.DryKg(), dry}} {
			if math.Abs(c.got-c.want) > 1e-4*math.Abs(c.want) {
				t.Fatalf("%s: got %g, the ledger says %g", c.what, c.got, c.want)
			}
		}
		if h.FoodKg < 0 || h.MicrobesKg < 0 || h.SlowKg < 0 || h.Skin.WaterKg < 0 || h.Core.WaterKg < 0 {
			t.Fatalf("something ran below nothing: %+v", *h)
		}
		if h.FoodKg+h.SlowKg+h.MicrobesKg > h.DryKg() {
			t.Fatalf("more food and microbes than dry matter: %+v", *h)
		}
	})
}

// A heap in saturated air, neither warmer nor cooler than it, is at rest.
func TestHeapAtRestStaysAtRest(t *testing.T) {
	h := physics.Build(bed, 20, 0, 75, 18)
	h.MicrobesKg = 0
	live(h, 72*time.Hour, physics.Air{TempC: 18, VapourKPa: physics.Activity(3) * physics.SaturationKPa(18)})
	near(t, "temperature", h.TempC(), 18, 1e-6)
	near(t, "moisture", h.Moisture(), 75, 1e-6)
}

// An even source warms the core over the room by its power through both ways
// out in a row: P/Inner + P/Loss (steady heat flow).
func TestSlowBurningWarmsByItsPower(t *testing.T) {
	h := physics.Build(sealed(bed), 29, 6, 75, 18)
	h.InnerWK, h.LossWK = 4, 3
	before := physics.EnergyJ(h)
	live(h, 60*24*time.Hour, room(18))
	f := h.Step(60, room(18))
	watts := f.HeatJ / 60
	near(t, "excess", h.TempC()-18, watts/4+watts/3, 0.02)
	if watts < 1 || watts > 20 {
		t.Errorf("got %.1f W from old bedding, want a few", watts)
	}
	if physics.EnergyJ(h) >= before {
		t.Error("burning bedding did not use it up")
	}
}

func TestDryingSlowsAndEndsAtTheAirsOwn(t *testing.T) {
	m := bed
	m.OpenKg = 6e-5
	h := physics.Build(m, 6, 0, 60, 20)
	air := physics.Air{TempC: 20, VapourKPa: 0.5 * physics.SaturationKPa(20)}
	var days []float64
	for range 120 {
		before := h.WaterKg()
		live(h, 24*time.Hour, air)
		days = append(days, before-h.WaterKg())
	}
	for i := 2; i < len(days); i++ {
		if days[i] > days[i-1]+1e-9 {
			t.Fatalf("day %d lost %.4f kg after %.4f the day before", i, days[i], days[i-1])
		}
	}
	if days[5] < 5*days[60] {
		t.Errorf("lost %.3f kg on day 5 and %.3f on day 60: no falling rate", days[5], days[60])
	}
	if a := physics.Activity(h.Skin.Ratio()); a < 0.5-1e-3 || a > 0.7 {
		t.Errorf("skin's activity in the end: got %.3f, want coming down to the air's 0.5", a)
	}
}

// "Over about 10 gallons a fed heap can reach 40–50 °C in 2–3 days" (Cornell
// Waste Management Institute, Compost Physics).
func TestHeavyFeedHeats(t *testing.T) {
	h := physics.Build(bed, 29, 6, 75, 20)
	h.BreathW = 200
	h.Put(physics.Foodstuff{Dry: 0.88, Quick: 0.75, Slow: 0.15}.Portion(4, 20))
	peak, at := 0.0, time.Duration(0)
	for m := time.Duration(0); m < 6*24*time.Hour; m += time.Minute {
		h.Step(60, room(20))
		if h.TempC() > peak {
			peak, at = h.TempC(), m
		}
	}
	if peak < 40 || peak > 52 {
		t.Errorf("peak: got %.1f °C, want 40 to 50", peak)
	}
	if at < 24*time.Hour || at > 96*time.Hour {
		t.Errorf("peak after %s, want about two to three days", at)
	}
	if h.TempC() > 30 {
		t.Errorf("after six days: got %.1f °C, want cooled down", h.TempC())
	}
}

func TestVigour(t *testing.T) {
	near(t, "at 25 °C", physics.Vigour(25), 1, 1e-12)
	for _, c := range []float64{-5, 2, 52, 60} {
		near(t, "past its ends", physics.Vigour(c), 0, 0)
	}
	top, at := 0.0, 0.0
	for c := 2.0; c < 52; c += 0.1 {
		if v := physics.Vigour(c); v > top {
			top, at = v, c
		}
	}
	near(t, "best temperature", at, 41, 2)
}
