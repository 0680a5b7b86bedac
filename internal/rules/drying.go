package rules

import (
	"fmt"
	"slices"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/trend"
)

const (
	// How many refits in a row, an hour apart, must find what turns drying: it is
	// foreseen, or within two days; well away, or moved so far by work that the
	// curve begins anew. A probe's noise moves a forecast by days from hour to hour.
	// Choices, by simulated bins.
	dryingSeen = 5
	dryingNear = 2
	dryingCalm = 36
	dryingAnew = 6
	// dryingAway is well away: so many times what is looked ahead. A choice, likewise.
	dryingAway = 2
	// dryRefit is how long a fit of moisture serves that sees no limit near: it is
	// drawn from means over whole days, and is the most costly thing there is.
	dryRefit = 3 * time.Hour
	dryNear  = 2 * 24 * time.Hour // by its early end, more than any of the sifting window's
)

// dryMemory is the last refit of a zone's moisture.
type dryMemory struct {
	Thrive  trend.Crossing // when it leaves the thrive band on the dry side
	Most    trend.Crossing // most of its worms' thrive bands
	Survive trend.Crossing // and the survive band
	Opens   trend.Crossing // when it comes into the thrive band from above
	At      time.Time
	Calm    int // refits in a row that found it well away
	Seen    int // refits in a row that found it near

	LossPerDay float64 // kg of water per kg dry, as last seen; negative when it gains
}

// refitDry draws the moisture curve anew.
func (s *State) refitDry(z *zone, m time.Time) {
	if z.moist.bands.IsZero() || !anyFresh(z.moist.probes, m) {
		return
	}
	d, at := &z.Husbandry.Dry, z.moist.clock(m)
	if !z.dryFitServes(at) {
		d.At = at
		band := z.moist.bands
		// The driest probe is there when the middle is still as far above.
		driest := band.Survive.Low + z.moist.Value - z.moist.Low.Value
		fits := trend.DryingFits(&z.Husbandry.Moist, at, band.Thrive.Low, driest, band.Thrive.High, z.moist.below.limit[farm.Today])
		d.Thrive, d.Survive, d.Opens, d.Most = fits[0], fits[1], fits[2], fits[3]
		if loss, ok := trend.LossPerDay(&z.Husbandry.Moist, at); ok {
			d.LossPerDay = loss
		}
	}
	if z.spec.Aim == farm.Sifting {
		z.Husbandry.Sift.Calm++
		s.judgeSifting(z, at)
		return
	}
	d.Seen++
	d.Calm++
	if !z.foreseesDry(1) {
		d.Seen = 0
	}
	if z.foreseesDry(dryingAway) {
		d.Calm = 0
	}
	s.judgeDrying(z, at)
}

// dryFitServes tells whether the last refit still does: it is recent, saw no
// limit near, and the zone has not been opened since.
func (z *zone) dryFitServes(at time.Time) bool {
	d := z.Husbandry.Dry
	if at.Sub(d.At) >= dryRefit || z.Husbandry.Moist.FreshMS > d.At.UnixMilli() || d.Thrive.Quiet {
		return false
	}
	near := at.Add(dryNear)
	return !slices.ContainsFunc([]trend.Crossing{d.Thrive, d.Survive, d.Opens}, func(c trend.Crossing) bool {
		return !c.Past && !c.Crosses.IsZero() && c.Earliest.Before(near)
	})
}

// foreseesDry tells whether the last refit found the zone to leave its thrive
// band within what it looks ahead, or so many times that.
func (z *zone) foreseesDry(times float64) bool {
	d, ahead := z.Husbandry.Dry, float64(z.spec.LookAhead.Drying)*times
	return !d.Thrive.Past && d.Thrive.Within(d.At, time.Duration(ahead)) && !z.record(farm.TooWet).raised()
}

