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
		{Metric, Moisture, 69.97, []float64{70}, "69.97 %"},
		{Metric, Moisture, 69.999, []float64{70}, "a hair past 70 %"},
		{Metric, Moisture, 69.7, nil, "70 %"},
		{Metric, Temperature, 25.04, []float64{25}, "25.04 °C"},
		{US, Temperature, 25.2, []float64{25}, "77.4 °F"},
		{Metric, Temperature, 24.52, []float64{24.5}, "24.52 °C"},
		{Metric, Conductivity, 2.504, []float64{2.5}, "2.504 mS/cm"},
		{Metric, Weight, 26.54, []float64{26.5}, "26.54 kg"},
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
