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

const heatLimit = 32.0

// A heatRun is what one simulated bin taught about the forecast.
type heatRun struct {
	crossed   bool
	peak      float64
	rising    float64 // h from the feed to the crossing
	lead      float64 // h from the first raise of the day before the crossing; 0 for none
	falseDay  int     // raises with nothing behind them
	falseNow  int     // those that said now
	days      float64 // watched
	covered   [3]int  // intervals at leads of 3, 6 and 9 h: held the crossing
	early     [3]int  // crossed before the interval began
	forecasts [3]int  // of so many
}

var fixedLeads = [3]float64{3, 6, 9}

type heatScenario struct {
	name          string
	seesAir, jots bool
	swing, fronts float64
	mean          [2]float64
	food          [2]float64
}

var heatScenarios = []heatScenario{
	{"cellar", true, true, 0.5, 0.3, [2]float64{13, 18}, [2]float64{1, 12}},
	{"cellar, room not seen", false, true, 0.5, 0.3, [2]float64{13, 18}, [2]float64{1, 12}},
	{"cellar, neither seen nor jotted", false, false, 0.5, 0.3, [2]float64{13, 18}, [2]float64{1, 12}},
	{"shed, not jotted", true, false, 4, 1.5, [2]float64{14, 20}, [2]float64{1, 12}},
	{"shed, neither seen nor jotted", false, false, 4, 1.5, [2]float64{14, 20}, [2]float64{1, 12}},
	{"shed", true, true, 4, 1.5, [2]float64{14, 20}, [2]float64{1, 12}},
	{"shed, room not seen", false, true, 4, 1.5, [2]float64{14, 20}, [2]float64{1, 12}},
	{"glasshouse", true, true, 7, 2, [2]float64{17, 22}, [2]float64{1, 9}},
	{"glasshouse, room not seen", false, true, 7, 2, [2]float64{17, 22}, [2]float64{1, 9}},
}

const (
	quietDays = 12
	fedDays   = 4
)

func runHeat(sc heatScenario, seed uint64) heatRun {
	rng := rand.New(rand.NewPCG(seed, 77))
	pick := func(r [2]float64) float64 { return r[0] + (r[1]-r[0])*rng.Float64() }
	room := simRoom(rng, pick(sc.mean), sc.swing, sc.fronts)
	feedAt := quietDays*24*60 + rng.IntN(24*60)
	h := newHeap(rng, room, feedAt, pick(sc.food))
	truth := h.run((quietDays + fedDays) * 24 * 60)
	binProbe, airProbe := simSensor(rng), simSensor(rng)
	airProbe.daily *= 3
	sees := tracked{bin: trend.NewTrack(), air: trend.NewTrack()}
	out := heatRun{days: quietDays + fedDays, peak: slices.Max(truth)}
	crossAt := firstOver(truth, binProbe.bias)
	out.crossed = crossAt >= 0
	out.rising = float64(crossAt*simStep-feedAt) / 60
	begun, latest := -1, -1 // first raise of the day before the crossing; newest raise
	for i, v := range truth {
		minute := i * simStep
		if sc.jots && minute >= feedAt && minute < feedAt+simStep {
			sees.bin.Restart(simTime(feedAt))
		}
		hour := float64(minute) / 60
		if x, ok := binProbe.read(rng, v, hour); ok {
			sees.bin.Add(simTime(minute), x)
		}
		if x, ok := airProbe.read(rng, room(hour), hour); ok {
			sees.air.Add(simTime(minute), x)
		}
		if crossAt >= 0 && i >= crossAt {
			break
		}
		if minute%60 != 50 {
			continue
		}
		air := &sees.air
		if !sc.seesAir {
			air = nil
		}
		got := trend.HeatingFit(&sees.bin, air, heatLimit, 12*time.Hour, simTime(minute))
		raise := got.Self && got.Crossing.Within(simTime(minute), 12*time.Hour)
		now := got.Self && got.Crossing.Within(simTime(minute), 3*time.Hour)
		left := float64(crossAt-i) * simStep / 60
		if raise && (latest < 0 || i-latest > 4*60/simStep) && (left > 48 || out.peak+binProbe.bias < heatLimit-3) {
			out.falseDay++
		}
		if raise {
			latest = i
		}
		if raise && begun < 0 && out.crossed && left <= 24 {
			begun = i
		}
		if now && out.peak+binProbe.bias < heatLimit-3 {
			out.falseNow++
		}
		if out.crossed {
			for k, lead := range fixedLeads {
				if math.Abs(left-lead) <= 0.5 && got.Self && !got.Crossing.Crosses.IsZero() {
					out.forecasts[k]++
					at := simTime(crossAt * simStep)
					if !at.Before(got.Crossing.Earliest) && (got.Crossing.Latest.IsZero() || !at.After(got.Crossing.Latest)) {
						out.covered[k]++
					} else if at.Before(got.Crossing.Earliest) {
						out.early[k]++
					}
				}
			}
		}
	}
	if begun >= 0 {
		out.lead = float64(crossAt-begun) * simStep / 60
	}
	return out
}

func firstOver(truth []float64, bias float64) int {
	return slices.IndexFunc(truth, func(v float64) bool { return v+bias >= heatLimit })
}

// A heatTable sums up many runs.
type heatTable struct {
	events, hits, quiet, falseDay, falseNow int
	months                                  float64
	leads, rising                           []float64
	covered, early, forecasts               [3]int
}

