package main_test

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/config"
	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
	"binwatchd/internal/journal"
	"binwatchd/internal/watch"
)

const (
	manyProbes = 200
	longPast   = 365 * 24 * time.Hour
	starts     = 15
	settling   = 150 * time.Second // more than the two minutes after which the daemon gives memory back
	watching   = 130 * time.Second // from there to the next time
)

// BenchmarkYear is the program itself on a farm of 200 probes that have spoken
// every ten minutes for a year: how long from its start until the first message
// is judged and on disk, and how much memory it holds while they go on speaking.
func BenchmarkYear(b *testing.B) {
	broker := brokertest.StartMosquitto(b, brokertest.Options{Extra: "max_queued_messages 0\nlog_type error"})
	page, dir := freeAddress(b), b.TempDir()
	cfg := write(b, "binwatchd.yaml", yearYAML(manyProbes, broker.URL, filepath.Join(dir, "journal.db"), page))
	for b.Loop() {
		readings := liveThrough(b, cfg, longPast, 10*time.Minute)
		b.ReportMetric(float64(readings), "readings")
	}
	c := startChild(b, cfg)
	c.says("broker reached")
	c.stop()

	var took []time.Duration
	for i := range starts {
		publish(b, broker, "glass/battery", []string{"2.9", "3.9"}[i%2])
		c := startChild(b, cfg)
		took = append(took, c.says("condition=battery-low").Sub(c.began))
		c.stop()
	}
	slices.Sort(took)
	b.ReportMetric(float64(took[starts/2].Microseconds())/1000, "start-ms")

	c = startChild(b, cfg)
	c.says("broker reached")
	day(b, broker)
	b.ReportMetric(settled(b, c, broker), "at-work-MB")
	for _, path := range []string{"/", "/bins/bed0?span=1y", "/bins/bed1?span=3mo", "/probes", "/rounds", "/metrics", "/api/now"} {
		get(b, "http://"+page+path)
	}
	b.ReportMetric(settled(b, c, broker), "looked-at-MB")
	b.ReportMetric(c.memory("RssFile"), "file-MB")
	b.ReportMetric(c.memory("VmHWM"), "peak-MB")
	c.end(syscall.SIGTERM)
}

// settled lets the probes speak on, each every ten minutes, and gives the most
// that was resident once what came before has been given back.
func settled(b *testing.B, c *child, broker *brokertest.Broker) (most float64) {
	probes := brokertest.Client(b, broker.URL, "probes", "", "")
	defer probes.Disconnect(50)
	f := glasshouse(manyProbes)
	turn := time.NewTicker(10 * time.Minute / manyProbes)
	defer turn.Stop()
	began := time.Now()
	for n := 0; time.Since(began) < settling+watching; n++ {
		<-turn.C
		p := f.Probes[n%manyProbes]
		brokertest.Done(b, "publish", probes.Publish(p.Topic, 1, false, says(p, 10*n)))
		if time.Since(began) > settling {
			most = max(most, c.memory("VmRSS"))
		}
	}
	return most
}

// day lets every probe speak as often as in a day, as a broker's queue does.
func day(b *testing.B, broker *brokertest.Broker) {
	probes := brokertest.Client(b, broker.URL, "probes", "", "")
	defer probes.Disconnect(50)
	f := glasshouse(manyProbes)
	for i := range 144 {
		for _, p := range f.Probes[:manyProbes] {
			token := probes.Publish(p.Topic, 1, false, says(p, 10*i))
			if i%5 == 0 {
				brokertest.Done(b, "publish", token)
			}
		}
	}
}

func get(b *testing.B, url string) {
	resp, err := http.Get(url)
	if err != nil {
		b.Fatal(err)
	}
	defer resp.Body.Close()
	if _, err := io.Copy(io.Discard, resp.Body); err != nil || resp.StatusCode != http.StatusOK {
		b.Fatalf("%s: %s, %v", url, resp.Status, err)
	}
}

func freeAddress(b *testing.B) string {
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	defer ln.Close()
	return ln.Addr().String()
}

