package trend_test

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"binwatchd/internal/trend"
)

func after(gaps ...float64) (times []time.Time) {
	at := time.Date(2026, 1, 5, 9, 0, 0, 0, time.UTC)
	times = append(times, at)
	for _, g := range gaps {
		at = at.Add(time.Duration(g * 24 * float64(time.Hour)))
		times = append(times, at)
	}
	return times
}

// By hand: gaps of 6, 7, 6, 5 days; the middle is 6, ln(7/6) = 0.15415, ln(5/6) =
// −0.18232; s = √((0.02376+0.03324)/3) = 0.13785; Student's t of 0.9 with 3 degrees is
// 1.638 (Abramowitz & Stegun 1964, table 26.10); 1.638 × 0.13785 × √1.25 = 0.25245;
// 6·e^∓0.25245 = 4.661 and 7.723.
func TestRhythmByHand(t *testing.T) {
	r, ok := trend.RhythmOf(after(6, 7, 6, 5))
	day := func(d time.Duration) float64 { return d.Hours() / 24 }
	if !ok || day(r.Every) != 6 || math.Abs(day(r.Early)-4.661) > 0.005 || math.Abs(day(r.Late)-7.723) > 0.005 || r.Was != 0 {
		t.Errorf("got %+v, %v", r, ok)
	}
}

func TestRhythms(t *testing.T) {
	for _, tt := range []struct {
		name  string
		gaps  []float64
		every float64 // days; 0: none
		was   float64
	}{
		{"too few", []float64{6, 6, 6}, 0, 0},
		{"like a clock", []float64{7, 7, 7, 7}, 7, 0},
		{"at whim", []float64{2, 9, 1, 14, 5, 3}, 0, 0},
		{"a holiday in between", []float64{7, 7, 7, 21, 7, 7, 7}, 7, 0},
		{"two holidays", []float64{7, 7, 21, 7, 7, 20, 7}, 0, 0},
		{"a holiday long ago", []float64{21, 7, 7, 7, 7, 7, 7, 7, 7}, 7, 0},
		{"twice as fast of late", []float64{6, 7, 6, 6, 6, 3, 3, 3}, 3, 6},
		{"half as fast of late", []float64{3, 3, 4, 3, 7, 6, 7}, 7, 3},
		{"creeping", []float64{6, 6, 5, 5, 5, 5, 4, 4}, 5, 0},
		{"at one moment", []float64{6, 0, 6, 6, 6}, 0, 0},
	} {
		r, ok := trend.RhythmOf(after(tt.gaps...))
		if ok != (tt.every > 0) || ok && (r.Every.Hours() != 24*tt.every || r.Was.Hours() != 24*tt.was) {
			t.Errorf("%s: got %+v, %v, want every %g days, before every %g", tt.name, r, ok, tt.every, tt.was)
		}
	}
}

// Whatever the gaps, the interval is round the middle, and a day more or less makes no
// other rhythm of an even one.
func TestLawsOfRhythm(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		gaps := rapid.SliceOfN(rapid.Float64Range(0.6, 40), 0, 14).Draw(t, "gaps")
		if r, ok := trend.RhythmOf(after(gaps...)); ok && !(r.Early >= 0 && r.Early < r.Every && r.Every < r.Late && r.Late <= 2*r.Every+12*time.Hour) {
			t.Fatalf("%v: got %+v", gaps, r)
		}
	})
}
