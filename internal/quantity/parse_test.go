package quantity_test

import (
	"math"
	"testing"
	"time"

	"binwatchd/internal/quantity"
)

func TestParse(t *testing.T) {
	tests := []struct {
		name  string
		parse func(string) (float64, error)
		text  string
		want  float64
	}{
		{"celsius", quantity.ParseTemperature, "17C", 17},
		{"celsius spelt with a degree sign", quantity.ParseTemperature, " 17.5 °C ", 17.5},
		{"cold", quantity.ParseTemperature, "-4C", -4},
		{"a typographic minus", quantity.ParseTemperature, "−4C", -4},
		// NC State Extension on worm bins: ideal 59–77 °F (15–25 °C), survival 32–95 °F.
		{"ideal low end", quantity.ParseTemperature, "59F", 15},
		{"ideal high end", quantity.ParseTemperature, "77 °F", 25},
		{"survival low end", quantity.ParseTemperature, "32f", 0},
		{"survival high end", quantity.ParseTemperature, "95F", 35},
		{"kelvin", quantity.ParseTemperature, "273.15K", 0},
		{"a step in celsius", quantity.ParseTemperatureStep, "0.5C", 0.5},
		{"a step in fahrenheit has no zero", quantity.ParseTemperatureStep, "9F", 5},
		{"percent", quantity.ParsePercent, "70%", 70},
		{"percent with a gap", quantity.ParsePercent, "12.5 %", 12.5},
		{"volt", quantity.ParseVoltage, "3.3V", 3.3},
		{"millivolt", quantity.ParseVoltage, "3300 mV", 3.3},
		{"litres", quantity.ParseVolume, "160 L", 160},
		{"litres, small l", quantity.ParseVolume, "2l", 2},
		{"millilitres", quantity.ParseVolume, "250 ml", 0.25},
		// US liquid measures: NIST Handbook 44, Appendix C.
		{"gallon", quantity.ParseVolume, "1 gal", 3.785411784},
		{"quarts", quantity.ParseVolume, "4 quarts", 3.785411784},
		{"pints", quantity.ParseVolume, "8 pints", 3.785411784},
		{"cups", quantity.ParseVolume, "16 cups", 3.785411784},
		{"a vulgar fraction", quantity.ParseVolume, "1¼ gallons", 1.25 * 3.785411784},
		{"a fraction alone", quantity.ParseVolume, "½ L", 0.5},
		{"kilograms", quantity.ParseMass, "3 kg", 3},
		{"grams", quantity.ParseMass, "300g", 0.3},
		// Avoirdupois pound: NIST Handbook 44, Appendix C.
		{"pound", quantity.ParseMass, "1 lb", 0.45359237},
		{"ounces", quantity.ParseMass, "16 oz", 0.45359237},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, err := tt.parse(tt.text)
			if err != nil {
				t.Fatal(err)
			}
			if got != tt.want {
				t.Errorf("parsing %q: got %v, want %v", tt.text, got, tt.want)
			}
		})
	}
}

func TestParseBand(t *testing.T) {
	tests := []struct {
		name      string
		parse     func(string) (low, high float64, err error)
		text      string
		low, high float64
	}{
		{"celsius", quantity.ParseTemperatureBand, "16C..24C", 16, 24},
		{"fahrenheit", quantity.ParseTemperatureBand, "59F .. 77F", 15, 25},
		{"one unit for both ends", quantity.ParseTemperatureBand, "-4..24C", -4, 24},
		{"a unit each", quantity.ParseTemperatureBand, "0C..77F", 0, 25},
		{"percent", quantity.ParsePercentBand, "68%..82%", 68, 82},
		{"percent, one sign", quantity.ParsePercentBand, "68..82%", 68, 82},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			low, high, err := tt.parse(tt.text)
			if err != nil {
				t.Fatal(err)
			}
			if low != tt.low || high != tt.high {
				t.Errorf("parsing %q: got %v..%v, want %v..%v", tt.text, low, high, tt.low, tt.high)
			}
		})
	}
}

