package scenariotest

import (
	"iter"
	"slices"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/physics"
)

// Clean is what a probe would have said without noise: the truth through its
// calibration. Crossings of it are what a forecast can be held to; how far it
// lies from the truth is the calibration's own error.
func (r *Run) Clean(q farm.Quantity) Signal {
	truth, g := r.Temperature, r.temp
	if q == farm.Moisture {
		truth, g = r.Moisture, r.moist
	}
	v := make([]float64, len(truth.V))
	for i, x := range truth.V {
		v[i] = g.Clean(x)
	}
	return Signal{truth.From, truth.Step, v}
}

// Events are what the rules get, in order of arrival: the start, the broker
// reached, readings, jots, and a tick on every whole multiple of the given span
// (0 gives none). Readings carry no doubts; that is for others to see.
func (r *Run) Events(ticks time.Duration) iter.Seq[farm.Event] {
	return func(yield func(farm.Event) bool) {
		begin := []farm.Event{
			{Arrived: r.Case.Start, Kind: farm.EventStart},
			{Arrived: r.Case.Start, Kind: farm.EventLink, Up: true},
		}
		for _, e := range begin {
			if !yield(e) {
				return
			}
		}
		jots := r.Jots
		var slot []farm.Event
		for from := r.Case.Start; from.Before(r.Temperature.To()); from = from.Add(r.every()) {
			slot, jots = r.slot(slot[:0], jots, from, ticks)
			for _, e := range slot {
				if !yield(e) {
					return
				}
			}
		}
	}
}

// slot fills in the events of one turn of the probes and returns the jots that
// are still to come.
func (r *Run) slot(out []farm.Event, jots []farm.Jot, from time.Time, ticks time.Duration) ([]farm.Event, []farm.Jot) {
	to := from.Add(r.every())
	for ; len(jots) > 0 && jots[0].At.Before(to); jots = jots[1:] {
		out = append(out, farm.Event{Arrived: jots[0].At, Kind: farm.EventJot, Jot: jots[0]})
	}
	if ticks > 0 {
		for t := from.Add(ticks - 1).Truncate(ticks); t.Before(to); t = t.Add(ticks) {
			out = append(out, farm.Event{Arrived: t, Kind: farm.EventTick})
		}
	}
	out = r.readings(out, from)
	slices.SortStableFunc(out, func(a, b farm.Event) int { return a.Arrived.Compare(b.Arrived) })
	return out, jots
}

// readings are what the probes say in one turn. One in two hundred is lost.
func (r *Run) readings(out []farm.Event, from time.Time) []farm.Event {
	speakers := []struct {
		id    string
		after time.Duration
		truth Signal
		gauge physics.Gauge
	}{
		{TempProbe, 20 * time.Second, r.Temperature, r.temp},
		{MoistProbe, 40 * time.Second, r.Moisture, r.moist},
		{AirProbe, 60 * time.Second, r.Air, physics.Gauge{Dice: r.dice.Named("air probe"), White: 0.05, Step: 0.0625}},
	}
	if !r.Case.Ambient {
		speakers = speakers[:2]
	}
	for _, s := range speakers {
		at := from.Add(r.Case.Phase + s.after)
		if r.dice.Named("lost "+s.id).Uniform(at.Unix()) < 1.0/200 {
			continue
		}
		v := s.gauge.Read(at, s.truth.At(at), r.Air.At(at))
		if s.id == AirProbe && r.Warmth.V != nil {
			v += r.airInSunK * r.Warmth.At(at)
		}
		out = append(out, farm.Event{
			Arrived: at, Kind: farm.EventReading,
			Reading: farm.Reading{Probe: s.id, At: at, Raw: v, Value: v},
		})
	}
	return out
}
