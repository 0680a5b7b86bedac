package notify_test

import (
	"context"
	"math"
	"time"

	"binwatchd/internal/farm"
)

// past is an invented history: curves by bin, zone and quantity, and a logbook.
type past struct {
	curves map[string]func(time.Time) float64
	jots   []farm.Jot
	gap    [2]time.Time // nothing was heard in between
}

func (p past) Samples(_ context.Context, bin, zone string, q farm.Quantity, from, to time.Time, step time.Duration) ([]farm.Sample, error) {
	f := p.curves[bin+"/"+zone+"/"+string(q)]
	if f == nil {
		return nil, nil
	}
	var out []farm.Sample
	for t := from.Truncate(step); t.Before(to); t = t.Add(step) {
		if t.After(p.gap[0]) && t.Before(p.gap[1]) {
			continue
		}
		s := farm.Sample{At: t, Min: math.Inf(1), Max: math.Inf(-1)}
		for i := range 6 {
			v := f(t.Add(step * time.Duration(i) / 6))
			s.Min, s.Max, s.Mean, s.N = min(s.Min, v), max(s.Max, v), s.Mean+v/6, s.N+1
		}
		out = append(out, s)
	}
	return out, nil
}

func (p past) Jots(_ context.Context, bin string, from, to time.Time) ([]farm.Jot, error) {
	var out []farm.Jot
	for _, j := range p.jots {
		if j.Bin == bin && j.At.After(from) && j.At.Before(to) {
			out = append(out, j)
		}
	}
	return out, nil
}

// daily swings around a mean, warmest at 15:00.
func daily(mean, swing float64) func(time.Time) float64 {
	return func(t time.Time) float64 {
		h := float64(t.Hour()) + float64(t.Minute())/60
		return mean + swing*math.Cos((h-15)/24*2*math.Pi) + 0.15*math.Sin(float64(t.Unix()%7919))
	}
}

// fed adds a rise of its own after a feed.
func fed(f func(time.Time) float64, at time.Time, perHour float64) func(time.Time) float64 {
	return func(t time.Time) float64 {
		return f(t) + perHour*max(0, t.Sub(at).Hours())
	}
}

// falling loses so many points a day until a time.
func falling(from, perDay float64, end time.Time) func(time.Time) float64 {
	return func(t time.Time) float64 {
		return from + perDay*end.Sub(t).Hours()/24 + 0.4*math.Sin(float64(t.Unix()%104729))
	}
}

// hillfootPast is the past of the nursery as it was at start.
func hillfootPast() past {
	feed := start.Add(-26 * time.Hour)
	return past{
		curves: map[string]func(time.Time) float64{
			"bed/near/temperature":   fed(daily(19.5, 1.5), feed, 0.32),
			"bed/near/moisture":      falling(72, 0.6, start),
			"bed/far/moisture":       falling(44.5, 1.9, start),
			"trough/all/temperature": daily(17, 4),
			"crate/all/moisture":     falling(38.6, 0.5, start),
		},
		jots: []farm.Jot{
			{At: start.Add(-9 * 24 * time.Hour), Bin: "bed", Zone: "near", What: farm.Watered, Litres: 3},
			{At: start.Add(-50 * time.Hour), Bin: "bed", What: farm.Turned},
			{At: feed, Bin: "bed", Zone: "near", What: farm.Fed, Kg: 2, Of: "grain"},
			{At: start.Add(-6 * 24 * time.Hour), Bin: "crate", What: farm.Watered, Litres: 1},
		},
	}
}

