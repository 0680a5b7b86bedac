package acceptancetest

import (
	"slices"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
	"binwatchd/internal/ingest"
	"binwatchd/internal/scenariotest"
)

// least is what a fault must show by, K or points of moisture, to count: a probe in the
// place of another that reads the same is no harm.
var least = map[farm.Quantity]float64{farm.Temperature: 3, farm.Moisture: 8}

// within is how soon a fault is to be found.
var within = map[scenariotest.Fault]time.Duration{
	scenariotest.Soak: 96 * time.Hour, scenariotest.Swap: 40 * time.Hour, scenariotest.Drift: 90 * 24 * time.Hour,
	scenariotest.Freeze: 72 * time.Hour, scenariotest.Noise: 14 * 24 * time.Hour,
}

// A ShelfScore is how well bad probes were told from honest ones.
type ShelfScore struct {
	Cases  int             // in which the fault shows
	Found  int             // of those, doubted in the end
	Took   []time.Duration // until it was doubted
	Wrong  []Wrong         // honest probes that were doubted for longer than a moment
	Probes int             // honest ones
	Months float64         // of theirs
	Missed []scenariotest.Shelf
}

// A Wrong is a doubt of an honest probe.
type Wrong struct {
	Case  scenariotest.Shelf
	Probe string
	At    time.Time
	Doubt farm.Doubt
}

// lastingDoubt is how many readings in a row are more than a moment: a step that is
// real is asked about for so long.
const lastingDoubt = 12

// Shelf judges the probes of shelves. A fault is found if the probe stands doubted in
// time; where two changed places, one of them.
func Shelf(cases []scenariotest.Shelf) ShelfScore {
	var s ShelfScore
	for _, c := range cases {
		r := c.Run()
		switch c.Fault {
		case scenariotest.Soak, scenariotest.Drift, scenariotest.Swap:
			if r.Shows() < least[c.Measures] {
				continue
			}
		}
		s.Cases++
		s.judge(r, within[c.Fault])
	}
	return s
}

func (s *ShelfScore) judge(r *scenariotest.ShelfRun, within time.Duration) {
	doubter := ingest.NewDoubter(r.Farm(husbandry.Species(), husbandry.Feeds()))
	row, since := map[string]int{}, map[string]time.Time{}
	var found time.Time
	for e := range r.Events() {
		switch e.Kind {
		case farm.EventJot:
			doubter.Jotted(e.Jot)
			continue
		case farm.EventTick:
			continue
		}
		p := &e.Reading
		doubter.Judge(p)
		faulty := slices.ContainsFunc(r.Faulty, func(f *scenariotest.ShelfProbe) bool { return f.ID == p.Probe }) && p.At.After(r.Began)
		if p.Believed() {
			row[p.Probe] = 0
			if faulty {
				found = time.Time{}
			}
			continue
		}
		if row[p.Probe]++; row[p.Probe] == 1 {
			since[p.Probe] = p.At
		}
		switch {
		case faulty && found.IsZero() && p.Doubt != farm.Spike:
			found = p.At
		case !faulty && row[p.Probe] == lastingDoubt:
			s.Wrong = append(s.Wrong, Wrong{r.Shelf, p.Probe, since[p.Probe], p.Doubt})
		}
		if len(r.Faulty) > 0 && !found.IsZero() && p.At.Sub(r.Began) > within {
			break
		}
	}
	s.Probes += len(r.Probes) + 1 - len(r.Faulty)
	s.Months += float64((len(r.Probes)+1)*r.Days) / 30
	if took := found.Sub(r.Began); len(r.Faulty) > 0 && !found.IsZero() && took <= within {
		s.Found, s.Took = s.Found+1, append(s.Took, took)
	} else if len(r.Faulty) > 0 {
		s.Missed = append(s.Missed, r.Shelf)
	}
}
