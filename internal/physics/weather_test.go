package physics_test

import (
	"math"
	"testing"
	"time"

	"binwatchd/internal/physics"
)

func spring(spells ...physics.Spell) physics.Climate {
	return physics.Climate{
		Dice: physics.Dice(11).Named("spring"), MeanC: 15, SeasonK: 6, SwingK: 6, FrontK: 2, SunWM2: 600, Spells: spells,
	}
}

// The coldest hour lies about sunrise and the warmest in mid-afternoon (common
// practice, no source).
func TestDaysSwing(t *testing.T) {
	c := spring()
	var byHour [24]float64
	for h := range 24 * 300 {
		at := noon.Add(time.Duration(h) * time.Hour)
		byHour[at.Hour()] += c.At(at).TempC / 300
	}
	low, high := 0, 0
	for h, v := range byHour {
		if v < byHour[low] {
			low = h
		}
		if v > byHour[high] {
			high = h
		}
	}
	if low < 3 || low > 7 || high < 14 || high > 17 {
		t.Errorf("coldest at %d h, warmest at %d h", low, high)
	}
	if r := byHour[high] - byHour[low]; r < 5 || r > 12 {
		t.Errorf("mean daily range: got %.1f K", r)
	}
}

func TestSummersAreWarmer(t *testing.T) {
	mean := func(from time.Time) float64 {
		m, _ := moments(24*30, func(i int) float64 { return spring().At(from.Add(time.Duration(i) * time.Hour)).TempC })
		return m
	}
	jan := mean(time.Date(2025, 1, 2, 0, 0, 0, 0, time.UTC))
	jul := mean(time.Date(2025, 7, 2, 0, 0, 0, 0, time.UTC))
	near(t, "July over January", jul-jan, 12, 3)
}

func TestWeatherIsPossible(t *testing.T) {
	c := spring(physics.Spell{From: noon, Lasts: 4 * 24 * time.Hour, Every: 20 * 24 * time.Hour, ByK: -14})
	rained := false
	for i := range 6 * 24 * 200 {
		w := c.At(noon.Add(time.Duration(i) * 10 * time.Minute))
		if !(w.TempC > -25 && w.TempC < 45) || !(w.VapourKPa > 0) || w.VapourKPa > physics.SaturationKPa(w.TempC)+1e-12 {
			t.Fatalf("sample %d: %+v", i, w)
		}
		if w.SunWM2 < 0 || w.SunWM2 > 1000 || w.RainKgM2S < 0 || w.RainKgM2S > 2.01/3600 {
			t.Fatalf("sample %d: %+v", i, w)
		}
		rained = rained || w.RainKgM2S > 0
	}
	if !rained {
		t.Error("no rain in 200 days")
	}
}

func TestSpellsComeAndComeAgain(t *testing.T) {
	s := physics.Spell{From: noon, Lasts: 4 * 24 * time.Hour, Every: 20 * 24 * time.Hour, ByK: -30}
	with, without := spring(s), spring()
	tests := []struct {
		name  string
		after time.Duration
		want  float64
	}{
		{"before", -time.Hour, 0},
		{"in the middle", 48 * time.Hour, -30},
		{"after", 97 * time.Hour, 0},
		{"again", 22 * 24 * time.Hour, -30},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			at := noon.Add(tt.after)
			near(t, "moved by", with.At(at).TempC-without.At(at).TempC, tt.want, 6.1) // a clear sky swings wider
		})
	}
}

// Newton's law of cooling, as for the heap: a room is one body.
func TestRoomCoolsAsNewtonSays(t *testing.T) {
	r := physics.Room{CapacityJK: 3.6e6, LossWK: 100, TempC: 32} // k = 0.1/h
	around := physics.Outside{Air: room(20)}
	for range 5 * 60 {
		r.Step(60, around, false)
	}
	near(t, "after 5 h", r.TempC, 27.2784, 0.01)
	for range 225 {
		r.Step(60, around, false)
	}
	near(t, "after 8 h 45 min", r.TempC, 25, 0.01)
}

func TestHeaterHoldsARoomUntilItFails(t *testing.T) {
	r := physics.Room{CapacityJK: 9e4, LossWK: 3, HeaterW: 80, HeatBelowC: 24.5, HeatUpToC: 25.5, TempC: 25}
	cold := physics.Outside{Air: room(6)}
	low, high := math.Inf(1), math.Inf(-1)
	for range 3 * 1440 {
		v := r.Step(60, cold, false).TempC
		low, high = min(low, v), max(high, v)
	}
	near(t, "lowest", low, 24.5, 0.2)
	near(t, "highest", high, 25.5, 0.2)
	for range 2 * 1440 {
		r.Step(60, cold, true)
	}
	near(t, "after two days without power", r.TempC, 6, 0.2)
}

// Sun through glass warms a room by its power over its loss (steady heat flow).
func TestSunWarmsAndVentsOpen(t *testing.T) {
	warm := func(vent float64) float64 {
		r := physics.Room{CapacityJK: 1e6, LossWK: 100, SunM2: 4, VentC: vent, TempC: 15}
		for range 2 * 1440 {
			r.Step(60, physics.Outside{Air: room(15), SunWM2: 500}, false)
		}
		return r.TempC
	}
	near(t, "closed", warm(0), 15+4*500.0/100, 0.01)
	if v := warm(22); v < 22 || v > 30 {
		t.Errorf("with vents: got %.1f °C", v)
	}
}

func TestRoomAirIsNeverOversaturated(t *testing.T) {
	r := physics.Room{CapacityJK: 1e6, LossWK: 50, DampKPa: 3, TempC: 10}
	near(t, "vapour", r.Air(physics.Outside{Air: room(10)}).VapourKPa, physics.SaturationKPa(10), 1e-12)
}
