package trend

import (
	"math"
	"slices"
	"time"
)

// What speaks for heat of the bin's own, in K, against what warms it from outside.
// The figures are choices, made on simulated bins; see HeatingFit.
const (
	heatShown    = 2.5  // K that must be shown soon after a feed
	heatAgesADay = 1.1  // K more for each day since
	heatUnfed    = 7.5  // K where nothing was fed lately
	heatBegins   = 5    // h; a feed given less long ago has hardly begun to heat
	nightShare   = 0.2  // part of the warmth that the night must show after a feed: the sun's has gone by dawn
	nightUnfed   = 0.1  // and by warming in the dark where nothing was fed lately
	dawnMost     = 2.5  // K at dawn that count: a probe that drifts shows more
	nightEnough  = 1.5  // K shown by the night that need not grow with the day that follows
	nightCools   = -2.0 // K more than other nights: what cools so is not heated
	newHeight    = 0.3  // K above all since the feed: a mat or a lamp comes back to the same height day by day
	calmDays     = 0.67 // K by which days stray; where the room is not seen, more weather than that passes for heat
	differBy     = 2.0  // K more for each that they stray by beyond it
)

// The night, o'clock where the bin stands. It begins when what the sun gave has
// reached the middle of a bin, and ends when the sun may warm it again.
// Choices.
const (
	nightBegins = 21
	nightEnds   = 6
	nightLeast  = 3    // hours of a night that tell something
	slowest     = 30.0 // h; the time in which a big bin loses most of its warmth
)

// How long a feed may go on heating, so that those days are no measure of the usual
// ones: the one in hand, and those before it. Where the room is not seen more days are
// needed to compare with. And how long a feed makes heat of its own likelier. Chosen on
// simulated bins; a fed heap is hot within two or three days (Cornell compost physics).
const (
	stirsInHand = 5 * 24 // h
	stirs       = 60 * time.Hour
	stirsSeen   = 4 * 24 * time.Hour
	stirsMost   = 7 * 24 // h; what the hottest heap takes
	stillHot    = 4.0    // K by which a day is warmer than that before the feed: the heap is fading
	fedLately   = 7 * 24 // h
	oneHeap     = 48     // h; feeds no further apart make one heap
)

// A calendar says where now lies in the day, and which hours of the fortnight
// tell nothing about the usual ones.
type calendar struct {
	clock  float64   // hours since midnight where the bin stands
	opened float64   // hours since the bin was opened
	fed    []float64 // hours since each feed, the newest last
	stirs  []float64 // hours for which each may go on heating: such days are not usual ones
}

// calendar is made of what the bin did of its own, hour by hour until now, and the
// time for which any feed may go on heating.
func (k *Track) calendar(now time.Time, own []float64, stirs time.Duration) calendar {
	clock := float64(now.Hour()) + float64(now.Minute())/60
	c := calendar{clock: clock, opened: k.freshFor(now).Hours()}
	for _, ms := range k.FedMS {
		ago := now.Sub(time.UnixMilli(ms)).Hours()
		c.fed = append(c.fed, ago)
		c.stirs = append(c.stirs, stirsFor(own, ago, stirs.Hours()))
	}
	return c
}

// since is how many hours ago it was so many o'clock.
func (c calendar) since(oclock float64) float64 { return math.Mod(c.clock-oclock+24, 24) }

// lastFed is how many hours ago the newest feed was given, 0 where its time is yet
// to come; infinite when none was lately.
func (c calendar) lastFed() float64 {
	if n := len(c.fed); n > 0 && c.fed[n-1] < fedLately {
		return max(0, c.fed[n-1])
	}
	return math.Inf(1)
}

// begun is how many hours ago the feed was given whose heat is in hand: the first
// of those that make one heap.
func (c calendar) begun() float64 {
	first := c.lastFed()
	for i := len(c.fed) - 2; i >= 0 && c.fed[i]-first < oneHeap && c.fed[i] < stirsInHand; i-- {
		first = c.fed[i]
	}
	return first
}

// stirred tells whether a feed may have been heating within the span that
// ended so many hours ago and lasted so long: the one in hand until now, those
// before for their time.
func (c calendar) stirred(ended, lasted float64) bool {
	if fed := c.lastFed(); fed < stirsInHand && ended < fed {
		return true
	}
	for i, ago := range c.fed {
		if ago >= ended && ago-c.stirs[i] <= ended+lasted {
			return true
		}
	}
	return false
}

// stirsFor is for how many hours a feed may have heated that was given so many hours
// ago: for as long as any may, and on until a whole day is no longer far warmer than
// the day before the feed. Of own the last hour is now.
func stirsFor(own []float64, ago, least float64) float64 {
	n := len(own)
	day := func(ends int) float64 { // mean of the day that ended so many hours ago
		if ends < 0 || ends+24 > n {
			return math.NaN()
		}
		return meanOf(own[n-ends-24 : n-ends])
	}
	before, hours := day(int(ago)), least
	if math.IsNaN(before) { // forgotten: the coolest day that is known stands for it
		for ends := 0; ends < n; ends += 24 {
			if d := day(ends); !(d >= before) {
				before = d
			}
		}
	}
	for hours < stirsMost && (int(ago-hours) > n || day(int(ago-hours)-24)-before > stillHot) {
		hours += 12
	}
	return hours
}

