package notify

import (
	"math"
	"strconv"
	"time"

	"gonum.org/v1/plot"
)

// days marks the midnights of a place, named by weekday, or by date when the
// picture spans more than nine days. A day of 23 or 25 hours is one day.
type days struct{ loc *time.Location }

// Ticks implements plot.Ticker.
func (d days) Ticks(low, high float64) []plot.Tick {
	from, to := time.Unix(int64(low), 0).In(d.loc), time.Unix(int64(high), 0).In(d.loc)
	y, m, day := from.Date()
	span := to.Sub(from).Hours() / 24
	every, layout := 1, "Mon"
	if span > 9 {
		every, layout = int(math.Ceil(span/6)), "2 Jan"
	}
	var out []plot.Tick
	for n := 0; ; n++ {
		t := time.Date(y, m, day+n, 0, 0, 0, 0, d.loc)
		if t.After(to) {
			return out
		}
		if t.Before(from) {
			continue
		}
		tick := plot.Tick{Value: at(t)}
		if n%every == 0 && room(t, to, span) {
			tick.Label = t.Format(layout)
		}
		out = append(out, tick)
	}
}

// room keeps a label from running over the right edge.
func room(t, to time.Time, span float64) bool { return to.Sub(t).Hours()/24 > span/30 }

// figures marks round numbers, at most seven, the unit on the highest.
type figures struct{ unit string }

// Ticks implements plot.Ticker.
func (f figures) Ticks(low, high float64) []plot.Tick {
	step := roundStep((high - low) / 5)
	var out []plot.Tick
	for v := math.Ceil(low/step) * step; v <= high; v += step {
		out = append(out, plot.Tick{Value: v, Label: strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64)})
	}
	if n := len(out); n > 0 {
		out[n-1].Label += f.unit
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
