package calibration_test

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"binwatchd/internal/calibration"
	"binwatchd/internal/config"
	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

func near(a, b, within float64) bool { return math.Abs(a-b) <= within }

func TestWeighing(t *testing.T) {
	tests := []struct {
		name        string
		w           calibration.Weighing
		wet, dryish float64 // % of fresh mass, % of dry mass
	}{
		// Computed: 41.6 g of water in 241.7 g fresh and 200.1 g dry.
		{"with a tin", calibration.Weighing{Wet: 263.4, Dry: 221.8, Tin: 21.7}, 17.21, 20.79},
		// Cornell Waste Management Institute: 10 g that dry to 2.3 g are 77 %.
		{"without a tin", calibration.Weighing{Wet: 10, Dry: 2.3}, 77, 334.78},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if err := tt.w.Check(); err != nil {
				t.Fatal(err)
			}
			if got := tt.w.Moisture(); !near(got, tt.wet, 0.005) {
				t.Errorf("got %.4f %% of fresh mass, want %.2f", got, tt.wet)
			}
			if got := tt.w.DryBasis(); !near(got, tt.dryish, 0.005) {
				t.Errorf("got %.4f %% of dry mass, want %.2f", got, tt.dryish)
			}
			if got := 100 * husbandry.DryBasis(tt.w.Moisture()); !near(got, tt.w.DryBasis(), 1e-9) {
				t.Errorf("husbandry makes %.4f %% of dry mass of it, want %.4f", got, tt.w.DryBasis())
			}
		})
	}
	for name, w := range map[string]calibration.Weighing{
		"drier than dry": {Wet: 20, Dry: 20, Tin: 5}, "lighter than its tin": {Wet: 30, Dry: 20, Tin: 25},
		"tin of less than nothing": {Wet: 30, Dry: 20, Tin: -1}, "no number": {Wet: math.NaN(), Dry: 20, Tin: 5}, "infinite": {Wet: math.Inf(1), Dry: 20, Tin: 5},
	} {
		if w.Check() == nil {
			t.Errorf("%s: %+v was taken", name, w)
		}
	}
}

// The error of a balance, against what happens when each weight is half a step
// off: no single one may matter more than all together.
func TestWithin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := calibration.Weighing{Tin: rapid.Float64Range(0, 100).Draw(t, "tin")}
		w.Dry = w.Tin + rapid.Float64Range(5, 200).Draw(t, "dry")
		w.Wet = w.Dry + rapid.Float64Range(5, 500).Draw(t, "water")
		within := w.Within(0.1)
		sum := 0.0
		for _, off := range []calibration.Weighing{{Wet: 0.05}, {Dry: 0.05}, {Tin: 0.05}} {
			one := calibration.Weighing{Wet: w.Wet + off.Wet, Dry: w.Dry + off.Dry, Tin: w.Tin + off.Tin}
			d := one.Moisture() - w.Moisture()
			sum += d * d
		}
		if got := math.Sqrt(sum); !near(got, within, 0.03*within) {
			t.Errorf("%+v: moved by %.5f points, Within says %.5f", w, got, within)
		}
	})
}

// The feelings cover every moisture up to mud, without a gap, and name the
// bounds that are published.
func TestFeelings(t *testing.T) {
	all := calibration.Feelings()
	var bounds []float64
	for i, f := range all {
		if i > 0 && f.Range.Low != all[i-1].Range.High {
			t.Errorf("%s does not begin where %s ends", f.Word, all[i-1].Word)
		}
		if got, ok := calibration.FeelingOf(f.Word); !ok || got != f {
			t.Errorf("%s is not found by its word", f.Word)
		}
		bounds = append(bounds, f.Range.Low)
	}
	// LSU AgCenter 2022: under 15 % biology stops, under 35 dust rises sharply,
	// under 40 hard to wet again, under 44 dusty, over 65 airless.
	if diff := cmp.Diff([]float64{0, 15, 35, 40, 44, 65}, bounds); diff != "" {
		t.Errorf("(-want +got)\n%s", diff)
	}
	if _, ok := calibration.FeelingOf("soggy"); ok {
		t.Error("soggy is a feeling")
	}
}

func s(raw, value, within float64) calibration.Sample {
	return calibration.Sample{Raw: raw, Value: value, Within: within, From: "told"}
}

