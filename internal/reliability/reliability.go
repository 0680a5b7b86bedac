// Package reliability reckons how reliable each probe was over some weeks: how much of the time
// it was heard, how often it dropped out, how much of what it said was doubted, when its battery
// will be low and how old its calibration is. It is a pure fold over the events of the journal; time in which
// nobody listened counts for no probe and against none.
package reliability

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/trend"
)

const (
	// outAfter is how many times its pace a probe is quiet until it has dropped out, as rules has it.
	outAfter = 3
	// sound is the part of the time for which a probe that nobody needs to look at is heard and
	// believed. A choice, no source.
	sound = 0.95
	// batteryDays is from how many days on a battery's trend is one, and batteryAhead for how long
	// it is drawn on. Choices, no source.
	batteryDays  = 5
	batteryAhead = 180 * 24 * time.Hour
)

// An Account takes in events, in journal order, from the beginning of the time it is about.
type Account struct {
	value   func(probe string, raw float64) (float64, bool) // by the calibration in force
	probes  []*past
	byID    map[string]*past
	last    time.Time
	linked  bool
	watched time.Duration // so far
}

// A past is what was heard of a probe.
type past struct {
	spec     farm.Probe
	heard    time.Duration // on the clock that goes while somebody listens, of the newest reading
	first    time.Duration // of the first
	gaps     []time.Duration
	readings int
	doubted  map[farm.Doubt]int
	fits     bool      // the newest readings are of the calibration in force
	since    time.Time // from when on
	changed  bool      // and some before them were not
	days     map[int64][]float64
}

// New begins an account of the probes of f. value gives a raw number its value by the calibration in
// force.
func New(f *farm.Farm, value func(probe string, raw float64) (float64, bool)) *Account {
	a := &Account{value: value, byID: map[string]*past{}, linked: true}
	for _, p := range f.Probes {
		x := &past{spec: p, doubted: map[farm.Doubt]int{}, days: map[int64][]float64{}}
		a.probes, a.byID[p.ID] = append(a.probes, x), x
	}
	return a
}

// Hear takes one event in.
func (a *Account) Hear(e farm.Event) {
	if d := e.Arrived.Sub(a.last); !a.last.IsZero() && a.linked && d > 0 && e.Kind != farm.EventStart && e.Kind != farm.EventClock {
		a.watched += d
	}
	a.last = e.Arrived
	switch {
	case e.Kind == farm.EventLink:
		a.linked = e.Up
	case e.Kind == farm.EventReading && !e.Reading.Retained:
		if p := a.byID[e.Reading.Probe]; p != nil {
			a.reading(p, &e.Reading)
		}
	}
}

func (a *Account) reading(p *past, r *farm.Reading) {
	if p.readings == 0 {
		p.first = a.watched
	} else {
		p.gaps = append(p.gaps, a.watched-p.heard)
	}
	p.heard = a.watched
	p.readings++
	if v, ok := a.value(r.Probe, r.Raw); ok && farm.Finite(v) && len(p.spec.Calibration) > 0 {
		fits := math.Abs(v-r.Value) <= 1e-6*max(1, math.Abs(v))
		if fits && !p.fits {
			p.changed, p.since = p.readings > 1, r.At
		}
		p.fits = fits
	}
	if !r.Believed() {
		p.doubted[r.Doubt]++
		return
	}
	if p.spec.Measures == farm.Battery {
		day := r.At.Unix() / (24 * 60 * 60)
		p.days[day] = append(p.days[day], r.Value)
	}
}

// A Probe is how reliable one probe was.
type Probe struct {
	ID         string     `json:"probe"`
	Heard      float64    `json:"heard"`    // part of the time that it was there and somebody listened, 0..1
	Believed   float64    `json:"believed"` // part of that time that it was heard and believed
	DropOuts   int        `json:"drop_outs"`
	Readings   int        `json:"readings"`
	Doubted    int        `json:"doubted"`
	Doubt      string     `json:"doubt,omitempty"`           // the most frequent
	LowBy      *time.Time `json:"battery_low_by,omitempty"`  // of a battery: when its trend reaches low
	Calibrated *time.Time `json:"calibrated,omitempty"`      // when the calibration in force began, where it changed meanwhile
	Longer     bool       `json:"calibrated_long,omitempty"` // its calibration is older than what was looked at
	Replace    bool       `json:"replace_first,omitempty"`   // the first of those that need it
}

