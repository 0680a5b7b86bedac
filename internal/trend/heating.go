package trend

import (
	"math"
	"slices"
	"sort"
	"time"
)

// Chosen on simulated bins.
const (
	heatAhead  = 36   // hours looked ahead
	heatReach  = 20.0 // K below the limit: no bin climbs further in a look-ahead
	leastClimb = 0.6  // K in six hours; less is not worth a fit
	fastest    = 2.2  // K/h: no feed heats a bin so fast; a choice
	unfedNear  = 7.0  // K below the limit: what nobody has fed is the room, a lamp or a mat until it is nearer
)

// Heating is what HeatingFit finds.
type Heating struct {
	Self     bool     // the rise is the bin's own heat, not the room's
	ExcessK  float64  // K over what the room alone would have made it
	PerHour  float64  // K/h over the last three hours
	ByRoom   bool     // the room was known by its own probe; else by earlier days
	Crossing Crossing // of the limit, whatever the cause; Never when not likely in the time looked ahead
}

// HeatingFit tells self-heating from the room and foresees when a bin crosses
// limitC, looking so far ahead, 36 h at most. air is the track of the room's own
// probe, or nil; without it the room is known only by the shape of the bin's
// earlier days, so less is said.
//
// The room's part is a first-order body in that air (Newton's law), its time
// constant, gain and offset fitted to the fortnight; or the usual day. What is
// left over is the bin's own heat, or the sun's, a lamp's, a heater's: it is its
// own when the bin is warmer than at this hour of any usual day before, warmer
// than ever since the feed, and a night has shown it. Its course is foreseen by
// an ensemble of S-shaped rises and first-order approaches weighted by how well they match
// the last day: a rise still gathering pace and one that levels off both stay
// possible until the data decide. Quiet, at almost no cost, while nothing
// climbs within reach of the limit. Everything is fitted at the times at which
// the probe spoke, be it every ten seconds or every two hours. No published
// figure for an alarm was found; the thresholds are choices, checked by
// simulation. Only the place of now says where the sun stands.
func HeatingFit(bin, air *Track, limitC float64, ahead time.Duration, now time.Time) Heating {
	out := Heating{Crossing: Crossing{Quiet: true}}
	p, ok := bin.lastDay(now)
	if !ok {
		return out
	}
	last := p.last.v
	switch {
	case last >= limitC:
		out.Crossing = crossedAlready(now.UTC())
	case last < limitC-heatReach || !(p.climb() >= leastClimb):
		return out
	}
	r := roomOf(bin, air, &p, now)
	now = now.UTC()
	out.ByRoom = r.byAir
	out.ExcessK = last - p.lastOf(&r.past) - r.usualExcess
	out.PerHour = p.rise(&dayCurve{}, 3) / 3
	out.Self = (r.when.lastFed() < fedLately || last >= limitC-unfedNear) && r.heatsItself() &&
		p.rise(&r.past, 3) < 3*fastest && !p.inOneStep() && (r.byAir || out.PerHour < fastest)
	switch {
	case out.Crossing.Past:
	case out.Self:
		out.Crossing = r.foresee(&p, limitC, ahead.Hours(), now)
	default:
		out.Crossing = r.foreseeRoom(&p, limitC, ahead.Hours(), now)
	}
	return out
}

// climb is how much the newest level lies over that of six hours before, or
// over the earliest one since the bin was opened. Where nothing was heard then,
// what was heard last before that stands for it.
func (p *lastDay) climb() float64 {
	for i, s := range p.points {
		switch {
		case s.h < -6.6:
		case i > 0 && s.h > -5.4 && s.h-p.points[i-1].h <= p.across():
			return p.last.v - p.points[i-1].v
		default:
			return p.last.v - s.v
		}
	}
	return math.NaN()
}

// inOneStep tells whether most of what the bin climbed in a day lies in one step,
// faster than any feed heats: a probe was knocked, moved or went bad.
func (p *lastDay) inOneStep() bool {
	least, step, most := p.points[0].v, 0.0, 0.0
	for i, s := range p.points[1:] {
		before := p.points[i]
		if rose := s.v - before.v; rose > fastest*max(0.7, s.h-before.h) {
			step += rose // one may lie in two half hours
			most = max(most, step)
		} else {
			step = 0
		}
		least = min(least, s.v)
	}
	return most > (p.last.v-least)/2
}

// Chosen on simulated bins, whose probes speak every few minutes to every two hours.
const (
	halfHours    = 48   // looked back, a day
	gapPaces     = 2.6  // a gap of so many paces of the probe is one
	leastGap     = 2.2  // hours; a shorter one never is
	bridgedHours = 6.8  // hours; a straight line is drawn across a shorter gap: a heap does not turn round within it
	leastSpan    = 3.5  // hours of data that make a trend
	nearest      = 0.45 // hours; points nearer than that to a moment stand for it
	newestPart   = 0.9  // hours whose mean is the newest level
)

// dayCurveHour is where point i of a dayCurve lies, hours from now: −24 to 0.
func dayCurveHour(i int) float64 { return float64(i-halfHours) / 2 }

// A dayCurve is a course over the last day, point by half hour, the last at now.
type dayCurve [halfHours + 1]float64