func TestFit(t *testing.T) {
	unknown := math.NaN()
	tests := []struct {
		name    string
		samples []calibration.Sample
		points  string
		spread  float64
	}{
		{"falling", []calibration.Sample{s(2850, 12, 0), s(1420, 84, 0)}, "[{raw: 1420, moisture: 84%}, {raw: 2850, moisture: 12%}]", unknown},
		{"rising", []calibration.Sample{s(300, 20, 0), s(100, 5.25, 0)}, "[{raw: 100, moisture: 5.3%}, {raw: 300, moisture: 20%}]", unknown},
		{"one", []calibration.Sample{s(0.4, 0, 0)}, "[{raw: 0.4, moisture: 0%}]", unknown},
		{"three on a line", []calibration.Sample{s(1, 10, 0), s(2, 20, 0), s(3, 30, 0)}, "[{raw: 1, moisture: 10%}, {raw: 2, moisture: 20%}, {raw: 3, moisture: 30%}]", 0},
		{"three on a bend", []calibration.Sample{s(1, 10, 0), s(2, 24, 0), s(3, 30, 0)}, "[{raw: 1, moisture: 10%}, {raw: 2, moisture: 24%}, {raw: 3, moisture: 30%}]", 4},
		{"two turn back a little", []calibration.Sample{s(1, 10, 0), s(2, 33, 0), s(4, 31, 0), s(6, 60, 0)}, "[{raw: 1, moisture: 10%}, {raw: 3, moisture: 32%}, {raw: 6, moisture: 60%}]", 2},
		{"the same raw twice", []calibration.Sample{s(1, 10, 0), s(5, 60, 0), s(5, 64, 0)}, "[{raw: 1, moisture: 10%}, {raw: 5, moisture: 62%}]", math.Sqrt(8)},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c, err := calibration.Fit(tt.samples, farm.Moisture)
			if err != nil {
				t.Fatal(err)
			}
			if got := calibration.Line(c.Points, farm.Moisture); got != tt.points {
				t.Errorf("got %s, want %s", got, tt.points)
			}
			if !near(c.Spread, tt.spread, 1e-9) && !(math.IsNaN(c.Spread) && math.IsNaN(tt.spread)) {
				t.Errorf("got spread %v, want %v", c.Spread, tt.spread)
			}
		})
	}
}

func TestFitRefuses(t *testing.T) {
	tests := []struct {
		name    string
		samples []calibration.Sample
		want    string
	}{
		{"nothing", nil, "there is no sample"},
		{"flat", []calibration.Sample{s(1, 50, 0), s(2, 50, 0)}, "all alike"},
		{"the same raw alone", []calibration.Sample{s(1, 50, 0), s(1, 52, 0)}, "all alike"},
		{"turning back", []calibration.Sample{s(1, 10, 0), s(2, 60, 0), s(3, 20, 0), s(4, 80, 0)}, "raw 2 (told) and 3 (told) contradict each other"},
		{"a weighed sample is not bent by a feeling", []calibration.Sample{s(1, 80, 0.1), s(2, 60, 0.1), s(3, 77, 12.5), s(4, 20, 0.1)}, "raw 2 (told) and 3 (told) contradict each other"},
		{"the same raw, far apart", []calibration.Sample{s(1, 10, 0), s(2, 60, 0), s(2, 80, 0)}, "raw 2 (told) and 2 (told) contradict each other"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := calibration.Fit(tt.samples, farm.Moisture); err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("got %v, want %q", err, tt.want)
			}
		})
	}
}

// Whatever samples are taken, the configuration takes the points.
func TestEveryFitLoads(t *testing.T) {
	loader := config.Loader{Now: time.Now, Zone: func() *time.Location { return time.UTC }}
	rapid.Check(t, func(t *rapid.T) {
		q := rapid.SampledFrom([]farm.Quantity{farm.Moisture, farm.Temperature, farm.Battery}).Draw(t, "quantity")
		var samples []calibration.Sample
		for range rapid.IntRange(2, 8).Draw(t, "n") {
			samples = append(samples, calibration.Sample{
				Raw: float64(rapid.IntRange(0, 4095).Draw(t, "raw")), Value: rapid.Float64Range(0, 50).Draw(t, "value"),
				Within: rapid.Float64Range(0, 50).Draw(t, "within"), From: "drawn",
			})
		}
		c, err := calibration.Fit(samples, q)
		if err != nil {
			return
		}
		probe := farm.Probe{ID: "p", Topic: "x/+", Value: "/a/0", Time: "/at", Measures: q, Every: 90 * time.Second}
		text := "farm: F\n" + calibration.Entry(probe, c.Points) + "  q: {topic: y, measures: temperature}\nbins: {b: {species: red, zones: {z: {aim: living, probes: [q]}}}}\n"
		got, err := loader.Parse("f.yaml", []byte(text), config.ForRehearsal)
		if err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		p, _ := got.Farm.ProbeByID("p")
		if len(p.Calibration) != len(c.Points) || p.Every != probe.Every || p.Time != probe.Time || p.Value != probe.Value || p.Topic != probe.Topic {
			t.Errorf("got %+v of\n%s", p, text)
		}
	})
}

