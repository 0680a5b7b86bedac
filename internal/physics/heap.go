package physics

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

// EnergyJ is the heat held against 0 °C and what burning the food, the bedding
// and the microbes would give.
func (h *Heap) EnergyJ() float64 {
	return h.Core.heat() + h.Skin.heat() + burnHeat*(h.FoodKg+h.SlowKg+h.MicrobesKg)
}

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
