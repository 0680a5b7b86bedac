package trend

import (
	"math"
	"slices"
)

// madToSD turns a median absolute deviation into the standard deviation of a
// normal distribution: 1/Φ⁻¹(¾), as in R's mad.
const madToSD = 1.482602218505602

// Median is the middle of the values, or the mean of the middle two; NaN when
// there are none.
func Median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	return medianSorted(slices.Sorted(slices.Values(v)))
}

// medianSorted is the median of values already sorted; there is at least one.
func medianSorted(s []float64) float64 {
	n := len(s)
	if n%2 == 1 {
		return s[n/2]
	}
	return (s[n/2-1] + s[n/2]) / 2
}

// MAD is the median absolute deviation from the median, scaled to the standard
// deviation of a normal distribution: Rousseeuw & Croux 1993, J Am Stat Assoc
// 88:1273–1283. It is 0 on quantised flat data, so a caller floors it at one
// step of the probe; NaN when there are no values.
func MAD(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	dev := slices.Sorted(slices.Values(v))
	m := medianSorted(dev)
	for i, x := range dev {
		dev[i] = math.Abs(x - m)
	}
	slices.Sort(dev)
	return madToSD * medianSorted(dev)
}

// normalQuantile is Φ⁻¹(p).
func normalQuantile(p float64) float64 { return math.Sqrt2 * math.Erfinv(2*p-1) }

// A Line is a straight trend.
type Line struct {
	PerUnit   float64 // median of the pairwise slopes
	Intercept float64 // median of y less slope times median of t
}

// TheilSen draws the line whose slope is the median of the slopes between all
// pairs of points: Sen 1968, J Am Stat Assoc 63:1379–1389. Pairs at the same t
// are dropped. ok is false when the lengths differ or no two points differ in
// t. The cost grows with the square of the number of points: give it daily or
// six-hourly means, not readings.
func TheilSen(t, y []float64) (l Line, ok bool) {
	if len(t) != len(y) {
		return Line{}, false
	}
	slopes := make([]float64, 0, len(t)*(len(t)-1)/2)
	for i := range t {
		for j := range i {
			if t[i] != t[j] {
				slopes = append(slopes, (y[i]-y[j])/(t[i]-t[j]))
			}
		}
	}
	if len(slopes) == 0 {
		return Line{}, false
	}
	slices.Sort(slopes)
	l.PerUnit = medianSorted(slopes)
	l.Intercept = Median(y) - l.PerUnit*Median(t)
	return l, true
}

// between reads v at a broken place, straight between its values.
func between(v []float64, place float64) float64 {
	i := int(math.Floor(place))
	switch {
	case place <= 0:
		return v[0]
	case i >= len(v)-1:
		return v[len(v)-1]
	}
	return v[i] + (place-float64(i))*(v[i+1]-v[i])
}

// meanOf is the mean of the values that are numbers, or NaN.
func meanOf(v []float64) float64 {
	sum, n := 0.0, 0.0
	for _, x := range v {
		if !math.IsNaN(x) {
			sum, n = sum+x, n+1
		}
	}
	return sum / n
}

// count is how many of the values are numbers.
func count(v []float64) (n int) {
	for _, x := range v {
		if !math.IsNaN(x) {
			n++
		}
	}
	return n
}

// unknown makes n values of which none is known: all NaN.
func unknown(n int) []float64 { return slices.Repeat([]float64{math.NaN()}, n) }

// PAVA is the non-decreasing sequence nearest to y in least squares, by
// pooling adjacent violators: Ayer et al. 1955, Ann Math Stat 26:641–647. For
// a non-increasing one negate y before and after.
func PAVA(y []float64) []float64 {
	type pool struct {
		sum, n float64
	}
	var pools []pool
	for _, v := range y {
		pools = append(pools, pool{v, 1})
		for k := len(pools) - 1; k > 0 && pools[k-1].sum/pools[k-1].n > pools[k].sum/pools[k].n; k-- {
			pools[k-1].sum += pools[k].sum
			pools[k-1].n += pools[k].n
			pools = pools[:k]
		}
	}
	out := make([]float64, 0, len(y))
	for _, p := range pools {
		for range int(p.n) {
			out = append(out, p.sum/p.n)
		}
	}
	return out
}
