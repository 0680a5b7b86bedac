package acceptancetest

import (
	"slices"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/scenariotest"
)

// A Score is how well one kind of trouble was told.
type Score struct {
	Cases     int
	Due       int // cases in which it really came
	Told      int // of those, told before it came
	False     int // raised though it neither came nor nearly came
	FalseNow  int // likewise, at now
	Short     int // of bins warmed from outside: raised for true heat of its own that peaked far under the limit
	DueNear   int // of bins warmed from outside: of Due, those within days of the feed
	ToldNear  int // of those, told before
	Early     int // of what the room brings: of Told, those six hours before or more
	Twice     int // likewise: nights of which more than one notice was told
	Leads     []time.Duration
	Intervals int       // forecasts at fixed leads
	Covered   int       // of those, whose interval held the true crossing
	Off       []float64 // hours by which they lay after the true crossing
	Notices   int
	Months    float64 // bin-months of data
	FalseAt   []FalseRaise
	Missed    []scenariotest.Case // of those that came
}

// Recall is the part of what came that was told.
func (s Score) Recall() float64 { return float64(s.Told) / float64(max(1, s.Due)) }

// Coverage is the part of intervals that held the truth.
func (s Score) Coverage() float64 { return float64(s.Covered) / float64(max(1, s.Intervals)) }

// MedianLead is how long before it came half of it was told.
func (s Score) MedianLead() time.Duration { return s.Lead(0.5) }

// Lead is the time before it came than which a part of what was told was told later; 0
// where nothing was.
func (s Score) Lead(part float64) time.Duration {
	if len(s.Leads) == 0 {
		return 0
	}
	leads := slices.Sorted(slices.Values(s.Leads))
	return leads[int(part*float64(len(leads)))]
}

// FalsePer100 is how often it was raised wrongly in 100 bin-months.
func (s Score) FalsePer100() float64 { return 100 * float64(s.False) / s.Months }

// PerWeek is notices a bin and week.
func (s Score) PerWeek() float64 { return float64(s.Notices) / (s.Months * 30 / 7) }

// Add counts another score in.
func (s *Score) Add(o Score) {
	s.Cases, s.Due, s.Told, s.False, s.FalseNow = s.Cases+o.Cases, s.Due+o.Due, s.Told+o.Told, s.False+o.False, s.FalseNow+o.FalseNow
	s.Early, s.Twice = s.Early+o.Early, s.Twice+o.Twice
	s.Short, s.DueNear, s.ToldNear = s.Short+o.Short, s.DueNear+o.DueNear, s.ToldNear+o.ToldNear
	s.Leads, s.FalseAt, s.Missed = append(s.Leads, o.Leads...), append(s.FalseAt, o.FalseAt...), append(s.Missed, o.Missed...)
	s.Off = append(s.Off, o.Off...)
	s.Intervals, s.Covered, s.Notices, s.Months = s.Intervals+o.Intervals, s.Covered+o.Covered, s.Notices+o.Notices, s.Months+o.Months
}

func (s *Score) count(l Life) {
	s.Cases++
	s.Notices += l.notices()
	s.Months += l.Days / 30
}

// nearMiss is how near to the limit a heating may peak and count neither as
// hit nor as false.
const nearMiss = 3.0

// Heatings scores heating: the truth is the calibrated noiseless signal.
func Heatings(cases []scenariotest.Case) Score {
	var s Score
	for _, c := range cases {
		l := Live(c)
		s.count(l)
		truth := l.Run.Clean(farm.Temperature)
		crosses, came := truth.Rises(scenariotest.HeatLimitC, truth.From)
		raised := l.raised(farm.Heating, farm.Today)
		peak, _ := truth.Max(truth.From, truth.To())
		switch {
		case came:
			s.Due++
			s.tell(raised, crosses)
			s.intervals(l, farm.Heating, crosses, 3*time.Hour, 6*time.Hour, 12*time.Hour)
		case peak < scenariotest.HeatLimitC-nearMiss:
			s.False += len(raised)
			s.FalseNow += len(l.raised(farm.Heating, farm.Now))
		}
	}
	return s
}

// Dryings scores drying of living and keeping zones. Where it is too dry by the probe
// before anything could be foreseen it is told as that: the two are one matter.
func Dryings(cases []scenariotest.Case) Score {
	var s Score
	for _, c := range cases {
		l := Live(c)
		s.count(l)
		limit := scenariotest.DryBelow
		if c.Bin == scenariotest.Tub {
			limit = scenariotest.KeepBelow
		}
		truth := l.Run.Clean(farm.Moisture)
		crosses, came := truth.Falls(limit, truth.From)
		raised := slices.Concat(l.raised(farm.Drying, farm.Soon), l.raised(farm.TooDry, farm.Soon))
		slices.SortFunc(raised, time.Time.Compare)
		if !came {
			s.False += len(raised)
			continue
		}
		s.Due++
		s.tell(raised, crosses)
		s.intervals(l, farm.Drying, crosses, day, 3*day, 6*day)
	}
	return s
}

const day = 24 * time.Hour

// Siftings scores the window: told when it opens, and before it closes.
func Siftings(cases []scenariotest.Case) (opens, closes Score) {
	for _, c := range cases {
		l := Live(c)
		opens.count(l)
		closes.count(l)
		truth := l.Run.Clean(farm.Moisture)
		if at, came := truth.Falls(scenariotest.SiftOpens, truth.From); came {
			opens.Due++
			end, _ := truth.Falls(scenariotest.SiftCloses, at)
			if raised := l.raised(farm.SiftReady, farm.Today); len(raised) > 0 && (end.IsZero() || raised[0].Before(end)) {
				opens.Told++
				opens.Leads = append(opens.Leads, end.Sub(raised[0]))
			}
			opens.intervals(l, farm.SiftReady, at, day, 3*day)
		}
		if at, came := truth.Falls(scenariotest.SiftCloses, truth.From); came {
			closes.Due++
			closes.tell(l.raised(farm.SiftPassing, farm.Today), at)
			closes.intervals(l, farm.SiftPassing, at, day, 3*day)
		}
	}
	return opens, closes
}

// Quiets scores cases in which nothing goes wrong.
func Quiets(cases []scenariotest.Case) Score {
	var s Score
	for _, c := range cases {
		l := Live(c)
		s.count(l)
		s.False += len(l.raised(farm.Heating, farm.Today))
		s.FalseNow += len(l.raised(farm.Heating, farm.Now))
	}
	return s
}

// tell scores the raise that came before the crossing.
func (s *Score) tell(raised []time.Time, crosses time.Time) {
	for _, at := range raised {
		if at.Before(crosses) {
			s.Told++
			s.Leads = append(s.Leads, crosses.Sub(at))
			return
		}
	}
}

// intervals holds forecasts made some leads ahead against the true crossing,
// each forecast once.
func (s *Score) intervals(l Life, c farm.Condition, crosses time.Time, leads ...time.Duration) {
	var counted time.Time
	for _, lead := range leads {
		f, at, ok := l.foreseen(c, crosses.Add(-lead-lookEvery/2))
		if !ok || !at.Before(crosses) || at.Equal(counted) {
			continue
		}
		counted = at
		s.hold(f, crosses)
	}
}

// hold holds one forecast against the true crossing.
func (s *Score) hold(f farm.Forecast, crosses time.Time) {
	s.Intervals++
	s.Off = append(s.Off, f.Crosses.Sub(crosses).Hours())
	if !crosses.Before(f.Earliest) && (f.Latest.IsZero() || !crosses.After(f.Latest)) {
		s.Covered++
	}
}
