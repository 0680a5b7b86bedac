package ingest_test

import (
	"fmt"
	"runtime"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/ingest"
)

// A broker of somebody else may carry anything: messages of ten megabytes that nobody
// acknowledges yet, at a quality of service that nobody asked for, and thousands of
// retained ones at each subscription. What waits takes little memory, and a probe is heard
// behind all that, once.
func TestAForeignBrokersFloods(t *testing.T) {
	b := brokertest.StartMosquitto(t, brokertest.Options{Extra: "max_queued_messages 100000"})
	pub := brokertest.Client(t, b.URL, "flood", "", "")
	const stored = 2000
	for i := range stored {
		pub.Publish(fmt.Sprint("rack/", i, "/t"), 1, true, "21.5")
	}
	brokertest.Done(t, "publish the last", pub.Publish("rack/last/t", 1, true, "21.5"))
	_, h := source(t, b, func(c *ingest.SourceConfig) { c.Filters = []string{"hillfoot/#", "rack/+/t"} })
	h.up()
	for i := range stored + 1 {
		d := h.delivery()
		if !d.Retained || string(d.Payload) != "21.5" {
			t.Fatalf("stored message %d is %+v", i, d)
		}
		d.Ack()
	}
	const large = 5 // fewer than a broker leaves unacknowledged
	heap := func() int64 {
		var m runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&m)
		return int64(m.HeapAlloc)
	}
	before := heap()
	var held []*ingest.Delivery
	for range large {
		brokertest.Done(t, "publish ten megabytes", pub.Publish("hillfoot/far-m", 2, false, strings.Repeat("9", 10<<20)))
		held = append(held, h.delivery())
	}
	if more := heap() - before; more > large*10<<20/2 {
		t.Errorf("%d messages of 10 MB that wait take %d MB", large, more>>20)
	}
	decoder := ingest.NewDecoder(nursery(tenMinutes), "binwatch")
	for _, d := range held {
		got := decoder.Decode("hillfoot/far-m", d.Payload, time.Now())
		if d.QoS != 1 || len(got.Readings) > 0 || len(got.Rejected) != 1 || got.Rejected[0].Reason != ingest.TooLarge {
			t.Fatalf("QoS %d, %d bytes: %+v", d.QoS, len(d.Payload), got)
		}
		d.Ack()
	}
	b.Publish("hillfoot/far-m", 2, false, "22.5")
	if d := h.delivery(); string(d.Payload) != "22.5" || d.Dup || d.QoS != 1 {
		t.Errorf("behind the floods came %+v", d)
	}
}