// lastDay is the last day of a bin, or what there is of it since it was opened,
// thinned to a mean each half hour at its true time.
type lastDay struct {
	points      []point
	last        point     // mean over the newest hour that has any
	pace        float64   // hours from one point to the next, usually
	place       []float64 // where each point lies on a dayCurve
	correlation []float64 // what is left at each of a straying at the one before
}

// lastDay gives the last day of a bin. ok is false when it is too short to show a
// trend, or nothing new has come for longer than the probe takes turns.
func (k *Track) lastDay(now time.Time) (p lastDay, ok bool) {
	from := now.Add(-24 * time.Hour)
	if fresh := time.UnixMilli(k.FreshMS); k.FreshMS != 0 && fresh.After(from) {
		from = fresh
	}
	p.points = halfHourly(k.Tens.points(from, now))
	n := len(p.points)
	if n < 3 || p.points[0].h > -leastSpan {
		return p, false
	}
	p.pace = paceOf(p.points)
	p.last = meanAround(p.points, p.points[n-1].h, newestPart)
	p.place, p.correlation = make([]float64, n), make([]float64, n)
	for i, s := range p.points {
		p.place[i] = min(halfHours, max(0, halfHours+2*s.h))
		if i > 0 {
			p.correlation[i] = math.Pow(halfHourCorrelation, 2*(s.h-p.points[i-1].h))
		}
	}
	return p, -p.points[n-1].h <= max(leastGap, gapPaces*p.pace)
}

// halfHourly joins the points of each half hour before now to one.
func halfHourly(tens []point) []point {
	out := tens[:0]
	for i := 0; i < len(tens); {
		half := math.Ceil(tens[i].h * 2)
		h, v, n := 0.0, 0.0, 0.0
		for ; i < len(tens) && math.Ceil(tens[i].h*2) == half; i++ {
			h, v, n = h+tens[i].h, v+tens[i].v, n+1
		}
		out = append(out, point{h / n, v / n})
	}
	return out
}

// paceOf is the usual distance between the newest points, hours.
func paceOf(points []point) float64 {
	var room [24]float64
	gaps := room[:0]
	for i := max(1, len(points)-len(room)); i < len(points); i++ {
		gaps = append(gaps, points[i].h-points[i-1].h)
	}
	slices.Sort(gaps)
	return medianSorted(gaps)
}

// meanAround is the mean of the points at most reach hours from h.
func meanAround(points []point, h, reach float64) point {
	sum, n := point{}, 0.0
	for i := len(points) - 1; i >= 0 && points[i].h >= h-reach; i-- {
		if s := points[i]; s.h <= h+reach {
			sum, n = point{sum.h + s.h, sum.v + s.v}, n+1
		}
	}
	return point{sum.h / n, sum.v / n}
}

// across is the longest gap, in hours, that a straight line is drawn across.
func (p *lastDay) across() float64 { return max(bridgedHours, gapPaces*p.pace) }

// above is what the points lie above a curve.
func (p *lastDay) above(g *dayCurve) []point {
	out := make([]point, len(p.points))
	for i, s := range p.points {
		out[i] = point{s.h, s.v - g.at(p.place[i])}
	}
	return out
}

// rise gives how much what lies above a curve has changed from so many hours
// before the newest hour until then, K; NaN where it is not known. The means of
// an hour are compared, or what lies on the straight line between two points of
// a slower probe.
func (p *lastDay) rise(over *dayCurve, hours float64) float64 {
	own := p.above(over)
	last := meanAround(own, own[len(own)-1].h, newestPart)
	h := last.h - hours
	if before := meanAround(own, h, nearest); !math.IsNaN(before.v) {
		return (last.v - before.v) * hours / (last.h - before.h)
	}
	return last.v - onLine(own, h, p.across())
}

// onLine reads points at h on the straight line between two of them that lie at
// most gap apart, or NaN.
func onLine(points []point, h, gap float64) float64 {
	i := sort.Search(len(points), func(i int) bool { return points[i].h > h })
	if i == 0 || i == len(points) || points[i].h-points[i-1].h > gap {
		return math.NaN()
	}
	a, b := points[i-1], points[i]
	return a.v + (b.v-a.v)*(h-a.h)/(b.h-a.h)
}

// at reads a curve at a place, counted in half hours from its start.
func (g *dayCurve) at(place float64) float64 {
	i := min(int(place), halfHours-1)
	return g[i] + (place-float64(i))*(g[i+1]-g[i])
}

// lastOf reads a curve around the newest hour of the past.
func (p *lastDay) lastOf(g *dayCurve) float64 {
	return g.at(min(halfHours, max(0, halfHours+2*p.last.h)))
}

// hourly gives the course of a fortnight at each whole hour before now, the
// last at now, on straight lines between the hours' means at their true times;
// NaN in a gap longer than some paces of the probe. The newest value stands
// until now, unless it is older than that.
func (k *Track) hourly(now time.Time) []float64 {
	out := unknown(trackHours)
	points := k.Hours.points(now.Add(-(trackHours+12)*time.Hour), now)
	if len(points) < 2 {
		return out
	}
	gap := max(leastGap, gapPaces*paceOf(points))
	newest := points[len(points)-1]
	for i := range out {
		switch h := float64(i - trackHours + 1); {
		case h < newest.h:
			out[i] = onLine(points, h, max(gap, bridgedHours))
		case h-newest.h <= gap:
			out[i] = newest.v
		}
	}
	return out
}
