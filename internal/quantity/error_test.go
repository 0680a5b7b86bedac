package quantity_test

import (
	"strings"
	"testing"

	"binwatchd/internal/quantity"
)

func TestErrorsSayWhatWouldBeRight(t *testing.T) {
	one := func(parse func(string) (float64, error)) func(string) error {
		return func(s string) error { _, err := parse(s); return err }
	}
	two := func(parse func(string) (float64, float64, error)) func(string) error {
		return func(s string) error { _, _, err := parse(s); return err }
	}
	length := func(s string) error { _, err := quantity.ParseDuration(s); return err }
	tests := []struct {
		name  string
		parse func(string) error
		text  string
		want  string
	}{
		{"no unit", one(quantity.ParseTemperature), "17", `"17" is not a temperature: it has no unit: write 17C or 17F`},
		{"empty", one(quantity.ParseTemperature), " ", `" " is not a temperature: it is empty; an example is 17C`},
		{"words", one(quantity.ParseTemperature), "warm", `"warm" is not a temperature: it does not begin with a number; an example is 17C`},
		{"too cold", one(quantity.ParseTemperature), "-300C", `"-300C" is not a temperature: it is below absolute zero`},
		{"another scale", one(quantity.ParseTemperature), "12R", `"12R" is not a temperature: the unit "R" is not known: use C or F`},
		{"another quantity", one(quantity.ParseMass), "2 L", `"2 L" is not a mass: L measures volume: use kg, g, lb or oz`},
		{"decimal comma", one(quantity.ParseVolume), "1,5 L", `"1,5 L" is not a volume: decimals are written with a point: 1.5 L`},
		{"exponent", one(quantity.ParseVolume), "1e3 L", `"1e3 L" is not a volume: the unit "e3 L" is not known: use L, ml, gal, qt, pt or cup`},
		{"two points", one(quantity.ParseVolume), "1.2.3 L", `"1.2.3 L" is not a volume: the number is not plain; an example is 2 L`},
		{"negative volume", one(quantity.ParseVolume), "-2 L", `"-2 L" is not a volume: it is negative`},
		{"negative step", one(quantity.ParseTemperatureStep), "-1C", `"-1C" is not a difference of temperatures: it is negative`},
		{"huge", one(quantity.ParseMass), "99999999999 kg", `"99999999999 kg" is not a mass: the number is larger than any in a worm farm`},
		{"a fraction for a percentage", one(quantity.ParsePercent), "0.7", `"0.7" is not a percentage: it has no unit: write 70% (or 0.7%)`},
		{"over a hundred", one(quantity.ParsePercent), "101%", `"101%" is not a percentage: it must lie between 0% and 100%`},
		{"volt", one(quantity.ParseVoltage), "3.3", `"3.3" is not a voltage: it has no unit: write 3.3 V`},
		{"band without dots", two(quantity.ParseTemperatureBand), "16C-24C", `"16C-24C" is not a range of temperatures: it has no .. between its ends; an example is 16C..24C`},
		{"band without unit", two(quantity.ParseTemperatureBand), "16..24", `"16..24" is not a range of temperatures: high end: it has no unit: write 24C or 24F`},
		{"band with a bad low end", two(quantity.ParsePercentBand), "x..82%", `"x..82%" is not a range of percentages: low end: it does not begin with a number; an example is 70%`},
		{"band upside down", two(quantity.ParsePercentBand), "82%..68%", `"82%..68%" is not a range of percentages: the low end comes first and must lie below the high one`},
		{"length without unit", length, "30", `"30" is not a length of time: it has no unit: write 30m, 30h or 30d`},
		{"length with its tail missing", length, "1h30", `"1h30" is not a length of time: it has no unit: write 30m, 30h or 30d`},
		{"length in months", length, "2 months", `"2 months" is not a length of time: the unit "months" is not known: use s, m, h, d or w`},
		{"length backwards", length, "30m1h", `"30m1h" is not a length of time: its parts go from long to short, as in 1h30m`},
		{"length negative", length, "-30m", `"-30m" is not a length of time: it is negative`},
		{"length in years", length, "99y", `"99y" is not a length of time: the unit "y" is not known: use s, m, h, d or w`},
		{"length over a century in its parts", length, "5000w5000d", `"5000w5000d" is not a length of time: it is longer than a century`},
		{"amount without unit", two(quantity.ParseAmount), "2", `"2" is not an amount: it has no unit: write 2 kg or 2 L`},
		{"amount of nothing", two(quantity.ParseAmount), "0 L", `"0 L" is not an amount: it must be more than nothing`},
		{"amount in degrees", two(quantity.ParseAmount), "2 C", `"2 C" is not an amount: C measures temperature: use kg, g, lb or oz for a mass, L, ml, gal, qt, pt or cup for a volume`},
		{"amount in buckets", two(quantity.ParseAmount), "2 buckets", `"2 buckets" is not an amount: the unit "buckets" is not known: use kg, g, lb or oz for a mass, L, ml, gal, qt, pt or cup for a volume`},
		{"amount in words", two(quantity.ParseAmount), "some", `"some" is not an amount: it does not begin with a number; an example is 1.5 kg`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			err := tt.parse(tt.text)
			if err == nil {
				t.Fatalf("%q was accepted", tt.text)
			}
			if err.Error() != tt.want {
				t.Errorf("got  %s\nwant %s", err, tt.want)
			}
		})
	}
}

func TestErrorStaysOneShortLine(t *testing.T) {
	for _, text := range []string{strings.Repeat("x", 1<<16), "17\nX", "\xff\xfe", "1" + strings.Repeat("y", 1<<16)} {
		_, err := quantity.ParseTemperature(text)
		if err == nil {
			t.Fatalf("%.20q was accepted", text)
		}
		if got := err.Error(); len(got) > 300 || strings.ContainsAny(got, "\n\r") {
			t.Errorf("the message for %.20q has %d bytes: %.80s", text, len(got), got)
		}
	}
}