func (h *heatTable) add(r heatRun) {
	h.months += r.days / 30
	h.falseDay += r.falseDay
	h.falseNow += r.falseNow
	if r.crossed && r.rising > 0 && r.peak >= heatLimit+3 {
		h.events++
		h.rising = append(h.rising, r.rising)
		h.leads = append(h.leads, r.lead)
		if r.lead > 0 {
			h.hits++
		}
		for k := range fixedLeads {
			h.covered[k] += r.covered[k]
			h.early[k] += r.early[k]
			h.forecasts[k] += r.forecasts[k]
		}
		return
	}
	if !r.crossed && r.peak < heatLimit-3 {
		h.quiet++
	}
}

func (h *heatTable) String() string {
	slices.Sort(h.leads)
	slices.Sort(h.rising)
	var b strings.Builder
	fmt.Fprintf(&b, "events %d hit %d  lead min %.1f p10 %.1f median %.1f h (rise takes median %.1f h)  quiet bins %d (%.0f bin-months) false today %d now %d  coverage",
		h.events, h.hits, quantileOf(h.leads, 0), quantileOf(h.leads, 0.1), quantileOf(h.leads, 0.5), quantileOf(h.rising, 0.5), h.quiet, h.months, h.falseDay, h.falseNow)
	for k, lead := range fixedLeads {
		fmt.Fprintf(&b, " %.0fh %.0f%%-%d of %d", lead, 100*float64(h.covered[k])/float64(max(1, h.forecasts[k])), h.early[k], h.forecasts[k])
	}
	return b.String()
}

func quantileOf(sorted []float64, p float64) float64 {
	if len(sorted) == 0 {
		return math.NaN()
	}
	return sorted[int(p*float64(len(sorted)-1))]
}

// simulateHeat runs seeds bins of every scenario and prints the table.
func simulateHeat(tb testing.TB, seeds uint64) (each []heatTable, all heatTable) {
	each = make([]heatTable, len(heatScenarios))
	for k, sc := range heatScenarios {
		for seed := range seeds {
			r := runHeat(sc, seed)
			each[k].add(r)
			all.add(r)
		}
		tb.Logf("%-33s %s", sc.name, each[k].String())
	}
	tb.Logf("%-33s %s", "all", all.String())
	return each, all
}

// Recall, lead, false raises and coverage on bins of other physics. Pinned
// loosely: the table of a longer run stands in BenchmarkHeatingTable.
func TestHeatingOnSimulatedBins(t *testing.T) {
	each, all := simulateHeat(t, 60)
	for k, h := range each {
		if h.hits < h.events-1 {
			t.Errorf("%s: hit %d of %d", heatScenarios[k].name, h.hits, h.events)
		}
		if lead := quantileOf(h.leads, 0.5); lead < 5 {
			t.Errorf("%s: median lead %.1f h, want at least 5", heatScenarios[k].name, lead)
		}
	}
	if all.events < 50 || all.quiet < 100 {
		t.Fatalf("the scenarios tell little: %d events, %d quiet bins", all.events, all.quiet)
	}
	if float64(all.hits) < 0.98*float64(all.events) {
		t.Errorf("hit %d of %d events", all.hits, all.events)
	}
	if lead := quantileOf(all.leads, 0.5); lead < 6 {
		t.Errorf("median lead %.1f h, want at least 6", lead)
	}
	if float64(all.falseNow) > all.months/100 {
		t.Errorf("%d false raises of now in %.0f bin-months", all.falseNow, all.months)
	}
	for k, lead := range fixedLeads {
		if part := float64(all.covered[k]) / float64(all.forecasts[k]); part < 0.65 || part > 0.93 {
			t.Errorf("at %v h the 80 %% interval held %.0f %% of crossings", lead, 100*part)
		}
	}
}

// BenchmarkHeatingTable prints the table of many bins; its time is of no
// interest.
func BenchmarkHeatingTable(b *testing.B) {
	for range b.N {
		_, all := simulateHeat(b, 150)
		b.ReportMetric(float64(all.hits)/float64(all.events), "recall")
		b.ReportMetric(quantileOf(all.leads, 0.5), "median-lead-h")
	}
}

// BenchmarkHeatingFit is the cost of one refit of a bin that heats, the
// dearest case.
func BenchmarkHeatingFit(b *testing.B) {
	sees := tracked{bin: trend.NewTrack(), air: trend.NewTrack()}
	rng := rand.New(rand.NewPCG(1, 1))
	room := simRoom(rng, 18, 3, 1)
	bin := newHeap(rng, room, 13*24*60, 9)
	for i, v := range bin.run(15 * 24 * 60) {
		if v > 29 && i > 13*24*6 {
			break
		}
		sees.bin.Add(simTime(i*simStep), v)
		sees.air.Add(simTime(i*simStep), room(float64(i)/6))
	}
	now, _ := sees.bin.Newest()
	if !trend.HeatingFit(&sees.bin, &sees.air, heatLimit, 12*time.Hour, now).Self {
		b.Fatal("the bin does not heat")
	}
	b.ReportAllocs()
	b.ResetTimer()
	for range b.N {
		trend.HeatingFit(&sees.bin, &sees.air, heatLimit, 12*time.Hour, now)
	}
}
