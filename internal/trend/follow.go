package trend

import (
	"math"
	"math/cmplx"
	"slices"
	"time"
)

// followAhead is how many hours ahead a bin is followed: over the whole of the next
// night at any time of day.
const followAhead = 36

// A Course is where what surrounds a bin takes it, hour by hour from now on.
type Course struct {
	LagHours float64 // by which it follows the daily swing of its air
	ByAir    bool    // the air's own probe spoke
	Foretold bool    // the weather is known

	level        float64
	path, spread []float64 // °C, and how far off that may be, K, by hours from now
	now          time.Time
}

// Follow draws the course of a bin that is at a level now. air and w may be nil; ok is
// false when the data say nothing.
//
// A body in air of another temperature nears it by a fixed part of the difference
// in each hour: Newton's law of cooling (Newton 1701, Phil Trans 22:824–829); two
// time constants with their gains are fitted to the last fortnight. The air
// ahead is what is foretold, put right by how the air has followed that so far, or
// else its usual day and its trend, which is damped (Gardner & McKenzie 1985, Manag
// Sci 31:1237–1246). How far off that may be is learned by foreseeing each of the
// days that are known.
func Follow(bin, air *Track, w *Weather, level float64, now time.Time) (c Course, ok bool) {
	hours := bin.hourly(now)
	past, foretold, known := w.ahead(now)
	least := leastUsual
	if known {
		least = leastFollowed
	}
	if math.IsNaN(hours[len(hours)-1]) || count(hours) < least {
		return c, false
	}
	hours[len(hours)-1] = level
	c = Course{level: level, now: now}
	var o follower
	switch {
	case air != nil && o.fit(hours, air.hourly(now)) && (known || len(o.around) >= leastUsual):
		c.ByAir, c.LagHours = true, o.lag()
		if c.Foretold = known; known {
			o.foretell(past, foretold)
		}
	case known && o.fit(hours, past):
		c.Foretold, c.LagHours = true, o.lag()
		said := itself(o.around)
		said.ahead = foretold
		o.said = &said
	default: // the bin goes on as on other days
		first := fillForward(hours)
		o = itself(hours[first:])
	}
	c.path, c.spread = o.path()
	return c, true
}

// leastFollowed is how many hours must be known for anything to be said of those to
// come: a day and a night, and half of the next. Where no weather is foretold there
// have to be some usual days.
const (
	leastFollowed = 36
	leastUsual    = 84
)

// A follower is a bin in what surrounds it, hour by hour up to now: as two bodies in one,
// of which one follows within hours and the other within days. So does the shell of a
// bin and its core, in whatever parts a probe feels them.
type follower struct {
	bin, around []float64 // °C
	offset      float64
	quick, slow followingBody
	said        *follower // what surrounds it in the weather that was foretold; nil where none was
	ahead       []float64 // of the weather, by hours from now
}

// A followingBody is one of the two, which follows the air with a lag.
type followingBody struct {
	hours, gain float64
	body        []float64
}

// part is how much of the difference is made up in an hour.
func (l *followingBody) part() float64 { return 1 - math.Exp(-1/l.hours) }

// quickLags and slowLags are the time constants tried, h.
var (
	quickLags = [...]float64{4.5, 0.5, 1.2, 2, 3, 6, 8, 11, 15}
	slowLags  = [...]float64{22, 45}
)

// keeps is the hours in which what a bin differs from its bodies by dies down: heat of
// its own, and the ground, change in days. A choice.
const keeps = 30.0

// fit finds the two bodies by which a bin follows its surroundings best; false where too
// little is known of them.
func (o *follower) fit(bin, around []float64) bool {
	if math.IsNaN(around[len(around)-1]) {
		return false
	}
	first := fillForward(around)
	if len(around)-first < leastFollowed {
		return false
	}
	o.bin, o.around = bin[first:], around[first:]
	var slow [len(slowLags)][]float64
	for i, h := range slowLags {
		slow[i] = lagOf(o.around, h)
	}
	best := math.Inf(1)
	for _, h := range quickLags {
		quick := lagOf(o.around, h)
		for i := range slow {
			try := follower{bin: o.bin, quick: followingBody{hours: h, body: quick}, slow: followingBody{hours: slowLags[i], body: slow[i]}}
			try.gains()
			if miss := try.misses(); miss < 0.98*best {
				best, o.quick, o.slow, o.offset = miss, try.quick, try.slow, try.offset
			}
		}
	}
	return !math.IsInf(best, 1)
}

