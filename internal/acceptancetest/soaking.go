package acceptancetest

import (
	"math"
	"slices"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
	"binwatchd/internal/rules"
	"binwatchd/internal/scenariotest"
)

// aimPct is the middle of the red worms' thrive band, 70 to 85 %: what a dose
// aims at.
const aimPct = 77.5

// leastNeed is the need from which on a dose is held to it, L/kg dry: less than
// that, about 73 %, is not too dry, and next to nothing has no ratio.
const leastNeed = 0.7

// Doses are doses beside what the bins truly wanted.
type Doses struct {
	Ratios []float64 // of the middle of a dose to the need
	Held   int       // needs inside the range that was said
	Began  int       // doses that began with no more than was needed
}

// A DoseScore is how the doses of some bins did.
type DoseScore struct {
	By     map[string]*Doses // what their dry mass came from: told, learned or guess
	Bins   int               // that had at least four settled waterings
	Within int               // of those of which it was said by the fourth that what was told is wrong
	Spoke  int               // and ever
}

// fewSettled is how many settled waterings are to be enough to see that a bin holds
// something else than was told.
const fewSettled = 4

// Soak scores the doses of bins that their keepers water.
func Soak(cases []scenariotest.Soaking) DoseScore {
	s := DoseScore{By: map[string]*Doses{husbandry.Told: {}, husbandry.Learned: {}, husbandry.Guess: {}}}
	for _, c := range cases {
		s.soak(c)
	}
	for _, d := range s.By {
		slices.Sort(d.Ratios)
	}
	return s
}

func (s *DoseScore) soak(c scenariotest.Soaking) {
	bin := c.Begin()
	f := bin.Farm(husbandry.Species(), husbandry.Feeds())
	state, seen, spoke, within := rules.New(&f), settling{}, false, false
	for e := range bin.Events() {
		state.Step(e)
		switch e.Kind {
		case farm.EventJot:
			seen.jot(e.Jot)
		case farm.EventTick:
			seen.look(bin.At)
			a := state.Look(bin.At).Bins[0].Zones[0].Water
			if a == nil || a.Wait != nil {
				continue
			}
			if a.DryMassTold > 0 {
				spoke, within = true, within || seen.settled <= fewSettled
			}
			if need := bin.Needs(aimPct); need >= leastNeed*bin.DryKg() {
				s.By[a.DryMassFrom].hold(*a, need)
			}
		}
	}
	if seen.settled < fewSettled {
		return
	}
	s.Bins++
	if spoke {
		s.Spoke++
	}
	if within {
		s.Within++
	}
}

// hold holds a dose to the need.
func (d *Doses) hold(a farm.Advice, need float64) {
	d.Ratios = append(d.Ratios, a.WaterLitres/need)
	if a.LitresLow <= need && need <= a.LitresHigh {
		d.Held++
	}
	if a.VisitLitres <= need {
		d.Began++
	}
}

// Quantile is the ratio that a part of all lies below; they are sorted.
func (d *Doses) Quantile(part float64) float64 {
	if len(d.Ratios) == 0 {
		return math.NaN()
	}
	return d.Ratios[int(part*float64(len(d.Ratios)-1))]
}

// Holds is the part of all needs that the range held.
func (d *Doses) Holds() float64 { return float64(d.Held) / float64(len(d.Ratios)) }

// settling counts the waterings after which nothing was done for two days.
type settling struct {
	last    farm.Jot
	mixed   bool // something else was done at the time
	settled int
}

func (s *settling) jot(j farm.Jot) {
	s.mixed = j.At.Sub(s.last.At) < 48*time.Hour
	s.last = j
}

func (s *settling) look(at time.Time) {
	if s.last.What == farm.Watered && !s.mixed && at.Sub(s.last.At) >= 48*time.Hour {
		s.settled++
		s.last = farm.Jot{}
	}
}
