package cause

import (
	"slices"
	"time"

	"binwatchd/internal/farm"
)

// An Air is what is known of the air that bins share.
type Air struct {
	Value float64   // °C
	Limit float64   // °C, that it is past
	Since time.Time // zero: it is not known, or it is not past it
	Usual bool      // it was like that on another of the last days
}

// How far back the past of an air is wanted to judge it by, and in what steps.
const (
	AirPast = 7 * 24 * time.Hour
	AirStep = 10 * time.Minute
)

// AirNow is what is known of the air that a cause lies in; nil when nothing is. past gives what the
// probe in the air around a bin said over AirPast.
func (c *Cause) AirNow(past func(bin string) []farm.Sample) *Air {
	if c.Kind == Quiet || len(c.Facts) == 0 || c.Air == "" {
		return nil
	}
	first := c.Facts[0]
	bin, _ := c.farm.BinByName(first.Bin)
	i := slices.IndexFunc(c.view.Probes, func(p farm.ProbeView) bool {
		return p.ID == bin.Ambient && p.Value != nil && p.Fresh && p.Doubt == ""
	})
	if i < 0 {
		return nil
	}
	air := &Air{Value: *c.view.Probes[i].Value}
	z, _ := c.view.Zone(first.Bin, first.Zone)
	l, samples := z.Level(farm.Temperature), past(bin.Name)
	if l == nil || l.Bands.IsZero() || len(samples) == 0 {
		return air
	}
	air.Limit = l.Bands.Survive.Low
	side := c.Kind.row().Side
	if side == farm.Above {
		air.Limit = l.Bands.Survive.High
	}
	air.Since, _ = AirSince(samples, air.Limit, side)
	air.Usual = Usual(samples, c.view.At, air.Value, side)
	return air
}

// AirSince tells since when air has been past a limit, by what its probe said of late; ok is
// false where it is not, and where it has been for as long as is known.
func AirSince(air []farm.Sample, limit float64, side farm.Side) (since time.Time, ok bool) {
	for _, s := range slices.Backward(air) {
		if within := float64(side)*(s.Mean-limit) <= 0; within {
			return since, !since.IsZero()
		}
		since = s.At
	}
	return time.Time{}, false
}

// Usual tells whether the air has been like that on another of the last days.
func Usual(air []farm.Sample, now time.Time, value float64, side farm.Side) bool {
	const recent, alike = 12 * time.Hour, 2.0 // h, K. A choice, no source.
	return slices.ContainsFunc(air, func(s farm.Sample) bool {
		return now.Sub(s.At) > recent && float64(side)*(s.Mean-value) >= -alike
	})
}
