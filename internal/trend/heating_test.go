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

const heatLimit = 32.0

// A heatRun is what one simulated bin taught about the forecast.
type heatRun struct {
	days       float64 // watched
	peak       float64 // as its probe would show it without noise, °C
	crossAt    int     // ten-minute step of the crossing, -1 for none
	rising     float64 // h from the feed to the crossing
	begun      int     // step of the first raise of the day before it, -1 for none
	newest     int     // step of the newest raise, -1 for none
	falseToday int     // raises with nothing behind them
	falseNow   int     // refits among them that said now
	told       told
}

// told counts forecasts made at fixed leads, and what became of them.
type told struct{ all, held, early [3]int }

var fixedLeads = [3]float64{3, 6, 9} // h

type heatScenario struct {
	name          string
	seesAir, jots bool
	known         int // days before the feed
	swing, fronts float64
	mean          [2]float64 // °C of the room
	food          [2]float64
}

var heatScenarios = []heatScenario{
	{"cellar", true, true, 12, 0.5, 0.3, [2]float64{13, 18}, [2]float64{1, 12}},
	{"cellar, room not seen", false, true, 12, 0.5, 0.3, [2]float64{13, 18}, [2]float64{1, 12}},
	{"cellar, neither seen nor jotted", false, false, 12, 0.5, 0.3, [2]float64{13, 18}, [2]float64{1, 12}},
	{"shed", true, true, 12, 4, 1.5, [2]float64{14, 20}, [2]float64{1, 12}},
	{"shed, not jotted", true, false, 12, 4, 1.5, [2]float64{14, 20}, [2]float64{1, 12}},
	{"shed, room not seen", false, true, 12, 4, 1.5, [2]float64{14, 20}, [2]float64{1, 12}},
	{"shed, neither seen nor jotted", false, false, 12, 4, 1.5, [2]float64{14, 20}, [2]float64{1, 12}},
	{"shed, known for three days", true, true, 3, 4, 1.5, [2]float64{14, 20}, [2]float64{1, 12}},
	{"shed, known for three days, not jotted", true, false, 3, 4, 1.5, [2]float64{14, 20}, [2]float64{1, 12}},
	{"glasshouse", true, true, 12, 7, 2, [2]float64{17, 22}, [2]float64{1, 9}},
	{"glasshouse, room not seen", false, true, 12, 7, 2, [2]float64{17, 22}, [2]float64{1, 9}},
}

const fedDays = 4

// runHeat simulates a bin that is fed once in earnest, and refits every hour
// until it crosses or four days have gone.
func runHeat(sc heatScenario, seed uint64) heatRun {
	rng := rand.New(rand.NewPCG(seed, 77))
	pick := func(r [2]float64) float64 { return r[0] + (r[1]-r[0])*rng.Float64() }
	room := simRoom(rng, pick(sc.mean), sc.swing, sc.fronts)
	feedAt := sc.known*24*60 + rng.IntN(24*60)
	h := newHeap(rng, room, feedAt, pick(sc.food))
	truth := h.run((sc.known + fedDays) * 24 * 60)
	binProbe, airProbe := simSensor(rng), simSensor(rng)
	airProbe.daily *= 3
	for i := range truth {
		truth[i] += binProbe.bias
	}
	binProbe.bias = 0
	out := newHeatRun(truth, feedAt)
	sees := tracked{bin: trend.NewTrack(), air: trend.NewTrack()}
	air := &sees.air
	if !sc.seesAir {
		air = nil
	}
	for i, v := range truth {
		if i == out.crossAt {
			break
		}
		minute := i * simStep
		now, hour := simTime(minute), float64(minute)/60
		if sc.jots && minute >= feedAt && minute < feedAt+simStep {
			sees.bin.Fed(simTime(feedAt))
		}
		if x, ok := binProbe.read(rng, v, hour); ok {
			sees.bin.Add(now, x)
		}
		if x, ok := airProbe.read(rng, room(hour), hour); ok {
			sees.air.Add(now, x)
		}
		if minute%60 == 50 {
			out.judge(trend.HeatingFit(&sees.bin, air, heatLimit, 12*time.Hour, now), i, now)
		}
	}
	return out
}

