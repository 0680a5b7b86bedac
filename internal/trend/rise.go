package trend

import (
	"math"
	"slices"
	"sync"
	"time"
)

// Chosen on simulated bins; others were held out.
const (
	heatChance = 0.3  // of crossing at all, below which nothing is foreseen
	riseSD     = 0.35 // how far the excess strays from a true curve, K
	riseHaste  = 0.2  // spread of the logarithm of how much slower real heaps are than any of the courses
	// lateness is by how much longer the late half of an interval must be for nine of
	// ten to cross before its end: the quantile of the residuals, in parts of that half,
	// of forecasts told in simulated weeks, seen 1.26 (split conformal prediction: Vovk,
	// Gammerman & Shafer 2005; Lei et al. 2018, J Am Stat Assoc 113:1094; from memory).
	lateness            = 1.3
	halfHourCorrelation = 0.85 // how much of a straying is left half an hour later
)

// swings of the room that are tried, in parts of the one learned.
var swings = [...]float64{1, 0.6, 0.2}

// A course is one way a rise may go, from 0 before to 1 when it is over: over
// the last day in half hours, and ahead in hours. Nothing of it depends on the
// data.
type course struct {
	past  dayCurve
	ahead [heatAhead + 1]float64
}

// fading is, by hours ahead, what is left of a miss at now, and how far the room
// may have strayed, in parts of its straying in twelve hours.
var fading = func() (f struct{ miss, stray [heatAhead + 1]float64 }) {
	for h := range f.miss {
		f.miss[h] = math.Exp(-float64(h) / 3)
		f.stray[h] = min(1.5, math.Sqrt(float64(h)/12))
	}
	return f
}()

// courses gives all courses tried, drawn once: S-curves from their first
// stirring to nearly over, and first-order approaches begun within the last
// day or so. Widths and starts are in hours.
var courses = sync.OnceValue(func() (all []course) {
	sCurve := func(u float64) float64 { return 1 / (1 + math.Exp(-u)) }
	approach := func(u float64) float64 { return 1 - math.Exp(-max(0, u)) }
	for _, w := range [...]float64{0.8, 1.2, 1.8, 2.7, 4, 6, 9} {
		for phase := -5.0; phase <= 4; phase += 0.75 {
			all = append(all, drawn(sCurve, w, -phase*w))
		}
	}
	for _, w := range [...]float64{2, 3.5, 6, 10, 17, 30} {
		for _, start := range [...]float64{-1, -2, -3.5, -5, -7, -10, -14, -20, -28} {
			all = append(all, drawn(approach, w, start))
		}
	}
	return all
})

// drawn is a course of a shape, so many hours wide; start is the middle of an S
// or the onset of an approach, hours from now.
func drawn(shape func(u float64) float64, width, start float64) (c course) {
	for i := range c.past {
		c.past[i] = shape((dayCurveHour(i) - start) / width)
	}
	for h := range c.ahead {
		c.ahead[h] = shape((float64(h) - start) / width)
	}
	return c
}

// A height is a rise tried, K, and the logarithm of how likely it is
// beforehand.
type height struct{ k, log float64 }

// heights are log-normal around 14 K: a choice after Cornell's compost physics
// (small heaps peak at 30 to 40 °C, larger ones at 40 to 50), on the warm side,
// since a warning too many costs less than one too few.
var heights = sync.OnceValue(func() (all []height) {
	for _, k := range [...]float64{1.5, 2, 2.6, 3.4, 4.4, 5.7, 7.4, 9.6, 12.5, 16, 21, 27, 35, 45} {
		z := math.Log(k/14) / 0.75
		all = append(all, height{k, -z * z / 2})
	}
	return all
})

// sums are what the fit of one shape needs of the last day, with a sticky
// (first-order autoregressive) straying taken out of it.
type sums struct{ oo, os, ss, zo, zs, zz float64 }

func (p *lastDay) sums(own []point, course *dayCurve) (q sums) {
	before := 0.0 // of the course at the point before
	for i := range own {
		y, at := own[i].v, course.at(p.place[i])
		z, s, o, weight := y, at, 1.0, 1.0
		if i > 0 {
			correlation := p.correlation[i]
			z, s, o = y-correlation*own[i-1].v, at-correlation*before, 1-correlation
			weight = 1 / (1 - correlation*correlation)
		}
		before = at
		q.oo += weight * o * o
		q.os += weight * o * s
		q.ss += weight * s * s
		q.zo += weight * z * o
		q.zs += weight * z * s
		q.zz += weight * z * z
	}
	return q
}

