package trend_test

import (
	"testing"
	"time"

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
