package trend_test

import (
	"math"
	"testing"
	"time"

	"binwatchd/internal/trend"
)

// A zone that loses 0.05 kg of water per kg dry a day, under a probe that feels
// the day's warmth by two points.
func TestLossPerDay(t *testing.T) {
	const perDay = 0.05
	start := time.Date(2026, 5, 4, 0, 0, 0, 0, time.UTC)
	k := trend.NewTrack()
	ratio := 3.0
	for h := range 10 * 24 {
		at := start.Add(time.Duration(h) * time.Hour)
		k.Add(at, 100*ratio/(1+ratio)+2*math.Sin(2*math.Pi*float64(h)/24))
		got, ok := trend.LossPerDay(&k, at)
		if ok != (h >= 47) {
			t.Fatalf("after %d h it is known: %v", h, ok)
		}
		if h >= 47 && math.Abs(got-perDay) > 0.1*perDay {
			t.Fatalf("after %d h got %.4f a day, want %.4f", h, got, perDay)
		}
		ratio -= perDay / 24
	}
	k.Restart(start.Add(9 * 24 * time.Hour))
	if got, ok := trend.LossPerDay(&k, start.Add(10*24*time.Hour)); ok {
		t.Errorf("got %.4f a day across an opening, want nothing", got)
	}
}
