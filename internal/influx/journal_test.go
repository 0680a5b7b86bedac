package influx_test

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/influx"
)

// start is when the simulated farm begins.
var start = time.Date(2025, 3, 3, 6, 0, 0, 0, time.UTC)

// hillfoot is the invented farm of these tests.
func hillfoot() farm.Farm {
	return farm.Farm{
		Name: "Hillfoot Nursery",
		Probes: []farm.Probe{
			{ID: "bed-t", Measures: farm.Temperature, Unit: farm.Celsius},
			{ID: "bed-m", Measures: farm.Moisture, Unit: farm.RawUnit},
			{ID: "glass-air", Measures: farm.Temperature, Unit: farm.Celsius},
			{ID: "crate-b", Measures: farm.Battery, Unit: farm.Millivolt},
			{ID: "crate-pct", Measures: farm.Battery, Unit: farm.Ratio},
		},
		Bins: []farm.Bin{{Name: "bed", Ambient: "glass-air", Zones: []farm.Zone{
			{Name: "near", Aim: farm.Living, Probes: []string{"bed-t", "bed-m"}},
			{Name: "far", Aim: farm.Sifting},
		}}},
	}
}

// A memory is a journal in memory, as small as the forwarder's needs.
type memory struct {
	mu      sync.Mutex
	events  []farm.Event
	changes map[int64][]farm.Change // by the place of their cause
	alike   map[int64]int
	cursor  int64
	saves   int
	parked  []farm.Parked

	readErr, saveErr, parkErr error
	reads                     int
}

func (m *memory) Forward(_ context.Context, after int64, limit int) (farm.Stretch, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.reads++
	if m.readErr != nil {
		return farm.Stretch{}, m.readErr
	}
	st := farm.Stretch{Last: after, Alike: m.alike}
	for _, e := range m.events[min(int(after), len(m.events)):] {
		if len(st.Events) == limit {
			break
		}
		st.Events = append(st.Events, e)
		st.Changes = append(st.Changes, m.changes[e.Seq]...)
		st.Last = e.Seq
	}
	return st, nil
}

func (m *memory) Cursor(context.Context, string) (int64, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.cursor, m.readErr
}

func (m *memory) SetCursor(_ context.Context, name string, to int64) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.saveErr != nil {
		return m.saveErr
	}
	if name != "influx" {
		return fmt.Errorf("cursor of another: %q", name)
	}
	m.cursor, m.saves = to, m.saves+1
	return nil
}

func (m *memory) Park(_ context.Context, rows []farm.Parked) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.parkErr != nil {
		return m.parkErr
	}
	m.parked = append(m.parked, rows...)
	return nil
}

func (m *memory) Span(_ context.Context, from, to time.Time) (first, last int64, err error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for _, e := range m.events {
		if e.Arrived.Before(from) || !e.Arrived.Before(to) {
			continue
		}
		if first == 0 {
			first = e.Seq
		}
		last = e.Seq
	}
	return first, last, nil
}

// with changes something under the lock.
func (m *memory) with(change func()) {
	m.mu.Lock()
	defer m.mu.Unlock()
	change()
}

func (m *memory) saved() int64 { m.mu.Lock(); defer m.mu.Unlock(); return m.cursor }

func (m *memory) last() int64 { m.mu.Lock(); defer m.mu.Unlock(); return int64(len(m.events)) }

// add appends an event and gives its place.
func (m *memory) add(e farm.Event, changes ...farm.Change) int64 {
	m.mu.Lock()
	defer m.mu.Unlock()
	e.Seq = int64(len(m.events)) + 1
	m.events = append(m.events, e)
	if len(changes) > 0 {
		if m.changes == nil {
			m.changes = make(map[int64][]farm.Change)
		}
		m.changes[e.Seq] = changes
	}
	return e.Seq
}

// fill appends n readings of bed-t, a minute apart from at on.
func (m *memory) fill(n int, at time.Time) {
	for i := range n {
		m.add(readingAt("bed-t", at.Add(time.Duration(i)*time.Minute), 15+float64(i%80)/10))
	}
}

func readingAt(probe string, at time.Time, v float64) farm.Event {
	return farm.Event{Kind: farm.EventReading, Arrived: at,
		Reading: farm.Reading{Probe: probe, At: at, Raw: v, Value: v}}
}

var errDisk = errors.New("disk trouble")

// A run is a forwarder at work in a test.
type run struct {
	*influx.Forwarder
	stop func()
}

// forward starts a forwarder that ends with the test or by stop.
func forward(t *testing.T, cfg influx.Config, f farm.Farm, j influx.Journal, tell func(farm.Trouble) error) run {
	t.Helper()
	fw, err := influx.New(cfg, unchanging(f), j, tell)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- fw.Run(ctx) }()
	stop := sync.OnceFunc(func() {
		cancel()
		if err := <-done; err != nil {
			t.Errorf("run: %v", err)
		}
	})
	t.Cleanup(stop)
	return run{fw, stop}
}

// unchanging is a farm that no reload changes.
func unchanging(f farm.Farm) func(int64) *farm.Farm { return func(int64) *farm.Farm { return &f } }
