package metrics

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
