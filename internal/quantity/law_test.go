package quantity_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/quantity"
	"pgregory.net/rapid"
)

// pairs are the parsers with the writers that undo them, and the values each
// can hold.
var pairs = []struct {
	name      string
	low, high float64
	parse     func(string) (float64, error)
	format    func(float64) string
}{
	{"temperature", -273, 1e6, quantity.ParseTemperature, quantity.FormatTemperature},
	{"temperature step", 0, 1e6, quantity.ParseTemperatureStep, quantity.FormatTemperatureStep},
	{"percent", 0, 100, quantity.ParsePercent, quantity.FormatPercent},
	{"voltage", 0, 1e6, quantity.ParseVoltage, quantity.FormatVoltage},
	{"volume", 0, 1e6, quantity.ParseVolume, quantity.FormatVolume},
	{"mass", 0, 1e6, quantity.ParseMass, quantity.FormatMass},
}

func TestWhatIsWrittenReadsBackExactly(t *testing.T) {
	for _, p := range pairs {
		t.Run(p.name, rapid.MakeCheck(func(t *rapid.T) {
			v := rapid.Float64Range(p.low, p.high).Draw(t, "value")
			got, err := p.parse(p.format(v))
			if err != nil || got != v {
				t.Fatalf("%v is written %q and reads back as %v, %v", v, p.format(v), got, err)
			}
		}))
	}
	t.Run("duration", rapid.MakeCheck(func(t *rapid.T) {
		d := time.Duration(rapid.Int64Range(0, int64(50*365*24*time.Hour)).Draw(t, "ns"))
		got, err := quantity.ParseDuration(quantity.FormatDuration(d))
		if err != nil || got != d {
			t.Fatalf("%v is written %q and reads back as %v, %v", d, quantity.FormatDuration(d), got, err)
		}
	}))
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{
		"17C", "61F", "16C..24C", "68..82%", "1.2 gal", "14 kg", "1h30m", "7d", "12 oz", "1¼ gallons",
		"", " ", "..", "1,5 L", "1e9 L", "999999999999999999999999", "-0C", "−4C", ".5L", "½", "nan", "inf%", "\xff", "1h1h", "5 5h",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		for _, p := range pairs {
			v, err := p.parse(s)
			checkOutcome(t, s, err, v)
			if err != nil {
				continue
			}
			if back, err := p.parse(p.format(v)); err != nil || back != v {
				t.Errorf("%s %q reads as %v, is written %q and reads back as %v, %v", p.name, s, v, p.format(v), back, err)
			}
		}
		kg, litres, err := quantity.ParseAmount(s)
		checkOutcome(t, s, err, kg, litres)
		low, high, err := quantity.ParseTemperatureBand(s)
		checkOutcome(t, s, err, low, high)
		low, high, err = quantity.ParsePercentBand(s)
		checkOutcome(t, s, err, low, high)
		d, err := quantity.ParseDuration(s)
		checkOutcome(t, s, err, float64(d))
		if d < 0 {
			t.Errorf("ParseDuration(%q) is negative: %v", s, d)
		}
	})
}

// checkOutcome holds what every parser promises: a finite value, or a message
// of one line and no value.
func checkOutcome(t *testing.T, s string, err error, values ...float64) {
	t.Helper()
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) || math.Signbit(v) && v == 0 {
			t.Errorf("%q reads as %v", s, v)
		}
	}
	if err == nil {
		return
	}
	if msg := err.Error(); msg == "" || strings.ContainsAny(msg, "\n\r") {
		t.Errorf("the message for %q is not one line: %q", s, msg)
	}
}
