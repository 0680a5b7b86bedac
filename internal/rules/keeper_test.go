package rules_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"binwatchd/internal/efforttest"
	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

// A keeper who does as told: comes by at a pace of his own, or as often as the
// words say, gives what is asked for this visit and writes it down. Whatever
// the bin holds, told or guessed wrong by half, and however fast it dries
// within what a bed does, it comes back into its band, stays there and is never
// drowned.
func TestAKeeperWhoDoesAsToldKeepsTheBinMoist(t *testing.T) {
	efforttest.Long(t)
	for seed := range uint64(efforttest.Cases(5, 100)) {
		r := rand.New(rand.NewPCG(seed, 77))
		f := nursery(farm.Living, "red")
		mass := 2 + 20*r.Float64() // kg, in truth
		f.Bins[0].VolumeL = mass / 0.18 * (0.67 + 0.83*r.Float64())
		if r.IntN(2) == 0 {
			f.Bins[0].Zones[0].DryMassKg = mass * (0.9 + 0.2*r.Float64())
		}
		pace := time.Duration(1+r.IntN(9)) * day
		perDay := 0.02 + 0.05*r.Float64() // kg/kg lost: half a point to two points a day
		w := watching(f)
		ratio := husbandry.DryBasis(62 + 10*r.Float64())
		visit := t0.Add(3 * day)
		wettest, dryDays, cans := 0.0, 0, 0
		for at := t0; at.Before(t0.Add(120 * day)); at = at.Add(30 * time.Minute) {
			pct := husbandry.WetBasis(ratio)
			w.say("t", at, 20)
			w.say("m", at, pct+0.4*r.NormFloat64())
			ratio -= perDay / 48 * min(1, ratio)
			if at.After(t0.Add(60*day)) && at.Sub(t0)%day == 0 {
				wettest = max(wettest, pct)
				if pct < 66 {
					dryDays++
				}
			}
			if at.Before(visit) {
				continue
			}
			a := farm.Advice{}
			for _, st := range w.state.Look(at).Standing {
				if c := st.Condition; (c == farm.TooDry || c == farm.Drying) && st.Advice != nil {
					a = *st.Advice
				}
			}
			next := pace
			if a.EveryDays > 0 {
				next = min(pace, time.Duration(a.EveryDays)*day)
			}
			visit = at.Add(next)
			if a.VisitLitres > 0 {
				w.jot(at, farm.Jot{What: farm.Watered, Litres: a.VisitLitres})
				ratio += a.VisitLitres / mass
				cans++
			}
		}
		if cans == 0 || wettest > 87 || dryDays > 6 {
			t.Errorf("seed %d: %.1f kg, every %s, %.3f a day: %d cans, in the last 60 days wettest %.1f %%, %d days under 66 %%",
				seed, mass, pace, perDay, cans, wettest, dryDays)
		}
	}
}
