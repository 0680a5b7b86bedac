package trend_test

import (
	"testing"
	"time"

	"binwatchd/internal/trend"
)

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