// at is what the bodies make of hour i.
func (o *follower) at(i int) float64 {
	return o.offset + o.quick.gain*o.quick.body[i] + o.slow.gain*o.slow.body[i]
}

// lag is by how many hours the bin follows the swing of the day: the delay of its phase.
func (o *follower) lag() float64 {
	const daily = 2 * math.Pi / 24
	whole := complex(0, 0)
	for _, l := range [...]*followingBody{&o.quick, &o.slow} {
		whole += complex(l.gain, 0) / complex(1, daily*l.hours)
	}
	return -cmplx.Phase(whole) / daily
}

// lagOf is a first-order body in the air, hour by hour.
func lagOf(air []float64, hours float64) []float64 {
	body := make([]float64, len(air))
	at, part := meanOf(air[:min(24, len(air))]), 1-math.Exp(-1/hours)
	for i, a := range air {
		at += part * (a - at)
		body[i] = at
	}
	return body
}

// gains fits the gains and the offset by least squares, drawn towards a whole of 1 where
// the air hardly moves (ridge: Hoerl & Kennard 1970, Technometrics 12:55–67). No body
// works backwards.
func (o *follower) gains() {
	const pull, small = 0.25, 0.01 // K²: of the whole, and of each
	var n, x, z, y, xx, zz, xz, xy, zy float64
	for i := settleHours(len(o.bin)); i < len(o.bin); i++ {
		if v := o.bin[i]; !math.IsNaN(v) {
			q, s := o.quick.body[i], o.slow.body[i]
			n, x, z, y = n+1, x+q, z+s, y+v
			xx, zz, xz, xy, zy = xx+q*q, zz+s*s, xz+q*s, xy+q*v, zy+s*v
		}
	}
	x, z, y = x/n, z/n, y/n
	xx, zz, xz, xy, zy = xx/n-x*x+pull+small, zz/n-z*z+pull+small, xz/n-x*z+pull, xy/n-x*y+pull, zy/n-z*y+pull
	det := xx*zz - xz*xz
	q, s := (xy*zz-zy*xz)/det, (zy*xx-xy*xz)/det
	if s < 0 {
		q, s = xy/xx, 0
	} else if q < 0 {
		q, s = 0, zy/zz
	}
	o.quick.gain, o.slow.gain = min(1.2, max(0.05, q)), min(1.2, s)
	o.offset = y - o.quick.gain*x - o.slow.gain*z
}

// settleHours are those at the beginning in which a lagged body does not know yet
// what was before.
func settleHours(n int) int { return min(24, n/3) }

// meanToSD turns a mean absolute deviation into the standard deviation of a normal
// distribution: √(π/2).
const meanToSD = 1.2533141373155

// misses is how far off the bin is foreseen over half a day whose air is known, mean.
func (o *follower) misses() float64 {
	const over = 12
	keep, sum, n := math.Exp(-over/keeps), 0.0, 0.0
	for i := settleHours(len(o.bin)); i+over < len(o.bin); i++ {
		then := o.at(i+over) + keep*(o.bin[i]-o.at(i))
		if e := math.Abs(o.bin[i+over] - then); !math.IsNaN(e) {
			sum, n = sum+e, n+1
		}
	}
	if n == 0 {
		return math.Inf(1)
	}
	return sum / n
}

// itself is a bin, or the air, of whose surroundings nothing is known.
func itself(v []float64) follower {
	body := followingBody{hours: 0.01, gain: 1, body: v}
	none := followingBody{hours: slowLags[0], body: v}
	return follower{bin: v, around: v, quick: body, slow: none}
}

// foretoldSpread is how far what is foretold of a place may be off, h hours ahead, K.
// The two-metre temperature of a good forecast is off by one and a half to two and a
// half kelvins a day ahead; from memory.
func foretoldSpread(h float64) float64 { return 0.7 + 1.3*h/24 }

// foretell has the air follow the weather: by how it has followed what was said of the
// hours that are over.
func (o *follower) foretell(past, ahead []float64) {
	past = past[len(past)-len(o.around):]
	if now := len(past) - 1; math.IsNaN(past[now]) {
		past[now] = ahead[0]
	}
	air := new(follower)
	if !air.fit(o.around, past) {
		first := fillForward(past)
		*air = itself(past[first:])
		air.bin = o.around[first:]
	}
	air.ahead = ahead
	o.said = air
}

