package metrics

import (
	"maps"
	"slices"
	"time"

	"binwatchd/internal/farm"
)

// collect writes everything there is to show from one look at the farm.
func collect(cfg Config, levels []levelMetrics, t *text) {
	s := &scrape{levels, t}
	s.gauge(build, 1, cfg.Version)
	view, ok := cfg.Look()
	s.gauge(brokerConnected, truth(ok && view.Intake.Connected))
	if ok {
		s.view(&view, cfg.Starts)
	}
	s.machinery(cfg)
}

// A scrape collects the metrics of one request.
type scrape struct {
	levels []levelMetrics
	text   *text
}

// gauge shows a value that goes up and down. One that is no number is left out.
func (s *scrape) gauge(m *metric, v float64, labels ...string) {
	s.text.show(m, kindGauge, v, labels)
}

// zoned shows a value of a zone in a place, which may be "".
func (s *scrape) zoned(m zoneMetric, place string, v float64, labels ...string) {
	if place == "" {
		s.gauge(m.bare, v, labels...)
	} else {
		s.gauge(m.placed, v, append(labels, place)...)
	}
}

// counter shows a value that only grows until the daemon is started anew.
func (s *scrape) counter(m *metric, v int64, labels ...string) {
	s.text.show(m, kindCounter, float64(v), labels)
}

// moment shows a time as seconds since 1970; the zero time is left out.
func (s *scrape) moment(m *metric, t time.Time, labels ...string) {
	if !t.IsZero() {
		s.gauge(m, float64(t.UnixMilli())/1000, labels...)
	}
}