// hillfootView is how the nursery stood at start.
func hillfootView() farm.View {
	v := func(x float64) *float64 { return &x }
	near := farm.ZoneView{
		Bin: "bed", Zone: "near", Aim: farm.Living,
		Levels:  farm.Levels{farm.Temperature: &farm.LevelView{Value: 28.9, At: start.Add(-4 * time.Minute), Fresh: true, Bands: farm.Bands{Thrive: farm.Band{Low: 15, High: 25}, Survive: farm.Band{Low: 9, High: 32}}}, farm.Moisture: &farm.LevelView{Value: 72, At: start.Add(-4 * time.Minute), Fresh: true, Bands: farm.Bands{Thrive: farm.Band{Low: 70, High: 83}, Survive: farm.Band{Low: 60, High: 88}}}},
		Species: []farm.SpeciesView{{ID: "red", Name: "red worms", Word: "slowed"}, {ID: "blue", Name: "blue worms", Word: "thriving"}},
	}
	far := farm.ZoneView{
		Bin: "bed", Zone: "far", Aim: farm.Sifting,
		Levels: farm.Levels{farm.Moisture: &farm.LevelView{Value: 44.5, At: start.Add(-9 * time.Minute), Fresh: true, Bands: farm.Bands{Thrive: farm.Band{Low: 35, High: 45}, Survive: farm.Band{Low: 28, High: 75}}}},
	}
	crate := farm.ZoneView{
		Bin: "crate", Zone: "all", Aim: farm.Keeping,
		Levels: farm.Levels{farm.Moisture: &farm.LevelView{Value: 38.6, At: start.Add(-2 * time.Minute), Fresh: true, Bands: farm.Bands{Thrive: farm.Band{Low: 40, High: 55}, Survive: farm.Band{Low: 33, High: 65}}}},
	}
	trough := farm.ZoneView{
		Bin: "trough", Zone: "all", Aim: farm.Living,
		Levels: farm.Levels{farm.Temperature: &farm.LevelView{Value: 20.8, At: start.Add(-3 * time.Minute), Fresh: true, Bands: farm.Bands{Thrive: farm.Band{Low: 15, High: 25}, Survive: farm.Band{Low: 4, High: 32}}}},
	}
	return farm.View{
		Farm: "Hillfoot Nursery", Units: farm.Metric, At: start,
		Bins: []farm.BinView{{Name: "bed", Zones: []farm.ZoneView{near, far}}, {Name: "trough", Zones: []farm.ZoneView{trough}}, {Name: "crate", Zones: []farm.ZoneView{crate}}},
		Probes: []farm.ProbeView{
			{ID: "bed-t", Measures: farm.Temperature, Value: v(28.9), At: start.Add(-4 * time.Minute), Fresh: true},
			{ID: "bed-m", Measures: farm.Moisture, Value: v(11), At: start.Add(-4 * time.Minute), Fresh: true, Doubt: "changed faster than a bin can, as if lifted out"},
			{ID: "glass-air", Measures: farm.Temperature, Value: v(24.1), At: start.Add(-time.Minute), Fresh: true},
			{ID: "bed-far-m", Measures: farm.Moisture, Value: v(44.4), At: start.Add(-9 * time.Minute), Fresh: true},
			{ID: "crate-m", Measures: farm.Moisture, Value: v(38.6), At: start.Add(-2 * time.Minute), Fresh: true},
			{ID: "crate-b", Measures: farm.Battery, Value: v(3.21), At: start.Add(-20 * time.Minute), Fresh: true},
		},
	}
}

func look(v farm.View) func() (farm.View, bool) { return func() (farm.View, bool) { return v, true } }

// cut is the nursery after a night without power: everything cold.
func cut() (past, farm.View) {
	p, v := hillfootPast(), hillfootView()
	for i, low := range []float64{8.1, 6} {
		z := &v.Bins[i].Zones[0]
		level := *z.Level(farm.Temperature)
		level.Value = low
		z.Levels[farm.Temperature] = &level
	}
	p.curves["bed/near/temperature"] = fed(daily(19, 1.5), start.Add(-10*time.Hour), -1.09)
	p.curves["trough/all/temperature"] = fed(daily(17, 4), start.Add(-10*time.Hour), -1.45)
	air, bed := 4.2, 8.1
	v.Probes[0].Value, v.Probes[2].Value = &bed, &air
	return p, v
}

func usual() (past, farm.View) { return hillfootPast(), hillfootView() }
