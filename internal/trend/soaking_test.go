package trend_test

import (
	"math"
	"testing"
	"time"

	"binwatchd/internal/trend"
)

// soaked is a probe's word every twenty minutes about a zone that loses 0.05 kg of
// water per kg dry and day, from three days before a watering to two days after it: rise
// is by how much it went up so many hours after.
func soaked(rise func(hours float64) float64) (trend.Track, time.Time) {
	poured, k := time.Date(2026, 5, 4, 9, 0, 0, 0, time.UTC), trend.NewTrack()
	for m := -3 * 24 * 60; m < 2*24*60; m += 20 {
		h := float64(m) / 60
		w := 2.4 - 0.05*h/24
		if h > 0 {
			w += rise(h)
		}
		k.Add(poured.Add(time.Duration(m)*time.Minute), 100*w/(1+w)+0.5*math.Sin(2*math.Pi*h/24)) // it feels the day
	}
	return k, poured
}

func dryOfPct(pct float64) float64 { return pct / (100 - pct) }

// A rise that comes slowly, or high first, is read as it settles.
func TestSoakedReadsTheSettledRise(t *testing.T) {
	for name, shape := range map[string]func(h float64) float64{
		"at once":         func(float64) float64 { return 0.3 },
		"slowly":          func(h float64) float64 { return 0.3 * (1 - math.Exp(-h/9)) },
		"from above down": func(h float64) float64 { return 0.3 * (1 + math.Exp(-h/9)) },
	} {
		k, poured := soaked(shape)
		from, to, ok := trend.Soaked(&k, poured, time.Time{}, poured.Add(trend.SoakEnds), 0.05)
		if !ok {
			t.Errorf("%s: nothing read", name)
			continue
		}
		if rise := dryOfPct(to) - dryOfPct(from); math.Abs(rise-0.3) > 0.03 {
			t.Errorf("%s: read a rise of %.3f, want 0.3", name, rise)
		}
	}
}

func TestSoakedLeavesOutWhatIsDisturbed(t *testing.T) {
	k, poured := soaked(func(float64) float64 { return 0.3 })
	ends := poured.Add(trend.SoakEnds)
	for name, tt := range map[string]struct {
		opened, until time.Time
		want          bool
	}{
		"nothing":                {time.Time{}, ends, true},
		"opened two days before": {poured.Add(-48 * time.Hour), ends, true},
		"opened the day before":  {poured.Add(-24 * time.Hour), ends, false},
		"fed the day after":      {time.Time{}, poured.Add(30 * time.Hour), false},
		"nearly two days":        {time.Time{}, poured.Add(44 * time.Hour), true},
	} {
		if _, _, ok := trend.Soaked(&k, poured, tt.opened, tt.until, 0.05); ok != tt.want {
			t.Errorf("%s: read %t, want %t", name, ok, tt.want)
		}
	}
	again, _ := soaked(func(h float64) float64 {
		if h > 30 {
			return 0.7 // somebody else poured, and wrote nothing down
		}
		return 0.3
	})
	if _, _, ok := trend.Soaked(&again, poured, time.Time{}, ends, 0.05); ok {
		t.Error("a watering that nobody wrote down taught something")
	}
	var none trend.Track
	if _, _, ok := trend.Soaked(&none, poured, time.Time{}, ends, 0); ok {
		t.Error("a probe that said nothing taught something")
	}
}
