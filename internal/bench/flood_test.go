package main_test

import (
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"binwatchd/internal/brokertest"
)

const (
	flood  = 2_000_000 // messages
	floods = 20        // memory is looked at so often, as the table has it
	quiet  = time.Minute
)

// BenchmarkFlood is the daemon's memory while two million messages of 200 probes come as fast
// as it takes them, and before that the work of the processor while each speaks once a minute.
func BenchmarkFlood(b *testing.B) {
	broker := brokertest.StartMosquitto(b, brokertest.Options{Extra: "max_queued_messages 0\nlog_type error"})
	cfg := write(b, "binwatchd.yaml", yearYAML(manyProbes, broker.URL, filepath.Join(b.TempDir(), "journal.db"), freeAddress(b)))
	probes := brokertest.Client(b, broker.URL, "probes", "", "")
	defer probes.Disconnect(50)
	f := glasshouse(manyProbes)
	for b.Loop() {
		liveThrough(b, cfg, 48*time.Hour, 10*time.Minute)
		c := startChild(b, cfg)
		c.says("broker reached")
		n := 0
		say := func(wait bool) {
			p := f.Probes[n%manyProbes]
			token := probes.Publish(p.Topic, 1, false, says(p, n/manyProbes))
			if n++; wait {
				brokertest.Done(b, "publish", token)
			}
		}
		before, turn := c.worked(), time.NewTicker(time.Minute/manyProbes)
		for began := time.Now(); time.Since(began) < quiet; {
			<-turn.C
			say(true)
		}
		turn.Stop()
		b.ReportMetric(100*(c.worked()-before).Seconds()/quiet.Seconds(), "idle-%")
		for i := range floods {
			for k := range flood / floods {
				say(k%1000 == 0)
			}
			publish(b, broker, "glass/battery", []string{"2.9", "3.9"}[i%2]) // what came before is on disk
			c.says("condition=battery-low")
			b.ReportMetric(c.memory("VmRSS"), fmt.Sprintf("MB-%02d", i))
		}
		b.ReportMetric(c.memory("VmHWM"), "peak-MB")
		c.stop()
	}
}
