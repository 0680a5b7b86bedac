package survey

import (
	"math"
	"slices"
	"time"
)

// paces are those that people set. Common practice, no source.
var paces = []time.Duration{
	time.Second, 2 * time.Second, 5 * time.Second, 10 * time.Second, 15 * time.Second, 20 * time.Second, 30 * time.Second,
	time.Minute, 2 * time.Minute, 3 * time.Minute, 5 * time.Minute, 10 * time.Minute, 15 * time.Minute, 20 * time.Minute, 30 * time.Minute,
	time.Hour, 2 * time.Hour, 3 * time.Hour, 4 * time.Hour, 6 * time.Hour, 12 * time.Hour, 24 * time.Hour,
}

// near is how far a median gap may lie from a pace and still be meant for it.
const near = 0.12

// every is the pace of a likeness: the median gap between messages, rounded to
// one that people set. With a device's own time stamps their gaps count, and
// the stored message adds one; gaps is how many there were, 0 when nothing can
// be said.
func every(l likeness, clock string) (pace time.Duration, gaps int) {
	var all []time.Duration
	for _, t := range l.members {
		times := t.times
		if clock != "" && t.channels[clock] != nil {
			times = t.channels[clock].stamps
		}
		all = append(all, gapsOf(times)...)
	}
	if len(all) == 0 {
		return 0, 0
	}
	slices.Sort(all)
	return roundPace(all[(len(all)-1)/2]), len(all)
}

func gapsOf(times []time.Time) []time.Duration {
	sorted := slices.Clone(times)
	slices.SortFunc(sorted, time.Time.Compare)
	var gaps []time.Duration
	for i := 1; i < len(sorted); i++ {
		if d := sorted[i].Sub(sorted[i-1]); d > 0 { // the same stamp twice is one reading
			gaps = append(gaps, d)
		}
	}
	return gaps
}

// roundPace gives the pace that is meant, else the gap to two digits; within a
// second and a week, as the configuration has it.
func roundPace(gap time.Duration) time.Duration {
	for _, p := range paces {
		if math.Abs(float64(gap-p)) <= near*float64(p) {
			return p
		}
	}
	s := gap.Seconds()
	step := math.Pow(10, math.Floor(math.Log10(s))-1)
	s = math.Round(s/step) * step
	return time.Duration(min(max(math.Round(s), 1), (7*24*time.Hour).Seconds())) * time.Second
}
