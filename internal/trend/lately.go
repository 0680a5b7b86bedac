package trend

import (
	"math"
	"slices"
	"time"
)

const (
	heatDay    = 24.0 // hours looked back
	heatGrid   = 48   // half hours of it
	gapPaces   = 2.6  // a gap of so many paces of the probe is one
	leastGap   = 2.2  // hours; a shorter one never is
	bridged    = 6.8  // hours; a straight line is drawn across a shorter gap: a heap does not turn round within it
	leastSpan  = 3.5  // hours of data that make a trend
	nearest    = 0.45 // hours; spots nearer than that to a moment stand for it
	newestPart = 0.9  // hours whose mean is the newest level
)

// gridHour is which hour from now point i of a half-hourly grid over the last
// day lies at: from −24 to 0.
func gridHour(i int) float64 { return float64(i-heatGrid) / 2 }

// A grid is a course over the last day, point by half hour, the last at now.
type grid [heatGrid + 1]float64

// A past is the last day of a bin, or what there is of it since it was opened,
// thinned to a mean each half hour at its true time.
type past struct {
	spots []spot
	last  spot      // mean over the newest hour that has any
	pace  float64   // hours from one spot to the next, usually
	place []float64 // where each spot lies on a grid
	stick []float64 // what is left at each of a straying at the one before
}

// lately gives the past of a bin. ok is false when it is too short to show a
// trend, or nothing new has come for longer than the probe takes turns.
func (k *Track) lately(now time.Time) (p past, ok bool) {
	from := now.Add(-time.Duration(heatDay * float64(time.Hour)))
	if fresh := time.UnixMilli(k.FreshMS); k.FreshMS != 0 && fresh.After(from) {
		from = fresh
	}
	p.spots = thinnedSpots(k.Tens.spots(from, now))
	n := len(p.spots)
	if n < 3 || p.spots[0].h > -leastSpan {
		return p, false
	}
	p.pace = paceOf(p.spots)
	p.last = meanAround(p.spots, p.spots[n-1].h, newestPart)
	p.place, p.stick = make([]float64, n), make([]float64, n)
	for i, s := range p.spots {
		p.place[i] = min(heatGrid, max(0, heatGrid+2*s.h))
		if i > 0 {
			p.stick[i] = math.Pow(riseStick, 2*(s.h-p.spots[i-1].h))
		}
	}
	return p, -p.spots[n-1].h <= max(leastGap, gapPaces*p.pace)
}

// thinnedSpots joins the spots of each half hour before now to one.
func thinnedSpots(tens []spot) []spot {
	out := tens[:0]
	for i := 0; i < len(tens); {
		half := math.Ceil(tens[i].h * 2)
		h, v, n := 0.0, 0.0, 0.0
		for ; i < len(tens) && math.Ceil(tens[i].h*2) == half; i++ {
			h, v, n = h+tens[i].h, v+tens[i].v, n+1
		}
		out = append(out, spot{h / n, v / n})
	}
	return out
}

// paceOf is the usual distance between the newest spots, hours.
func paceOf(spots []spot) float64 {
	var room [24]float64
	gaps := room[:0]
	for i := max(1, len(spots)-len(room)); i < len(spots); i++ {
		gaps = append(gaps, spots[i].h-spots[i-1].h)
	}
	slices.Sort(gaps)
	return medianSorted(gaps)
}

// meanAround is the mean of the spots at most reach hours from h.
func meanAround(spots []spot, h, reach float64) spot {
	sum, n := spot{}, 0.0
	for i := len(spots) - 1; i >= 0 && spots[i].h >= h-reach; i-- {
		if s := spots[i]; s.h <= h+reach {
			sum, n = spot{sum.h + s.h, sum.v + s.v}, n+1
		}
	}
	return spot{sum.h / n, sum.v / n}
}

// across is the longest gap, in hours, that a straight line is drawn across.
func (p *past) across() float64 { return max(bridged, gapPaces*p.pace) }

// rise gives how much something measured at the spots (v) has changed from so
// many hours before the newest hour until then; NaN where it is not known.
// The means of an hour are compared, or what lies on the straight line between
// two spots of a slower probe.
func (p *past) rise(v []float64, hours float64) float64 {
	own := make([]spot, len(v))
	for i, s := range p.spots {
		own[i] = spot{s.h, v[i]}
	}
	last := meanAround(own, own[len(own)-1].h, newestPart)
	h := last.h - hours
	if before := meanAround(own, h, nearest); !math.IsNaN(before.v) {
		return (last.v - before.v) * hours / (last.h - before.h)
	}
	return last.v - onLine(own, h, p.across())
}

// onLine reads spots at h on the straight line between two of them that lie at
// most gap apart, or NaN.
func onLine(spots []spot, h, gap float64) float64 {
	i, exact := slices.BinarySearchFunc(spots, h, func(s spot, h float64) int {
		switch {
		case s.h < h:
			return -1
		case s.h > h:
			return 1
		}
		return 0
	})
	switch {
	case exact:
		return spots[i].v
	case i == 0 || i == len(spots) || spots[i].h-spots[i-1].h > gap:
		return math.NaN()
	}
	a, b := spots[i-1], spots[i]
	return a.v + (b.v-a.v)*(h-a.h)/(b.h-a.h)
}

// values are what was measured at the spots.
func (p *past) values() []float64 {
	out := make([]float64, len(p.spots))
	for i, s := range p.spots {
		out[i] = s.v
	}
	return out
}

// at reads a grid at a place.
func (g *grid) at(place float64) float64 {
	i := min(int(place), heatGrid-1)
	return g[i] + (place-float64(i))*(g[i+1]-g[i])
}

// lastOf reads a grid around the newest hour of the past.
func (p *past) lastOf(g *grid) float64 { return g.at(min(heatGrid, max(0, heatGrid+2*p.last.h))) }

// hourly gives the course of a fortnight at each whole hour before now, the
// last at now, on straight lines between the hours' means at their true times;
// NaN in a gap longer than some paces of the probe. The newest value stands
// until now, unless it is older than that.
func (k *Track) hourly(now time.Time) []float64 {
	out := make([]float64, trackHours)
	for i := range out {
		out[i] = math.NaN()
	}
	spots := k.Hours.spots(now.Add(-(trackHours+12)*time.Hour), now)
	if len(spots) < 2 {
		return out
	}
	gap := max(leastGap, gapPaces*paceOf(spots))
	across := max(gap, bridged)
	j := 0
	for i := range out {
		h := float64(i - trackHours + 1)
		for j < len(spots) && spots[j].h <= h {
			j++
		}
		switch {
		case j == 0:
		case j == len(spots):
			if h-spots[j-1].h <= gap {
				out[i] = spots[j-1].v
			}
		default:
			if a, b := spots[j-1], spots[j]; b.h-a.h <= across {
				out[i] = a.v + (b.v-a.v)*(h-a.h)/(b.h-a.h)
			}
		}
	}
	return out
}
