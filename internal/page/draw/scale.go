package draw

import (
	"math"
	"time"

	"binwatchd/internal/farm"
)

// A scale maps a value to a height in px, the greater the value the higher up.
type scale struct {
	low, high float64
	height    float64
}

// y is the distance of v from the top in px, kept inside the picture.
func (s scale) y(v float64) float64 {
	return min(max(s.raw(v), 0), s.height)
}

// raw is y without the bounds, for lines that a frame cuts off.
func (s scale) raw(v float64) float64 {
	return s.height * (s.high - v) / (s.high - s.low)
}

// airShare is how much of the bands' height is left free past survive, so that
// the ground where harm begins can be seen at all.
const airShare = 0.14

// fit chooses a scale that shows both bands whole, and whatever the curve did
// besides. Without bands the curve alone decides.
func (c Cut) fit() scale {
	low, high := math.Inf(1), math.Inf(-1)
	if !c.Bands.IsZero() {
		b := c.Bands.Survive
		air := max((b.High-b.Low)*airShare, 1)
		low, high = b.Low-air, b.High+air
	}
	if b, ok := c.extent(); ok {
		low, high = min(low, b.Low), max(high, b.High)
	}
	for _, a := range c.Room {
		low, high = min(low, a.Mean), max(high, a.Mean)
	}
	if c.HasLevel {
		low, high = min(low, c.Level-0.5), max(high, c.Level+0.5)
	}
	switch {
	case math.IsInf(low, 0) || math.IsInf(high, 0):
		low, high = 0, 1
	case high-low < 2:
		mid := (high + low) / 2
		low, high = mid-1, mid+1
	case c.Bands.IsZero():
		air := (high - low) * airShare
		low, high = low-air, high+air
	}
	return scale{low: low, high: high, height: float64(c.Height)}
}

// x is the place of t between the picture's edges, 0..1 inside it.
func (c Cut) x(t time.Time) float64 {
	return float64(t.Sub(c.From)) / float64(c.To.Sub(c.From))
}

// within tells whether t lies inside the picture.
func (c Cut) within(t time.Time) bool {
	return !t.Before(c.From) && !t.After(c.To)
}

// A layer is one stretch of ground between two heights, px.
type layer struct{ top, bottom float64 }

// ground gives each kind of ground's layers, from the top down: harm, bear,
// thrive, bear, harm. Those of no height are left out.
func ground(b farm.Bands, s scale) (harm, bear, thrive []layer) {
	edges := []struct {
		kind *[]layer
		from float64
	}{
		{&harm, math.Inf(1)}, {&bear, b.Survive.High}, {&thrive, b.Thrive.High}, {&bear, b.Thrive.Low}, {&harm, b.Survive.Low},
	}
	for i, e := range edges {
		bottom := s.height
		if i+1 < len(edges) {
			bottom = s.y(edges[i+1].from)
		}
		if top := s.y(e.from); bottom-top >= 0.5 {
			*e.kind = append(*e.kind, layer{top, bottom})
		}
	}
	return harm, bear, thrive
}