// airAfter is what surrounds a bin after hour i of those that are known, by hours: the
// weather as it was said, and what the air differed from that by, which goes on as a
// trend does; or else its usual day and trend.
func (o *follower) airAfter(i int, shape [24]float64) []float64 {
	if o.said == nil {
		return usualAhead(o.around, i, shape)
	}
	said := o.said
	n := len(said.around)
	k := i - (len(o.around) - n)
	if k < 0 {
		return nil
	}
	off := make([]float64, min(k+1, 25))
	for j := range off {
		at := k - len(off) + 1 + j
		off[j] = said.bin[at] - said.at(at)
	}
	out := usualAhead(off, len(off)-1, [24]float64{})
	quick, slow := said.quick.body[k], said.slow.body[k]
	for h := range out {
		to, v := k+h+1, 0.0
		switch {
		case to < n:
			v = said.around[to]
		case to-n < len(said.ahead):
			v = said.ahead[to-n]
		default:
			return out[:h]
		}
		quick += said.quick.part() * (v - quick)
		slow += said.slow.part() * (v - slow)
		out[h] += said.offset + said.quick.gain*quick + said.slow.gain*slow
	}
	return out
}

// after is where the bin goes after hour i of those that are known.
func (o *follower) after(i int, shape [24]float64) []float64 {
	quick, slow, keep := o.quick.body[i], o.slow.body[i], o.bin[i]-o.at(i)
	path := o.airAfter(i, shape)
	quickPart, slowPart, kept := o.quick.part(), o.slow.part(), math.Exp(-1/keeps)
	for h, a := range path {
		quick += quickPart * (a - quick)
		slow += slowPart * (a - slow)
		keep *= kept
		path[h] = o.offset + o.quick.gain*quick + o.slow.gain*slow + keep
	}
	return path
}

// path is where the bin goes from now on, by hours, and how far off that may be, K. It
// is put right by how far off the same was at this hour of the last days; how far it
// strays it learns from all hours of them.
func (o *follower) path() (path, spread []float64) {
	n := len(o.bin)
	shape := usualDay(o.around)
	path = o.after(n-1, shape)
	spread = make([]float64, len(path))
	var off [followAhead][]float64
	var sum, seen [followAhead]float64
	for i := n - 7; i >= max(30, n-10*24); i -= 6 {
		if math.IsNaN(o.bin[i]) {
			continue
		}
		for h, v := range o.after(i, shape) {
			if i+h+1 >= n {
				break
			}
			e := o.bin[i+h+1] - v
			if math.IsNaN(e) {
				continue
			}
			sum[h] += math.Abs(e)
			seen[h]++
			if (n-1-i)%24 == 0 {
				off[h] = append(off[h], e)
			}
		}
	}
	quick, slow, turning := 0.0, 0.0, o.turn(shape)
	for h := range path {
		t := float64(h + 1)
		in := unforeseen(t)
		if o.said != nil {
			in = foretoldSpread(t)
		}
		quick += o.quick.part() * (in - quick)
		slow += o.slow.part() * (in - slow)
		least := o.quick.gain*quick + o.slow.gain*slow
		spread[h] = max(leastSpread, least)
		if seen[h] >= 8 {
			spread[h] = math.Hypot(leastSpread, meanToSD*sum[h]/seen[h])
			if o.said != nil { // of what is over, all was said shortly before
				spread[h] = math.Hypot(spread[h], least)
			} else {
				spread[h] = max(spread[h], least)
			}
		}
		if days := len(off[h]); days >= 3 {
			path[h] += Median(off[h]) * float64(days) / float64(days+2)
		}
		if h > 0 {
			spread[h] = max(spread[h], spread[h-1])
		}
	}
	for h := range path {
		spread[h] += turning * min(1, o.quick.gain+o.slow.gain) * (1 - math.Exp(-float64(h+1)/(turnKnown+o.lag())))
	}
	return path, spread
}

// leastSpread is what a bin is off by at least, K. A choice.
const leastSpread = 0.3