// yearYAML is the glasshouse as a keeper writes it.
func yearYAML(probes int, broker, journal, page string) string {
	var y strings.Builder
	fmt.Fprintf(&y, "farm: Hillfoot Nursery\ntimezone: UTC\nbroker: {url: %q}\njournal: {path: %q}\npage: {listen: %q}\nprobes:\n", broker, journal, page)
	f := glasshouse(probes)
	for _, p := range f.Probes {
		fmt.Fprintf(&y, "  %s: {topic: %s, measures: %s", p.ID, p.Topic, p.Measures)
		if p.Measures == farm.Battery {
			y.WriteString(", low: 3.3, of: [t0]")
		}
		y.WriteString("}\n")
	}
	y.WriteString("bins:\n")
	for _, bin := range f.Bins {
		fmt.Fprintf(&y, "  %s: {species: red, volume: 100 L, zones: {all: {aim: living, probes: [%s]}}}\n", bin.Name, strings.Join(bin.Zones[0].Probes, ", "))
	}
	return y.String()
}

// liveThrough lets a past that ends now go through the live loop, folded as it
// goes: each probe speaks every so often, and each bed is watered and fed once a week. It
// gives the number of readings.
func liveThrough(b *testing.B, path string, past, every time.Duration) (readings int) {
	ctx := context.Background()
	cfg, err := config.Load(path, config.ForRun)
	if err != nil {
		b.Fatal(err)
	}
	now := time.Now().UTC().Add(-past).Truncate(time.Minute)
	clock := func() time.Time { return now }
	j, err := journal.Open(ctx, journal.Config{Path: cfg.Journal.Path, Keep: cfg.Journal.Keep, Now: clock})
	if err != nil {
		b.Fatal(err)
	}
	defer j.Close()
	if err := j.SetFarm(ctx, &cfg.Farm); err != nil {
		b.Fatal(err)
	}
	loop, err := watch.New(ctx, watch.Config{
		Farm: &cfg.Farm, Digest: "past", Prefix: "binwatch", Flush: cfg.Journal.Flush, Journal: j, Source: mute{},
		Owes: func(farm.Change) []farm.Owed { return nil }, Log: slog.New(slog.DiscardHandler), Now: clock})
	if err != nil {
		b.Fatal(err)
	}
	perDay := int(24 * time.Hour / every)
	for n := 0; time.Since(now) > every; n++ {
		for i, bin := range cfg.Farm.Bins {
			if n%(7*perDay) != perDay*(i%7) {
				continue
			}
			for k, what := range []string{`{"what":"watered","amount":"1 L"}`, `{"what":"fed","amount":"1 kg","of":"scraps"}`} {
				d := &ingest.Delivery{Topic: "binwatch/jot/" + bin.Name, Payload: []byte(what), QoS: 1, ID: uint16(1000 + 2*i + k), Ack: func() {}}
				if err := loop.Relive(ctx, d); err != nil {
					b.Fatal(err)
				}
			}
		}
		for i, p := range cfg.Farm.Probes {
			if p.Measures == farm.Battery {
				continue
			}
			d := &ingest.Delivery{Topic: p.Topic, Payload: []byte(says(p, int(every/time.Minute)*n)), QoS: 1, ID: uint16(1 + i), Ack: func() {}}
			if err := loop.Relive(ctx, d); err != nil {
				b.Fatal(err)
			}
			readings++
		}
		now = now.Add(every)
		if n%perDay == 0 {
			fold(b, loop, j, now)
		}
	}
	fold(b, loop, j, now)
	return readings
}

func fold(b *testing.B, loop *watch.Loop, j *journal.Journal, now time.Time) {
	if err := loop.Relived(context.Background()); err != nil {
		b.Fatal(err)
	}
	if _, err := j.Compact(context.Background(), now, true); err != nil {
		b.Fatal(err)
	}
}

// mute is a source from which nothing comes.
type mute struct{}

func (mute) Items() <-chan ingest.Item { return nil }
func (mute) Reconnect()                {}
