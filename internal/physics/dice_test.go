package physics_test

import (
	"math"
	"testing"
	"time"

	"binwatchd/internal/physics"
)

var noon = time.Date(2025, 5, 4, 12, 0, 0, 0, time.UTC)

// moments gives mean and deviation of n values.
func moments(n int, value func(i int) float64) (mean, deviation float64) {
	var sum, squares float64
	for i := range n {
		v := value(i)
		sum += v
		squares += v * v
	}
	mean = sum / float64(n)
	return mean, math.Sqrt(squares/float64(n) - mean*mean)
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: got %g, want %g within %g", what, got, want, within)
	}
}

func TestDiceMoments(t *testing.T) {
	d := physics.Dice(7).Named("moments")
	const n = 40000
	tests := []struct {
		name            string
		value           func(i int) float64
		mean, deviation float64
	}{
		{"uniform", func(i int) float64 { return d.Uniform(int64(i)) }, 0.5, 1 / math.Sqrt(12)},
		{"between", func(i int) float64 { return d.Between(int64(i), -3, 5) }, 1, 8 / math.Sqrt(12)},
		{"normal", func(i int) float64 { return d.Normal(int64(i)) }, 0, 1},
		{"smooth", func(i int) float64 {
			return d.Smooth(noon.Add(time.Duration(i)*37*time.Minute), time.Hour)
		}, 0, 1},
		{"stair", func(i int) float64 {
			return d.Stair(noon.Add(time.Duration(i)*37*time.Minute), time.Hour)
		}, 0, 1},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			mean, deviation := moments(n, tt.value)
			near(t, "mean", mean, tt.mean, 0.05)
			near(t, "deviation", deviation, tt.deviation, 0.05)
		})
	}
}

func TestDiceAreFunctionsOfTheirIndex(t *testing.T) {
	a, b := physics.Dice(1).Named("a"), physics.Dice(1).Named("b")
	forth := []float64{a.Normal(1), a.Normal(2), a.Normal(3)}
	back := []float64{a.Normal(3), a.Normal(2), a.Normal(1)}
	for i := range forth {
		if forth[i] != back[len(back)-1-i] {
			t.Errorf("throw %d: got %g backwards, want %g", i+1, back[len(back)-1-i], forth[i])
		}
	}
	if a.Uniform(1) == b.Uniform(1) || a.Uniform(1) == physics.Dice(2).Named("a").Uniform(1) {
		t.Error("dice of another name or seed threw the same")
	}
}

func TestNamedDiceAreUncorrelated(t *testing.T) {
	a, b := physics.Dice(3).Named("front"), physics.Dice(3).Named("cloud")
	mean, _ := moments(20000, func(i int) float64 { return a.Normal(int64(i)) * b.Normal(int64(i)) })
	near(t, "correlation", mean, 0, 0.03)
}

func TestSmoothHasNoJumps(t *testing.T) {
	d := physics.Dice(5)
	last := d.Smooth(noon, 6*time.Hour)
	for i := 1; i < 3000; i++ {
		v := d.Smooth(noon.Add(time.Duration(i)*time.Minute), 6*time.Hour)
		if math.Abs(v-last) > 0.06 {
			t.Fatalf("minute %d: moved by %g at once", i, v-last)
		}
		last = v
	}
}

func TestStairStandsForHalfAStretchAtLeast(t *testing.T) {
	d := physics.Dice(5)
	last, since, jumps := d.Stair(noon, time.Hour), -1, 0
	for i := 1; i < 6000; i++ {
		v := d.Stair(noon.Add(time.Duration(i)*time.Minute), time.Hour)
		if v == last {
			continue
		}
		if since >= 0 && (i-since < 29 || i-since > 91) {
			t.Fatalf("stood for %d minutes, want 30 to 90", i-since)
		}
		last, since = v, i
		jumps++
	}
	if jumps < 80 {
		t.Errorf("got %d jumps in 100 hours, want about 100", jumps)
	}
}
