package trend

import (
	"math"
	"slices"
	"time"
)

const (
	dayBegins  = 6.0  // o'clock: from then on the sun may warm a bin
	dayEnds    = 21.0 // when what it gave by day has reached the middle
	dawn       = 6    // o'clock: the sun's warmth of the day before has gone by then
	sunStirs   = 5    // h; a feed given less long ago has hardly begun to heat
	pressing   = 3.5  // K below the limit: nearer, a fed bin gets no benefit of a sun that nobody has seen
	slowest    = 30.0 // h; the time in which a big bin loses most of its warmth
	nightLeast = 2    // hours of a night that tell something
)

// A calendar says where now lies in the day, and which hours of the fortnight
// tell nothing about the usual ones.
type calendar struct {
	clock  float64   // hours since midnight where the bin stands
	opened float64   // hours since the bin was opened
	stirs  float64   // hours for which a feed may go on heating: such days are not usual ones
	fed    []float64 // hours since each feed, the newest last
}

func (k *Track) calendar(now time.Time, stirs time.Duration) calendar {
	c := calendar{stirs: stirs.Hours(), clock: float64(now.Hour()) + float64(now.Minute())/60, opened: k.freshFor(now).Hours()}
	for _, ms := range k.FedMS {
		c.fed = append(c.fed, now.Sub(time.UnixMilli(ms)).Hours())
	}
	return c
}

// stirred tells whether a feed may have been heating within the span that
// ended so many hours ago and lasted so long.
func (c calendar) stirred(ended, lasted float64) bool {
	return slices.ContainsFunc(c.fed, func(ago float64) bool {
		return ago >= ended && ago-c.stirs <= ended+lasted
	})
}

// sameHours lists by size how much the days before rose over the same hours: over so many
// hours that ended to hours ago. Days on which an earlier feed may have heated
// are left out, where two others are known.
func (c calendar) sameHours(hours []float64, back, to int) (rises []float64) {
	var stirred []float64
	for ago := 24; ; ago += 24 {
		end := len(hours) - 1 - to - ago
		if end-back < 0 {
			break
		}
		v := hours[end] - hours[end-back]
		switch {
		case math.IsNaN(v):
		case c.stirred(float64(ago+to), float64(back)):
			stirred = append(stirred, v)
		default:
			rises = append(rises, v)
		}
	}
	if len(rises) < 2 {
		rises = append(rises, stirred...)
	}
	slices.Sort(rises)
	return rises
}

// ownByNow tells whether what the room does not explain can't be the sun
// either, nor whatever else came on today: it went on through the night, as no
// night before, or it is more than the sun may give after a feed.
func (r *room) ownByNow(p *past) bool {
	return r.warmNight(1) || r.fed && !r.when.nightSince(r.byAir) && r.brighterThanSun(p)
}

// warmNight tells whether the bin's own warmth grew over the last night, since
// it was opened, more than in any other, by so many K.
func (r *room) warmNight(by float64) bool {
	since := math.Mod(r.when.clock-dayEnds+24, 24) // hours since the night began
	to := int(max(0, since-(24-dayEnds+dayBegins)))
	back := int(min(math.Floor(since), math.Floor(r.when.opened))) - to
	if back < nightLeast {
		return false
	}
	n := len(r.own)
	grew := r.own[n-1-to] - r.own[n-1-to-back] + r.cools(back, to)
	others := r.when.sameHours(r.own, back, to)
	most := 0.5
	switch many := len(others); {
	case many >= 6:
		most = others[many-3] // a slow heap was warming last night and the night before, too
	case many >= 3:
		most = others[many-2]
	case many > 0:
		most = others[many-1]
	}
	return grew > most+by
}

