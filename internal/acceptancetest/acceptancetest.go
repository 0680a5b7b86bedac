// Package acceptancetest holds the whole judging, doubts and rules together,
// against simulated bins of which the truth is known: how many heatings,
// dryings and sifting windows are told in time, how often a quiet bin cries
// out, how honest the intervals are, how much a keeper is told in a year.
//
// It is test support: its tests pin the figures loosely and `make bench` prints
// them. The physics of the bins is in packages scenario and physics and is not
// the model that the program fits.
package acceptancetest

import (
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
	"binwatchd/internal/ingest"
	"binwatchd/internal/rules"
	"binwatchd/internal/scenariotest"
)

// A Life is what the program made of one case.
type Life struct {
	Case    scenariotest.Case
	Run     *scenariotest.Run
	Changes []farm.Change
	Looks   []Look
	Days    float64
}

// A Look is what was foreseen at one moment.
type Look struct {
	At      time.Time
	Outlook []farm.Outlook
}

// lookEvery is how often the outlook is noted.
const lookEvery = 6 * time.Hour

// Live lets a case happen and judges it as the daemon would.
func Live(c scenariotest.Case) Life {
	run := c.Run()
	f := run.Farm(husbandry.Species(), husbandry.Feeds())
	f.Location = time.UTC
	doubter, state := ingest.NewDoubter(&f), rules.New(&f)
	life := Life{Case: c, Run: run}
	var first, next time.Time
	for e := range run.Events(time.Hour) {
		if first.IsZero() {
			first = e.Arrived
		}
		switch e.Kind {
		case farm.EventReading:
			doubter.Judge(&e.Reading)
		case farm.EventJot:
			doubter.Jotted(e.Jot)
		}
		life.Changes = append(life.Changes, state.Step(e)...)
		if !e.Arrived.Before(next) {
			next = e.Arrived.Truncate(lookEvery).Add(lookEvery)
			life.Looks = append(life.Looks, Look{e.Arrived, state.Look(e.Arrived).Bins[0].Zones[0].Outlook})
		}
		life.Days = e.Arrived.Sub(first).Hours() / 24
	}
	return life
}

// raised lists when a condition was raised or worsened to at least an urgency.
func (l Life) raised(c farm.Condition, at farm.Urgency) []time.Time {
	var out []time.Time
	for _, ch := range l.Changes {
		if ch.Condition == c && (ch.Change == farm.Raised || ch.Change == farm.Worsened) && ch.Urgency >= at {
			out = append(out, ch.At)
		}
	}
	return out
}

// notices counts what a keeper would be told by default.
func (l Life) notices() int {
	n := 0
	for _, ch := range l.Changes {
		news := ch.Change == farm.Raised && !ch.Again || ch.Change == farm.Worsened || ch.Change == farm.Raised && ch.Urgency == farm.Now
		if news && ch.Urgency >= farm.Today {
			n++
		}
	}
	return n
}

// foreseen is the forecast for a condition at the look nearest to a moment.
func (l Life) foreseen(c farm.Condition, at time.Time) (farm.Forecast, time.Time, bool) {
	for _, k := range l.Looks {
		if k.At.Before(at) {
			continue
		}
		for _, o := range k.Outlook {
			if o.Condition == c {
				return o.Forecast, k.At, true
			}
		}
		return farm.Forecast{}, k.At, false
	}
	return farm.Forecast{}, time.Time{}, false
}
