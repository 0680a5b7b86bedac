package trend

import (
	"math"
	"slices"
	"time"
)

// A room is what a bin's temperature would be without heat of its own: over
// the last day in half hours, and ahead.
type room struct {
	past  grid                   // °C, to a constant when byAir is false
	ahead [heatAhead + 1]float64 // the same, by hours from now
	sd12  float64                // how far 12 hours ahead may be off, K
	byAir bool                   // from the air's own probe

	usualExcess float64 // what the excess is on a quiet day, K
	noise       float64 // how far it strays from that, K

	own  []float64 // hourly excess of the bin over a fortnight, ending now; its temperature when byAir is false
	when calendar
}

// roomOf learns the room from the air where its probe speaks, else from the
// bin's earlier days.
func roomOf(bin, air *Track, p *past, now time.Time) room {
	hours := bin.hourly(now)
	if air != nil {
		if r, ok := roomByAir(hours, air, bin, now); ok {
			r.when = bin.calendar(now, stirsSeen)
			return r
		}
	}
	r := roomByDays(hours, p)
	r.when = bin.calendar(now, stirs)
	return r
}

// excess is what the bin is warmer than the room would make it, at each spot.
func (r *room) excess(p *past) []float64 {
	own := make([]float64, len(p.spots))
	for i, s := range p.spots {
		own[i] = s.v - r.past.at(p.place[i])
	}
	return own
}

// timeConstants tried for the lag of a bin behind its room, h.
var timeConstants = [...]float64{0.7, 2, 4, 7, 12, 20, 35, 60}

// lagged is a first-order body in the air, hour by hour.
func lagged(air []float64, hours float64) []float64 {
	out := make([]float64, len(air))
	part := 1 - math.Exp(-1/hours)
	at := Median(air[:min(24, len(air))])
	for i, a := range air {
		at += part * (a - at)
		out[i] = at
	}
	return out
}

// roomByAir fits the lag, gain and offset of the bin to the air of the last
// fortnight. ok is false when the air's probe does not speak now or has not
// long enough together with the bin's.
func roomByAir(bin []float64, airTrack, binTrack *Track, now time.Time) (room, bool) {
	air := airTrack.hourly(now)
	speaks := !math.IsNaN(air[len(air)-1])
	air, known := held(air)
	first := len(air) - known
	quiet := quietHours(bin, first, binTrack.freshFor(now))
	if known < 12 || !speaks || len(quiet) < 8 {
		return room{}, false
	}
	var best lag
	best.miss = math.Inf(1)
	for _, h := range timeConstants {
		if l := fitLag(bin, lagged(air[first:], h), first, h, quiet); l.miss < best.miss {
			best = l
		}
	}
	return best.room(bin, air, first, quiet), true
}

// held fills gaps with the last value before them; known counts the hours from
// the first value on.
func held(v []float64) (filled []float64, known int) {
	first := slices.IndexFunc(v, func(x float64) bool { return !math.IsNaN(x) })
	if first < 0 {
		return v, 0
	}
	for i := first + 1; i < len(v); i++ {
		if math.IsNaN(v[i]) {
			v[i] = v[i-1]
		}
	}
	return v, len(v) - first
}

// quietHours lists the hours fit to learn the room from: not those since the
// bin was opened, nor the last four days when nothing was jotted, for what
// heats now may have begun then. Where too few others are known less is left
// out, down to the last six hours. Of many every second one is enough.
func quietHours(bin []float64, first int, opened time.Duration) (hours []int) {
	n := len(bin)
	most := int(min(96, max(12, math.Ceil(opened.Hours()))))
	for _, left := range [...]int{most, 24, 12, 6} {
		hours = hours[:0]
		for i := first; i < n-left; i++ {
			if !math.IsNaN(bin[i]) {
				hours = append(hours, i)
			}
		}
		if len(hours) >= 24 {
			return thinned(hours, 160)
		}
	}
	return hours
}

// thinned leaves out every second of more than so many.
func thinned(hours []int, many int) []int {
	if len(hours) <= many {
		return hours
	}
	half := hours[:0]
	for k := len(hours) % 2; k < len(hours); k += 2 {
		half = append(half, hours[k])
	}
	return half
}

