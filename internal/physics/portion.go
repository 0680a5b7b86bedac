package physics

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

// Turn mixes core and skin.
func (h *Heap) Turn() {
	share := h.Skin.DryKg / h.DryKg()
	whole := h.Core
	whole.blend(h.Skin)
	h.Core, h.Skin = whole.part(1-share), whole.part(share)
}