// fit gives, for a rise of height k, the base it stands on and the misfit. The
// base is held near base0 by its own spread.
func (q *sums) fit(k, base0, baseSD float64) (base, misfit float64) {
	hold := riseSD * riseSD / (baseSD * baseSD)
	pull := q.zo - k*q.os + hold*base0
	base = pull / (q.oo + hold)
	misfit = q.zz - 2*k*q.zs + k*k*q.ss + hold*base0*base0 - pull*base
	return base, misfit / (riseSD * riseSD)
}

// A candidate is one rise with how likely it is, as a logarithm.
type candidate struct {
	*course
	height, base, log float64
}

// candidates weighs every course and height against the excess of the last
// day.
func (r *room) candidates(p *lastDay) (all []candidate, best float64) {
	base0, baseSD := r.usualExcess, max(1, 2*r.noise)
	tried, steps, own := courses(), heights(), p.above(&r.past)
	all = make([]candidate, 0, len(tried)*len(steps))
	best = math.Inf(-1)
	for i := range tried {
		q := p.sums(own, &tried[i].past)
		for _, h := range steps {
			base, misfit := q.fit(h.k, base0, baseSD)
			c := candidate{&tried[i], h.k, base, h.log - misfit/2}
			all, best = append(all, c), max(best, c.log)
		}
	}
	return all, best
}

// foresee gathers when each likely candidate, on top of the room ahead, would
// cross the limit. It is foreseen when enough of them do so in the time looked
// ahead; when is read from all of them, lest those that would take longer make the
// others look early. The room is taken as it was learned and with smaller
// swings, for a bin that is newly filled or opened follows its room less.
func (r *room) foresee(p *lastDay, limitC, ahead float64, now time.Time) Crossing {
	var rooms [len(swings)]room
	var all [len(swings)][]candidate
	var bests [len(swings)]float64
	for i, part := range swings {
		rooms[i] = r.swinging(part, p)
		all[i], bests[i] = rooms[i].candidates(p)
	}
	best := slices.Max(bests[:])
	var c ensemble
	for i := range rooms {
		for _, k := range all[i] {
			if weight := math.Exp(k.log - best); weight > 1e-3 {
				off, haste := c.normals.pair()
				c.add(rooms[i].crossesIn(p, k, limitC, off)*math.Exp(riseHaste*haste), weight)
			}
		}
	}
	out := Crossing{Never: true}
	soon := c.likely(ahead)
	if soon > heatChance {
		out = c.crossing(now, heatAhead, 0)
		out.Latest = out.Crosses.Add(time.Duration(lateness * float64(out.Latest.Sub(out.Crosses)))).Round(time.Minute)
	}
	out.Chance = soon
	return out
}

// swinging is the same room with a part of the swing.
func (r *room) swinging(part float64, p *lastDay) room {
	if part == 1 {
		return *r
	}
	calm, mean := *r, meanOf(r.past[:])
	for i, v := range r.past {
		calm.past[i] = mean + part*(v-mean)
	}
	for h, v := range r.ahead {
		calm.ahead[h] = mean + part*(v-mean)
	}
	calm.usualExcess, calm.noise = p.coolest(&calm.past), 1.5
	return calm
}

// foreseeRoom is when the room alone would take the bin across the limit, its
// excess staying what it is.
func (r *room) foreseeRoom(p *lastDay, limitC, ahead float64, now time.Time) Crossing {
	var c ensemble
	still := candidate{course: &course{}, base: p.last.v - p.lastOf(&r.past)}
	for range 31 {
		off, _ := c.normals.pair()
		c.add(r.crossesIn(p, still, limitC, off), 1)
	}
	return c.crossing(now, ahead, 0.5)
}

// crossesIn is after how many hours the room ahead, the candidate and what is
// left of its miss at now reach the limit; +Inf for not in time. off says how
// the room turns out, in standard deviations.
func (r *room) crossesIn(p *lastDay, k candidate, limitC, off float64) float64 {
	miss := p.last.v - p.lastOf(&r.past) - k.base - k.height*p.lastOf(&k.past)
	before := r.ahead[0] + k.base + k.height*k.ahead[0] + miss
	if before >= limitC {
		return 0
	}
	for h := 1; h <= heatAhead; h++ {
		at := r.ahead[h] + k.base + k.height*k.ahead[h] + miss*fading.miss[h] + off*r.sd12*fading.stray[h]
		if at >= limitC {
			return float64(h) - (at-limitC)/(at-before)
		}
		before = at
	}
	return math.Inf(1)
}