// judgeDrying raises what has been foreseen for long enough. A zone that is told to
// be too dry is not told to be drying as well, and one whose probe settles is not
// foreseen.
func (s *State) judgeDrying(z *zone, now time.Time) {
	r, d := z.record(farm.Drying), z.Husbandry.Dry
	if r.becomes().raised() {
		s.emit(r, now, farm.Calm)
		return
	}
	seen, calm := dryingSeen, dryingCalm
	if d.Thrive.Within(d.At, dryNear) {
		seen = dryingNear
	}
	if z.Husbandry.Moist.FreshMS > r.Since.UnixMilli() {
		calm = dryingAnew
	}
	if r.raised() {
		s.turn(r, now, d.Thrive.Past || d.Calm < calm)
		return
	}
	s.turn(r, now, d.Seen >= seen && !z.moist.settling.holds(farm.Below))
}

func (s *State) sayDrying(z *zone, now time.Time) saying {
	u, limit := s.farm.Units, z.moist.bands.Thrive.Low
	brief, text := s.foreseenNow(z.record(farm.Drying).breach(), s.moistNow(z), now)
	say := saying{Advice: s.dryingAdvice(z, now), Brief: brief}
	switch f, ok := ahead(z.Husbandry.Dry.Thrive, now); {
	case z.moist.Value < limit:
		text += fmt.Sprintf(", below %s already.", u.Moisture(limit))
	case ok:
		text += fmt.Sprintf(", and below %s %s.", u.Moisture(limit), s.days(f, now))
		say.Forecast = &f
	default:
		text += "."
	}
	say.Text = text
	return say
}

// foreseenNow begins the words of what is foreseen: how it is now, or was when the
// zone was last heard.
func (s *State) foreseenNow(b breach, level string, now time.Time) (brief, text string) {
	brief = fmt.Sprintf("%s: %s now", b.rec.row.Was, level)
	if b.ofNow(now) {
		return brief, s.place(b.zone.who) + " is " + brief
	}
	return brief, fmt.Sprintf("%s was %s when last heard, %s ago: %s then", s.place(b.zone.who), b.rec.row.Was, farm.SayLong(now.Sub(b.At)), level)
}

// moistNow writes the moisture of a zone.
func (s *State) moistNow(z *zone) string {
	return s.value(z.record(farm.TooDry).breach(), z.moist.Value)
}

// days says a forecast in days: "about Thursday to Saturday".
func (s *State) days(f farm.Forecast, now time.Time) string {
	dates := s.farm.Dates()
	if f.Latest.IsZero() {
		return "not before " + dates.Day(f.Earliest, now)
	}
	span, last := dates.Span(f.Earliest, f.Latest, now), dates.Day(f.Latest, now)
	switch today := dates.Day(now, now); {
	case span == today:
		return span
	case !f.Earliest.After(now), dates.Day(f.Earliest, now) == today:
		return "any day up to " + last
	}
	return "about " + span
}

// nextLimit forecasts when a raised band condition passes its next limit.
func (s *State) nextLimit(b breach, u farm.Urgency, at time.Time) *farm.Forecast {
	limit, ok := b.edge.after(u)
	if !ok {
		return nil
	}
	z, c, harm := b.zone, b.rec.what.condition, limit == b.edge.harm()
	var next trend.Crossing
	switch {
	case c == farm.TooHot && harm:
		next = z.Husbandry.Heat.Fit.Crossing
	case c == farm.TooHot:
		next = z.Husbandry.Heat.Most
	case c == farm.TooDry && harm:
		next = z.Husbandry.Dry.Survive
	case c == farm.TooDry:
		next = z.Husbandry.Dry.Most
	}
	f, ok := ahead(next, at)
	if !ok {
		return nil
	}
	f.Limit = limit
	return &f
}

// ahead is the forecast of a crossing that is still to come.
func ahead(c trend.Crossing, now time.Time) (f farm.Forecast, ok bool) {
	f, ok = c.Forecast()
	return f, ok && !c.Past && f.Crosses.After(now)
}
