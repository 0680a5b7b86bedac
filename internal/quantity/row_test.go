package quantity_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"binwatchd/internal/farm"
	"binwatchd/internal/quantity"
)

func TestValuesOfRows(t *testing.T) {
	for _, tt := range []struct {
		q    farm.Quantity
		text string
		want float64
		err  string
	}{
		{q: farm.CO2, text: "2000ppm", want: 2000}, {q: farm.CO2, text: "0.2 %", want: 2000}, {q: farm.Weight, text: "55 lb", want: 24.94758035},
		{q: farm.PH, text: "6.8", want: 6.8}, {q: farm.PH, text: "6.8 pH", want: 6.8}, {q: farm.Conductivity, text: "1413 µS/cm", want: 1.413},
		{q: farm.CO2, text: "2000", err: `"2000" is not a value of CO2: it has no unit: write 2000 ppm`},
		{q: farm.CO2, text: "2 kg", err: `"2 kg" is not a value of CO2: kg measures mass: use ppm, % or ratio`},
		{q: farm.Weight, text: "2 stone", err: `"2 stone" is not a value of weight: the unit "stone" is not known: use kg, g, lb or oz`},
		{q: farm.PH, text: "sour", err: `"sour" is not a value of pH: it does not begin with a number; an example is 6.5`},
	} {
		got, err := quantity.ParseOf(tt.q.Row(), tt.text)
		if tt.err != "" {
			if err == nil || err.Error() != tt.err {
				t.Errorf("%s: got %v, want %s", tt.text, err, tt.err)
			}
		} else if err != nil || math.Abs(got-tt.want) > 1e-9 {
			t.Errorf("%s: got %v, %v, want %v", tt.text, got, err, tt.want)
		}
	}
}

func TestRangesOfRows(t *testing.T) {
	inf := math.Inf(1)
	for _, tt := range []struct {
		q         farm.Quantity
		text      string
		low, high float64
		err       string
	}{
		{q: farm.CO2, text: "0ppm..2000ppm", low: 0, high: 2000}, {q: farm.CO2, text: "400..2000 ppm", low: 400, high: 2000},
		{q: farm.Weight, text: "..45 kg", low: -inf, high: 45}, {q: farm.Weight, text: "15 kg..", low: 15, high: inf}, {q: farm.PH, text: "6.5..7.5", low: 6.5, high: 7.5},
		{q: farm.CO2, text: "..", err: `".." is not a range of CO2: it has no .. between its ends; an example is ..2000ppm`},
		{q: farm.CO2, text: "2000ppm", err: `"2000ppm" is not a range of CO2: it has no .. between its ends; an example is ..2000ppm`},
		{q: farm.PH, text: "8..6", err: `"8..6" is not a range of pH: the low end comes first and must lie below the high one`},
		{q: farm.CO2, text: "0ppm..2000", err: `"0ppm..2000" is not a range of CO2: high end: it has no unit: write 2000 ppm`},
	} {
		low, high, err := quantity.ParseBandOf(tt.q.Row(), tt.text)
		if tt.err != "" {
			if err == nil || err.Error() != tt.err {
				t.Errorf("%s: got %v, want %s", tt.text, err, tt.err)
			}
		} else if err != nil || low != tt.low || high != tt.high {
			t.Errorf("%s: got %v..%v, %v, want %v..%v", tt.text, low, high, err, tt.low, tt.high)
		}
	}
}

// What is written is read back to the bit, of every quantity.
func TestEveryRowReadsWhatItWrites(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		row := &farm.Quantities[rapid.IntRange(0, len(farm.Quantities)-1).Draw(rt, "row")]
		low := rapid.Float64Range(row.Range.Low, row.Range.High).Draw(rt, "low") + 0
		text := quantity.FormatOf(row, low)
		if got, err := quantity.ParseOf(row, text); err != nil || got != low {
			rt.Errorf("%s: wrote %v as %s, read %v, %v", row.Name, low, text, got, err)
		}
		text = quantity.FormatBandOf(row, low, math.Inf(1))
		if a, b, err := quantity.ParseBandOf(row, text); err != nil || a != low || !math.IsInf(b, 1) {
			rt.Errorf("%s: wrote %v.. as %s, read %v..%v, %v", row.Name, low, text, a, b, err)
		}
	})
}

// A value is shown in the unit that it was given in where the inner one has no
// short number for it, and in the inner one elsewhere.
func TestValuesOfRowsAreWrittenBriefly(t *testing.T) {
	for _, tt := range []struct {
		q          farm.Quantity
		text, want string
	}{
		{farm.Weight, "10 lb", "10 lb"}, {farm.Weight, "12.5 kg", "12.5 kg"}, {farm.Weight, "800 g", "0.8 kg"}, {farm.Weight, "20 oz", "20 oz"},
		{farm.CO2, "0.2 %", "2000ppm"}, {farm.Humidity, "85%", "85%"}, {farm.PH, "6.85", "6.85"}, {farm.Conductivity, "1413 µS/cm", "1.413 mS/cm"},
	} {
		v, err := quantity.ParseOf(tt.q.Row(), tt.text)
		if got := quantity.FormatOf(tt.q.Row(), v); err != nil || got != tt.want {
			t.Errorf("%s: got %s, %v, want %s", tt.text, got, err, tt.want)
		}
	}
}
