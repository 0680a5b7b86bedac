package physics

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
	if r.thermostat() && !powerOff {
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

// thermostat remembers whether the heater is on between its two temperatures.
func (r *Room) thermostat() bool {
	switch {
	case r.HeaterW == 0:
		r.heating = false
	case r.TempC < r.HeatBelowC:
		r.heating = true
	case r.TempC > r.HeatUpToC:
		r.heating = false
	}
	return r.heating
}
