package metrics

import (
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