// A lag is one way in which the bin may follow the air.
type lag struct {
	hours, gain, offset float64
	miss                float64 // typical error over the quiet hours, K
	body                []float64
}

// fitLag fits gain and offset of the lagged air to the bin. The hottest fifth
// of the errors are left out twice over, lest earlier feeds pass for the room.
func fitLag(bin, body []float64, first int, hours float64, quiet []int) lag {
	l := lag{hours: hours, gain: 1, body: body}
	keep := quiet
	if len(quiet) >= 100 {
		for range 2 {
			l.gain = slopeOver(bin, body, first, keep)
			keep = l.cooler(bin, first, quiet)
		}
	}
	errs := l.errors(bin, first, keep)
	l.offset = Median(errs)
	l.miss = MAD(errs)
	return l
}

// errors of the body without its offset over some hours.
func (l *lag) errors(bin []float64, first int, hours []int) []float64 {
	out := make([]float64, len(hours))
	for k, i := range hours {
		out[k] = bin[i] - l.gain*l.body[i-first]
	}
	return out
}

// cooler keeps the hours whose error is not in the hottest fifth.
func (l *lag) cooler(bin []float64, first int, hours []int) []int {
	errs := l.errors(bin, first, hours)
	top := quantileSorted(slices.Sorted(slices.Values(errs)), 0.8)
	kept := make([]int, 0, len(hours))
	for k, i := range hours {
		if errs[k] <= top {
			kept = append(kept, i)
		}
	}
	return kept
}

// slopeOver is the least-squares gain of bin over body, within what makes
// sense: a bin cannot swing more than its room, nor take no note of it.
func slopeOver(bin, body []float64, first int, hours []int) float64 {
	var n, sx, sy, sxx, sxy float64
	for _, i := range hours {
		x, y := body[i-first], bin[i]
		n, sx, sy, sxx, sxy = n+1, sx+x, sy+y, sxx+x*x, sxy+x*y
	}
	spread := sxx - sx*sx/n
	if !(spread > 0) {
		return 1
	}
	return min(1.2, max(0.2, (sxy-sx*sy/n)/spread))
}

// room draws the fitted body over the last day and ahead; the air ahead is
// taken to repeat the last day, shifted by how it differs now.
func (l *lag) room(bin, air []float64, first int, quiet []int) room {
	n := len(air)
	r := room{byAir: true, own: l.excess(bin, first)}
	for i := range r.past {
		r.past[i] = l.offset + l.gain*between(l.body, float64(len(l.body)-1)+gridHour(i))
	}
	shift := 0.0
	if n-first > 27 {
		shift = meanOf(air[n-3:]) - meanOf(air[n-27:n-24])
	}
	at, part := l.body[len(l.body)-1], 1-math.Exp(-1/l.hours)
	r.ahead[0] = l.offset + l.gain*at
	for h := 1; h <= heatAhead; h++ {
		likely := air[n-1]
		if n-first > 27 {
			likely = air[n-1-24+(h-1)%24+1] + shift*math.Exp(-float64(h)/12)
		}
		at += part * (likely - at)
		r.ahead[h] = l.offset + l.gain*at
	}
	r.noise = max(0.2, l.miss)
	if len(quiet) < 24 { // with little history it is taken to be large
		r.noise = max(1, l.miss)
	}
	r.sd12 = max(0.3, l.gain*changeError(l.body))
	return r
}

// excess is what the bin was warmer than the body over the fortnight, hour by
// hour; NaN where either is not known.
func (l *lag) excess(bin []float64, first int) []float64 {
	out := make([]float64, len(bin))
	for i, v := range bin {
		out[i] = math.NaN()
		if i >= first {
			out[i] = v - l.gain*l.body[i-first]
		}
	}
	return out
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

// changeError is how far the change over the next 12 hours is off when
// yesterday's change at that hour is taken for it: scaled MAD, K; 2 when there
// are too few days to tell.
func changeError(v []float64) float64 {
	var errs []float64
	for i := 36; i < len(v); i += 2 {
		if e := v[i] - v[i-12] - (v[i-24] - v[i-36]); !math.IsNaN(e) {
			errs = append(errs, e)
		}
	}
	if len(errs) < 12 {
		return 2
	}
	return MAD(errs)
}
