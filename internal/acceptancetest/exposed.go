package acceptancetest

import (
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
	"binwatchd/internal/ingest"
	"binwatchd/internal/rules"
	"binwatchd/internal/scenariotest"
)

const (
	earlyLead   = 6 * time.Hour  // before the limit: time to bring a bin in
	onePassing  = 36 * time.Hour // what passes the limit again sooner is the same spell
	knownAfter  = 4 * 24 * time.Hour
	brushedK    = 1.0            // so near to the limit that neither a passing nor a false raise is counted
	broughtSoon = 30 * time.Hour // what is raised is to come within that
)

// Exposures scores what the room brings: cooling, or warming for a bin whose limit
// lies above.
func Exposures(cases []scenariotest.Exposed) Score {
	var s Score
	for _, c := range cases {
		run := c.Run()
		what := farm.Cooling
		if run.Above {
			what = farm.Warming
		}
		changes, looks := judgeExposed(run, what)
		s.Cases++
		s.Months += float64(c.Days) / 30
		var raised []farm.Change
		nights := map[int64]int{}
		for _, ch := range changes {
			if ch.Condition != what || ch.Change == farm.Eased {
				continue
			}
			if ch.Change == farm.Raised {
				raised = append(raised, ch)
			}
			if ch.Change == farm.Worsened || ch.Change == farm.Raised && !ch.Again {
				s.Notices++
				night := ch.At.Add(-12*time.Hour).Unix() / 86400
				if nights[night]++; nights[night] == 2 {
					s.Twice++
				}
			}
		}
		passings := run.Passings(run.Start.Add(knownAfter), onePassing)
		for _, at := range passings {
			s.Due++
			for _, before := range []time.Duration{3 * time.Hour, 6 * time.Hour, 12 * time.Hour} {
				f, ok := looks.at(at.Add(-before))
				if ok {
					s.hold(f, at)
				}
			}
			lead, ok := foretoldBy(changes, what, at)
			if !ok {
				continue
			}
			s.Told++
			s.Leads = append(s.Leads, lead)
			if lead >= earlyLead {
				s.Early++
			}
		}
		for _, ch := range raised {
			if run.Nearest(ch.At, ch.At.Add(broughtSoon)) > brushedK {
				s.False++
			}
		}
	}
	return s
}

// hourlyForecasts are those of one condition by the hour in which they stood.
type hourlyForecasts map[time.Time]farm.Forecast

func (h hourlyForecasts) at(t time.Time) (f farm.Forecast, ok bool) {
	f, ok = h[t.Truncate(time.Hour)]
	return f, ok
}

// judgeExposed judges an exposed bin as the daemon would.
func judgeExposed(run *scenariotest.ExposedRun, what farm.Condition) (all []farm.Change, looks hourlyForecasts) {
	f := run.Farm(husbandry.Species(), husbandry.Feeds())
	doubter, state := ingest.NewDoubter(&f), rules.New(&f)
	looks = hourlyForecasts{}
	for e := range run.Events() {
		if e.Kind == farm.EventReading {
			doubter.Judge(&e.Reading)
		}
		all = append(all, state.Step(e)...)
		if e.Kind != farm.EventTick {
			continue
		}
		for _, o := range state.Look(e.Arrived).Bins[0].Zones[0].Outlook {
			if o.Condition == what {
				looks[e.Arrived.Truncate(time.Hour)] = o.Forecast
			}
		}
	}
	return all, looks
}

// foretoldBy is how long before a moment a condition had been raised that stood then.
func foretoldBy(changes []farm.Change, what farm.Condition, at time.Time) (lead time.Duration, ok bool) {
	for _, ch := range changes {
		if ch.Condition != what || !ch.At.Before(at) {
			continue
		}
		switch ch.Change {
		case farm.Raised:
			lead, ok = at.Sub(ch.At), true
		case farm.Eased:
			ok = false
		}
	}
	return lead, ok
}