// The entry of a battery keeps what belongs to it.
func TestEntry(t *testing.T) {
	p := farm.Probe{ID: "rack-1-b", Topic: "rack/1", Value: "/b", Measures: farm.Battery, Unit: farm.RawUnit, Every: time.Hour, Low: 3.3, Of: []string{"rack-1-t", "no"}}
	want := `probes:
  rack-1-b:
    topic: rack/1
    value: "/b"
    measures: battery
    every: 1h
    low: 3.3 V
    of: [rack-1-t, "no"]
    calibration: [{raw: 512, battery: 2.9 V}, {raw: 700, battery: 4 V}]
`
	if diff := cmp.Diff(want, calibration.Entry(p, []farm.Point{{Raw: 512, Value: 2.9}, {Raw: 700, Value: 4}})); diff != "" {
		t.Errorf("(-want +got)\n%s", diff)
	}
	one := farm.Probe{ID: "air", Topic: "air", Measures: farm.Temperature, Unit: farm.Fahrenheit, Every: time.Minute}
	if got := calibration.Entry(one, []farm.Point{{Raw: 32.7}}); !strings.Contains(got, "unit: \"F\"\n") {
		t.Errorf("one point needs the unit it moves:\n%s", got)
	}
}

// dM/dθ, against what happens when the water per volume changes a little; and
// the same error of the probe means more points in dry stuff than in wet.
func TestCheapProbe(t *testing.T) {
	before := math.Inf(1)
	for _, pct := range []float64{20, 40, 60, 80} {
		const dry = 0.25
		theta := dry * pct / (100 - pct)
		low, high := calibration.CheapProbe(pct, dry)
		wet := func(theta float64) float64 { return 100 * theta / (theta + dry) } // % of fresh mass
		step := (wet(theta+1e-6) - wet(theta-1e-6)) / 2e-6
		// Nagahage, Nagahage & Fujino 2019, Agriculture 9:141: 0.05 to 0.09 m³/m³.
		if !near(low, 0.05*step, 1e-4) || !near(high, 0.09*step, 1e-4) || low >= before {
			t.Errorf("at %v %%: got %.3f to %.3f points, want %.3f to %.3f", pct, low, high, 0.05*step, 0.09*step)
		}
		before = low
	}
}

func TestWorth(t *testing.T) {
	c, err := calibration.Fit([]calibration.Sample{s(1420, 84, 0), s(2000, 60, 0), s(2850, 12, 0)}, farm.Moisture)
	if err != nil {
		t.Fatal(err)
	}
	got := strings.Join(c.Worth(farm.Moisture), "\n")
	for _, want := range []string{"span 12% to 84%", "spread by 5.2 points", "near 48 %", "Nagahage et al. 2019", "0.25 kg dry per litre (assumed)"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is missing in:\n%s", want, got)
		}
	}
	two, err := calibration.Fit([]calibration.Sample{s(1, 50, 0), s(2, 60, 0)}, farm.Moisture)
	if err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(two.Worth(farm.Moisture), "\n"); !strings.Contains(got, "lie close together") || !strings.Contains(got, "can't be told") {
		t.Errorf("got %s", got)
	}
	warm, err := calibration.Fit([]calibration.Sample{{Raw: 0.4, Value: 0}, {Raw: 20.6, Value: 20}, {Raw: 40, Value: 40}}, farm.Temperature)
	if err != nil {
		t.Fatal(err)
	}
	if got := warm.Worth(farm.Temperature); slices.ContainsFunc(got, func(s string) bool { return strings.Contains(s, "cheap") }) || !strings.Contains(got[0], "0C to 40C") {
		t.Errorf("got %v", got)
	}
}
