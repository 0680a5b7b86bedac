package physics

import (
	"math"
	"time"
)

// Outside is the weather at one moment.
type Outside struct {
	Air
	SunWM2 float64 // on the ground
}

// A Climate makes weather that is a function of time: a season, fronts passing
// every few days, clear and cloudy days with their swings, and spells.
type Climate struct {
	Dice    Dice
	MeanC   float64 // of the year
	SeasonK float64 // how far midsummer's mean lies over the year's
	SwingK  float64 // half the range of a clear day
	FrontK  float64 // deviation of passing weather
	SunWM2  float64 // clear noon, year's mean
	Spells  []Spell
}

// A Spell is a stretch of clear sky and unusual temperature.
type Spell struct {
	From  time.Time
	Lasts time.Duration
	Every time.Duration // comes again this long after From; 0 comes once
	ByK   float64       // how far it moves the mean, cold below 0
}

// At is the weather at t.
func (c Climate) At(t time.Time) Outside {
	var spell, clear float64 // how far the spells move the mean, and clear the sky
	for _, s := range c.Spells {
		w := s.weight(t)
		spell += w * s.ByK
		clear = max(clear, w)
	}
	season := seasonAt(t)
	cloud := c.cloud(t) * (1 - clear)
	base := c.MeanC + c.SeasonK*season + c.FrontK*c.Dice.Named("front").Smooth(t, 60*time.Hour) + spell
	temp := base + c.SwingK*(1-0.65*cloud)*dayShape(t)
	dew := base - 4 - 4*(1-cloud)
	return Outside{
		Air: Air{
			TempC:     temp,
			VapourKPa: min(SaturationKPa(dew), SaturationKPa(temp)),
			RainKgM2S: max(0, cloud-0.8) / 0.2 * 2.0 / 3600, // up to 2 mm an hour
		},
		SunWM2: c.SunWM2 * (1 + 0.4*season) * (1 - 0.75*cloud) * sunShape(t),
	}
}

// cloud is the part of the sky covered, 0..1.
func (c Climate) cloud(t time.Time) float64 {
	return 1 / (1 + math.Exp(-1.6*c.Dice.Named("cloud").Smooth(t, 30*time.Hour)))
}

// weight rises from 0 to 1 over the first twelve hours of a spell and falls
// over the last twelve.
func (s Spell) weight(t time.Time) float64 {
	into := t.Sub(s.From)
	if s.Every > 0 && into > 0 {
		into %= s.Every
	}
	if into < 0 || into > s.Lasts {
		return 0
	}
	x := min(1, min(into, s.Lasts-into).Hours()/12)
	return x * x * (3 - 2*x)
}

// seasonAt is −1 in mid-January and 1 in mid-July.
func seasonAt(t time.Time) float64 {
	return -math.Cos(2 * math.Pi * float64(t.UTC().YearDay()-17) / 365.25)
}

// dayShape swings from about −1 near five in the morning to about 1 near three in
// the afternoon, solar time taken as UTC; the fall is longer than the rise.
func dayShape(t time.Time) float64 {
	a := 2 * math.Pi * (hour(t) - 16) / 24
	return 0.93*math.Cos(a) - 0.19*math.Sin(2*a)
}

// sunShape is the sun's height over a day of twelve hours, 0..1.
func sunShape(t time.Time) float64 {
	return max(0, math.Sin(math.Pi*(hour(t)-6)/12))
}

// hour is the hour of the UTC day with its part.
func hour(t time.Time) float64 {
	t = t.UTC()
	return float64(t.Hour()) + float64(t.Minute())/60 + float64(t.Second())/3600
}

// A Room is the air bins stand in, with walls, benches and floor counted as
// one body.
type Room struct {
	CapacityJK float64
	LossWK     float64 // to what surrounds it
	SunM2      float64 // opening through which the sun warms it
	VentC      float64 // above it vents open; 0 has none
	HeaterW    float64 // 0 has none
	HeatBelowC float64 // heater comes on
	HeatUpToC  float64 // heater goes off
	DampKPa    float64 // vapour given off inside
	TempC      float64
	heating    bool
}

// ventFactor is how many times as much heat leaves for each kelvin above VentC.
const ventFactor = 0.35

// Step lets dt seconds pass and returns the room's air. With powerOff the
// heater has failed.
func (r *Room) Step(dt float64, around Outside, powerOff bool) Air {
	loss := r.LossWK
	if r.VentC != 0 && r.TempC > r.VentC {
		loss *= 1 + ventFactor*min(8, r.TempC-r.VentC)
	}
	watts := r.SunM2*around.SunWM2 - loss*(r.TempC-around.TempC)
	// The heater stays on from one of its temperatures to the other.
	r.heating = r.HeaterW > 0 && (r.TempC < r.HeatBelowC || r.heating && r.TempC <= r.HeatUpToC)
	if r.heating && !powerOff {
		watts += r.HeaterW
	}
	r.TempC += watts * dt / r.CapacityJK
	return r.Air(around)
}

// Air is what a heap in the room is surrounded by: the vapour of outside and
// what is given off inside, no more than the air can hold.
func (r *Room) Air(around Outside) Air {
	return Air{TempC: r.TempC, VapourKPa: min(around.VapourKPa+r.DampKPa, SaturationKPa(r.TempC))}
}
