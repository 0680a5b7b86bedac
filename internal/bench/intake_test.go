package main_test

import (
	"context"
	"fmt"
	"log/slog"
	"path/filepath"
	"slices"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
	"binwatchd/internal/journal"
	"binwatchd/internal/watch"
)

// waiting is how many messages wait at the broker when a round begins.
const waiting = 20_000

// A queue holds messages for a subscriber that is away.
type queue interface {
	url() string
	fill(session string, filters, topics, payloads []string)
	forget(session string)
}

// BenchmarkIntake lets a broker's queue drain, in turns into the daemon's intake,
// which is the live loop on a journal on disk, and into a bare client that does
// nothing but acknowledge. The figure is the ratio of both in one round, the
// median of all rounds with the order changing.
func BenchmarkIntake(b *testing.B) {
	for _, c := range []struct {
		name string
		open func(*testing.B) queue
	}{
		{"mosquitto_20_in_flight", func(b *testing.B) queue { return openMosquitto(b, 20) }},
		{"mosquitto_200_in_flight", func(b *testing.B) queue { return openMosquitto(b, 200) }},
		{"strictly_20_in_flight", func(b *testing.B) queue { return openWindow(b, 20) }},
		{"strictly_200_in_flight", func(b *testing.B) queue { return openWindow(b, 200) }},
	} {
		b.Run(c.name, func(b *testing.B) { takeTurns(b, newIntake(b, c.open(b))) })
	}
}

func takeTurns(b *testing.B, in *intakeRig) {
	bare, durable, ratio := inTurns(b, in.bare, in.durable)
	b.ReportMetric(waiting/bare.Seconds(), "bare-messages/s")
	b.ReportMetric(waiting/durable.Seconds(), "durable-messages/s")
	b.ReportMetric(ratio, "ratio")
}

// inTurns measures two things in turns, the first before the second in one round
// and after it in the next. It gives the mean of each, and how many times faster
// the second was than the first, the median of all rounds.
func inTurns(b *testing.B, first, second func() time.Duration) (a, z time.Duration, ratio float64) {
	rounds := [2]func() time.Duration{first, second}
	var spent [2]time.Duration
	var ratios []float64
	for b.Loop() {
		round, before := len(ratios), spent
		for k := range rounds {
			which := (k + round) % 2
			spent[which] += rounds[which]()
		}
		ratios = append(ratios, (spent[0]-before[0]).Seconds()/(spent[1]-before[1]).Seconds())
	}
	slices.Sort(ratios)
	n := time.Duration(len(ratios))
	return spent[0] / n, spent[1] / n, ratios[n/2]
}

// An intakeRig has a broker, and a journal that grows from round to round.
type intakeRig struct {
	b       *testing.B
	queue   queue
	farm    *farm.Farm
	journal *journal.Journal
	filters []string
	low     bool // what the battery said last
}

func newIntake(b *testing.B, q queue) *intakeRig {
	r := &intakeRig{b: b, queue: q, farm: glasshouse(20)}
	r.filters = ingest.NewDecoder(r.farm, "binwatch").Filters()
	var err error
	r.journal, err = journal.Open(b.Context(), journal.Config{Path: filepath.Join(b.TempDir(), "journal.db"), Now: time.Now})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		if err := r.journal.Close(); err != nil {
			b.Error(err)
		}
	})
	if err := r.journal.SetFarm(b.Context(), r.farm); err != nil {
		b.Fatal(err)
	}
	return r
}

// fill leaves messages at the broker. The last one tells of a battery that is
// low, or no longer, so that it is seen when it is on disk.
func (r *intakeRig) fill(session string, low bool) {
	var topics, payloads []string
	for i := range waiting - 1 {
		p := r.farm.Probes[i%20]
		topics, payloads = append(topics, p.Topic), append(payloads, says(p, i/20))
	}
	level := "3.9"
	if low {
		level = "2.9"
	}
	r.queue.fill(session, r.filters, append(topics, "glass/battery"), append(payloads, level))
}

