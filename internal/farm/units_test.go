package farm

import "testing"

func TestALevelNeverLooksLikeALimitItIsNotAt(t *testing.T) {
	for _, c := range []struct {
		units  Units
		q      Quantity
		v      float64
		limits []float64
		want   string
	}{
		{Metric, Moisture, 69.7, []float64{60, 70}, "69.7 %"},
		{Metric, Moisture, 70, []float64{60, 70}, "70 %"},
		{Metric, Moisture, 69.2, []float64{60, 70}, "69 %"},
		{Metric, Moisture, 69.97, []float64{70}, "just under 70 %"},
		{Metric, Moisture, 69.999, []float64{70}, "just under 70 %"},
		{Metric, Moisture, 69.7, nil, "70 %"},
		{Metric, Temperature, 25.04, []float64{25}, "just over 25 °C"},
		{US, Temperature, 25.2, []float64{25}, "77.4 °F"},
		{Metric, Temperature, 24.52, []float64{24.5}, "just over 24.5 °C"},
		{Metric, Conductivity, 2.504, []float64{2.5}, "just over 2.5 mS/cm"},
		{Metric, Weight, 26.54, []float64{26.5}, "just over 26.5 kg"},
		{US, Temperature, 26, []float64{25}, "79 °F"},
	} {
		if got := c.units.Beside(c.q, c.v, c.limits...); got != c.want {
			t.Errorf("%v %v beside %v: %q, want %q", c.q, c.v, c.limits, got, c.want)
		}
	}
}

func TestALevelIsSaidBesideItsBandsAndLimits(t *testing.T) {
	l := LevelView{Value: 69.7, Bands: Bands{Thrive: Band{Low: 70, High: 85}, Survive: Band{Low: 60, High: 90}}}
	if got := l.Say(Metric, Moisture, l.Value); got != "69.7 %" {
		t.Errorf("beside the band: %q", got)
	}
	l = LevelView{Value: 64.8, Limits: []Limit{{TooDry, Now, 65}}}
	if got := l.Say(Metric, Moisture, l.Value); got != "64.8 %" {
		t.Errorf("beside a limit of some of the worms: %q", got)
	}
	if got := (&LevelView{Value: 64.8}).Say(Metric, Moisture, 64.8); got != "65 %" {
		t.Errorf("with no limit: %q", got)
	}
}

func TestRangesOfAmounts(t *testing.T) {
	for _, tt := range []struct {
		units           Units
		low, high       float64
		begin           float64
		want, wantBegin string
	}{
		{Metric, 6.1, 11.2, 4.1, "6 to 11 litres", "4"},
		{Metric, 2.9, 3.1, 1.2, "about 3 litres", "1¼"},
		{Metric, 0.05, 0.6, 0.05, "up to ½ litre", "a little under ¼ litre"},
		{US, 6.1, 11.2, 1, "1½ to 3 gallons", "about 1 quart"},
		{US, 2, 4, 1.9, "2 to 4 quarts", "2"},
	} {
		if got := tt.units.VolumeRange(tt.low, tt.high); got != tt.want {
			t.Errorf("%v to %v L in %s: got %q, want %q", tt.low, tt.high, tt.units, got, tt.want)
		}
		if got := tt.units.VolumeBeside(tt.begin, tt.low, tt.high); got != tt.wantBegin {
			t.Errorf("%v L beside %v to %v L in %s: got %q, want %q", tt.begin, tt.low, tt.high, tt.units, got, tt.wantBegin)
		}
	}
	if got := Metric.MassRange(2.2, 3.9); got != "2 to 4 kg" {
		t.Errorf("got %q", got)
	}
	if got := US.MassBeside(2); got != "4½" {
		t.Errorf("got %q", got)
	}
}