// usual lists by size what was measured on the days before, as found by its hours
// ago. Days on which a feed may have heated are left out, where two others are known;
// the span that is asked for ended so many hours ago and lasted so long.
func (c calendar) usual(ended, lasted float64, at func(ago int) float64) (values []float64) {
	var stirred []float64
	for ago := 24; ago < trackHours; ago += 24 {
		v := at(ago)
		switch {
		case math.IsNaN(v):
		case c.stirred(ended+float64(ago), lasted):
			stirred = append(stirred, v)
		default:
			values = append(values, v)
		}
	}
	if len(values) < 2 {
		values = append(values, stirred...)
	}
	slices.Sort(values)
	return values
}

// heatsItself weighs what speaks for heat of the bin's own: how much warmer it is,
// beside what the room explains, than at this hour of any usual day before, and how
// much of that a night has shown.
func (r *room) heatsItself() bool {
	fed := r.when.lastFed() < fedLately
	warmer, dark := r.warmer(0), r.warmedInTheDark()
	night, share := dark, nightUnfed
	if fed {
		share = nightShare
		if dawn := min(dawnMost, r.warmerAtDawn()); dawn > dark || math.IsNaN(dark) {
			night = dawn
		}
	}
	switch {
	case math.IsNaN(night): // there was none since the feed
		night = 0
	case night < min(nightEnough, share*warmer), dark < nightCools:
		return false
	}
	if fed {
		if before := r.warmer(int(r.when.begun())); before > 0 {
			warmer -= before // the feed's heat had not begun
		}
	}
	return warmer+night >= r.heatAsked() && r.newHeight()
}

// heatAsked is how much must be shown of it, K.
func (r *room) heatAsked() float64 {
	fed := r.when.lastFed()
	if fed <= heatBegins {
		fed = r.when.begun()
	}
	switch {
	case fed <= heatBegins || fed >= fedLately:
		return heatUnfed
	case r.byAir:
		return heatShown + heatAgesADay*fed/24
	}
	warms, strays := r.dayToDay()
	return heatShown + heatAgesADay*fed/24 + differBy*max(0, strays-calmDays) +
		max(0, warms-strays/3)*r.when.begun()/24 // what was warming before the feed goes on
}

// warmerAtDawn is how much warmer it was at the last dawn than at any usual one, K;
// NaN where it was fed since.
func (r *room) warmerAtDawn() float64 {
	ago := math.Floor(r.when.since(nightEnds))
	if r.when.begun() < ago+heatBegins {
		return math.NaN()
	}
	return r.warmer(int(ago))
}

// warmer is how much warmer the bin was, so many hours ago, than at that hour of
// any usual day before, K; NaN when there is none to compare with.
func (r *room) warmer(ago int) float64 {
	n := len(r.own) - ago
	days := r.when.usual(float64(ago), 0, func(day int) float64 {
		if n < day+2 {
			return math.NaN()
		}
		return meanOf(r.own[n-day-2 : n-day+1])
	})
	if len(days) == 0 {
		return math.NaN()
	}
	return r.own[n-1] - days[len(days)-1]
}

// warmedInTheDark is by how much more the bin warmed over the last night, since it
// was opened, than in any night before but one: a slow heap was warming then, too.
// To what it gained comes what it would have lost by being warmer than usual.
func (r *room) warmedInTheDark() float64 {
	since := r.when.since(nightBegins)
	if since < nightLeast {
		since += 24
	}
	to := int(max(0, since-(24-nightBegins+nightEnds)))
	back := int(min(math.Floor(since), math.Floor(r.when.opened))) - to
	if back < nightLeast-1 {
		return math.NaN()
	}
	end := len(r.own) - 1 - to
	nights := r.when.usual(float64(to), float64(back), func(ago int) float64 {
		if end-back < ago {
			return math.NaN()
		}
		return r.own[end-ago] - r.own[end-ago-back]
	})
	grew := r.own[end] - r.own[end-back] + r.cools(back, to)
	if len(nights) > 0 {
		grew -= nights[max(0, len(nights)-2)]
	}
	return grew
}

// cools is how much a bin without heat of its own had lost over so many hours that ended
// to hours ago, K, by being warmer when they began than on any night before (Newton's
// law, with a slow bin's time): what stays warm through the night is heated.
func (r *room) cools(back, to int) float64 {
	over := r.warmer(to + back)
	if !r.byAir {
		_, strays := r.dayToDay()
		over -= strays
	}
	if !(over > 0) {
		return 0
	}
	return over * (1 - math.Exp(-float64(back)/slowest))
}

// newHeight tells whether the bin is warmer of its own than at any hour since the feed,
// or in the last three days, up to some hours ago.
func (r *room) newHeight() bool {
	n := len(r.own)
	since := int(min(72, r.when.lastFed()))
	most := math.Inf(-1)
	for _, v := range r.own[n-since : max(n-since, n-7)] {
		if !math.IsNaN(v) {
			most = max(most, v)
		}
	}
	return r.own[n-1] > most+newHeight
}

// dayToDay is by how much one day is warmer than the one before, at the same hour,
// and how far that strays (MAD), K: of days on which no feed may have heated, where
// enough of them are known.
func (r *room) dayToDay() (warms, strays float64) {
	var usual, all []float64
	n := len(r.own) - 1
	for ago := 24; ago+24 <= n; ago += 6 {
		d := r.own[n-ago] - r.own[n-ago-24]
		if math.IsNaN(d) {
			continue
		}
		all = append(all, d)
		if !r.when.stirred(float64(ago), 24) {
			usual = append(usual, d)
		}
	}
	switch {
	case len(all) == 0:
		return 0, madToSD
	case len(usual) < 4:
		usual = all
	}
	return Median(usual), MAD(usual)
}
