package scenariotest

import (
	"math"
	"time"

	"binwatchd/internal/physics"
)

// Warmth is what warms a bin from outside, besides its room's usual days. A
// feed may heat it as well: see [Run.Own] for how much of it all is its own.
type Warmth string

const (
	NoWarmth    Warmth = ""
	Sunny       Warmth = "sunny"        // the sun falls on it; clear, broken and dull days in turn
	FirstSun    Warmth = "first sun"    // two dull weeks, then clear days
	HeaterBack  Warmth = "heater back"  // a cold room, until one day its heater runs again
	HeaterTimer Warmth = "heater timer" // a room warm by day, cool at night and at weekends
	HeatWave    Warmth = "heat wave"    // days ten kelvin warmer, from one day on
	Indoors     Warmth = "indoors"      // carried from the cold into a warm house
	Lamp        Warmth = "lamp"         // a lamp over it, twelve hours a day from one day on
	Mat         Warmth = "mat"          // a heating mat with a thermostat, from one day on
)

// Warmths lists them all but none.
var Warmths = []Warmth{Sunny, FirstSun, HeaterBack, HeaterTimer, HeatWave, Indoors, Lamp, Mat}

// WarmSuite is n cases of one warmth, quiet or fed, in mixed bins and rooms. The
// feed of a fed one comes any time, every second near the onset of the warmth; of a
// weekly one every week.
func WarmSuite(w Warmth, kind Kind, n int, seed uint64, start time.Time) []Case {
	bins, probes := []Bin{Bed, Tray, Barrel}, []Probe{Fine, Cheap, Coarse}
	rooms := []Room{Yard, Shed, Glasshouse}
	if w == Lamp || w == Mat || w == NoWarmth {
		rooms = []Room{Cellar, House, Shed}
	}
	cases := make([]Case, n)
	for i := range cases {
		cases[i] = Case{
			Kind: kind, Warmth: w, Bin: bins[i%3], Room: rooms[i/3%3], Probe: probes[(i+i/3)%3], Ambient: i%2 == 0,
			Seed: seed + uint64(i), Start: start, Days: 30,
		}
	}
	return cases
}

// A warmer carries a Warmth out.
type warmer struct {
	kind   Warmth
	dice   physics.Dice
	onset  time.Time
	rising time.Duration // how long the onset takes
	shineW float64       // at part 1
	airK   float64       // what the sun at part 1 adds to the air probe that hangs in it
	cool   float64       // °C of the room before, for a heater
	warmC  float64       // and after
	upToC  float64       // of the mat's thermostat
	matOn  bool
	feedAt time.Duration // from the start
	part   float64       // of shineW now
}

// newWarmer throws the dice for a case. It thins the stock's walls by up to
// three times, for what stands in the sun is as often a thin box, and sets the
// climate.
func newWarmer(c Case, d physics.Dice, s *stock, climate *physics.Climate) *warmer {
	thin, mean := d.Between(0, 1, 3), d.Between(10, 10, 19)
	if c.Kind != Quiet { // and can still get hot
		thin, mean = d.Between(0, 0.7, 1.6), d.Between(10, 13, 22)
	}
	s.LossWK, s.InnerWK = s.LossWK*thin, s.InnerWK*d.Between(1, 1, 3)
	w := &warmer{kind: c.Warmth, dice: d, rising: time.Duration(d.Between(2, 1.5, 7) * float64(time.Hour))}
	day := 24 * time.Hour
	into := time.Duration(d.Between(3, 9, 22)*24*6) * sampling
	w.onset = c.Start.Add(into)
	w.shineW = s.LossWK * d.Between(4, 6, 28)
	w.cool, w.warmC = d.Between(5, 5, 12), d.Between(6, 18, 24)
	w.upToC = d.Between(7, 20, 25)
	w.feedAt = 4*day + time.Duration(d.Between(8, 0, 20*24*6))*sampling
	if c.Seed%2 == 0 {
		w.feedAt = (into + time.Duration(d.Between(9, -36, 36)*6)*sampling).Round(sampling)
	}
	climate.MeanC, climate.SeasonK = mean, 1.5
	switch c.Warmth {
	case Sunny, FirstSun:
		climate.SunWM2 = 800 / (1 + 0.4*0.3)
		if d.Uniform(11) < 0.5 {
			w.airK = d.Between(12, 1, 12)
		}
	case HeatWave:
		climate.MeanC = min(mean, 16)
		climate.Spells = []physics.Spell{{From: w.onset, Lasts: 6 * day, ByK: d.Between(13, 6, 13)}}
	case Lamp, Mat:
		w.shineW = s.LossWK * d.Between(4, 4, 12)
	case Indoors:
		w.rising = 20 * time.Minute
	}
	switch c.Warmth {
	case HeaterBack, HeaterTimer, Indoors:
		climate.MeanC = w.cool
	}
	if c.Warmth == FirstSun {
		w.onset = w.onset.Truncate(day)
		climate.Spells = []physics.Spell{{From: w.onset.Add(-12 * time.Hour), Lasts: 9 * day}}
	}
	return w
}

// warm gives the air as it is with the warmth.
func (w *warmer) warm(t *trial, air physics.Air, out physics.Outside) physics.Air {
	switch into := t.at.Sub(w.onset); w.kind {
	case Sunny, FirstSun:
		w.part = out.SunWM2 / 800 * w.clouds(t.at, out.SunWM2)
		if w.kind == FirstSun && into < 0 {
			w.part *= 0.2
		}
	case Lamp:
		hour := (t.at.Hour() + int(w.dice.Between(20, 0, 24))) % 24
		w.part = 0
		if into > 0 && hour < 12 {
			w.part = 1
		}
	case Mat:
		w.part = w.mat(into, t.heap.TempC())
	case HeaterBack, Indoors:
		air.TempC = w.cool + (w.warmC-w.cool)*min(1, max(0, into.Hours()/w.rising.Hours())) + 0.4*w.dice.Named("air").Smooth(t.at, 5*time.Hour)
	case HeaterTimer:
		target := w.cool + 4
		if h, day := t.at.Hour(), t.at.Weekday(); h >= 6 && h < 19 && day != time.Saturday && day != time.Sunday {
			target = w.warmC
		}
		air.TempC = t.room.TempC + (target-t.room.TempC)*tick.Hours()/w.rising.Hours()*2
	}
	switch w.kind {
	case HeaterBack, Indoors, HeaterTimer:
		t.room.TempC = air.TempC
		air.VapourKPa = min(air.VapourKPa, 0.7*physics.SaturationKPa(air.TempC))
	case Sunny, FirstSun, Lamp, Mat, HeatWave, NoWarmth:
		air.ShineW = w.shineW * w.part
	}
	air.RainKgM2S = 0
	return air
}

// mat is 1 while the thermostat of a mat keeps it on.
func (w *warmer) mat(into time.Duration, tempC float64) float64 {
	switch {
	case into < 0 || tempC > w.upToC:
		w.matOn = false
	case tempC < w.upToC-1:
		w.matOn = true
	}
	if w.matOn {
		return 1
	}
	return 0
}

// clouds lets broken clouds pass on days that are neither clear nor dull.
func (w *warmer) clouds(at time.Time, sun float64) float64 {
	broken := w.dice.Named("broken").Smooth(at, 20*time.Hour)
	if broken < 0 || sun == 0 {
		return 1
	}
	return 1 - min(0.7, broken)*(0.5+0.5*math.Tanh(2*w.dice.Named("passing").Smooth(at, 25*time.Minute)))
}
