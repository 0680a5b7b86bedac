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

// quantileSorted interpolates the p-quantile of sorted values, of which there
// is at least one: type 7 of Hyndman & Fan 1996, Am Stat 50:361–365.
func quantileSorted(s []float64, p float64) float64 {
	at := p * float64(len(s)-1)
	i := int(at)
	if i >= len(s)-1 {
		return s[len(s)-1]
	}
	return s[i] + (at-float64(i))*(s[i+1]-s[i])
}

// normalQuantile is Φ⁻¹(p).
func normalQuantile(p float64) float64 { return math.Sqrt2 * math.Erfinv(2*p-1) }
