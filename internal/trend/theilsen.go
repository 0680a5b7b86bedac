package trend

import (
	"errors"
	"math"
	"slices"
)

// A Slope is a straight trend and how far it may be off.
type Slope struct {
	PerUnit   float64 // median of the pairwise slopes
	Low, High float64 // ends of the confidence interval
	Intercept float64 // median of y less slope times median of t
}

// TheilSen is the median of the slopes between all pairs of points, with Sen's
// confidence interval: Sen 1968, J Am Stat Assoc 63:1379–1389, ties corrected
// as there. Pairs at the same t are dropped. It fails when the lengths differ
// or no two points differ in t. The cost grows with the square of the number
// of points: give it daily or six-hourly means, not readings.
func TheilSen(t, y []float64, confidence float64) (Slope, error) {
	if len(t) != len(y) {
		return Slope{}, errors.New("times and values differ in number")
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
		return Slope{}, errors.New("no two points at different times")
	}
	slices.Sort(slopes)
	s := Slope{PerUnit: medianSorted(slopes)}
	s.Intercept = Median(y) - s.PerUnit*Median(t)
	s.Low, s.High = senInterval(slopes, t, y, confidence)
	return s, nil
}

// senInterval picks the slopes whose ranks bound the confidence interval.
func senInterval(slopes, t, y []float64, confidence float64) (low, high float64) {
	n := float64(len(y))
	variance := (n*(n-1)*(2*n+5) - ties(t) - ties(y)) / 18
	reach := normalQuantile(0.5+confidence/2) * math.Sqrt(max(0, variance))
	pairs := float64(len(slopes))
	lo := int(max(math.RoundToEven((pairs-reach)/2)-1, 0))
	hi := int(min(math.RoundToEven((pairs+reach)/2), pairs-1))
	return slopes[lo], slopes[hi]
}

// ties sums k(k−1)(2k+5) over the groups of k equal values.
func ties(v []float64) float64 {
	sum, k := 0.0, 1.0
	s := slices.Sorted(slices.Values(v))
	for i := 1; i <= len(s); i++ {
		if i < len(s) && s[i] == s[i-1] {
			k++
			continue
		}
		sum += k * (k - 1) * (2*k + 5)
		k = 1
	}
	return sum
}
