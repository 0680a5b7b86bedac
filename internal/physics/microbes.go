package physics

import "math"

// The heat of a feed comes from microbes growing on it. Uptake follows Contois
// (1959, J Gen Microbiol 21:40–50; from memory): with much food a microbe it
// goes by the microbes, with little by the food. What is burned is reckoned as
// glucose: 2805 kJ/mol, C6H12O6 + 6 O2 → 6 CO2 + 6 H2O.
const (
	burnHeat  = 2805e3 / 0.18016    // J/kg
	burnWater = 6 * 18.015 / 180.16 // kg of water from a kg burned
	yield     = 0.4                 // kg of microbes from a kg taken up; a choice
	uptake    = 0.30 / 3600         // kg/s per kg of microbes at 25 °C; a choice
	crowding  = 3.0                 // kg of food per kg of microbes at which uptake halves; a choice
	upkeep    = 0.010 / 3600        // kg/s of themselves that microbes burn at 25 °C; a choice
	slowRate  = 0.004 / 86400       // kg/s per kg of bedding at 25 °C; a choice
)

// Vigour is how fast microbes work at a temperature, 1 at 25 °C: the
// square-root curve of Ratkowsky et al. 1983, J Bacteriol 154:1222–1226 (form
// from memory), from 2 °C to 52 °C with its top near 41 °C.
func Vigour(tempC float64) float64 {
	const low, high, bend = 2, 52, 0.15
	if tempC <= low || tempC >= high {
		return 0
	}
	root := func(t float64) float64 { return (t - low) * (1 - math.Exp(bend*(t-high))) }
	r := root(tempC) / root(25)
	return r * r
}

// digest lets the microbes work for dt seconds and returns the kg burned.
func (h *Heap) digest(dt float64) float64 {
	pace := Vigour(h.Core.TempC) * dampness(h.Core.Ratio())
	taken := min(h.FoodKg, h.breathing(pace*h.wanted())*dt)
	spent := dt * pace * upkeep * max(0, h.MicrobesKg-h.nativeKg())
	slow := dt * pace * slowRate * h.SlowKg
	h.FoodKg -= taken
	h.MicrobesKg += yield*taken - spent
	h.SlowKg -= slow
	return (1-yield)*taken + spent + slow
}

// wanted is the food that microbes with air enough take up at 25 °C, kg/s.
func (h *Heap) wanted() float64 {
	if h.FoodKg <= 0 {
		return 0
	}
	return uptake * h.MicrobesKg * h.FoodKg / (h.FoodKg + crowding*h.MicrobesKg)
}

// breathing slows an uptake, kg/s, for want of air: the faster they burn, the
// staler it gets.
func (h *Heap) breathing(kgs float64) float64 {
	if h.BreathW == 0 {
		return kgs
	}
	return kgs / (1 + kgs*(1-yield)*burnHeat/h.BreathW)
}

// nativeKg is the active microbes that stay about when there is no feed.
func (h *Heap) nativeKg() float64 { return nativeShare * (h.Core.DryKg + h.Skin.DryKg) }

// dampness holds microbes back in dry stuff: none below 20 % of water, freely
// from 55 % up.
func dampness(ratio float64) float64 {
	return min(1, max(0, (Percent(ratio)-20)/35))
}
