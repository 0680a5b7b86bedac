package page

import (
	"math"
	"strconv"
	"strings"

	"binwatchd/internal/farm"
	"binwatchd/internal/quantity"
)

const (
	maxKg     = 2000
	maxLitres = 2000
)

// amount reads what the keeper typed, "2", "1,5" or "2 kg", with the unit
// chosen beside it. Empty is no amount.
func amount(typed, unit string) (kg, litres float64, err error) {
	if typed == "" {
		return 0, 0, nil
	}
	if strings.Count(typed, ",") == 1 && !strings.Contains(typed, ".") {
		typed = strings.Replace(typed, ",", ".", 1) // a phone's own decimal sign
	}
	if plainNumber(typed) {
		typed += " " + unit
	}
	kg, litres, err = quantity.ParseAmount(typed)
	switch {
	case err != nil:
		return 0, 0, badInput("The amount is not clear: %v.", err)
	case kg > maxKg || litres > maxLitres:
		return 0, 0, badInput("%s is more than any bin holds.", typed)
	}
	return kg, litres, nil
}

func plainNumber(s string) bool {
	return strings.Trim(s, "0123456789.") == ""
}

// usualUnit is what a kind of jot is measured in.
func usualUnit(k farm.JotKind, u farm.Units) string {
	litres := k == farm.Watered || k == farm.Sifted || k == farm.Emptied
	switch {
	case litres && u == farm.US:
		return "gal"
	case litres:
		return "L"
	case u == farm.US:
		return "lb"
	}
	return "kg"
}

// unitsOffered are the units of the form, the usual one first.
func unitsOffered(k farm.JotKind, u farm.Units) []string {
	all := []string{"kg", "g", "L", "ml"}
	if u == farm.US {
		all = []string{"lb", "oz", "gal", "qt", "pt"}
	}
	first := usualUnit(k, u)
	out := []string{first}
	for _, unit := range all {
		if unit != first {
			out = append(out, unit)
		}
	}
	return out
}

// typedAmount is a jot's amount as the keeper would type it, in the farm's
// units and with two figures: more would claim a care nobody takes.
func typedAmount(j farm.Jot, u farm.Units) (number, unit string) {
	switch {
	case j.Kg > 0 && u == farm.US:
		return figures(j.Kg / perUnit(quantity.ParseMass, "1 lb")), "lb"
	case j.Kg > 0:
		return figures(j.Kg), "kg"
	case j.Litres > 0 && u == farm.US && j.Litres < perUnit(quantity.ParseVolume, "1 gal"):
		return figures(j.Litres / perUnit(quantity.ParseVolume, "1 qt")), "qt"
	case j.Litres > 0 && u == farm.US:
		return figures(j.Litres / perUnit(quantity.ParseVolume, "1 gal")), "gal"
	case j.Litres > 0:
		return figures(j.Litres), "L"
	}
	return "", usualUnit(j.What, u)
}

// perUnit is how many kg or L a unit is, as package quantity has it.
func perUnit(parse func(string) (float64, error), one string) float64 {
	v, err := parse(one)
	if err != nil {
		return 1
	}
	return v
}

func figures(v float64) string {
	digits := 1 - int(math.Floor(math.Log10(v)))
	step := math.Pow(10, float64(-digits))
	s := strconv.FormatFloat(math.Round(v/step)*step, 'f', max(0, digits), 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}
