package page_test

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"runtime"
	"slices"
	"testing"
	"time"

	"binwatchd/internal/efforttest"
	"binwatchd/internal/farm"
)

// manyZones is a farm of n zones in bins of two, every third with something
// raised: a large one, for the page's weight and time.
func manyZones(n int) *fake {
	f := newFake()
	f.rough = true
	f.farm.Bins, f.view.Bins, f.view.Standing = nil, nil, nil
	for i := range n / 2 {
		name := fmt.Sprintf("bed-%02d", i)
		f.farm.Bins = append(f.farm.Bins, farm.Bin{Name: name, Species: []farm.Share{{Species: "red", Fraction: 1}},
			Zones: []farm.Zone{{Name: "near", Aim: farm.Living}, {Name: "far", Aim: farm.Sifting}}})
		near, far := hillfootView().Bins[1].Zones[0], hillfootView().Bins[1].Zones[1]
		near.Bin, far.Bin = name, name
		far.Levels = farm.Levels{farm.Moisture: far.Level(farm.Moisture), farm.Temperature: level(20, keepT)}
		f.view.Bins = append(f.view.Bins, farm.BinView{Name: name, Zones: []farm.ZoneView{near, far}})
		if i%3 == 0 {
			s := hillfootStanding(farm.Forecast{}, farm.Forecast{})[i%2*2]
			s.Bin, s.Zone, s.Episode = name, "near", name
			f.view.Standing = append(f.view.Standing, s)
		}
	}
	return f
}

// TestWeight: a first page of as many bins as are drawn with their curves, of two zones
// each, weighs under 150 kB, and so does a year of one bin.
func TestWeight(t *testing.T) {
	p := newPage(t, manyZones(24).config())
	for _, path := range []string{"/", "/bins/bed-00?span=1y", "/bins/bed-00?span=3mo"} {
		w := get(p, path)
		if w.Code != http.StatusOK || w.Body.Len() > 150_000 {
			t.Errorf("%s: status %d, %d bytes", path, w.Code, w.Body.Len())
		}
		t.Logf("%s weighs %d bytes", path, w.Body.Len())
	}
	for _, file := range []string{"/static/page.css", "/static/page.js"} {
		if n := get(p, file).Body.Len(); n == 0 || n > 30_000 {
			t.Errorf("%s weighs %d bytes", file, n)
		}
	}
}

// TestMemoryIsFlat: thousands of requests of every kind, from many callers and
// with time passing, leave nothing behind.
func TestMemoryIsFlat(t *testing.T) {
	f := newFake()
	cfg := f.config()
	cfg.Act = func(context.Context, ...farm.Event) error { return nil }
	p := newPage(t, cfg)
	paths := []string{"/", "/bins/bed", "/rounds", "/probes", "/api/now", "/jot?bin=bed", "/nowhere", "/probes/bed-m", "/bins/trays?span=1y"}
	ask := func(from, to int) {
		for i := from; i < to; i++ {
			if i%10 == 9 {
				post(p, "/jot", form("bin", "bed", "what", "turned", "once", fmt.Sprint("form ", i)))
			} else {
				get(p, paths[i%len(paths)])
			}
			f.advance(time.Second)
		}
	}
	first, then := efforttest.Cases(400, 1000), efforttest.Cases(1000, 3000)
	ask(0, first)
	before := heap()
	ask(first, first+then)
	if grown := int64(heap()) - int64(before); grown > 350*int64(then) {
		t.Errorf("%d requests left %d kB behind", then, grown>>10)
	}
}

func heap() uint64 {
	runtime.GC()
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

// BenchmarkFront is GET / with 24 zones drawn, curves at hand, and with 200 bins in
// rows; p50 is the design figure.
func BenchmarkFront(b *testing.B) {
	for name, f := range map[string]*fake{"drawn": manyZones(24), "rows": nursery(200, "linden", "north shed", "cellar")} {
		b.Run(name, func(b *testing.B) { benchmarkFront(b, f) })
	}
}

func benchmarkFront(b *testing.B, f *fake) {
	p := newPage(b, f.config())
	size := get(p, "/").Body.Len()
	var took []time.Duration
	b.ReportAllocs()
	for b.Loop() {
		began := time.Now()
		get(p, "/")
		took = append(took, time.Since(began))
	}
	slices.Sort(took)
	b.ReportMetric(float64(took[len(took)/2].Microseconds())/1000, "p50-ms")
	b.ReportMetric(float64(took[int(math.Ceil(float64(len(took))*0.95))-1].Microseconds())/1000, "p95-ms")
	b.ReportMetric(float64(size), "B/page")
}