func TestParseDuration(t *testing.T) {
	tests := map[string]time.Duration{
		"30s":        30 * time.Second,
		"250ms":      250 * time.Millisecond,
		"1s500ms":    1500 * time.Millisecond,
		"30m":        30 * time.Minute,
		"90 minutes": 90 * time.Minute,
		"1.5h":       90 * time.Minute,
		"1h30m":      90 * time.Minute,
		"1 h 30 min": 90 * time.Minute,
		"7d":         7 * 24 * time.Hour,
		"2w":         14 * 24 * time.Hour,
		"1w2d":       9 * 24 * time.Hour,
		"0s":         0,
	}
	for text, want := range tests {
		got, err := quantity.ParseDuration(text)
		if err != nil || got != want {
			t.Errorf("ParseDuration(%q): got %v, %v; want %v", text, got, err, want)
		}
	}
}

func TestParseAmount(t *testing.T) {
	gallon, pound := 3.785411784, 0.45359237 // NIST Handbook 44, Appendix C
	tests := []struct {
		text       string
		kg, litres float64
	}{
		{"2 kg", 2, 0},
		{"8 L", 0, 8},
		{"1.2 gal", 0, 1.2 * gallon},
		{"4 lb", 4 * pound, 0},
		{"12 oz", 12 * pound / 16, 0},
		{"3 qt", 0, 3 * gallon / 4},
	}
	for _, tt := range tests {
		kg, litres, err := quantity.ParseAmount(tt.text)
		if err != nil || kg != tt.kg || litres != tt.litres {
			t.Errorf("ParseAmount(%q): got %v kg, %v L, %v; want %v kg, %v L", tt.text, kg, litres, err, tt.kg, tt.litres)
		}
	}
}

func TestFormat(t *testing.T) {
	gallon, pound := 3.785411784, 0.45359237
	tests := []struct{ got, want string }{
		{quantity.FormatTemperature(17), "17C"},
		{quantity.FormatTemperature(145.0 / 9), "61F"},
		{quantity.FormatTemperatureStep(0.5), "0.5C"},
		{quantity.FormatTemperatureStep(5.0 / 9), "1F"},
		{quantity.FormatPercent(70), "70%"},
		{quantity.FormatVoltage(3.3), "3.3 V"},
		{quantity.FormatVolume(160), "160 L"},
		{quantity.FormatVolume(1.2 * gallon), "1.2 gal"},
		{quantity.FormatMass(3), "3 kg"},
		{quantity.FormatMass(12 * pound / 16), "12 oz"},
		{quantity.FormatMass(2.5 * pound), "2.5 lb"},
		{quantity.FormatMass(pound / 2), "8 oz"},
		{quantity.FormatMass(0.05), "50 g"},
		{quantity.FormatVolume(1.5 * gallon), "1.5 gal"},
		{quantity.FormatVolume(0.75 * gallon), "3 qt"},
		{quantity.FormatVolume(gallon / 8), "1 pt"},
		{quantity.FormatVolume(2.25), "2.25 L"},
		{quantity.FormatVolume(0.25), "250 ml"},
		{quantity.FormatTemperatureBand(16, 24), "16C..24C"},
		{quantity.FormatPercentBand(68, 82), "68%..82%"},
		{quantity.FormatDuration(30 * time.Minute), "30m"},
		{quantity.FormatDuration(400 * 24 * time.Hour), "400d"},
		{quantity.FormatDuration(90*time.Minute + 500*time.Millisecond), "1h30m0.5s"},
		{quantity.FormatDuration(0), "0s"},
		{quantity.FormatDuration(math.MinInt64), "0s"},
	}
	for _, tt := range tests {
		if tt.got != tt.want {
			t.Errorf("got %q, want %q", tt.got, tt.want)
		}
	}
}
