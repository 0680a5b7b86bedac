package ingest_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"
	"time"
)

// weather is four years of real daily extremes, joined by half cosine waves
// from each morning's low (5 am) to each afternoon's high (3 pm).
type weather struct {
	first     time.Time
	low, high []float64
}

func readWeather(t testing.TB) weather {
	t.Helper()
	f, err := os.Open("../../testdata/weather/seattle-weather.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var w weather
	for i, row := range rows[1:] {
		if i == 0 {
			if w.first, err = time.Parse(time.DateOnly, row[0]); err != nil {
				t.Fatal(err)
			}
		}
		w.high = append(w.high, parse(t, row[2]))
		w.low = append(w.low, parse(t, row[3]))
	}
	return w
}

func parse(t testing.TB, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func (w weather) days() int { return len(w.low) }

// at is the air temperature outdoors, °C.
func (w weather) at(when time.Time) float64 {
	h := when.Sub(w.first).Hours()
	d := int(h / 24)
	switch hour := math.Mod(h, 24); {
	case hour < 5:
		return wave(w.high[max(d-1, 0)], w.low[d], (hour+9)/14)
	case hour < 15:
		return wave(w.low[d], w.high[d], (hour-5)/10)
	default:
		return wave(w.high[d], w.low[min(d+1, len(w.low)-1)], (hour-15)/14)
	}
}

func wave(from, to, part float64) float64 {
	return from + (to-from)*(1-math.Cos(math.Pi*part))/2
}

// damped follows a temperature as a mass with a time constant does (Newton).
type damped struct {
	v   float64
	tau time.Duration
	set bool
}

func (d *damped) follow(to float64, dt time.Duration) float64 {
	if !d.set {
		d.v, d.set = to, true
	}
	d.v += (to - d.v) * (1 - math.Exp(-dt.Hours()/d.tau.Hours()))
	return d.v
}

// coarse rounds to a step.
func coarse(v, step float64) float64 { return math.Round(v/step) * step }
