package trend_test

import (
	"bytes"
	"encoding/gob"
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"binwatchd/internal/trend"
)

func TestSeriesOfThePast(t *testing.T) {
	day := 24 * time.Hour
	start := time.Date(2026, 5, 4, 0, 0, 0, 0, time.UTC)
	noon := func(n int) time.Time { return start.Add(time.Duration(n)*day + 12*time.Hour) }
	s := trend.NewSeries(day, 30)
	if v, ok := s.Nearest(noon(3)); ok {
		t.Errorf("got %v of an empty series, want nothing", v)
	}
	for _, n := range []int{0, 1, 4, 9} {
		s.Add(noon(n), 10+float64(n))
	}
	for _, tt := range []struct {
		day     int
		at      float64 // NaN: not known
		known   bool
		nearest float64
	}{
		{-200, 0, false, 10}, {0, 10, true, 10}, {1, 11, true, 11}, {2, 0, false, 11}, {3, 0, false, 14}, {6, 0, false, 14}, {9, 19, true, 19}, {200, 0, false, 19},
	} {
		if v, ok := s.At(noon(tt.day)); ok != tt.known || ok && v != tt.at {
			t.Errorf("day %d: got %v, %v, want %v, %v", tt.day, v, ok, tt.at, tt.known)
		}
		if v, ok := s.Nearest(noon(tt.day)); !ok || v != tt.nearest {
			t.Errorf("day %d: nearest is %v, %v, want %v", tt.day, v, ok, tt.nearest)
		}
	}
	for _, by := range []int{3, -2} {
		moved := trend.NewSeries(day, 30)
		for _, n := range []int{0, 1, 4, 9} {
			moved.Add(noon(n), 10+float64(n))
		}
		moved.Shift(time.Duration(by)*day, noon(4))
		for n, to := range map[int]int{0: 0, 1: 1, 4: 4 + by, 9: 9 + by} {
			if v, ok := moved.At(noon(to)); !ok || v != 10+float64(n) {
				t.Errorf("moved by %d: day %d holds %v, %v, want what day %d held", by, to, v, ok, n)
			}
		}
		if _, ok := moved.At(noon(9)); ok {
			t.Errorf("moved by %d: day 9 is still where it was", by)
		}
	}
}

func TestSeriesKeepsMeansOfItsSlots(t *testing.T) {
	s := trend.NewSeries(time.Hour, 4)
	add := func(minute int, v float64) { s.Add(day0.Add(time.Duration(minute)*time.Minute), v) }
	add(5, 10)
	add(55, 11)
	add(70, 20)
	add(65, 22)           // out of order within its slot
	add(250, 30)          // hours 2 and 3 stay empty
	add(130, 25)          // late, fills hour 2
	add(10, 99)           // late, hour 0 has its mean already
	add(260, math.NaN())  // never taken
	add(260, math.Inf(1)) // never taken
	add(-60*24, 7)        // long before
	want := []int16{1050, 2100, 2500, math.MinInt16}
	if d := cmp.Diff(want, s.Centi); d != "" {
		t.Error(d)
	}
	add(6*60, 40)
	want = []int16{2500, math.MinInt16, 3000, math.MinInt16}
	if d := cmp.Diff(want, s.Centi); d != "" {
		t.Error(d)
	}
	add(60*24*400, 1)
	for i, c := range s.Centi {
		if c != math.MinInt16 || len(s.Centi) != 4 {
			t.Errorf("after a long gap slot %d holds %d of %d", i, c, len(s.Centi))
		}
	}
	s.Clear()
	add(60*24*401, 5)
	if len(s.Centi) != 0 || s.Sum != 5 {
		t.Errorf("cleared, yet it holds %+v", s)
	}
}

