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
	pools := pooled(sorted, fitted)
	c := Curve{Spread: poolSpread(pools)}
	if s := neighbourSpread(pools); !(s <= c.Spread) && !math.IsNaN(s) { // either may be unknown
		c.Spread = s
	}
	for _, p := range pools {
		c.Points = append(c.Points, p.point)
	}
	if len(samples) > 1 && len(c.Points) == 1 {
		return Curve{}, errors.New("the samples are all alike: another is needed that is much drier or wetter, colder or warmer")
	}
	return c, nil
}

// monotone is the nearest sequence to the samples' values that only rises or
// only falls, whichever is nearer, rounded.
func monotone(sorted []Sample, per float64) []float64 {
	up, down := make([]float64, len(sorted)), make([]float64, len(sorted))
	averaged := sameRaw(sorted)
	for i, v := range averaged {
		up[i], down[i] = v, -v
	}
	up, down = trend.PAVA(up), trend.PAVA(down)
	var ssUp, ssDown float64
	for i, v := range averaged {
		ssUp += (v - up[i]) * (v - up[i])
		ssDown += (v + down[i]) * (v + down[i])
	}
	out := up
	if ssDown < ssUp {
		for i := range down {
			out[i] = -down[i]
		}
	}
	for i, v := range out {
		out[i] = math.Round(v*per)/per + 0 // no minus zero
	}
	return out
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

// A pool is the samples that one point stands for.
type pool struct {
	point   farm.Point
	samples []Sample
}

// pooled puts neighbours with the same fitted value together.
func pooled(sorted []Sample, fitted []float64) []pool {
	const rawPer = 1e4 // a mean of raw numbers needs no more decimals
	var pools []pool
	for i, s := range sorted {
		if i == 0 || fitted[i] != fitted[i-1] {
			pools = append(pools, pool{point: farm.Point{Value: fitted[i]}})
		}
		p := &pools[len(pools)-1]
		p.samples = append(p.samples, s)
		p.point.Raw += (s.Raw - p.point.Raw) / float64(len(p.samples))
	}
	for i := range pools {
		pools[i].point.Raw = math.Round(pools[i].point.Raw*rawPer) / rawPer
	}
	return pools
}

// poolSpread is how far samples lie from the point they were pooled to.
func poolSpread(pools []pool) float64 {
	sum, spare := 0.0, 0
	for _, p := range pools {
		for _, s := range p.samples {
			sum += (s.Value - p.point.Value) * (s.Value - p.point.Value)
		}
		spare += len(p.samples) - 1
	}
	return rms(sum, spare)
}

// neighbourSpread is how far inner points lie from the line between their
// neighbours: what the curve would have said without them.
func neighbourSpread(pools []pool) float64 {
	sum := 0.0
	for i := 1; i < len(pools)-1; i++ {
		a, p, b := pools[i-1].point, pools[i].point, pools[i+1].point
		d := p.Value - (a.Value + (p.Raw-a.Raw)*(b.Value-a.Value)/(b.Raw-a.Raw))
		sum += d * d
	}
	return rms(sum, len(pools)-2)
}

func rms(sum float64, n int) float64 {
	if n <= 0 {
		return math.NaN()
	}
	return math.Sqrt(sum / float64(n))
}
