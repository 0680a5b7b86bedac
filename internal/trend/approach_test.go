package trend_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"binwatchd/internal/trend"
)

// cooled is Newton's law with 20 °C around, 32 °C at the start and 0.1 an hour.
func cooled(hours float64) float64 { return 20 + 12*math.Exp(-0.1*hours) }

// Computed from Newton's law: 27.2784 °C at 5 h, 24.4146 at 10 h, 25 °C at
// 8.7547 h.
func TestApproachOfNewton(t *testing.T) {
	var hours, temps []float64
	for h := -5.0; h <= 0; h += 0.25 {
		hours, temps = append(hours, h), append(temps, cooled(h+5))
	}
	got := trend.ApproachFit(hours, temps, 0.01, 25, day0)
	if math.Abs(got.End-20) > 1 || math.Abs(got.Now-27.2784) > 0.05 {
		t.Errorf("heading for %.2f from %.3f, want 20 from 27.278", got.End, got.Now)
	}
	in := got.Crossing.Crosses.Sub(day0).Hours()
	if math.Abs(in-3.7547) > 0.15 {
		t.Errorf("crosses 25 °C in %.3f h, want 3.755", in)
	}
	if never := trend.ApproachFit(hours, temps, 0.01, 15, day0).Crossing; !never.Never {
		t.Errorf("15 °C lies beyond where it is heading, got %+v", never)
	}
	if past := trend.ApproachFit(hours, temps, 0.01, 30, day0).Crossing; !past.Past {
		t.Errorf("30 °C lies behind, got %+v", past)
	}
}

func TestApproachSaysNothingWithoutData(t *testing.T) {
	flat := []float64{20, 20.1, 20, 19.9, 20, 20.1, 20}
	hours := []float64{-6, -5, -4, -3, -2, -1, 0}
	for name, got := range map[string]trend.Approach{
		"flat":     trend.ApproachFit(hours, flat, 0.1, 25, day0),
		"few":      trend.ApproachFit(hours[:3], flat[:3], 0.1, 25, day0),
		"uneven":   trend.ApproachFit(hours, flat[:6], 0.1, 25, day0),
		"one time": trend.ApproachFit(make([]float64, 7), flat, 0.1, 25, day0),
	} {
		if !got.Crossing.Quiet {
			t.Errorf("%s: got %+v, want quiet", name, got.Crossing)
		}
	}
}

func TestApproachIntervals(t *testing.T) {
	held, told, want := 0, 0, 8.7547
	for seed := range uint64(300) {
		rng := rand.New(rand.NewPCG(seed, 3))
		var hours, temps []float64
		for h := 0.0; h <= 6; h += 0.25 {
			hours, temps = append(hours, h-6), append(temps, cooled(h)+0.15*rng.NormFloat64())
		}
		c := trend.ApproachFit(hours, temps, 0.15, 25, day0).Crossing
		if c.Crosses.IsZero() {
			continue
		}
		told++
		at := day0.Add(time.Duration((want - 6) * float64(time.Hour)))
		if !at.Before(c.Earliest) && !at.After(c.Latest) {
			held++
		}
	}
	if told < 290 {
		t.Errorf("said nothing %d times in 300", 300-told)
	}
	if part := float64(held) / float64(told); part < 0.7 || part > 0.92 {
		t.Errorf("80 %% intervals hold %.0f %%", 100*part)
	}
}