// slowNear tells whether a bin near the limit grew warmer in the night by far more than
// on any other: a slow heap that no longer climbs faster than a morning does. Where the room
// is not seen it must be fed, and far is by how much its days differ.
func (r *room) slowNear(last float64) bool {
	least := 3.0
	switch {
	case !r.byAir && !r.fed:
		return false
	case !r.byAir:
		least = 1 + 3*dayToDay(r.own)
	case r.fed:
		least = 1.5
	}
	return last >= r.limitC-pressing && r.warmNight(least)
}

// cools is how much a bin without heat of its own had lost over so many hours that ended
// to hours ago, K, by being warmer when they began than on any night before (Newton's
// law, with a slow bin's time): what stays warm through the night is heated.
func (r *room) cools(back, to int) float64 {
	begin := len(r.own) - 1 - to - back
	var before []float64
	for ago := 24; begin-ago >= 0; ago += 24 {
		if v := r.own[begin-ago]; !math.IsNaN(v) && !r.when.stirred(float64(to+back+ago), 0) {
			before = append(before, v)
		}
	}
	if len(before) < 3 {
		return 0
	}
	over := r.own[begin] - slices.Max(before)
	if !r.byAir {
		over -= dayToDay(r.own)
	}
	return max(0, over) * (1 - math.Exp(-float64(back)/slowest))
}

// brighterThanSun tells whether the bin rose more since the morning, or since it
// was opened, than the brightest day may bring. How bright that is the days
// before tell where they were bright; where all were dull the sun may give several
// times as much, but not where there is no day at all.
func (r *room) brighterThanSun(p *past) bool {
	since := math.Mod(r.when.clock-dayBegins+24, 24)
	back := int(min(math.Floor(since), math.Floor(r.when.opened)))
	if back < 1 || r.when.opened < sunStirs {
		return false
	}
	n := len(r.own)
	rose := r.own[n-1] - r.own[n-1-back]
	others := r.when.sameHours(r.own, back, 0)
	switch {
	case rose > fastest*0.7*float64(back): // so soon after a feed it is not the feed
		return false
	case len(others) < 3:
		return rose > 6
	}
	most, third := max(0, others[len(others)-1]), max(0, others[len(others)-3])
	may := 1.15*most + 0.5*(most-third) + 0.5
	switch {
	case r.byAir:
		may *= math.Pow(r.brighter(back), 1.7)
	case (most < 4 || third < 0.7*most) && p.last.v < r.limitC-pressing:
		may = max(may, min(4*most, most+5))
	}
	return rose > may
}

// warmerThanYesterday tells whether a fed bin was warmer at the last dawn, when the
// sun of the day before has gone, than at the dawn before that, by more than any
// other day was, and goes on so: a slow heap in the sun.
func (r *room) warmerThanYesterday() bool {
	to := int(math.Mod(r.when.clock-dawn+24, 24)) // hours since dawn
	n := len(r.own)
	if !r.fed || float64(to+24) > r.when.fed[len(r.when.fed)-1] || to > 16 || n < to+72 {
		return false
	}
	grew := r.own[n-1-to] - r.own[n-1-to-24]
	others := r.when.sameHours(r.own, 24, to)
	if len(others) < 3 {
		return false
	}
	goesOn := r.own[n-1] - r.own[n-1-24]
	most := others[len(others)-1]
	return grew > 2.5+1.3*max(0, most) && goesOn > 2.5+max(0, most)
}

// nightSince tells whether the feed in hand has had its nights to heat in: a night where
// the room is seen, else two.
func (c calendar) nightSince(seen bool) bool {
	nights := 60.0
	if seen {
		nights = 48
	}
	return len(c.fed) == 0 || c.fed[len(c.fed)-1] > nights
}

// brighter is how many times as much the air has risen since the morning as on
// any day before, 1 at least.
func (r *room) brighter(back int) float64 {
	n := len(r.air)
	others := r.when.sameHours(r.air, back, 0)
	rose := r.air[n-1] - r.air[n-1-back]
	if len(others) == 0 || math.IsNaN(rose) {
		return 3
	}
	return min(4, max(1, rose/max(1, others[len(others)-1])))
}
