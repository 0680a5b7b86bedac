package physics

// EnergyJ is the heat held against 0 °C and what burning the food, the bedding
// and the microbes would give.
func EnergyJ(h *Heap) float64 {
	return h.Core.heat() + h.Skin.heat() + burnHeat*(h.FoodKg+h.SlowKg+h.MicrobesKg)
}