// List gives the probes, the least reliable first, as it is at a time. Of what followed the newest event
// nobody knows whether somebody listened.
func (a *Account) List(now time.Time) []Probe {
	var all []Probe
	for _, p := range a.probes {
		all = append(all, p.judge(a.watched, now))
	}
	slices.SortStableFunc(all, func(a, b Probe) int {
		return cmp.Or(cmp.Compare(a.Believed, b.Believed), cmp.Compare(b.DropOuts, a.DropOuts))
	})
	if len(all) > 0 && all[0].Believed < sound {
		all[0].Replace = true
	}
	return all
}

func (p *past) judge(end time.Duration, now time.Time) Probe {
	out := Probe{ID: p.spec.ID, Readings: p.readings}
	if p.readings == 0 {
		if end <= outAfter*p.spec.Every { // not listened to for long enough
			out.Heard, out.Believed = 1, 1
		}
		return out
	}
	limit := outAfter * max(p.spec.Every, p.pace())
	lost := time.Duration(0)
	for _, gap := range append(slices.Clone(p.gaps), end-p.heard) {
		if gap > limit {
			out.DropOuts++
			lost += gap - limit
		}
	}
	if there := end - p.first; there > 0 {
		out.Heard = 1 - float64(lost)/float64(there)
	} else {
		out.Heard = 1
	}
	most := 0
	for d := farm.Doubt(1); d < 64; d++ {
		n := p.doubted[d]
		if out.Doubted += n; n > most {
			out.Doubt, most = d.String(), n
		}
	}
	out.Believed = out.Heard * (1 - float64(out.Doubted)/float64(p.readings))
	out.LowBy = p.lowBy(now)
	if p.fits {
		out.Longer = !p.changed
		if p.changed {
			at := p.since
			out.Calibrated = &at
		}
	}
	return out
}

// pace is the middle of the gaps.
func (p *past) pace() time.Duration {
	if len(p.gaps) == 0 {
		return 0
	}
	sorted := slices.Sorted(slices.Values(p.gaps))
	return sorted[len(sorted)/2]
}

// lowBy is when the trend of a battery's daily medians reaches its low; nil where it does not fall, or
// not for long.
func (p *past) lowBy(now time.Time) *time.Time {
	if p.spec.Low == 0 || len(p.days) < batteryDays {
		return nil
	}
	var t, y []float64
	newest := int64(0)
	for day, values := range p.days {
		newest = max(newest, day)
		t, y = append(t, float64(day)), append(y, trend.Median(values))
	}
	line, ok := trend.TheilSen(t, y)
	if !ok || line.PerUnit >= 0 {
		return nil
	}
	at := time.Unix(int64((p.spec.Low-line.Intercept)/line.PerUnit*24*60*60), 0).UTC()
	if at.Sub(now) > batteryAhead || at.Before(now) && at.Before(time.Unix(newest*24*60*60, 0)) {
		return nil
	}
	return &at
}

// ReplaceDo is what to do about the first that needs it.
const ReplaceDo = "Look at this one first: its battery, its cable, its radio; if they are sound, replace it."

// Say says it in a line for a person.
func (p Probe) Say(dates farm.Dates, now time.Time) string {
	if p.Readings == 0 {
		return "not heard"
	}
	said := []string{fmt.Sprintf("heard %.0f %% of the time", 100*p.Heard)}
	switch {
	case p.DropOuts == 1:
		said = append(said, "dropped out once")
	case p.DropOuts > 1:
		said = append(said, fmt.Sprintf("dropped out %d times", p.DropOuts))
	}
	if p.Doubted > 0 {
		said = append(said, fmt.Sprintf("%.1f %% not believed, mostly: %s", 100*float64(p.Doubted)/float64(p.Readings), p.Doubt))
	}
	if p.LowBy != nil {
		said = append(said, "its battery will be low about "+dates.Day(*p.LowBy, now))
	}
	switch {
	case p.Calibrated != nil:
		said = append(said, "calibrated about "+dates.Day(*p.Calibrated, now))
	case p.Longer:
		said = append(said, "calibrated longer ago")
	}
	return strings.Join(said, "; ")
}
