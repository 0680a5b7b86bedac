package trend_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
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

func dryingFit(k *trend.Track, limitPct float64, now time.Time) trend.Crossing {
	return trend.DryingFits(k, now, limitPct)[0]
}

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
	clean  bool       // a good probe
	level  bool       // the fit sees the running median of six hours
}

var dryScenarios = []dryScenario{
	{"bed to 70 %", [2]float64{76, 84}, 70, [2]float64{0.08, 0.35}, false, false},
	{"bed to 70 %, good probe", [2]float64{76, 84}, 70, [2]float64{0.08, 0.35}, true, false},
	{"bed to 70 %, from the level", [2]float64{76, 84}, 70, [2]float64{0.08, 0.35}, false, true},
	{"sifting opens at 45 %", [2]float64{60, 74}, 45, [2]float64{0.08, 0.35}, false, false},
	{"sifting closes at 35 %", [2]float64{55, 70}, 35, [2]float64{0.08, 0.35}, false, false},
	{"crate to 40 %", [2]float64{46, 55}, 40, [2]float64{0.01, 0.05}, false, false},
	{"hardly drying", [2]float64{78, 84}, 70, [2]float64{0, 0.01}, false, false},
}

var dryLeads = [3]int{2 * 24, 4 * 24, 7 * 24} // h

type dryTable struct {
	events, hits, falseRaises int
	months                    float64
	leads                     []float64 // days
	told                      told
}

// A dryRun is one bank watched until it crosses or for 75 days.
type dryRun struct {
	sc      dryScenario
	probe   soilProbe
	truth   []float64 // by the hour
	crossAt int       // hour, -1 for none
	raised  int       // hour of the first raise of the last three weeks, -1 for none
	newest  int       // hour of the newest raise, -1 for none
}

func newDryRun(sc dryScenario, rng *rand.Rand) dryRun {
	pick := func(r [2]float64) float64 { return r[0] + (r[1]-r[0])*rng.Float64() }
	b := newBank(rng, pick(sc.start), pick(sc.perDay)/24)
	r := dryRun{sc: sc, probe: newSoilProbe(rng), truth: make([]float64, 75*24), raised: -1, newest: -1}
	if sc.clean {
		r.probe = soilProbe{noise: 0.3, daily: 0.3, step: 0.1}
	}
	for h := range r.truth {
		r.truth[h] = b.hour(h)
	}
	r.crossAt = slices.IndexFunc(r.truth, func(v float64) bool { return v < sc.limit })
	if r.crossAt >= 0 {
		r.truth = r.truth[:r.crossAt]
	}
	return r
}

func (d *dryTable) run(sc dryScenario, seed uint64) {
	rng := rand.New(rand.NewPCG(seed, 99))
	r := newDryRun(sc, rng)
	track, level := trend.NewTrack(), trend.NewWindow(6*time.Hour)
	track.Restart(simTime(0))
	for h, v := range r.truth {
		for m := h * 60; m < h*60+60; m += simStep {
			x := r.probe.read(rng, v, m)
			if sc.level {
				level.Add(simTime(m), x)
				x, _ = level.Median()
			}
			track.Add(simTime(m), x)
		}
		left := r.crossAt - h
		if h%6 == 5 || r.crossAt >= 0 && slices.Contains(dryLeads[:], left) {
			d.judge(&r, dryingFit(&track, sc.limit, simTime(h*60+59)), h)
		}
	}
	d.months += float64(len(r.truth)) / 24 / 30
	if r.crossAt > 4*24 {
		d.events++
		if r.raised >= 0 {
			d.hits++
			d.leads = append(d.leads, float64(r.crossAt-r.raised)/24)
		}
	}
}

// judge holds one refit against what will come. Late or early by more than two
// weeks is a false raise.
func (d *dryTable) judge(r *dryRun, got trend.Crossing, h int) {
	now, left := simTime(h*60+59), r.crossAt-h
	if k := slices.Index(dryLeads[:], left); r.crossAt >= 0 && k >= 0 && !got.Crosses.IsZero() && !got.Past {
		d.told.all[k]++
		switch at := simTime(r.crossAt * 60); {
		case at.Before(got.Earliest):
			d.told.early[k]++
		case !at.After(got.Latest):
			d.told.held[k]++
		}
	}
	if got.Past || !got.Within(now, 7*24*time.Hour) {
		return
	}
	far := r.crossAt < 0 || left > 21*24
	if far && (r.newest < 0 || h-r.newest > 24) {
		d.falseRaises++
	}
	if !far && r.raised < 0 {
		r.raised = h
	}
	r.newest = h
}

func (d *dryTable) String() string {
	slices.Sort(d.leads)
	s := fmt.Sprintf("events %3d hit %3d  lead p10 %4.1f median %4.1f p90 %4.1f d  false %d in %3.0f bin-months  80 %% held",
		d.events, d.hits, quantileOf(d.leads, 0.1), quantileOf(d.leads, 0.5), quantileOf(d.leads, 0.9), d.falseRaises, d.months)
	for k, lead := range dryLeads {
		if d.told.all[k] == 0 {
			continue
		}
		s += fmt.Sprintf("  %d d %3.0f %% of %3d (%d early)", lead/24, 100*d.told.part(k), d.told.all[k], d.told.early[k])
	}
	return s
}

// simulateDry runs seeds banks of every scenario and prints the table.
func simulateDry(tb testing.TB, seeds uint64) (each []dryTable, all dryTable) {
	each = make([]dryTable, len(dryScenarios))
	for k, sc := range dryScenarios {
		for seed := range seeds {
			each[k].run(sc, seed)
		}
		all.merge(each[k])
		tb.Logf("%-24s %s", sc.name, each[k].String())
	}
	tb.Logf("%-24s %s", "all", all.String())
	return each, all
}

func (d *dryTable) merge(e dryTable) {
	d.events, d.hits, d.falseRaises, d.months = d.events+e.events, d.hits+e.hits, d.falseRaises+e.falseRaises, d.months+e.months
	d.leads = append(d.leads, e.leads...)
	d.told.add(e.told)
}

// BenchmarkDryingTable prints the table of many banks; its time is of no
// interest.
func BenchmarkDryingTable(b *testing.B) {
	for range b.N {
		_, all := simulateDry(b, 100)
		b.ReportMetric(float64(all.hits)/float64(all.events), "recall")
		b.ReportMetric(quantileOf(all.leads, 0.5), "median-lead-d")
	}
}

// BenchmarkDryingFit is the cost of one refit over a fortnight.
func BenchmarkDryingFit(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 1))
	bank, probe, k := newBank(rng, 80, 0.2/24), newSoilProbe(rng), trend.NewTrack()
	for h := range 15 * 24 {
		v := bank.hour(h)
		for m := 0; m < 60; m += simStep {
			k.Add(simTime(h*60+m), probe.read(rng, v, h*60+m))
		}
	}
	now, _ := k.Newest()
	b.ReportAllocs()
	b.ResetTimer()
	for range b.N {
		dryingFit(&k, 60, now)
	}
}