func truth(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// view shows what one look at the farm tells.
func (s *scrape) view(v *farm.View, from Starts) {
	places := map[string]string{} // by bin
	for i := range v.Bins {
		b := &v.Bins[i]
		places[b.Name] = b.Place
		for j := range b.Zones {
			s.zone(&b.Zones[j], b.Place, v.At)
		}
	}
	for _, c := range v.Standing {
		m, labels := condition, []string{c.Bin, c.Zone, string(c.Condition), c.Urgency.String()}
		if c.Probe != "" {
			m, labels = probeCondition, append(labels, c.Probe)
		}
		s.zoned(m, places[c.Bin], 1, labels...)
	}
	for i := range v.Probes {
		s.probe(&v.Probes[i], from.Rejected)
	}
	s.text.delays(delay, v.Intake.Delays)
	for _, outcome := range slices.Concat(from.Messages, slices.Sorted(maps.Keys(v.Intake.Messages))) {
		s.counter(messages, v.Intake.Messages[outcome], outcome)
	}
	for _, r := range v.Recipients {
		s.gauge(noticeTrouble, truth(r.Trouble != ""), r.By, r.Name())
	}
	s.gauge(journalWritable, truth(v.Intake.Unwritten == nil))
	if c := v.Copies; c != nil {
		s.moment(copyAt, c.Last)
		s.gauge(copyTrouble, truth(c.Trouble != ""))
	}
}

// zone shows a zone's levels while they are fresh, and what rests on them as long.
func (s *scrape) zone(z *farm.ZoneView, place string, now time.Time) {
	judged := z.Unjudged == "" && len(z.Unknown) == 0 && (z.LidOff == nil || !z.LidOff.After(now))
	s.zoned(zoneJudged, place, truth(judged), z.Bin, z.Zone)
	for _, m := range s.levels {
		l, in := z.Level(m.row.Name), m.row.Gauge.In
		s.limits(m, z, place)
		if !fresh(l) {
			continue
		}
		s.zoned(m.middle, place, in.Outer(l.Value), z.Bin, z.Zone)
		if l.Lowest != nil && l.Highest != nil {
			s.zoned(m.lowest, place, in.Outer(l.Lowest.Value), z.Bin, z.Zone)
			s.zoned(m.highest, place, in.Outer(l.Highest.Value), z.Bin, z.Zone)
		}
	}
	if fresh(z.Level(farm.Temperature)) {
		for _, sp := range z.Species {
			s.zoned(activity, place, sp.Activity, z.Bin, z.Zone, sp.ID)
		}
	}
	if z.Water != nil && fresh(z.Level(farm.Moisture)) {
		s.zoned(waterNeeded, place, z.Water.WaterLitres, z.Bin, z.Zone)
	}
	if z.Aim == farm.Keeping {
		s.zoned(castings, place, z.StoredL, z.Bin, z.Zone)
	}
	for _, o := range z.Outlook {
		// Feed and cocoons go by the days.
		if q := o.Condition.Quantity(); o.Forecast.Crosses.IsZero() || q != "" && !fresh(z.Level(q)) {
			continue
		}
		for _, end := range []struct {
			metric zoneMetric
			at     time.Time
		}{{forecast, o.Forecast.Crosses}, {earliest, o.Forecast.Earliest}, {latest, o.Forecast.Latest}} {
			if !end.at.IsZero() {
				s.zoned(end.metric, place, max(0, end.at.Sub(now).Seconds()), z.Bin, z.Zone, string(o.Condition))
			}
		}
	}
}

// limits shows what a zone is held to, once it has been heard: past silence too, for
// it is the configuration's and no reading's.
func (s *scrape) limits(m levelMetrics, z *farm.ZoneView, place string) {
	l := z.Level(m.row.Name)
	if l == nil {
		return
	}
	side := func(band, side string, at float64) {
		s.zoned(m.limit, place, m.row.Gauge.In.Outer(at), z.Bin, z.Zone, band, side)
	}
	both := func(band string, b farm.Band) { side(band, "low", b.Low); side(band, "high", b.High) }
	if !l.Bands.IsZero() {
		both("thrive", l.Bands.Thrive)
		both("survive", l.Bands.Survive)
	} else if n := len(l.Limits); m.row.Limits && n > 0 { // the zone's own, which has two ends
		both("limits", farm.Band{Low: l.Limits[0].At, High: l.Limits[n-1].At})
	}
}

// fresh tells whether a zone's level of a quantity still speaks of now.
func fresh(l *farm.LevelView) bool { return l != nil && l.Fresh }

// outcomes are shown from the start, so that a rate has a zero to rise from.
var outcomes = []string{farm.OutcomeBelieved, farm.OutcomeDoubted, farm.OutcomeUncertain, farm.OutcomeLate, farm.OutcomeRepeated}

// probe shows when a probe last spoke, whether or not that is long ago: the
// metric is there to tell so.
func (s *scrape) probe(p *farm.ProbeView, reasons []string) {
	s.moment(lastReading, p.At, p.ID)
	for _, m := range s.levels {
		if p.AirOf != "" && m.row.Name == p.Measures && p.Fresh && p.Doubt == "" && p.Value != nil {
			s.gauge(m.air, m.row.Gauge.In.Outer(*p.Value), p.AirOf, p.ID)
		}
	}
	for _, outcome := range slices.Concat(outcomes, slices.Sorted(maps.Keys(p.Counts))) {
		s.counter(readings, p.Counts[outcome], p.ID, outcome) // once each
	}
	for _, reason := range slices.Concat(reasons, slices.Sorted(maps.Keys(p.Rejected))) {
		s.counter(rejected, p.Rejected[reason], p.ID, reason)
	}
}

// machinery shows the parts that the farm's readings run through.
func (s *scrape) machinery(cfg Config) {
	if j, ok := figures(cfg.Journal); ok {
		s.gauge(journalFile, float64(j.FileBytes))
		s.gauge(journalLog, float64(j.LogBytes))
		s.gauge(journalFree, float64(j.FreeBytes))
		s.gauge(journalReadings, float64(j.Packed), "yes")
		s.gauge(journalReadings, float64(j.Unpacked), "no")
		s.gauge(journalEvents, float64(j.Events))
		s.moment(journalOldest, j.Oldest)
	}
	if i, ok := figures(cfg.Influx); ok {
		s.gauge(influxWaiting, float64(i.Waiting))
		s.counter(influxWritten, i.Written)
		s.counter(influxParked, i.Parked)
		s.counter(influxFailed, i.Failed)
		s.moment(influxAt, i.At)
	}
	if cfg.Notices == nil {
		return
	}
	all, sums := cfg.Notices(), map[Notices]int64{} // there may be several with the same labels
	for _, n := range all {
		sums[Notices{By: n.By, Outcome: n.Outcome}] += n.Count
	}
	for _, n := range all {
		s.counter(notices, sums[Notices{By: n.By, Outcome: n.Outcome}], n.By, n.Outcome) // once each
	}
}

// figures are what get gives, if there is anything to get.
func figures[T any](get func() (T, bool)) (v T, ok bool) {
	if get == nil {
		return v, false
	}
	return get()
}
