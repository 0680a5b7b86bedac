package quantity

// absoluteZero in °C; nothing is colder.
const absoluteZero = -273.15

// ParseTemperature reads a temperature such as 17C, 61F or 290K, in °C.
func ParseTemperature(s string) (celsius float64, err error) {
	c, err := measure(s, temperature, unit.inward)
	if err == nil && c < absoluteZero {
		return 0, newError(s, temperature.what, "it is below absolute zero")
	}
	return c, err
}

// ParseTemperatureStep reads a difference of temperatures such as 0.5C or 1F,
// in K. A step is not negative.
func ParseTemperatureStep(s string) (kelvin float64, err error) {
	k, err := measure(s, temperature, unit.step)
	return k, notNegative(s, "a difference of temperatures", k, err)
}

// ParsePercent reads a percentage between 0% and 100%.
func ParsePercent(s string) (percent float64, err error) {
	p, err := measure(s, percentage, unit.inward)
	if err == nil && (p < 0 || p > 100) {
		return 0, newError(s, percentage.what, "it must lie between 0%% and 100%%")
	}
	return p, err
}

// ParseVoltage reads a voltage such as 3.3 V or 3300 mV, in V.
func ParseVoltage(s string) (volt float64, err error) {
	v, err := measure(s, voltage, unit.inward)
	return v, notNegative(s, voltage.what, v, err)
}

// ParseVolume reads a volume such as 2 L, 500 ml, 1.2 gal, 3 qt or 1 cup, in
// L. Gallons, quarts and cups are US liquid measures.
func ParseVolume(s string) (litres float64, err error) {
	l, err := measure(s, volume, unit.inward)
	return l, notNegative(s, volume.what, l, err)
}

// ParseMass reads a mass such as 2 kg, 300 g, 4 lb or 12 oz, in kg.
func ParseMass(s string) (kg float64, err error) {
	m, err := measure(s, mass, unit.inward)
	return m, notNegative(s, mass.what, m, err)
}

// ParseAmount reads a mass or a volume; the other is 0. An ounce is one of
// mass. The amount is greater than nothing.
func ParseAmount(s string) (kg, litres float64, err error) {
	const what = "an amount"
	either := &dimension{what: what, like: mass.like, choices: "kg, g, lb or oz for a mass, L, ml, gal, qt, pt or cup for a volume"}
	v, word, wrong := number(s, mass)
	if wrong != nil {
		wrong.What = what
		return 0, 0, wrong
	}
	u, known := unitBySpelling(word)
	switch {
	case word == "":
		return 0, 0, newError(s, what, "it has no unit: write %s kg or %s L", decimal(v), decimal(v))
	case !known || (u.of != mass && u.of != volume):
		_, err := unitOf(s, v, word, either)
		return 0, 0, err
	case v <= 0:
		return 0, 0, newError(s, what, "it must be more than nothing")
	case u.of == mass:
		return u.inward(v), 0, nil
	}
	return 0, u.inward(v), nil
}

func notNegative(s, what string, v float64, err error) error {
	if err == nil && v < 0 {
		return newError(s, what, "it is negative")
	}
	return err
}
