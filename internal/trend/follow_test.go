package trend_test

import (
	"math"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/trend"
)

var monday = time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)

// nearing makes the tracks of a bin that nears its air by Newton's law of cooling with a
// time constant, and of that air, up to now.
func nearing(now time.Time, lagHours float64, air func(t time.Time) float64) (bin, around trend.Track, level float64) {
	bin, around = trend.NewTrack(), trend.NewTrack()
	level = air(monday)
	for at := monday; !at.After(now); at = at.Add(10 * time.Minute) {
		level += (air(at) - level) * (1 - math.Exp(-1.0/6/lagHours))
		bin.Add(at, level)
		around.Add(at, air(at))
	}
	return bin, around, level
}

// swinging is air about a mean, coldest at five in the morning.
func swinging(meanC float64) func(time.Time) float64 {
	return func(t time.Time) float64 { return meanC - 5*math.Cos(2*math.Pi*(t.Sub(monday).Hours()-5)/24) }
}

// A body of one time constant T follows a swing of w a second, by Newton's law, with a
// delay of arctan(wT)/w: the phase of a first-order low pass; from memory.
func TestTheLagIsLearned(t *testing.T) {
	now := monday.Add(10*24*time.Hour + 12*time.Hour)
	for _, hours := range []float64{2, 4.5, 8, 15} {
		bin, air, level := nearing(now, hours, swinging(12))
		c, ok := trend.Follow(&bin, &air, nil, level, now)
		want := math.Atan(2*math.Pi/24*hours) * 24 / (2 * math.Pi)
		if !ok || !c.ByAir || math.Abs(c.LagHours-want) > 0.6 {
			t.Errorf("of %g hours: got %g, want %g, by its air %t", hours, c.LagHours, want, c.ByAir)
		}
	}
}

// On usual days the coming night is like the last, and the limit is passed when it was.
func TestTheUsualNightIsForeseen(t *testing.T) {
	now := monday.Add(10*24*time.Hour + 12*time.Hour)
	bin, air, level := nearing(now, 4, swinging(12))
	_, _, coldest := nearing(now.Add(20*time.Hour), 4, swinging(12)) // eight in the morning
	c, _ := trend.Follow(&bin, &air, nil, level, now)
	if got := c.Extreme(false); math.Abs(got-coldest) > 0.5 {
		t.Errorf("coldest %.2f, want %.2f", got, coldest)
	}
	got := c.Crossing(10, false, 24*time.Hour)
	if got.Chance < 0.75 || got.Crosses.Sub(now) < 11*time.Hour || got.Crosses.Sub(now) > 16*time.Hour || got.Latest.Sub(got.Earliest) > 6*time.Hour {
		t.Errorf("got %+v from %s", got, now)
	}
	if got := c.Crossing(2, false, 24*time.Hour); got.Chance > 0.05 {
		t.Errorf("4 K under the coldest: got %+v", got)
	}
	if got := c.Crossing(level+1, false, 24*time.Hour); !got.Past {
		t.Errorf("of a limit that is passed: got %+v", got)
	}
}

// What is foretold counts for more than the usual day; what is too old, or ends, does not.
func TestWhatIsForetoldIsFollowed(t *testing.T) {
	front := monday.Add(10*24*time.Hour + 15*time.Hour)
	air := func(t time.Time) float64 {
		c := swinging(12)(t)
		if t.After(front) {
			c -= 9
		}
		return c
	}
	now := front.Add(-3 * time.Hour)
	bin, around, level := nearing(now, 4, air)
	var w trend.Weather
	say := func(at time.Time) {
		var hours []farm.WeatherHour
		for h := range 48 {
			hours = append(hours, farm.WeatherHour{At: at.Add(time.Duration(h) * time.Hour), TempC: air(at.Add(time.Duration(h)*time.Hour)) + 1.5})
		}
		w.Foretell(at, hours)
	}
	for at := monday; !at.After(now); at = at.Add(6 * time.Hour) {
		say(at)
	}
	usual, _ := trend.Follow(&bin, &around, nil, level, now)
	told, _ := trend.Follow(&bin, &around, &w, level, now)
	_, _, truth := nearing(now.Add(20*time.Hour), 4, air)
	if !told.Foretold || math.Abs(told.Extreme(false)-truth) > 0.7 {
		t.Errorf("coldest %.2f, want %.2f though the source says 1.5 K more", told.Extreme(false), truth)
	}
	if a, b := usual.Crossing(3, false, 24*time.Hour), told.Crossing(3, false, 24*time.Hour); a.Chance > 0.3 || b.Chance < 0.8 {
		t.Errorf("chance of 3 °C: %.2f by the usual day and %.2f as foretold", a.Chance, b.Chance)
	}
	// Nobody has said anything for a day and a half.
	old := now.Add(36 * time.Hour)
	bin, around, level = nearing(old, 4, air)
	if c, _ := trend.Follow(&bin, &around, &w, level, old); c.Foretold {
		t.Error("what is a day and a half old is believed")
	}
}

// Nothing is said of a bin that is hardly known, or whose air was never heard long enough.
func TestLittleIsFollowed(t *testing.T) {
	for days, want := range map[int]bool{1: false, 3: false, 4: true} {
		now := monday.Add(time.Duration(days) * 24 * time.Hour)
		bin, air, level := nearing(now, 4, swinging(12))
		if _, ok := trend.Follow(&bin, &air, nil, level, now); ok != want {
			t.Errorf("after %d days: got %t", days, ok)
		}
	}
	now := monday.Add(6 * 24 * time.Hour)
	bin, _, level := nearing(now, 4, swinging(12))
	none := trend.NewTrack()
	if c, ok := trend.Follow(&bin, &none, nil, level, now); !ok || c.ByAir {
		t.Errorf("without a word from its air: got %+v, %t", c, ok)
	}
}
