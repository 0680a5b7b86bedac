package trend_test

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"

	"binwatchd/internal/trend"
)

var near = cmpopts.EquateApprox(0, 1e-9)

// Sen 1968, J Am Stat Assoc 63:1379–1389, the example as SciPy's own test of
// theilslopes has it: slope 4.
func TestTheilSenOfSen(t *testing.T) {
	x := []float64{1, 2, 3, 4, 10, 12, 18}
	y := []float64{9, 15, 19, 20, 45, 55, 78}
	got, ok := trend.TheilSen(x, y)
	if d := cmp.Diff(trend.Line{PerUnit: 4, Intercept: 4}, got, near); d != "" || !ok {
		t.Errorf("%v\n%s", ok, d)
	}
}

func TestTheilSenDropsRepeatedTimes(t *testing.T) {
	got, ok := trend.TheilSen([]float64{0, 0, 1, 2}, []float64{0, 5, 1, 2})
	if !ok || got.PerUnit != 1 { // slopes 1, −4, 1, −1.5, 1
		t.Errorf("got %+v, %v; want slope 1", got, ok)
	}
	for name, bad := range map[string][2][]float64{
		"one point":      {{1}, {2}},
		"one time":       {{1, 1, 1}, {2, 3, 4}},
		"uneven lengths": {{1, 2}, {1}},
	} {
		if l, ok := trend.TheilSen(bad[0], bad[1]); ok {
			t.Errorf("%s: got %+v, want none", name, l)
		}
	}
}

// NIST Statistical Reference Datasets, linear regression, Norris (Norris, J.,
// NIST, calibration of ozone monitors). The data are copied from SciPy's own
// test of linregress; that least squares on them gives the certified values
// shows that the copy is true.
var norrisX = []float64{
	0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4,
	0.6, 775.5, 666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3,
	0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5,
}

var norrisY = []float64{
	0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3,
	0.1, 778.1, 668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3,
	0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2,
}

func TestTheilSenOfNorris(t *testing.T) {
	intercept, slope := stat.LinearRegression(norrisX, norrisY, nil, false)
	if math.Abs(slope-1.00211681802045) > 1e-13 || math.Abs(intercept+0.262323073774029) > 1e-10 {
		t.Fatalf("least squares %v, %v: not NIST's data", slope, intercept)
	}
	got, ok := trend.TheilSen(norrisX, norrisY)
	if !ok || math.Abs(got.PerUnit-1.0021968) > 5e-8 { // computed
		t.Errorf("got %v, %v; want 1.0021968", got.PerUnit, ok)
	}
	if math.Abs(got.PerUnit-slope) > 2e-4 {
		t.Errorf("got %v, far from the certified slope", got.PerUnit)
	}
}

// Law: shifting y moves nothing but the intercept; scaling scales. Whole
// numbers and powers of two, so that rounding makes no ties.
func TestTheilSenFollowsShiftAndScale(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		whole := rapid.SliceOfN(rapid.IntRange(-50, 50), 3, 20).Draw(t, "y")
		y := make([]float64, len(whole))
		x := make([]float64, len(y))
		moved := make([]float64, len(y))
		shift := float64(rapid.IntRange(-9, 9).Draw(t, "shift"))
		scale := rapid.SampledFrom([]float64{0.25, 0.5, 2, 8}).Draw(t, "scale")
		for i := range y {
			x[i], y[i] = float64(i), float64(whole[i])
			moved[i] = shift + scale*y[i]
		}
		a, _ := trend.TheilSen(x, y)
		b, _ := trend.TheilSen(x, moved)
		want := trend.Line{PerUnit: scale * a.PerUnit, Intercept: shift + scale*a.Intercept}
		if d := cmp.Diff(want, b, cmpopts.EquateApprox(1e-9, 1e-7)); d != "" {
			t.Fatal(d)
		}
	})
}

func TestMedianAndMAD(t *testing.T) {
	oneToNine := []float64{9, 1, 8, 2, 7, 3, 6, 4, 5}
	if got := trend.MAD(oneToNine); math.Abs(got-2.9652) > 5e-5 { // R manual, mad
		t.Errorf("mad(1..9) = %v, want 2.9652", got)
	}
	if got := trend.Median(oneToNine); got != 5 {
		t.Errorf("median %v", got)
	}
	if got := trend.MAD([]float64{20, 20, 20, 21}); got != 0 {
		t.Errorf("flat: %v", got)
	}
	if !math.IsNaN(trend.Median(nil)) || !math.IsNaN(trend.MAD(nil)) {
		t.Error("of nothing: want NaN")
	}
}

// scikit-learn's own test of isotonic regression.
func TestPAVA(t *testing.T) {
	got := trend.PAVA([]float64{3, 7, 5, 9, 8, 7, 10})
	if d := cmp.Diff([]float64{3, 6, 6, 8, 8, 8, 10}, got, near); d != "" {
		t.Error(d)
	}
	if got := trend.PAVA(nil); len(got) != 0 {
		t.Errorf("of nothing: %v", got)
	}
}

// Laws: the result never falls, keeps the mean, and is its own result.
func TestPAVALaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		y := rapid.SliceOfN(rapid.Float64Range(-100, 100), 1, 40).Draw(t, "y")
		got := trend.PAVA(y)
		for i := 1; i < len(got); i++ {
			if got[i] < got[i-1] {
				t.Fatalf("falls at %d: %v", i, got)
			}
		}
		if d := stat.Mean(got, nil) - stat.Mean(y, nil); math.Abs(d) > 1e-9 {
			t.Fatalf("the mean moved by %v", d)
		}
		if d := cmp.Diff(got, trend.PAVA(got), cmpopts.EquateApprox(0, 1e-9)); d != "" {
			t.Fatal(d)
		}
	})
}
