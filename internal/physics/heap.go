package physics

import (
	"math"
)

// Air is what surrounds a heap.
type Air struct {
	TempC     float64
	VapourKPa float64
	RainKgM2S float64 // falling on the open surface
	ShineW    float64 // taken up by the skin from the sun, a lamp or a mat
}

// A Make is how a container is built and what it holds: all that stays the
// same while heat and water come and go.
type Make struct {
	SurfaceM2 float64 // open to the air
	OpenKg    float64 // vapour let through, kg/(s·m²·kPa): a bare wet surface in still air about 4e-5
	LossWK    float64 // heat from skin to air
	InnerWK   float64 // heat from core to skin
	SkinShare float64 // of the matter, 0..1
	WickKg    float64 // water from core to skin, kg/s per unit of water ratio, in wet stuff
	HoldsKg   float64 // kg of water a kg of dry matter holds; more runs off below
	BreathW   float64 // heat of burning at which the air that gets in halves it; 0 has air enough
}

// A Heap is worm-worked matter in two layers: a core, in which microbes work
// and probes sit, and a skin, which the air cools and dries.
type Heap struct {
	Make
	Core, Skin Layer
	FoodKg     float64 // quickly eaten part of the dry matter
	SlowKg     float64 // slowly eaten part of the dry matter
	MicrobesKg float64 // working on the food, dry
}

const nativeShare = 0.0008 // of dry matter that is active microbes when nothing is fed; a choice

// Build fills a container evenly: dryKg of matter, of which slowKg can still
// be eaten slowly, at a moisture and a temperature.
func Build(m Make, dryKg, slowKg, moisturePct, tempC float64) *Heap {
	whole := Layer{dryKg, dryKg * Ratio(moisturePct), tempC}
	return &Heap{
		Make: m, Core: whole.part(1 - m.SkinShare), Skin: whole.part(m.SkinShare),
		SlowKg: slowKg, MicrobesKg: nativeShare * dryKg,
	}
}

// DryKg is the whole dry matter.
func (h *Heap) DryKg() float64 { return h.Core.DryKg + h.Skin.DryKg }

// WaterKg is the whole water.
func (h *Heap) WaterKg() float64 { return h.Core.WaterKg + h.Skin.WaterKg }

// Moisture is the water of the whole heap, % of fresh mass.
func (h *Heap) Moisture() float64 { return Percent(h.WaterKg() / h.DryKg()) }

// TempC is the temperature of the core, where probes sit.
func (h *Heap) TempC() float64 { return h.Core.TempC }

// A Flux is what left the heap during a step.
type Flux struct {
	HeatJ    float64 // through the walls, as vapour and with what ran off, less what shone in, against 0 °C
	VapourKg float64 // negative when dew fell
	DrainKg  float64
	BurnedKg float64 // dry matter, of which part stayed as water
	RainKg   float64 // came in
}

// Step lets dt seconds pass, forwards from the state at their beginning. A
// minute is short against every time constant here (an hour and more), so the
// error of a step stays below a part in a hundred.
func (h *Heap) Step(dt float64, air Air) Flux {
	core, skin := h.Core, h.Skin
	burned := h.digest(dt)
	wick := h.wick(dt)
	vapour := h.vapour(dt, air)
	rain := h.SurfaceM2 * air.RainKgM2S * dt
	inner := h.InnerWK * (core.TempC - skin.TempC) * dt
	out := h.LossWK * (skin.TempC - air.TempC) * dt
	drain := h.drain(dt)

	wickHeat := carry(wick, core.TempC)
	if wick < 0 {
		wickHeat = carry(wick, skin.TempC)
	}
	vapourHeat := vapour*latentHeat + carry(vapour, skin.TempC)
	drainHeat := carry(drain, core.TempC)
	rainHeat := carry(rain, air.TempC)
	shine := air.ShineW * dt

	coreShare := core.DryKg / h.DryKg()
	h.Core.change(-burned*coreShare, burned*burnWater-wick-drain, burned*burnHeat-inner-wickHeat-drainHeat)
	h.Skin.change(-burned*(1-coreShare), wick+rain-vapour, inner+wickHeat+rainHeat+shine-out-vapourHeat)
	return Flux{out + vapourHeat + drainHeat - rainHeat - shine, vapour, drain, burned, rain}
}

// wick is the water drawn from core to skin, kg: by the difference of their
// water ratios, and the worse the drier the way.
func (h *Heap) wick(dt float64) float64 {
	c, s := h.Core.Ratio(), h.Skin.Ratio()
	way := min(1, (c+s)/3)
	flow := dt * h.WickKg * (c - s) * way * way
	if over := h.Skin.WaterKg - h.HoldsKg*h.Skin.DryKg; over > 0 {
		flow -= over * min(1, dt/3600) // rain trickles down within the hour
	}
	return min(flow, h.Core.WaterKg/10)
}

// vapour is the water that leaves the skin, kg: by the difference of vapour
// pressures, through a crust that grows as the skin dries.
func (h *Heap) vapour(dt float64, air Air) float64 {
	r := h.Skin.Ratio()
	gap := Activity(r)*SaturationKPa(h.Skin.TempC) - air.VapourKPa
	return min(dt*h.SurfaceM2*h.OpenKg*gap*r/(r+0.25), h.Skin.WaterKg/10)
}

