package acceptancetest

import (
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
	"binwatchd/internal/ingest"
	"binwatchd/internal/rules"
	"binwatchd/internal/scenariotest"
)

// afterGap is how long dryness may be blamed on work.
const afterGap = 4 * 24 * time.Hour

// Gaps scores bins that were turned, or whose probe was taken out and put back: what
// is told of dryness within four days is false where the bin itself was right by a
// point. Those that were not are left out.
func Gaps(cases []scenariotest.Case) Score {
	var s Score
	for _, c := range cases {
		run := c.Run()
		gap, limit := run.Gap(), scenariotest.DryBelow
		if c.Bin == scenariotest.Tub {
			limit = scenariotest.KeepBelow
		}
		if least, _ := run.Clean(farm.Moisture).Min(run.Moisture.From, gap.At.Add(afterGap)); least < limit+1 {
			continue
		}
		l := disturbed(run, gap)
		s.count(l)
		for _, told := range append(l.raised(farm.TooDry, farm.Soon), l.raised(farm.Drying, farm.Soon)...) {
			if since := told.Sub(gap.At); since > 0 && since < afterGap {
				s.False++
				s.FalseAt = append(s.FalseAt, FalseRaise{Case: c, At: told})
			}
		}
	}
	return s
}

// disturbed is the life of a bin with work at its probe.
func disturbed(run *scenariotest.Run, gap scenariotest.Gap) Life {
	f := run.Farm(husbandry.Species(), husbandry.Feeds())
	doubter, state := ingest.NewDoubter(&f), rules.New(&f)
	l := Life{Case: run.Case, Run: run, Days: run.Temperature.To().Sub(run.Temperature.From).Hours() / 24}
	step := func(e farm.Event) { l.Changes = append(l.Changes, state.Step(e)...) }
	jot, owed := gap.Jot()
	for e := range run.Events(time.Hour) {
		if owed && !e.Arrived.Before(jot.At) {
			owed = false
			doubter.Jotted(jot)
			step(farm.Event{Kind: farm.EventJot, Arrived: jot.At, Jot: jot})
		}
		switch r := &e.Reading; e.Kind {
		case farm.EventReading:
			if r.Probe == scenariotest.MoistProbe {
				r.Raw = gap.Reads(r.Raw, e.Arrived)
				r.Value = r.Raw
			}
			doubter.Judge(r)
		case farm.EventJot:
			doubter.Jotted(e.Jot)
		}
		step(e)
	}
	return l
}
