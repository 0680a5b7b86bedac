package trend

import (
	"slices"
	"time"
)

const (
	trackHours = 14 * 24 // hourly means kept
	trackTens  = 24 * 6  // ten-minute means kept
)

// A Track is what the forecasts remember of one quantity of one zone, or of
// the air of a room: hourly means of a fortnight and ten-minute means of a
// day. About a kilobyte, whatever the probe's pace.
type Track struct {
	Hours, Tens Series
	NewestMS    int64   // ms since 1970 of the newest value; 0 before the first
	FreshMS     int64   // ms since 1970: no trend is drawn across this moment
	FedMS       []int64 // ms since 1970 of the newest feeds, oldest first
}

// feedsKept is how many feeds a track remembers: one a day for a fortnight.
const feedsKept = 14

// NewTrack makes an empty track.
func NewTrack() Track {
	return Track{Hours: NewSeries(time.Hour, trackHours), Tens: NewSeries(10*time.Minute, trackTens)}
}

// Add takes in a believed value: °C or % wet basis.
func (k *Track) Add(t time.Time, v float64) {
	k.Hours.Add(t, v)
	k.Tens.Add(t, v)
	k.NewestMS = max(k.NewestMS, t.UnixMilli())
}

// Newest is the time of the newest value; ok is false when there is none.
func (k *Track) Newest() (t time.Time, ok bool) {
	return time.UnixMilli(k.NewestMS).UTC(), k.NewestMS != 0
}

// Restart marks that the zone was opened at t: fed, turned, watered. What was
// before stays known as its usual days, but no trend is drawn across.
func (k *Track) Restart(t time.Time) { k.FreshMS = max(k.FreshMS, t.UnixMilli()) }

// Fed marks that something was given at t that may heat by itself.
func (k *Track) Fed(t time.Time) {
	k.Restart(t)
	k.FedMS = append(k.FedMS, t.UnixMilli())
	slices.Sort(k.FedMS) // it may be told late
	if over := len(k.FedMS) - feedsKept; over > 0 {
		k.FedMS = slices.Delete(k.FedMS, 0, over)
	}
}

// Clear forgets everything: the zone was emptied, or its probe moved.
func (k *Track) Clear() {
	k.Hours.Clear()
	k.Tens.Clear()
	k.NewestMS, k.FreshMS, k.FedMS = 0, 0, nil
}

// freshFor is how long ago the last restart was; a very long time when there
// was none.
func (k *Track) freshFor(now time.Time) time.Duration {
	if k.FreshMS == 0 {
		return 10 * 365 * 24 * time.Hour
	}
	return now.Sub(time.UnixMilli(k.FreshMS))
}
