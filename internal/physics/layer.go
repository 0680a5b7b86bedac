package physics

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
