package trend_test

import (
	"bytes"
	"encoding/gob"
	"encoding/json"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"

	"binwatchd/internal/trend"
)

var day0 = time.Date(2024, 3, 1, 0, 0, 0, 0, time.UTC)

func TestWindowOfHalfAnHour(t *testing.T) {
	w := trend.NewWindow(30 * time.Minute)
	if m, ok := w.Median(); ok {
		t.Errorf("empty: got %v", m)
	}
	steps := []struct {
		minute int
		v      float64
		want   float64
	}{
		{0, 20, 20},
		{10, 30, 25},
		{20, 21, 21},
		{30, 22, 22}, // minute 0 has just left
		{40, 23, 22},
		{200, 40, 40}, // all others have left
		{199, 50, 45}, // late, but inside the span
		{100, 99, 45}, // too late to count
		{205, math.NaN(), 45},
	}
	for _, s := range steps {
		w.Add(day0.Add(time.Duration(s.minute)*time.Minute), s.v)
		if got, _ := w.Median(); got != s.want {
			t.Errorf("minute %d: got %v, want %v", s.minute, got, s.want)
		}
	}
	if at, _ := w.Newest(); !at.Equal(day0.Add(200 * time.Minute)) {
		t.Errorf("newest %v", at)
	}
	w.Add(day0.Add(231*time.Minute), 7)
	if got, _ := w.Median(); got != 7 || w.Len() != 1 {
		t.Errorf("a span later %d are left, median %v, want one of 7", w.Len(), got)
	}
	w.Add(day0, 5)
	w.Clear()
	if _, ok := w.Newest(); ok {
		t.Error("cleared, yet it holds something")
	}
}

// gonum's quantile is the reference for the median.
func TestWindowAgainstReference(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const span = 6 * time.Hour
		w, all, now := trend.NewWindow(span), []float64(nil), day0
		var at []time.Time
		for _, gap := range rapid.SliceOfN(rapid.IntRange(0, 90), 1, 60).Draw(t, "gaps in minutes") {
			now = now.Add(time.Duration(gap) * time.Minute)
			v := float64(rapid.IntRange(-40, 40).Draw(t, "v")) / 4
			at, all = append(at, now), append(all, v)
			w.Add(now, v)
			if rapid.IntRange(0, 9).Draw(t, "reload") == 0 {
				w = reload(t, w)
			}
			var held []float64
			for i := range all {
				if at[i].After(now.Add(-span)) {
					held = append(held, all[i])
				}
			}
			slices.Sort(held)
			want := (stat.Quantile(0.5, stat.Empirical, held, nil) + upperMedian(held)) / 2
			if got, _ := w.Median(); got != want {
				t.Fatalf("got %v, want %v of %v", got, want, held)
			}
		}
	})
}

func upperMedian(sorted []float64) float64 { return sorted[len(sorted)/2] }

func reload(t *rapid.T, w trend.Window) trend.Window {
	var buf bytes.Buffer
	if err := gob.NewEncoder(&buf).Encode(w); err != nil {
		t.Fatal(err)
	}
	var back trend.Window
	if err := gob.NewDecoder(&buf).Decode(&back); err != nil {
		t.Fatal(err)
	}
	return back
}

func TestWindowSurvivesJSON(t *testing.T) {
	w := trend.NewWindow(time.Hour)
	for i := range 5 {
		w.Add(day0.Add(time.Duration(i)*time.Minute), float64(i))
	}
	text, err := json.Marshal(w)
	if err != nil {
		t.Fatal(err)
	}
	var back trend.Window
	if err := json.Unmarshal(text, &back); err != nil {
		t.Fatal(err)
	}
	a, _ := w.Median()
	b, _ := back.Median()
	if d := cmp.Diff(a, b); d != "" || back.Len() != 5 {
		t.Error(d)
	}
}

// A probe that speaks every second must not narrow the window to minutes.
func TestWindowOfAFastProbeCoversItsSpan(t *testing.T) {
	w := trend.NewWindow(6 * time.Hour)
	for s := range 8 * 3600 {
		w.Add(day0.Add(time.Duration(s)*time.Second), float64(s)/3600)
	}
	got, _ := w.Median()
	if w.Len() > 512 || math.Abs(got-5) > 0.15 {
		t.Errorf("holds %d, median %v; want at most 512 and about hour 5", w.Len(), got)
	}
}

func TestWindowAllocatesNothingWhenSteady(t *testing.T) {
	w, now := trend.NewWindow(30*time.Minute), day0
	step := func() {
		now = now.Add(time.Minute)
		w.Add(now, float64(now.Minute()%7))
		w.Median()
	}
	for range 100 {
		step()
	}
	if n := testing.AllocsPerRun(1000, step); n != 0 {
		t.Errorf("%v allocations a reading", n)
	}
}

func BenchmarkWindowAdd(b *testing.B) {
	w, now := trend.NewWindow(6*time.Hour), day0
	b.ReportAllocs()
	for i := range b.N {
		now = now.Add(time.Minute)
		w.Add(now, float64(i*7919%1000))
		w.Median()
	}
}

// A window that is cut is as if the later values had never come.
func TestAWindowIsCut(t *testing.T) {
	at := time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC)
	w := trend.NewWindow(time.Hour)
	for i, v := range []float64{20, 21, 22, 39, 40} {
		w.Add(at.Add(time.Duration(i)*time.Minute), v)
	}
	w.Cut(at.Add(2 * time.Minute))
	if m, ok := w.Median(); !ok || m != 21 || w.Len() != 3 {
		t.Errorf("got median %v of %d, want 21 of 3", m, w.Len())
	}
	w.Add(at.Add(3*time.Minute), 23)
	if m, _ := w.Median(); m != 21.5 {
		t.Errorf("got median %v after one more, want 21.5", m)
	}
	w.Cut(at.Add(-time.Minute))
	if _, ok := w.Median(); ok {
		t.Error("got a median of a window that was cut before its first value")
	}
}

// One message without a true time turns out to be as true as any; many teach
// nothing, and neither does what is older than the newest.
func TestWhatTeachesAPace(t *testing.T) {
	minute := time.Minute.Milliseconds()
	paced := func() (p trend.Pace) {
		for i := range int64(8) {
			p.Hear(i * minute)
		}
		return p
	}
	p := paced()
	p.Skip(67 * minute)
	p.Hear(127 * minute)
	if n := p.Usual.Longest; n != 60*minute {
		t.Errorf("got a longest gap of %d min, want the hours that one alone has shown", n/minute)
	}
	p = paced()
	for i := range int64(50) {
		p.Skip(67*minute + i)
	}
	p.Hear(80 * minute)
	p.Hear(3 * minute)
	p.Hear(81 * minute)
	if got := p.Every(); got != time.Minute || p.Usual.Longest != minute {
		t.Errorf("got a pace of %s, longest %d min, want a minute", got, p.Usual.Longest/minute)
	}
}
