package metrics

import (
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"binwatchd/internal/farm"
)

// A collector makes the metrics of one scrape from one look at the farm.
type collector struct {
	cfg    Config
	levels []levelMetrics
}

// Describe sends nothing: which metrics there are is only known at the scrape.
func (collector) Describe(chan<- *prometheus.Desc) {}

// Collect shows everything there is to show.
func (c collector) Collect(out chan<- prometheus.Metric) {
	s := &scrape{out: out, levels: c.levels, shown: make(map[string]bool)}
	s.gauge(build, 1, c.cfg.Version)
	view, ok := c.cfg.Look()
	s.gauge(brokerConnected, truth(ok && view.Intake.Connected))
	if ok {
		s.view(&view)
	}
	s.machinery(c.cfg)
}

// A scrape collects the metrics of one request.
type scrape struct {
	out    chan<- prometheus.Metric
	levels []levelMetrics
	shown  map[string]bool // which series are out already
}

// gauge shows a value that goes up and down. One that is no number is left out.
func (s *scrape) gauge(m metric, v float64, labels ...string) {
	s.show(m, prometheus.GaugeValue, v, labels)
}

// counter shows a value that only grows until the daemon is started anew.
func (s *scrape) counter(m metric, v int64, labels ...string) {
	s.show(m, prometheus.CounterValue, float64(v), labels)
}

// moment shows a time as seconds since 1970; the zero time is left out.
func (s *scrape) moment(m metric, t time.Time, labels ...string) {
	if !t.IsZero() {
		s.gauge(m, float64(t.UnixMilli())/1000, labels...)
	}
}

// show hands a series out once: a second one with the same labels would
// spoil the whole answer.
func (s *scrape) show(m metric, kind prometheus.ValueType, v float64, labels []string) {
	if !farm.Finite(v) {
		return
	}
	for i, l := range labels {
		labels[i] = strings.ToValidUTF8(l, "\uFFFD")
	}
	id := m.name + "\xff" + strings.Join(labels, "\xff") // no label has this byte
	if s.shown[id] {
		return
	}
	s.shown[id] = true
	s.out <- prometheus.MustNewConstMetric(m.desc, kind, v, labels...)
}

func truth(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

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
	for _, r := range v.Recipients {
		s.gauge(noticeTrouble, truth(r.Trouble != ""), r.By, r.Name())
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

// machinery shows the parts that the farm's readings run through.
func (s *scrape) machinery(cfg Config) {
	if cfg.Journal != nil {
		if j, ok := cfg.Journal(); ok {
			s.journal(j)
		}
	}
	if cfg.Influx != nil {
		if i, ok := cfg.Influx(); ok {
			s.influx(i)
		}
	}
	if cfg.Notices != nil {
		s.notices(cfg.Notices())
	}
}

func (s *scrape) journal(j Journal) {
	s.gauge(journalFile, float64(j.FileBytes))
	s.gauge(journalLog, float64(j.LogBytes))
	s.gauge(journalFree, float64(j.FreeBytes))
	s.gauge(journalReadings, float64(j.Packed), "yes")
	s.gauge(journalReadings, float64(j.Unpacked), "no")
	s.gauge(journalEvents, float64(j.Events))
	s.moment(journalOldest, j.Oldest)
}

func (s *scrape) influx(i Influx) {
	s.gauge(influxWaiting, float64(i.Waiting))
	s.counter(influxWritten, i.Written)
	s.counter(influxParked, i.Parked)
	s.counter(influxFailed, i.Failed)
	s.moment(influxAt, i.At)
}

// notices adds up what has the same labels: there may be several of one kind.
func (s *scrape) notices(all []Notices) {
	type key struct{ by, outcome string }
	sums := make(map[key]int64)
	for _, n := range all {
		sums[key{n.By, n.Outcome}] += n.Count
	}
	for k, n := range sums { // the registry sorts
		s.counter(notices, n, k.by, k.outcome)
	}
}
