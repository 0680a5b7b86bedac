package watch

import (
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
)

// Outcomes of a message, for the metrics. A rejected one counts under its
// reason.
const (
	messageTaken    = "taken"
	messageRepeated = "repeated"
)

// counts are what the loop has seen since it began. They are not on disk.
type counts struct {
	messages map[string]int64
	rejected map[string]map[string]int64 // probe → reason
	readings map[string]map[string]int64 // probe → outcome
	up       bool
	known    bool // up has been told
	since    time.Time
	commits  int64
	lastSync time.Time
}

func newCounts() counts {
	return counts{messages: map[string]int64{}, rejected: map[string]map[string]int64{}, readings: map[string]map[string]int64{}}
}

// link notes the state of the connection and tells whether it is another.
func (c *counts) link(up bool, at time.Time) bool {
	if c.known && c.up == up {
		return false
	}
	c.up, c.known, c.since = up, true, at
	return true
}

func (c *counts) reject(r ingest.Rejection) {
	c.messages[string(r.Reason)]++
	if r.Probe != "" {
		bump(c.rejected, r.Probe, string(r.Reason))
	}
}

func (c *counts) outcome(probe, outcome string) { bump(c.readings, probe, outcome) }

func (c *counts) committed(at time.Time) {
	c.commits++
	c.lastSync = at
}

// outcome is what became of a reading; late ones are kept, not judged.
func outcome(r farm.Reading, late bool) string {
	switch {
	case late:
		return farm.OutcomeLate
	case !r.Believed():
		return farm.OutcomeDoubted
	case r.Uncertain:
		return farm.OutcomeUncertain
	}
	return farm.OutcomeBelieved
}

func bump(m map[string]map[string]int64, a, b string) {
	if m[a] == nil {
		m[a] = map[string]int64{}
	}
	m[a][b]++
}