// drain is the water the core cannot hold, running off over some six hours, kg.
func (h *Heap) drain(dt float64) float64 {
	return max(0, h.Core.WaterKg-h.HoldsKg*h.Core.DryKg) * min(1, dt/(6*3600))
}

const (
	heatOfWater = 4186.0 // J/(kg·K)
	heatOfDry   = 1300.0 // J/(kg·K), dry organic matter; from memory
	latentHeat  = 2.45e6 // J/kg, water at 20 °C; FAO-56
)

// A Layer is matter at one temperature.
type Layer struct {
	DryKg   float64
	WaterKg float64
	TempC   float64
}

// HeatCapacity is in J/K.
func (l Layer) HeatCapacity() float64 {
	return l.DryKg*heatOfDry + l.WaterKg*heatOfWater
}

// Ratio is kg of water per kg of dry matter.
func (l Layer) Ratio() float64 { return l.WaterKg / l.DryKg }

// heat is the sensible heat against 0 °C, J.
func (l Layer) heat() float64 { return l.HeatCapacity() * l.TempC }

// blend adds matter of another temperature; a negative mass leaves, and should
// then be at the layer's own temperature.
func (l *Layer) blend(o Layer) { l.change(o.DryKg, o.WaterKg, o.heat()) }

// change adds masses and heat. The heat is what the masses carry against 0 °C
// and whatever else flows.
func (l *Layer) change(dryKg, waterKg, joules float64) {
	h := l.heat() + joules
	l.DryKg += dryKg
	l.WaterKg += waterKg
	l.TempC = h / l.HeatCapacity()
}

// part is a share of the layer, at its temperature.
func (l Layer) part(share float64) Layer {
	return Layer{l.DryKg * share, l.WaterKg * share, l.TempC}
}

// carry is the heat that moving water brings along, J against 0 °C.
func carry(waterKg, tempC float64) float64 { return waterKg * heatOfWater * tempC }

// A Portion is matter on the way into or out of a heap.
type Portion struct {
	Layer
	FoodKg     float64 // part of DryKg
	SlowKg     float64 // part of DryKg
	MicrobesKg float64 // part of DryKg
}

// Water is a portion of water alone.
func Water(kg, tempC float64) Portion {
	return Portion{Layer: Layer{WaterKg: kg, TempC: tempC}}
}

// A Foodstuff says what a kilogram of something fed or bedded is made of.
type Foodstuff struct {
	Dry   float64 // share of fresh mass
	Quick float64 // share of dry mass that microbes take up within days
	Slow  float64 // share of dry mass that lasts for months
}

// Portion is kg of the stuff, fresh mass, at a temperature.
func (f Foodstuff) Portion(kg, tempC float64) Portion {
	dry := kg * f.Dry
	return Portion{Layer{dry, kg - dry, tempC}, dry * f.Quick, dry * f.Slow, 0}
}

// Put mixes a portion into the heap, evenly through both layers.
func (h *Heap) Put(p Portion) {
	h.Core.blend(p.part(1 - h.SkinShare))
	h.Skin.blend(p.part(h.SkinShare))
	h.FoodKg += p.FoodKg
	h.SlowKg += p.SlowKg
	h.MicrobesKg += p.MicrobesKg
}

// Take removes a share of the heap, 0 up to but not including 1.
func (h *Heap) Take(share float64) Portion {
	p := Portion{h.Core.part(share), h.FoodKg * share, h.SlowKg * share, h.MicrobesKg * share}
	if s := h.Skin.part(share); s.HeatCapacity() > 0 {
		p.blend(s)
	}
	h.Core = h.Core.part(1 - share)
	h.Skin = h.Skin.part(1 - share)
	h.FoodKg -= p.FoodKg
	h.SlowKg -= p.SlowKg
	h.MicrobesKg -= p.MicrobesKg
	return p
}

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

// digest lets the microbes work for dt seconds and returns the kg burned. They work
// slower in dry stuff, not at all below 20 % of water and freely from 55 % up, and
// slower for want of air: the faster they burn, the staler it gets.
func (h *Heap) digest(dt float64) float64 {
	pace := Vigour(h.Core.TempC) * min(1, max(0, (Percent(h.Core.Ratio())-20)/35))
	wanted := 0.0 // kg/s
	if h.FoodKg > 0 {
		wanted = pace * (uptake * h.MicrobesKg * h.FoodKg / (h.FoodKg + crowding*h.MicrobesKg))
	}
	if h.BreathW > 0 {
		wanted /= 1 + wanted*(1-yield)*burnHeat/h.BreathW
	}
	taken := min(h.FoodKg, wanted*dt)
	spent := dt * pace * upkeep * max(0, h.MicrobesKg-nativeShare*h.DryKg())
	slow := dt * pace * slowRate * h.SlowKg
	h.FoodKg -= taken
	h.MicrobesKg += yield*taken - spent
	h.SlowKg -= slow
	return (1-yield)*taken + spent + slow
}
