package main

import (
	"fmt"
	"path/filepath"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/farm"
	"binwatchd/internal/proctest"
)

const stormYAML = `farm: Hillfoot Nursery
timezone: UTC
broker: {url: %q}
journal: {path: %q, flush: 1s}
probes:
  n: {topic: chaos/n, value: /v, time: /at, measures: temperature, every: 1h}
  wild: {topic: "storm/wild", measures: temperature}
  calm: {topic: "storm/calm", measures: temperature}
bins:
  bed: {species: red, zones: {all: {aim: living, probes: [n]}}}
  wild: {species: red, zones: {all: {aim: living, probes: [wild]}}}
  calm: {species: red, zones: {all: {aim: living, probes: [calm]}}}
`

// stormy is how many messages each of the wild probes sends, as fast as the
// broker takes them.
const stormy = 5000

// Probes gone wild, one with numbers and one with garbage, do no harm to the
// others: what comes with QoS 1 is kept, each once, the daemon answers
// meanwhile, and what is QoS 0 is counted or dropped, never waited for.
func TestProbeStorm(t *testing.T) {
	t.Parallel()
	b := brokertest.StartMosquitto(t, brokertest.Options{Extra: "max_queued_messages 1000000"})
	dir := t.TempDir()
	db := filepath.Join(dir, "journal.db")
	cfg := write(t, dir, "binwatchd.yaml", fmt.Sprintf(stormYAML, b.URL, db))
	c := startChild(t, nil, "run", "--config", cfg)
	c.Says("broker reached")

	ended := make(chan struct{})
	go func() {
		defer close(ended)
		wild(b.URL)
	}()
	l := startStream(t, b.URL, 100) // 5000 a second, if the broker can
	l.sends(stormy / 2)
	b.Publish("storm/calm", 1, false, "19.5") // in the midst of it
	nowView(t, cfg)                           // the daemon answers
	l.sends(stormy / 2)
	l.stop()
	<-ended

	kept := newLedger(t, db)
	proctest.Eventually(t, "all numbers are kept", func() bool { kept.read(); return kept.last >= l.last() })
	proctest.Eventually(t, "the calm probe is heard", func() bool { return probeOf(nowView(t, cfg), "calm").Raw != nil })
	v := nowView(t, cfg)
	c.Stop()
	kept.read()
	n, _ := kept.check(l, nil, nil)
	calm, bad := probeOf(v, "calm"), probeOf(v, "wild")
	if calm.Raw == nil || *calm.Raw != 19.5 || calm.Doubt != "" || len(calm.Rejected) > 0 {
		t.Errorf("got of the calm probe %+v, want its one reading, not doubted", calm)
	}
	rejected := int64(0)
	for _, k := range bad.Rejected {
		rejected += k
	}
	if rejected == 0 || rejected > stormy {
		t.Errorf("got %d messages of the wild probe rejected, want some and no more than the %d sent", rejected, stormy)
	}
	t.Logf("%d numbers kept, %d of %d wild messages heard and rejected", n, rejected, stormy)
}

// wild sends garbage with QoS 0 from a client of its own.
func wild(url string) {
	c := mqtt.NewClient(mqtt.NewClientOptions().AddBroker(url).SetAutoReconnect(false).SetConnectTimeout(5 * time.Second))
	if token := c.Connect(); token.Wait() && token.Error() != nil {
		return // the test finds nothing rejected
	}
	defer c.Disconnect(1000)
	for n := range stormy {
		c.Publish("storm/wild", 0, false, fmt.Sprintf("\xff%d", n)).Wait()
	}
}

func probeOf(v farm.View, id string) farm.ProbeView {
	for _, p := range v.Probes {
		if p.ID == id {
			return p
		}
	}
	return farm.ProbeView{}
}
