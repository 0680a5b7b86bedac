package trend_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/trend"
)

// A bank is simulated drying material, on purpose of other physics than the
// package fits: two layers that share water by diffusion, the top one losing
// it to air whose pull swings with the day and the weather, less and less as
// the surface dries. No rate in it is ever steady, no turn is sharp.
type bank struct {
	top, core float64 // kg/kg
	pull      float64 // kg/kg per hour from a wet surface in middling air
	hold      float64 // kg/kg at which the surface gives half as freely
	share     float64 // 1/h between the layers
	days      []float64
}

func newBank(rng *rand.Rand, startPct, pull float64) bank {
	b := bank{top: dryOf(startPct), core: dryOf(startPct), pull: pull, hold: 0.3 + 1.2*rng.Float64(), share: 0.02 + 0.1*rng.Float64()}
	level := 0.0
	for range 200 {
		level = 0.6*level + 0.3*rng.NormFloat64()
		b.days = append(b.days, math.Exp(level))
	}
	return b
}

// hour moves the bank on and gives its moisture as a probe half-way down
// would, % wet basis.
func (b *bank) hour(h int) float64 {
	air := b.days[h/24] * (1 + 0.6*math.Sin(float64(h%24-9)/12*math.Pi))
	flow := b.share * (b.core - b.top)
	b.top += flow - b.pull*max(0, air)*b.top/(b.top+b.hold)
	b.core -= flow
	b.top = max(b.top, 0.08)
	w := 0.35*b.top + 0.65*b.core
	return 100 * w / (1 + w)
}

func dryOf(pct float64) float64 { return pct / (100 - pct) }

// A soilProbe spoils a moisture the way cheap ones do.
type soilProbe struct {
	noise, daily, step float64 // points
	knocks             float64 // steps of contact a day
	offset             float64
}

func newSoilProbe(rng *rand.Rand) soilProbe {
	return soilProbe{
		noise: 0.3 + 2*rng.Float64(), daily: 2.5 * rng.Float64(),
		step: []float64{0.1, 0.5, 1, 2}[rng.IntN(4)], knocks: []float64{0, 0.03, 0.1}[rng.IntN(3)],
	}
}

func (p *soilProbe) read(rng *rand.Rand, pct float64, minute int) float64 {
	if rng.Float64() < p.knocks/144 {
		p.offset = 1.5 * rng.NormFloat64()
	}
	v := pct + p.offset + p.noise*rng.NormFloat64() + p.daily*math.Sin(float64(minute%1440-600)/720*math.Pi)
	return math.Round(v/p.step) * p.step
}

type dryScenario struct {
	name   string
	start  [2]float64 // %
	limit  float64    // %
	perDay [2]float64 // kg/kg lost by a wet surface
	clean  bool
}

var dryScenarios = []dryScenario{
	{"bed to 70 %", [2]float64{76, 84}, 70, [2]float64{0.08, 0.35}, false},
	{"bed to 70 %, good probe", [2]float64{76, 84}, 70, [2]float64{0.08, 0.35}, true},
	{"sifting opens at 45 %", [2]float64{60, 74}, 45, [2]float64{0.08, 0.35}, false},
	{"sifting closes at 35 %", [2]float64{55, 70}, 35, [2]float64{0.08, 0.35}, false},
	{"crate to 40 %", [2]float64{46, 55}, 40, [2]float64{0.01, 0.05}, false},
	{"hardly drying", [2]float64{78, 84}, 70, [2]float64{0, 0.01}, false},
}

var dryLeads = [3]int{2 * 24, 4 * 24, 7 * 24} // h

type dryTable struct {
	events, hits, falseRaises, late int
	months                          float64
	leads                           []float64 // days
	covered, early, forecasts       [3]int
}

func (d *dryTable) run(sc dryScenario, seed uint64) {
	rng := rand.New(rand.NewPCG(seed, 99))
	pick := func(r [2]float64) float64 { return r[0] + (r[1]-r[0])*rng.Float64() }
	b := newBank(rng, pick(sc.start), pick(sc.perDay)/24)
	p := newSoilProbe(rng)
	if sc.clean {
		p = soilProbe{noise: 0.3, daily: 0.3, step: 0.1}
	}
	const hours = 75 * 24
	truth := make([]float64, hours)
	for h := range truth {
		truth[h] = b.hour(h)
	}
	crossAt := slices.IndexFunc(truth, func(v float64) bool { return v < sc.limit })
	end := hours
	if crossAt >= 0 {
		end = crossAt
	}
	d.months += float64(end) / 24 / 30
	track := trend.NewTrack()
	track.Restart(simTime(0))
	raised, calm := -1, 99
	for h := range end {
		for m := 0; m < 60; m += simStep {
			track.Add(simTime(h*60+m), p.read(rng, truth[h], h*60+m))
		}
		now := simTime(h*60 + 59)
		left := crossAt - h
		atLead := crossAt >= 0 && slices.Contains(dryLeads[:], left)
		if h%6 != 5 && !atLead {
			continue
		}
		got := trend.DryingFit(&track, sc.limit, now)
		calm++
		if got.Within(now, 7*24*time.Hour) && !got.Past {
			if calm > 4 && (crossAt < 0 || left > 21*24) {
				d.falseRaises++
			}
			calm = 0
			if raised < 0 && crossAt >= 0 && left <= 21*24 {
				raised = h
			}
		}
		if k := slices.Index(dryLeads[:], left); atLead && k >= 0 && !got.Crosses.IsZero() && !got.Past {
			d.forecasts[k]++
			at := simTime(crossAt * 60)
			switch {
			case at.Before(got.Earliest):
				d.early[k]++
			case !at.After(got.Latest):
				d.covered[k]++
			}
		}
	}
	if crossAt > 4*24 {
		d.events++
		if raised >= 0 {
			d.hits++
			d.leads = append(d.leads, float64(crossAt-raised)/24)
		}
	}
}

func (d *dryTable) String() string {
	slices.Sort(d.leads)
	var b strings.Builder
	fmt.Fprintf(&b, "events %d hit %d  lead p10 %.1f median %.1f p90 %.1f d  false %d in %.0f bin-months  coverage",
		d.events, d.hits, quantileOf(d.leads, 0.1), quantileOf(d.leads, 0.5), quantileOf(d.leads, 0.9), d.falseRaises, d.months)
	for k, lead := range dryLeads {
		fmt.Fprintf(&b, " %dd %.0f%%-%d of %d", lead/24, 100*float64(d.covered[k])/float64(max(1, d.forecasts[k])), d.early[k], d.forecasts[k])
	}
	return b.String()
}

func TestDryingOnSimulatedBanks(t *testing.T) {
	for _, sc := range dryScenarios {
		var d dryTable
		for seed := range uint64(100) {
			d.run(sc, seed)
		}
		t.Logf("%-26s %s", sc.name, d.String())
	}
}
