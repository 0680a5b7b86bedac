package acceptancetest

import (
	"slices"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
	"binwatchd/internal/rules"
	"binwatchd/internal/scenariotest"
)

// A FeedScore is how well it was told that feed is due.
type FeedScore struct {
	Cases  int
	Untold int       // not told within two months of being due
	Off    []float64 // days by which it was told after it truly was due; negative: too early
	Left   []float64 // part of the food truly left when it was told, 0 to 1
	Early  int       // told, at any time, with more than half of the food left
}

// Feedings scores feed-due. What is told while the keeper still feeds counts as early
// where it is; when it was due is asked after the last feed.
func Feedings(cases []scenariotest.FeedCase) FeedScore {
	var s FeedScore
	for _, c := range cases {
		run := c.Run()
		s.Cases++
		last, told := run.LastFed(), time.Time{}
		for _, at := range feedDue(run) {
			if run.LeftPart(at) > 0.5 {
				s.Early++
			}
			if at.After(last) && told.IsZero() {
				told = at
			}
		}
		due, came := run.Due()
		if told.IsZero() {
			s.Untold++
			continue
		}
		s.Left = append(s.Left, run.LeftPart(told))
		if came {
			s.Off = append(s.Off, told.Sub(due).Hours()/24)
		}
	}
	return s
}

// feedDue is when it was told.
func feedDue(run *scenariotest.FeedRun) (told []time.Time) {
	f := run.Farm(husbandry.Species(), husbandry.Feeds())
	state := rules.New(&f)
	for _, e := range run.Events() {
		for _, ch := range state.Step(e) {
			if ch.Condition == farm.FeedDue && ch.Change == farm.Raised {
				told = append(told, ch.At)
			}
		}
	}
	return told
}

// Add counts another score in.
func (s *FeedScore) Add(o FeedScore) {
	s.Cases, s.Untold, s.Early = s.Cases+o.Cases, s.Untold+o.Untold, s.Early+o.Early
	s.Off, s.Left = append(s.Off, o.Off...), append(s.Left, o.Left...)
}

// Quantile is the value below which a part of some values lies; 0 where there are
// none.
func Quantile(values []float64, part float64) float64 {
	if len(values) == 0 {
		return 0
	}
	sorted := slices.Sorted(slices.Values(values))
	return sorted[int(part*float64(len(sorted)-1)+0.5)]
}