// bare is the least that a subscriber can do.
func (r *intakeRig) bare() time.Duration {
	r.fill("bare", r.low)
	defer r.queue.forget("bare")
	all := make(chan struct{})
	n := 0
	c := mqtt.NewClient(mqtt.NewClientOptions().AddBroker(r.queue.url()).SetClientID("bare").SetCleanSession(false).SetAutoReconnect(false).
		SetDefaultPublishHandler(func(mqtt.Client, mqtt.Message) {
			if n++; n == waiting {
				close(all)
			}
		}))
	began := time.Now()
	brokertest.Done(r.b, "connect", c.Connect())
	brokertest.Done(r.b, "subscribe", c.SubscribeMultiple(wanted(r.filters), nil))
	<-all
	spent := time.Since(began)
	c.Disconnect(250)
	return spent
}

// durable is the daemon's intake, until the last message is on disk.
func (r *intakeRig) durable() time.Duration {
	r.low = !r.low
	r.fill("durable", r.low)
	defer r.queue.forget("durable")
	source := ingest.NewSource(ingest.SourceConfig{
		BrokerSettings: ingest.BrokerSettings{URL: r.queue.url(), ClientID: "durable"}, Filters: r.filters, Log: slog.New(slog.DiscardHandler), Now: time.Now})
	last := make(chan struct{}, 1)
	loop, err := watch.New(r.b.Context(), watch.Config{
		Farm: r.farm, Digest: "bench", Prefix: "binwatch", Flush: 30 * time.Second, Journal: r.journal, Source: source,
		Owes: func(farm.Change) []farm.Owed { return nil }, Log: slog.New(slog.DiscardHandler), Now: time.Now,
		Said: func(changes []farm.Change) {
			if slices.ContainsFunc(changes, func(ch farm.Change) bool { return ch.Condition == farm.BatteryLow }) {
				last <- struct{}{}
			}
		}})
	if err != nil {
		r.b.Fatal(err)
	}
	before, err := r.journal.Last(r.b.Context())
	if err != nil {
		r.b.Fatal(err)
	}
	ctx, cancel := context.WithCancel(r.b.Context())
	ended := make(chan error, 2)
	began := time.Now()
	go func() { ended <- loop.Run(ctx) }()
	go func() { ended <- source.Run(ctx) }()
	<-last
	spent := time.Since(began)
	cancel()
	for range 2 {
		if err := <-ended; err != nil {
			r.b.Fatal(err)
		}
	}
	r.kept(before)
	return spent
}

// kept checks that every message of a round became one reading.
func (r *intakeRig) kept(before int64) {
	n := 0
	err := r.journal.Replay(r.b.Context(), before, func(e farm.Event) error {
		if e.Kind == farm.EventReading {
			n++
		}
		return nil
	})
	if err != nil || n != waiting {
		r.b.Fatalf("%d messages became %d readings (%v)", waiting, n, err)
	}
}

// A realQueue is a mosquitto. It is started with room for all that is queued;
// its window is as its own default or as given.
type realQueue struct {
	b      *testing.B
	broker *brokertest.Broker
	probes mqtt.Client
}

func openMosquitto(b *testing.B, inFlight int) *realQueue {
	broker := brokertest.StartMosquitto(b, brokertest.Options{
		Extra: fmt.Sprintf("max_inflight_messages %d\nmax_queued_messages 0\nlog_type error", inFlight)})
	return &realQueue{b, broker, brokertest.Client(b, broker.URL, "probes", "", "")}
}

func (q *realQueue) url() string { return q.broker.URL }

func (q *realQueue) fill(session string, filters, topics, payloads []string) {
	c := q.visit(session, false)
	brokertest.Done(q.b, "subscribe", c.SubscribeMultiple(wanted(filters), nil))
	c.Disconnect(100)
	var tokens []mqtt.Token
	for i := range topics {
		tokens = append(tokens, q.probes.Publish(topics[i], 1, false, payloads[i]))
		if len(tokens) == 500 || i == len(topics)-1 {
			for _, t := range tokens {
				brokertest.Done(q.b, "publish", t)
			}
			tokens = tokens[:0]
		}
	}
}

// forget ends a session, which would else queue what is meant for the next one.
func (q *realQueue) forget(session string) { q.visit(session, true).Disconnect(100) }

func (q *realQueue) visit(session string, clean bool) mqtt.Client {
	c := mqtt.NewClient(mqtt.NewClientOptions().AddBroker(q.url()).SetClientID(session).SetCleanSession(clean))
	brokertest.Done(q.b, "connect", c.Connect())
	return c
}

func wanted(filters []string) map[string]byte {
	out := map[string]byte{}
	for _, f := range filters {
		out[f] = 1
	}
	return out
}
