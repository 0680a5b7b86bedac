package metrics

import (
	"maps"
	"slices"
	"time"

	"binwatchd/internal/farm"
)

// view shows what one look at the farm tells.
func (s *scrape) view(v *farm.View) {
	for i := range v.Bins {
		for j := range v.Bins[i].Zones {
			s.zone(&v.Bins[i].Zones[j], v.At)
		}
	}
	for i := range v.Standing {
		s.standing(&v.Standing[i])
	}
	for i := range v.Probes {
		s.probe(&v.Probes[i])
	}
	for _, outcome := range slices.Sorted(maps.Keys(v.Intake.Messages)) {
		s.counter(messages, v.Intake.Messages[outcome], outcome)
	}
	s.gauge(journalWritable, truth(v.Intake.Unwritten == nil))
}

// zone shows a zone's levels while they are fresh, and what rests on them as long.
func (s *scrape) zone(z *farm.ZoneView, now time.Time) {
	s.gauge(zoneJudged, truth(judged(z, now)), z.Bin, z.Zone)
	for _, m := range s.levels {
		l := z.Level(m.quantity)
		if !fresh(z, m.quantity) {
			continue
		}
		s.gauge(m.middle, m.in.Outer(l.Value), z.Bin, z.Zone)
		if l.Lowest != nil && l.Highest != nil {
			s.gauge(m.lowest, m.in.Outer(l.Lowest.Value), z.Bin, z.Zone)
			s.gauge(m.highest, m.in.Outer(l.Highest.Value), z.Bin, z.Zone)
		}
	}
	if fresh(z, farm.Temperature) {
		for _, sp := range z.Species {
			s.gauge(activity, sp.Activity, z.Bin, z.Zone, sp.ID)
		}
	}
	if z.Water != nil && fresh(z, farm.Moisture) {
		s.gauge(waterNeeded, z.Water.WaterLitres, z.Bin, z.Zone)
	}
	for _, o := range z.Outlook {
		// Feed and cocoons go by the days.
		if q := o.Condition.Quantity(); o.Forecast.Crosses.IsZero() || q != "" && !fresh(z, q) {
			continue
		}
		left := max(0, o.Forecast.Crosses.Sub(now).Seconds())
		s.gauge(forecast, left, z.Bin, z.Zone, string(o.Condition))
	}
}

// fresh tells whether a zone's level of a quantity still speaks of now.
func fresh(z *farm.ZoneView, q farm.Quantity) bool {
	l := z.Level(q)
	return l != nil && l.Fresh
}

// judged tells whether a zone can be judged by all that its probes measure.
func judged(z *farm.ZoneView, now time.Time) bool {
	return z.Unjudged == "" && len(z.Unknown) == 0 && (z.LidOff == nil || !z.LidOff.After(now))
}

func (s *scrape) standing(c *farm.Standing) {
	if c.Probe == "" {
		s.gauge(condition, 1, c.Bin, c.Zone, string(c.Condition), c.Urgency.String())
		return
	}
	s.gauge(probeCondition, 1, c.Bin, c.Zone, string(c.Condition), c.Urgency.String(), c.Probe)
}

// outcomes are shown from the start, so that a rate has a zero to rise from.
var outcomes = []string{farm.OutcomeBelieved, farm.OutcomeDoubted, farm.OutcomeUncertain, farm.OutcomeLate, farm.OutcomeRepeated}

// probe shows when a probe last spoke, whether or not that is long ago: the
// metric is there to tell so.
func (s *scrape) probe(p *farm.ProbeView) {
	s.moment(lastReading, p.At, p.ID)
	for _, outcome := range outcomes {
		s.counter(readings, p.Counts[outcome], p.ID, outcome)
	}
	for _, outcome := range slices.Sorted(maps.Keys(p.Counts)) {
		s.counter(readings, p.Counts[outcome], p.ID, outcome) // those above are out already
	}
	for _, reason := range slices.Sorted(maps.Keys(p.Rejected)) {
		s.counter(rejected, p.Rejected[reason], p.ID, reason)
	}
}
