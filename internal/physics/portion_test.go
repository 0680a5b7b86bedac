package physics_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"binwatchd/internal/physics"
)

// 10 kg at 77 % with leaves at 35 %: 6.8 kg of leaves bring the mixture to 60 %
// (Cornell Waste Management Institute, moisture worked example).
func TestMixtureOfFoodAndLeaves(t *testing.T) {
	h := physics.Build(bed, 2.3, 0, 77, 20)
	h.Put(physics.Foodstuff{Dry: 0.65}.Portion(6.8, 20))
	near(t, "moisture", h.Moisture(), 60, 0.05)
}

// 10 kg at 55 % want 5 kg of water to be 70 % (closed form: m(Mt−M)/(1−Mt)).
func TestWaterBringsTheMoistureThatTheFormulaSays(t *testing.T) {
	h := physics.Build(bed, 4.5, 0, 55, 20)
	h.Put(physics.Water(5, 10))
	near(t, "moisture", h.Moisture(), 70, 1e-9)
}

// Mixing keeps heat and mass (first law).
func TestPutAndTakeConserve(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := randomHeap(t)
		energy, water, dry := physics.EnergyJ(h), h.WaterKg(), h.DryKg()
		p := h.Take(rapid.Float64Range(0.01, 0.9).Draw(t, "share"))
		near := func(what string, got, want float64) {
			if math.Abs(got-want) > 1e-9*math.Abs(want) {
				t.Fatalf("%s: got %g, want %g", what, got, want)
			}
		}
		h.Put(p)
		near("energy", physics.EnergyJ(h), energy)
		near("water", h.WaterKg(), water)
		near("dry matter", h.DryKg(), dry)
	})
}
