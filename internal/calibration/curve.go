// Package calibration makes calibration points for a probe out of samples of
// which the truth is known: weighed wet and dry, marked at a known value, or
// judged by feel. It says what the points are worth.
//
// It is pure: no clock, no file, no probe is asked. The command calibrate and
// the page are its callers; what is done with points in force is package
// ingest's.
//
// Read sample.go for what is known of a sample, curve.go for the line through
// them, worth.go and entry.go for what is said and pasted.
package calibration

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"binwatchd/internal/farm"
	"binwatchd/internal/snippet"
	"binwatchd/internal/trend"
)

// A Curve is the line through the samples, and how well it fits.
type Curve struct {
	Points []farm.Point // by rising Raw, values only rising or only falling

	// Spread is how far samples lie from a curve that does not know them, as a
	// root mean square: from the pooled point that stands for several of them,
	// or, for inner points, from the line between their neighbours. It is NaN
	// where no sample can be spared.
	Spread float64
}

// Fit draws the curve of a quantity through samples, its values rounded as the
// quantity's row says. Where two samples turn back by no more than their own
// errors and what a cheap probe strays by allow, they are pooled
// into one point (Ayer et al. 1955, Ann Math Stat 26:641–647); where they turn
// back further, one of them is mistaken, and the error says which two.
// One sample gives one point, for a probe that needs no more than a shift.
func Fit(samples []Sample, q farm.Quantity) (Curve, error) {
	if len(samples) == 0 {
		return Curve{}, errors.New("there is no sample")
	}
	sorted := slices.Clone(samples)
	slices.SortStableFunc(sorted, func(a, b Sample) int { return cmp.Compare(a.Raw, b.Raw) })
	fitted := monotone(sorted, q.Row().Round)
	if err := mistaken(sorted, fitted, q.Row().Strays); err != nil {
		return Curve{}, err
	}
	c := Curve{Points: pooled(sorted, fitted)}
	c.Spread = rms(apart(sorted, fitted), len(sorted)-len(c.Points))
	if s := neighbourSpread(c.Points); !(s <= c.Spread) && !math.IsNaN(s) { // either may be unknown
		c.Spread = s
	}
	if len(samples) > 1 && len(c.Points) == 1 {
		return Curve{}, errors.New("the samples are all alike: another is needed that is much drier or wetter, colder or warmer")
	}
	return c, nil
}

// monotone is the nearest sequence to the samples' values that only rises or
// only falls, whichever is nearer, rounded.
func monotone(sorted []Sample, per float64) []float64 {
	out := trend.PAVA(sameRaw(sorted))
	down := sameRaw(sorted)
	slices.Reverse(down)
	down = trend.PAVA(down)
	slices.Reverse(down)
	if apart(sorted, down) < apart(sorted, out) {
		out = down
	}
	for i, v := range out {
		out[i] = math.Round(v*per)/per + 0 // no minus zero
	}
	return out
}

// apart is the sum of the squares by which samples differ from a fit.
func apart(sorted []Sample, fitted []float64) (sum float64) {
	for i, s := range sorted {
		sum += (s.Value - fitted[i]) * (s.Value - fitted[i])
	}
	return sum
}

// sameRaw gives each sample the mean of those with its raw number: a probe
// that said the same can't mean several things.
func sameRaw(sorted []Sample) []float64 {
	out := make([]float64, len(sorted))
	for i := 0; i < len(sorted); {
		j, sum := i, 0.0
		for ; j < len(sorted) && sorted[j].Raw == sorted[i].Raw; j++ {
			sum += sorted[j].Value
		}
		for k := i; k < j; k++ {
			out[k] = sum / float64(j-i)
		}
		i = j
	}
	return out
}

// mistaken refuses samples that lie too far from what they were pooled to.
func mistaken(sorted []Sample, fitted []float64, slack float64) error {
	for i, s := range sorted {
		if math.Abs(s.Value-fitted[i]) <= s.Within+slack {
			continue
		}
		other := farthest(sorted, fitted, i)
		return fmt.Errorf("the samples at raw %s (%s) and %s (%s) contradict each other: one of them is mistaken",
			snippet.Number(s.Raw), s.From, snippet.Number(other.Raw), other.From)
	}
	return nil
}

// farthest is the sample of the same pool that lies farthest from sample i.
func farthest(sorted []Sample, fitted []float64, i int) Sample {
	far := sorted[i]
	for j, s := range sorted {
		if fitted[j] == fitted[i] && math.Abs(s.Value-sorted[i].Value) > math.Abs(far.Value-sorted[i].Value) {
			far = s
		}
	}
	return far
}

// pooled makes one point of neighbours with the same fitted value.
func pooled(sorted []Sample, fitted []float64) (points []farm.Point) {
	const rawPer = 1e4 // a mean of raw numbers needs no more decimals
	n := 0
	for i, s := range sorted {
		if i == 0 || fitted[i] != fitted[i-1] {
			points, n = append(points, farm.Point{Value: fitted[i]}), 0
		}
		n++
		p := &points[len(points)-1]
		p.Raw += (s.Raw - p.Raw) / float64(n)
	}
	for i := range points {
		points[i].Raw = math.Round(points[i].Raw*rawPer) / rawPer
	}
	return points
}

// neighbourSpread is how far inner points lie from the line between their
// neighbours: what the curve would have said without them.
func neighbourSpread(points []farm.Point) float64 {
	sum := 0.0
	for i := 1; i < len(points)-1; i++ {
		a, p, b := points[i-1], points[i], points[i+1]
		d := p.Value - (a.Value + (p.Raw-a.Raw)*(b.Value-a.Value)/(b.Raw-a.Raw))
		sum += d * d
	}
	return rms(sum, len(points)-2)
}

func rms(sum float64, n int) float64 {
	if n <= 0 {
		return math.NaN()
	}
	return math.Sqrt(sum / float64(n))
}