// Law: however readings come, the memory is bounded and the newest slots hold
// the means of what came in order.
func TestSeriesAgainstPlainMeans(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const keep = 10
		s := trend.NewSeries(time.Hour, keep)
		sums, counts := map[int64]float64{}, map[int64]float64{}
		minute := int64(rapid.IntRange(-5000, 5000).Draw(t, "start"))
		for _, gap := range rapid.SliceOfN(rapid.IntRange(0, 200), 1, 80).Draw(t, "gaps") {
			minute += int64(gap)
			v := float64(rapid.IntRange(-4000, 10000).Draw(t, "v")) / 100
			s.Add(time.UnixMilli(minute*60000), v)
			slot := int64(math.Floor(float64(minute) / 60))
			sums[slot], counts[slot] = sums[slot]+v, counts[slot]+1
		}
		if len(s.Centi) > keep {
			t.Fatalf("holds %d", len(s.Centi))
		}
		for i, c := range s.Centi {
			slot := s.First + int64(i)
			if counts[slot] == 0 {
				if c != math.MinInt16 {
					t.Fatalf("slot %d holds %d, want nothing", slot, c)
				}
				continue
			}
			if d := float64(c)/100 - sums[slot]/counts[slot]; math.Abs(d) > 0.0051 {
				t.Fatalf("slot %d is off by %v", slot, d)
			}
		}
	})
}

// fedTrack is a track with two weeks of a bin that begins to heat.
func fedTrack(t testing.TB) (trend.Track, time.Time) {
	t.Helper()
	rng := rand.New(rand.NewPCG(1, 1))
	h := newHeap(rng, simRoom(rng, 18, 3, 1), 13*24*60, 9)
	k := trend.NewTrack()
	for i, v := range h.run(15 * 24 * 60) {
		if v > 29 && i > 13*24*6 {
			break
		}
		k.Add(simTime(i*simStep), v)
	}
	now, ok := k.Newest()
	if !ok {
		t.Fatal("an empty track")
	}
	return k, now
}

// A snapshot must give the very same forecasts as the state it was taken from.
func TestTrackSurvivesASnapshot(t *testing.T) {
	k, now := fedTrack(t)
	k.Restart(now.Add(-30 * time.Hour))
	var buf bytes.Buffer
	if err := gob.NewEncoder(&buf).Encode(k); err != nil {
		t.Fatal(err)
	}
	if buf.Len() > 2600 {
		t.Errorf("a snapshot takes %d bytes, want at most 2600", buf.Len())
	}
	var fromGob, fromJSON trend.Track
	if err := gob.NewDecoder(&buf).Decode(&fromGob); err != nil {
		t.Fatal(err)
	}
	text, err := json.Marshal(k)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, &fromJSON); err != nil {
		t.Fatal(err)
	}
	want := trend.HeatingFit(&k, nil, heatLimit, 12*time.Hour, now)
	for name, back := range map[string]*trend.Track{"gob": &fromGob, "JSON": &fromJSON} {
		if d := cmp.Diff(want, trend.HeatingFit(back, nil, heatLimit, 12*time.Hour, now)); d != "" {
			t.Errorf("%s:\n%s", name, d)
		}
	}
}

func TestTrackAllocatesNothingWhenSteady(t *testing.T) {
	k, now := trend.NewTrack(), day0
	step := func() {
		now = now.Add(10 * time.Minute)
		k.Add(now, 20)
	}
	for range 15 * 24 * 6 {
		step()
	}
	if n := testing.AllocsPerRun(1000, step); n != 0 {
		t.Errorf("%v allocations a reading", n)
	}
}

func TestTrackClears(t *testing.T) {
	k, now := fedTrack(t)
	k.Restart(now)
	k.Clear()
	if _, ok := k.Newest(); ok || k.FreshMS != 0 || len(k.Hours.Centi) != 0 {
		t.Errorf("cleared, yet it holds %+v", k)
	}
}

func BenchmarkTrackAdd(b *testing.B) {
	k, now := trend.NewTrack(), day0
	b.ReportAllocs()
	for range b.N {
		now = now.Add(10 * time.Minute)
		k.Add(now, 20)
	}
}
