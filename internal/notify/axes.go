package notify

import (
	"math"
	"time"
)

// A tick is a place on an axis, and what is written there.
type tick struct {
	at   float64
	says string
}

// days are the midnights of a place, named by weekday, or by date when the
// picture spans more than nine days. A day of 23 or 25 hours is one day.
func days(over extent, loc *time.Location) []tick {
	from, to := time.Unix(int64(over.low), 0).In(loc), time.Unix(int64(over.high), 0).In(loc)
	y, m, day := from.Date()
	long := to.Sub(from).Hours() / 24
	every, layout := 1, "Mon"
	if long > 9 {
		every, layout = int(math.Ceil(long/6)), "2 Jan"
	}
	var out []tick
	for n := 0; ; n++ {
		t := time.Date(y, m, day+n, 0, 0, 0, 0, loc)
		if t.After(to) {
			return out
		}
		if t.Before(from) {
			continue
		}
		mark := tick{at: at(t)}
		if n%every == 0 && room(t, to, long) {
			mark.says = t.Format(layout)
		}
		out = append(out, mark)
	}
}

// room keeps a label from running over the right edge.
func room(t, to time.Time, long float64) bool { return to.Sub(t).Hours()/24 > long/30 }

// levels are round numbers, at most seven, the unit on the highest.
func levels(over extent, unit string) []tick {
	step := roundStep((over.high - over.low) / 5)
	var out []tick
	for v := math.Ceil(over.low/step) * step; v <= over.high; v += step {
		out = append(out, tick{v, figure(v)})
	}
	if n := len(out); n > 0 {
		out[n-1].says += unit
	}
	return out
}

// roundStep is the next of 1, 2, 5, 10, 20, … that is not under v, at least a half.
func roundStep(v float64) float64 {
	if v <= 0.5 {
		return 0.5
	}
	ten := math.Pow(10, math.Floor(math.Log10(v)))
	for _, m := range []float64{1, 2, 5} {
		if v <= m*ten {
			return m * ten
		}
	}
	return 10 * ten
}
