package scenariotest

import (
	"time"

	"binwatchd/internal/physics"
)

// A stock is a container and what is in it.
type stock struct {
	physics.Make
	DryKg, SlowKg float64
	VolumeL       float64
}

// stocks are the containers in use. The losses are for thin wood or plastic,
// about 2–3 W/(m²·K).
func stockOf(b Bin) stock {
	switch b {
	case Barrel:
		return stock{physics.Make{
			SurfaceM2: 0.45, OpenKg: 1.6e-5, LossWK: 4.5, InnerWK: 6, SkinShare: 0.35, WickKg: 1.4e-4, HoldsKg: 4.6, BreathW: 80,
		}, 17, 4, 100}
	case Tray:
		return stock{physics.Make{
			SurfaceM2: 0.12, OpenKg: 1.3e-5, LossWK: 1.1, InnerWK: 1.5, SkinShare: 0.4, WickKg: 4e-5, HoldsKg: 4.6, BreathW: 12,
		}, 2.4, 0.6, 14}
	case Tub:
		return stock{physics.Make{
			SurfaceM2: 0.16, OpenKg: 1.2e-5, LossWK: 2, InnerWK: 2.5, SkinShare: 0.35, WickKg: 6e-5, HoldsKg: 3.2,
		}, 15, 0.6, 60}
	}
	return stock{physics.Make{
		SurfaceM2: 0.70, OpenKg: 1.8e-5, LossWK: 6.5, InnerWK: 9, SkinShare: 0.35, WickKg: 2e-4, HoldsKg: 4.6, BreathW: 120,
	}, 29, 6, 170}
}

// finished is how a stock is changed when it is a finished end drying in the
// open: denser, less of it, uncovered.
func (s stock) finished() stock {
	s.OpenKg, s.HoldsKg = 5e-5, 3.2
	s.SurfaceM2 *= 0.5
	s.LossWK *= 0.8
	s.InnerWK *= 0.6
	s.DryKg *= 0.6
	s.SlowKg = 0.05 * s.DryKg
	s.VolumeL *= 0.4
	return s
}

// bare is how a stock is changed by taking part of its cover off.
func (s stock) bare(d physics.Dice) stock {
	s.OpenKg *= d.Between(0, 1.3, 4)
	return s
}

// varied moves the stock's figures by up to a sixth, for no two bins are alike.
func (s stock) varied(d physics.Dice) stock {
	for i, v := range []*float64{&s.OpenKg, &s.LossWK, &s.InnerWK, &s.WickKg, &s.DryKg, &s.BreathW} {
		*v *= d.Between(int64(i), 0.85, 1.17)
	}
	return s
}

// roomOf is the room, at rest near the temperature it is about to have.
func roomOf(r Room, nearC float64) physics.Room {
	switch r {
	case Cellar:
		return physics.Room{CapacityJK: 2e7, LossWK: 20, TempC: nearC}
	case House:
		return physics.Room{
			CapacityJK: 6e6, LossWK: 80, SunM2: 1, HeaterW: 3000, HeatBelowC: 18.5, HeatUpToC: 19.5, VentC: 22, TempC: max(19, nearC),
		}
	case Glasshouse:
		return physics.Room{
			CapacityJK: 4e6, LossWK: 160, SunM2: 5, VentC: 22, HeaterW: 2500, HeatBelowC: 12, HeatUpToC: 14, DampKPa: 0.15, TempC: nearC,
		}
	}
	if r == Yard {
		return physics.Room{CapacityJK: 5e4, LossWK: 100, TempC: nearC}
	}
	return physics.Room{CapacityJK: 4e6, LossWK: 55, SunM2: 0.25, TempC: nearC}
}

// climateOf is mild weather: what happens in a case happens in the bin.
func climateOf(d physics.Dice) physics.Climate {
	return physics.Climate{
		Dice: d.Named("weather"), MeanC: d.Between(0, 18.5, 20.5), SeasonK: 1.5,
		SwingK: d.Between(1, 3, 6), FrontK: d.Between(2, 0.7, 1.6), SunWM2: d.Between(3, 450, 650),
	}
}

// gauges are a bin's probes by how good they are.
func gauges(p Probe, d physics.Dice) (temp, moist physics.Gauge) {
	td, md := d.Named("temperature probe"), d.Named("moisture probe")
	switch p {
	case Cheap:
		temp = physics.Gauge{Dice: td, Bias: 0.4 * td.Normal(0), White: 0.15, Wander: 0.15, PerK: 0.03, Step: 0.1}
		moist = physics.Gauge{
			Dice: md, Bias: 2 * md.Normal(0), Gain: 0.03 * md.Normal(1), Pivot: 60,
			White: 1.2, Wander: 0.6, PerK: 0.12, Contact: 0.6, Jumps: 9 * 24 * time.Hour, Step: 0.1,
		}
	case Coarse:
		temp = physics.Gauge{Dice: td, Bias: 0.2 * td.Normal(0), White: 0.08, Wander: 0.08, Step: 0.5}
		moist = physics.Gauge{
			Dice: md, Bias: 1.5 * md.Normal(0), White: 0.5, Wander: 0.4, PerK: 0.08, Contact: 0.4, Step: 1,
		}
	default:
		temp = physics.Gauge{Dice: td, Bias: 0.1 * td.Normal(0), White: 0.04, Wander: 0.05, Step: 0.0625}
		moist = physics.Gauge{Dice: md, Bias: 0.5 * md.Normal(0), White: 0.3, Wander: 0.3, PerK: 0.03, Contact: 0.2, Step: 0.1}
	}
	return temp, moist
}
