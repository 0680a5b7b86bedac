package watch_test

import (
	"context"
	"fmt"
	"log/slog"
	"path/filepath"
	"slices"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
	"binwatchd/internal/proctest"
	"binwatchd/internal/watch"
)

// A wall is a clock that can be put on, so that an outage of hours takes no time.
type wall struct{ on atomic.Int64 }

func (w *wall) now() time.Time        { return time.Now().Add(time.Duration(w.on.Load())) }
func (w *wall) putOn(d time.Duration) { w.on.Add(int64(d)) }

// onMosquitto is a rig that hears a real broker.
func onMosquitto(t *testing.T, b *brokertest.Broker, w *wall) *rig {
	t.Helper()
	r := &rig{t: t, path: filepath.Join(t.TempDir(), "journal.db"), now: w.now}
	r.source = func(ctx context.Context) watch.Source {
		s := ingest.NewSource(ingest.SourceConfig{
			BrokerSettings: ingest.BrokerSettings{URL: b.URL, ClientID: "binwatchd-hillfoot"}, Filters: ingest.NewDecoder(bed(), "binwatch").Filters(),
			Marker: ingest.MarkerTopic("binwatch", "binwatchd-hillfoot"), Log: slog.New(slog.DiscardHandler), Now: w.now,
			FirstRetry: 10 * time.Millisecond,
		})
		go func() { _ = s.Run(ctx) }() // it runs once
		return s
	}
	r.start()
	return r
}

func (r *rig) connected() {
	r.t.Helper()
	proctest.Eventually(r.t, "the broker is reached", func() bool {
		v, err := r.loop.Look(context.Background())
		return err == nil && v.Intake.Connected && v.Intake.Running
	})
}

func (r *rig) keeps(probe string, n int) {
	r.t.Helper()
	proctest.Eventually(r.t, fmt.Sprint(n, " readings are kept"), func() bool { return len(r.kept(probe)) >= n })
}

// The newcomer on a real broker: `every` is left out, a bare number comes every
// few moments, live, QoS 1, in a fresh session. Then a night without the daemon,
// and live again: only the night is uncertain.
func TestLiveAndQueuedOnARealBroker(t *testing.T) {
	b := brokertest.StartMosquitto(t, brokertest.Options{})
	var w wall
	r := onMosquitto(t, b, &w)
	r.connected()
	c := brokertest.Client(t, b.URL, "", "", "")
	say := func(n int, v string, between time.Duration) {
		for range n {
			brokertest.Done(t, "publish", c.Publish("bed/t", 1, false, v))
			w.putOn(between)
		}
	}
	for i := range 24 { // each is heard before the clock is put on
		say(1, fmt.Sprint(39+float64(i%3)/10), 0)
		proctest.Eventually(t, "it is heard", func() bool {
			v, err := r.loop.Look(context.Background())
			return err == nil && v.Probes[0].Counts[farm.OutcomeBelieved]+v.Probes[0].Counts[farm.OutcomeUncertain] == int64(i+1)
		})
		w.putOn(5 * time.Second)
	}
	r.stop()
	say(60, "21", 0)
	w.putOn(12 * time.Hour)
	r.start()
	r.keeps("t", 24+60-15) // the last few wait for their batch
	proctest.Eventually(t, "the marker comes back", func() bool {
		return slices.ContainsFunc(r.events(), func(e farm.Event) bool { return e.Kind == farm.EventCaught })
	})
	w.putOn(time.Second)
	say(3, "22", 0)
	proctest.Eventually(t, "the live ones are heard", func() bool {
		v, err := r.loop.Look(context.Background())
		return err == nil && v.Probes[0].Counts[farm.OutcomeBelieved] == 3
	})
	r.stop()
	got := map[string]int{}
	for _, one := range r.kept("t") {
		got[fmt.Sprintf("%.0f uncertain %v", one.Raw, one.Uncertain)]++
	}
	want := map[string]int{"39 uncertain false": 24, "21 uncertain true": 60, "22 uncertain false": 3}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("kept (-want +got):\n%s", diff)
	}
}
