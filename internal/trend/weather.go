package trend

import (
	"time"

	"binwatchd/internal/farm"
)

// A Weather is what is foretold of a room, and what was foretold of the hours that
// are over by now. The zero Weather holds nothing.
type Weather struct {
	SaidMS  int64 // ms since 1970 when it was said last
	AheadMS int64 // ms since 1970 of Ahead[0], on a whole hour
	Ahead   []float64
	Past    Series // by hours, as said last before they came
}

// foretoldServes is how long what was foretold is believed: most sources say it anew
// every six or twelve hours. Common practice, no source.
const foretoldServes = 30 * time.Hour

// Foretell takes in what is foretold at t. Between its times straight lines are
// drawn; what lies before t is no forecast.
func (w *Weather) Foretell(t time.Time, hours []farm.WeatherHour) {
	w.settle(t)
	if len(hours) == 0 {
		return
	}
	at := hours[0].At.Add(time.Hour - 1).Truncate(time.Hour)
	w.SaidMS, w.AheadMS, w.Ahead = t.UnixMilli(), at.UnixMilli(), w.Ahead[:0]
	for i := 1; i < len(hours) && len(w.Ahead) < trackHours; at = at.Add(time.Hour) {
		for i < len(hours) && hours[i].At.Before(at) {
			i++
		}
		if i == len(hours) {
			break
		}
		a, b := hours[i-1], hours[i]
		part := at.Sub(a.At).Hours() / b.At.Sub(a.At).Hours()
		w.Ahead = append(w.Ahead, a.TempC+part*(b.TempC-a.TempC))
	}
}

// settle notes what was foretold of the hours that are over at t.
func (w *Weather) settle(t time.Time) {
	if w.Past.Keep == 0 {
		w.Past = NewSeries(time.Hour, trackHours)
	}
	for len(w.Ahead) > 0 && w.AheadMS <= t.UnixMilli() {
		if w.AheadMS > w.SaidMS-time.Hour.Milliseconds() {
			w.Past.Add(time.UnixMilli(w.AheadMS), w.Ahead[0])
		}
		w.Ahead = w.Ahead[1:]
		w.AheadMS += time.Hour.Milliseconds()
	}
}

// ahead is what is foretold of the hours after now, by hours from now, and of the
// fortnight before it; ok is false where nothing is, or only what is too old.
func (w *Weather) ahead(now time.Time) (past, ahead []float64, ok bool) {
	if w == nil || w.SaidMS == 0 || now.Sub(time.UnixMilli(w.SaidMS)) > foretoldServes {
		return nil, nil, false
	}
	into := float64(now.UnixMilli()-w.AheadMS) / 3.6e6 // hours after Ahead[0], below 0 before it
	past = w.Past.last(now, trackHours)
	said := float64(now.UnixMilli()-w.SaidMS) / 3.6e6
	for ago := 0; ago < trackHours && float64(ago) <= min(into, said); ago++ { // since it was said
		if place := into - float64(ago); place <= float64(len(w.Ahead)-1) {
			past[trackHours-1-ago] = between(w.Ahead, place)
		}
	}
	for h := 1; h <= followAhead; h++ {
		if place := into + float64(h); len(w.Ahead) > 0 && place <= float64(len(w.Ahead)-1) {
			ahead = append(ahead, between(w.Ahead, place))
		}
	}
	return past, ahead, len(ahead) >= 6
}