func newHeatRun(truth []float64, feedAt int) heatRun {
	crossAt := slices.IndexFunc(truth, func(v float64) bool { return v >= heatLimit })
	return heatRun{
		days: float64(len(truth)*simStep) / 60 / 24, peak: slices.Max(truth), crossAt: crossAt,
		rising: float64(crossAt*simStep-feedAt) / 60, begun: -1, newest: -1,
	}
}

// judge holds one refit against what will come.
func (r *heatRun) judge(got trend.Heating, step int, now time.Time) {
	left := float64(r.crossAt-step) * simStep / 60 // h
	raise := got.Self && got.Crossing.Within(now, 12*time.Hour)
	if r.crossAt >= 0 && got.Self {
		r.told.hold(got.Crossing, left, now)
	}
	if !raise {
		return
	}
	harmless := r.peak < heatLimit-3
	anew := r.newest < 0 || step-r.newest > 4*60/simStep
	if anew && (harmless || r.crossAt >= 0 && left > 48) {
		r.falseToday++
	}
	if harmless && got.Crossing.Within(now, 3*time.Hour) {
		r.falseNow++
	}
	if r.crossAt >= 0 && r.begun < 0 && left <= 24 {
		r.begun = step
	}
	r.newest = step
}

func (t *told) hold(c trend.Crossing, left float64, now time.Time) {
	for k, lead := range fixedLeads {
		if math.Abs(left-lead) > 0.5 || c.Crosses.IsZero() {
			continue
		}
		t.all[k]++
		switch at := now.Add(time.Duration(left * float64(time.Hour))); {
		case at.Before(c.Earliest):
			t.early[k]++
		case !at.After(c.Latest):
			t.held[k]++
		}
	}
}

// event tells whether the bin's heating has to be foreseen: one that peaks
// within 3 K of the limit is neither hit nor false.
func (r *heatRun) event() bool { return r.crossAt >= 0 && r.rising > 0 && r.peak >= heatLimit+3 }

// lead is how long before the crossing it was raised, h; 0 for not at all.
func (r *heatRun) lead() float64 {
	if r.begun < 0 {
		return 0
	}
	return float64(r.crossAt-r.begun) * simStep / 60
}

// A heatTable sums up many runs.
type heatTable struct {
	events, hits, quiet, falseToday, falseNow int
	months                                    float64
	leads, rising                             []float64
	told                                      told
}

func (h *heatTable) add(r heatRun) {
	h.months += r.days / 30
	h.falseToday += r.falseToday
	h.falseNow += r.falseNow
	if r.crossAt < 0 && r.peak < heatLimit-3 {
		h.quiet++
	}
	if !r.event() {
		return
	}
	h.events++
	h.rising = append(h.rising, r.rising)
	h.leads = append(h.leads, r.lead())
	if r.lead() > 0 {
		h.hits++
	}
	h.told.add(r.told)
}

func (t *told) add(u told) {
	for k := range fixedLeads {
		t.all[k], t.held[k], t.early[k] = t.all[k]+u.all[k], t.held[k]+u.held[k], t.early[k]+u.early[k]
	}
}

// part is how many of the forecasts at a lead held.
func (t *told) part(k int) float64 { return float64(t.held[k]) / float64(t.all[k]) }

func (h *heatTable) String() string {
	slices.Sort(h.leads)
	slices.Sort(h.rising)
	s := fmt.Sprintf("events %3d hit %3d  lead least %4.1f p10 %4.1f median %4.1f h (rise takes %4.1f h)  false today %3d now %d in %3.0f bin-months  80 %% held",
		h.events, h.hits, quantileOf(h.leads, 0), quantileOf(h.leads, 0.1), quantileOf(h.leads, 0.5), quantileOf(h.rising, 0.5), h.falseToday, h.falseNow, h.months)
	for k, lead := range fixedLeads {
		if h.told.all[k] == 0 {
			continue
		}
		s += fmt.Sprintf("  %.0f h %3.0f %% of %3d (%d early)", lead, 100*h.told.part(k), h.told.all[k], h.told.early[k])
	}
	return s
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
		tb.Logf("%-38s %s", sc.name, each[k].String())
	}
	tb.Logf("%-38s %s", "all", all.String())
	return each, all
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