// unforeseen is how far the air may be off its usual day and trend, h hours ahead, K: a
// front has come in few of the days that are known. A choice.
func unforeseen(h float64) float64 { return 0.5 + 1.2*min(1, h/12) }

// turnPart is the part of a turn under way by which it is not known how far it goes,
// and turnKnown the hours over which that shows. Chosen on simulated bins.
const (
	turnPart  = 0.22
	turnKnown = 15.0
)

// turn is how much of a turn of the air within the day is still to be reckoned with, K.
func (o *follower) turn(shape [24]float64) float64 {
	n := len(o.around)
	off := make([]float64, min(24, n))
	for k := range off {
		i := n - len(off) + k
		off[k] = o.around[i] - shape[24-len(off)+k]
	}
	return turnPart * math.Abs(meanOf(off[max(0, len(off)-3):])-meanOf(off))
}

// trendFades is the hours in which a trend of the air dies down, and anomalyFades
// those in which a day that differs from the usual ones becomes like them. Chosen on simulated bins.
const (
	trendFades   = 5.0
	anomalyFades = 36.0
)

// swing is by how much the day that ends with hour i swung more than the usual one, or
// less: under clouds it may be a third. The next is taken to swing as two thirds of it
// and a third of the usual; a choice.
func swing(course []float64, i int, shape [24]float64) float64 {
	if i < 23 {
		return 1
	}
	n, mean, both, whole := len(course), meanOf(course[i-23:i+1]), 0.0, 0.0
	for k := i - 23; k <= i; k++ {
		usual := shape[((k-n)%24+24)%24]
		both, whole = both+usual*(course[k]-mean), whole+usual*usual
	}
	if whole < 24*0.01 {
		return 1
	}
	return min(1.6, max(0.2, (1+2*both/whole)/3))
}

// usualAhead carries the usual day on from hour i of a course, shifted by how it
// differs now and by a trend that is damped. shape is that of the day ending with the
// course.
func usualAhead(course []float64, i int, shape [24]float64) []float64 {
	n := len(course)
	swings := swing(course, i, shape)
	at := func(k int) float64 { k = max(0, k); return course[k] - swings*shape[((k-n)%24+24)%24] }
	var recent, before float64
	for k := range 3 {
		recent += at(i-k) / 3
		before += at(i-4-k) / 3
	}
	day := meanOf(course[max(0, i-23) : i+1])
	slope := (recent - before) / 4
	out := make([]float64, followAhead)
	for h := range out {
		t := float64(h + 1)
		level := day + (recent-day)*math.Exp(-t/anomalyFades) + slope*trendFades*(1-math.Exp(-t/trendFades))
		out[h] = level + swings*shape[((i+h+1-n)%24+24)%24]
	}
	return out
}

// Extreme is the coldest, or the hottest, that the bin is likely to be.
func (c *Course) Extreme(above bool) float64 {
	if above {
		return max(c.level, slices.Max(c.path))
	}
	return min(c.level, slices.Min(c.path))
}

// followed is how many courses stand for all that may come.
const followed = 120

// leastFollow is the chance up to which a crossing counts as never.
const leastFollow = 0.02

// nightsApart is the hours over which what a course is off by becomes another: one
// night errs by little of what the last did. Chosen on simulated bins.
const nightsApart = 36.0

// Crossing is when the bin passes a limit: of many courses about the likely one, each
// off by what varies slowly with the hours.
func (c *Course) Crossing(limit float64, above bool, within time.Duration) Crossing {
	sign := -1.0
	if above {
		sign = 1
	}
	if sign*(c.level-limit) > 0 {
		return crossedAlready(c.now)
	}
	sines, cosines := make([]float64, len(c.path)), make([]float64, len(c.path))
	for h := range c.path {
		sines[h], cosines[h] = math.Sincos(min(1, float64(h+1)/nightsApart) * math.Pi / 2)
	}
	var all ensemble
	for range followed {
		first, other := all.normals.pair()
		hours, before := math.Inf(1), sign*(c.level-limit)
		for h, v := range c.path {
			z := first*cosines[h] + other*sines[h]
			over := sign * (v + z*c.spread[h] - limit)
			if over > 0 {
				hours = float64(h+1) - over/(over-before)
				break
			}
			before = over
		}
		all.add(hours, 1)
	}
	return all.crossing(c.now, within.Hours(), leastFollow)
}
