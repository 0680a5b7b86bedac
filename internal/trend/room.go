package trend

import (
	"cmp"
	"math"
	"slices"
	"time"
)

// A room is what a bin's temperature would be without heat of its own: over
// the last day in half hours, and ahead.
type room struct {
	past  dayCurve               // °C, to a constant when byAir is false
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
func roomOf(bin, air *Track, p *lastDay, now time.Time) room {
	hours := bin.hourly(now)
	if air != nil {
		if r, ok := roomByAir(hours, air, bin, now); ok {
			r.when = bin.calendar(now, r.own, stirsSeen)
			return r
		}
	}
	r := roomByDays(hours, p)
	r.when = bin.calendar(now, r.own, stirs)
	return r
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
	first := fillForward(air)
	air, bin = air[first:], bin[first:]
	quiet := quietHours(bin, binTrack.freshFor(now))
	if len(air) < 12 || !speaks || len(quiet) < 8 {
		return room{}, false
	}
	best := lag{miss: math.Inf(1)}
	for _, h := range timeConstants {
		if l := fitLag(bin, lagged(air, h), h, quiet); l.miss < best.miss {
			best = l
		}
	}
	return best.room(air, len(quiet)), true
}

// fillForward fills gaps with the last value before them and returns where the
// first value is; the length when there is none.
func fillForward(v []float64) (first int) {
	for first < len(v) && math.IsNaN(v[first]) {
		first++
	}
	for i := first + 1; i < len(v); i++ {
		if math.IsNaN(v[i]) {
			v[i] = v[i-1]
		}
	}
	return first
}

// quietHours lists the hours fit to learn the room from: not those since the
// bin was opened, nor the last four days when nothing was jotted, for what
// heats now may have begun then. Where too few others are known less is left
// out, down to the last six hours. Of many every second one is enough.
func quietHours(bin []float64, opened time.Duration) (hours []int) {
	n := len(bin)
	most := int(min(96, max(12, math.Ceil(opened.Hours()))))
	for _, left := range [...]int{most, 24, 12, 6} {
		hours = hours[:0]
		for i := range max(0, n-left) {
			if !math.IsNaN(bin[i]) {
				hours = append(hours, i)
			}
		}
		if len(hours) >= 24 {
			break
		}
	}
	if len(hours) <= 160 {
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
	miss                float64   // typical error over the quiet hours, K
	bin, body           []float64 // hour by hour, from the first that the air is known of
}

// fitLag fits gain and offset of the lagged air to the bin. The hottest fifth
// of the errors are left out twice over, lest earlier feeds pass for the room.
func fitLag(bin, body []float64, hours float64, quiet []int) lag {
	l := lag{hours: hours, gain: 1, bin: bin, body: body}
	keep := quiet
	if len(quiet) >= 100 {
		for range 2 {
			l.gain = slopeOver(bin, body, keep)
			keep = l.cooler(quiet)
		}
	}
	errs := l.errors(keep)
	l.offset, l.miss = Median(errs), MAD(errs)
	return l
}

// errors of the body without its offset over some hours.
func (l *lag) errors(hours []int) []float64 {
	out := make([]float64, len(hours))
	for k, i := range hours {
		out[k] = l.bin[i] - l.gain*l.body[i]
	}
	return out
}

// cooler keeps the hours whose error is not in the hottest fifth.
func (l *lag) cooler(hours []int) []int {
	errs := l.errors(hours)
	top := between(slices.Sorted(slices.Values(errs)), 0.8*float64(len(errs)-1))
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
func slopeOver(bin, body []float64, hours []int) float64 {
	var n, sx, sy, sxx, sxy float64
	for _, i := range hours {
		x, y := body[i], bin[i]
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
func (l *lag) room(air []float64, quietHours int) room {
	n := len(air)
	r := room{byAir: true, own: unknown(trackHours)}
	for i, v := range l.bin {
		r.own[trackHours-n+i] = v - l.gain*l.body[i]
	}
	for i := range r.past {
		r.past[i] = l.offset + l.gain*between(l.body, float64(len(l.body)-1)+dayCurveHour(i))
	}
	shift := 0.0
	if n > 27 {
		shift = meanOf(air[n-3:]) - meanOf(air[n-27:n-24])
	}
	at, part := l.body[len(l.body)-1], 1-math.Exp(-1/l.hours)
	r.ahead[0] = l.offset + l.gain*at
	for h := 1; h <= heatAhead; h++ {
		likely := air[n-1]
		if n > 27 {
			likely = air[n-1-24+(h-1)%24+1] + shift*math.Exp(-float64(h)/12)
		}
		at += part * (likely - at)
		r.ahead[h] = l.offset + l.gain*at
	}
	r.noise = max(0.2, l.miss)
	if quietHours < 24 { // with little history it is taken to be large
		r.noise = max(1, l.miss)
	}
	r.sd12 = max(0.3, l.gain*changeError(l.body))
	return r
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

// roomByDays takes the usual day of the last fortnight for the room: its
// shape, not its level.
func roomByDays(hours []float64, p *lastDay) room {
	r := room{own: hours, noise: 1.5}
	shape := usualDay(hours)
	for i := range r.past {
		r.past[i] = between(shape[:], 23+dayCurveHour(i))
	}
	for h := range r.ahead {
		r.ahead[h] = shape[(23+h)%24]
	}
	r.usualExcess = p.coolest(&r.past)
	r.sd12 = max(0.5, changeError(hours))
	return r
}

// coolest is the lowest excess over the usual day in the last one: a guess at
// where a rise began.
func (p *lastDay) coolest(usual *dayCurve) float64 {
	lowest := slices.MinFunc(p.above(usual), func(a, b point) int { return cmp.Compare(a.v, b.v) })
	return lowest.v
}

// usualDay is the middle course of the earlier days, about a mean of 0, for
// the 24 hours ending now; all 0 when there is no earlier day.
func usualDay(hours []float64) (shape [24]float64) {
	var at [24][]float64
	for end := len(hours) - 24; end >= 24; end -= 24 {
		day := hours[end-24 : end]
		if mean := meanOf(day); count(day) >= 18 {
			for h, v := range day {
				if !math.IsNaN(v) {
					at[h] = append(at[h], v-mean)
				}
			}
		}
	}
	for h := range shape {
		if len(at[h]) > 0 {
			shape[h] = Median(at[h])
		}
	}
	return shape
}
