package watch_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"binwatchd/internal/clock"
	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
	"binwatchd/internal/ingest"
	"binwatchd/internal/journal"
	"binwatchd/internal/watch"
)

func bed() *farm.Farm {
	return &farm.Farm{
		Name: "Hillfoot Nursery", Units: farm.Metric, Location: time.UTC, Species: husbandry.Species(), Feeds: husbandry.Feeds(),
		Probes: []farm.Probe{
			{ID: "t", Topic: "bed/t", Measures: farm.Temperature, Unit: farm.Celsius, Every: 10 * time.Minute},
			{ID: "m", Topic: "bed/m", Measures: farm.Moisture, Unit: farm.Percent, Every: 10 * time.Minute},
			{ID: "s", Topic: "bed/s", Value: "/v", Time: "/at", Measures: farm.Temperature, Unit: farm.Celsius, Every: 24 * time.Hour},
			{ID: "s2", Topic: "bed/s", Value: "/v2", Time: "/at", Measures: farm.Temperature, Unit: farm.Celsius, Every: 24 * time.Hour},
		},
		Bins: []farm.Bin{{
			Name: "bed", Species: []farm.Share{{Species: "red", Fraction: 1}}, VolumeL: 100,
			Zones: []farm.Zone{{
				Name: "near", Aim: farm.Living, Probes: []string{"t", "m"}, Share: 1, Patience: 30 * time.Minute,
				Margin:    map[farm.Quantity]float64{farm.Temperature: 0.5, farm.Moisture: 2},
				LookAhead: farm.LookAhead{Heating: 12 * time.Hour, Drying: 7 * 24 * time.Hour},
			}},
		}},
		Rooms: []farm.Room{{Name: "yard", Ahead: "weather/hours"}},
	}
}

// A broker is a hand-driven source with packet ids and acknowledgements.
type broker struct {
	items      chan ingest.Item
	reconnects atomic.Int32

	mu    sync.Mutex
	next  uint16
	acked []uint16
}

func newBroker() *broker { return &broker{items: make(chan ingest.Item, 4096)} }

func (b *broker) Items() <-chan ingest.Item { return b.items }
func (b *broker) Reconnect()                { b.reconnects.Add(1) }

func (b *broker) link(up, resumed bool) {
	l := &ingest.Link{Up: up, Resumed: resumed}
	if resumed {
		l.Backlog = farm.Marked
	}
	b.items <- ingest.Item{Link: l}
}

// caught says that the marker has come back.
func (b *broker) caught() {
	b.items <- ingest.Item{Delivery: &ingest.Delivery{Topic: "binwatch/marker/test", Own: true, Caught: true, Ack: func() {}}}
}

// publish sends a new message and gives its packet id.
func (b *broker) publish(topic, payload string) uint16 {
	b.mu.Lock()
	b.next++
	id := b.next
	b.mu.Unlock()
	b.send(id, topic, payload, false)
	return id
}

func (b *broker) send(id uint16, topic, payload string, dup bool) { b.from(0, id, topic, payload, dup) }

// from hands over what a sender of its own has numbered.
func (b *broker) from(sender uint32, id uint16, topic, payload string, dup bool) {
	b.items <- ingest.Item{Delivery: &ingest.Delivery{
		Topic: topic, Payload: []byte(payload), QoS: 1, ID: id, Sender: sender, Dup: dup,
		Ack: func() {
			b.mu.Lock()
			defer b.mu.Unlock()
			b.acked = append(b.acked, id)
		},
	}}
}

func (b *broker) acks() []uint16 {
	b.mu.Lock()
	defer b.mu.Unlock()
	return append([]uint16(nil), b.acked...)
}

// A disk fails on demand, and counts how often it did.
type disk struct {
	failed atomic.Int32
	mu     sync.Mutex
	err    error
	during func() // called once, in the middle of the next write
}

func (d *disk) set(err error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.err = err
}

// meanwhile has something happen in the middle of the next write.
func (d *disk) meanwhile(do func()) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.during = do
}

func (d *disk) fault(stage string) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if stage == "begin" && d.during != nil {
		d.during()
		d.during = nil
	}
	if stage != "commit" || d.err == nil {
		return nil
	}
	d.failed.Add(1)
	return d.err
}

var errWorn = fmt.Errorf("worn card: %w", journal.ErrDisk)

// flush is that of a rig: what the broker would send again waits four times as long at most.
const flush = 10 * time.Second

// A rig is a loop on a real journal file with a broker driven by hand.
type rig struct {
	log     bytes.Buffer // of the loop; to be read when nothing runs
	t       *testing.T
	path    string
	disk    *disk
	broker  *broker
	journal *journal.Journal
	loop    *watch.Loop
	mu      sync.Mutex // guards cries and moved
	cries   []farm.Change
	moved   []int64 // from where on times were put right
	stop    func()
	now     func() time.Time
	clock   *clock.Sources // nil: now is right
	built   time.Time
	source  func(context.Context) watch.Source // a running one; nil: broker
}

func (r *rig) move(from int64) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.moved = append(r.moved, from)
}

func newRig(t *testing.T, now func() time.Time) *rig {
	t.Helper()
	r := &rig{t: t, path: filepath.Join(t.TempDir(), "journal.db"), now: now}
	r.start()
	return r
}

func (r *rig) start() {
	r.t.Helper()
	ctx := context.Background()
	r.disk, r.broker = &disk{}, newBroker()
	var err error
	r.journal, err = journal.Open(ctx, journal.Config{Path: r.path, Now: r.now, Fault: r.disk.fault})
	if err != nil {
		r.t.Fatal(err)
	}
	if err := r.journal.SetFarm(ctx, bed()); err != nil {
		r.t.Fatal(err)
	}
	run, cancel := context.WithCancel(ctx)
	source := watch.Source(r.broker)
	if r.source != nil {
		source = r.source(run)
	}
	r.loop, err = watch.New(ctx, watch.Config{
		Farm: bed(), Digest: "one", Prefix: "binwatch", Flush: flush, Journal: r.journal, Source: source,
		Owes: func(ch farm.Change) []farm.Owed {
			return []farm.Owed{{Teller: "mail:keeper@example.org", Notice: ch.Episode + string(ch.Change) + ch.At.String()}}
		},
		TellNow: r.cry, Moved: r.move,
		Log: slog.New(slog.NewTextHandler(&r.log, nil)), Now: r.now, Clock: r.clock, Built: r.built,
	})
	if err != nil {
		r.t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- r.loop.Run(run) }()
	r.stop = sync.OnceFunc(func() {
		cancel()
		if err := <-ended; err != nil && !errors.Is(err, errWorn) {
			r.t.Errorf("loop ended with %v", err)
		}
		if err := r.journal.Close(); err != nil {
			r.t.Errorf("close journal: %v", err)
		}
	})
	r.t.Cleanup(func() { r.stop() })
}

func (r *rig) cry(ch farm.Change) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.cries = append(r.cries, ch)
}

// cried lists what was told from memory.
func (r *rig) cried() []farm.Change {
	r.mu.Lock()
	defer r.mu.Unlock()
	return slices.Clone(r.cries)
}

// readings lists what is on disk for a probe.
func (r *rig) readings(probe string) []float64 {
	r.t.Helper()
	var out []float64
	err := r.journal.Replay(context.Background(), 0, func(e farm.Event) error {
		if e.Kind == farm.EventReading && e.Reading.Probe == probe {
			out = append(out, e.Reading.Raw)
		}
		return nil
	})
	if err != nil {
		r.t.Fatal(err)
	}
	return out
}
