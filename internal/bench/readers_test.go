package main_test

import (
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"binwatchd/internal/brokertest"
)

const (
	readers = 200
	stretch = 10 * time.Second // with readers, and without, in turns
	scrapes = 50
)

// BenchmarkReaders is the daemon as the broker of 200 probes that speak every second, with
// two days behind it, while 200 readers ask for its pages as fast as they are answered and
// while nobody does: how long a probe waits for its acknowledgement, how many readers were
// sent away, the most memory, and what a scrape costs. What asks and speaks runs on the same
// machine.
func BenchmarkReaders(b *testing.B) {
	page, own := freeAddress(b), freeAddress(b)
	cfg := write(b, "binwatchd.yaml", strings.Replace(yearYAML(manyProbes, "X", filepath.Join(b.TempDir(), "journal.db"), page), `{url: "X"}`, fmt.Sprintf("{listen: %q}", own), 1))
	liveThrough(b, cfg, 48*time.Hour, 10*time.Minute)
	c := startChild(b, cfg)
	c.says("broker reached")
	var alone, beside waits
	var got answers
	for b.Loop() {
		alone = append(alone, speak(b, own, stretch)...)
		stop := read(page, &got)
		beside = append(beside, speak(b, own, stretch)...)
		stop()
	}
	b.ReportMetric(milliseconds(alone.at(0.99)), "alone-p99-ms")
	b.ReportMetric(milliseconds(beside.at(0.99)), "beside-p99-ms")
	b.ReportMetric(float64(len(got.took)), "pages")
	b.ReportMetric(float64(got.away), "sent-away")
	b.ReportMetric(float64(got.bad), "bad")
	b.ReportMetric(got.took.at(0.5).Seconds(), "page-p50-s")
	b.ReportMetric(got.took.at(0.99).Seconds(), "page-p99-s")
	b.ReportMetric(c.memory("VmHWM"), "peak-MB")
	before := c.worked()
	for range scrapes {
		get(b, "http://"+page+"/metrics")
	}
	b.ReportMetric(milliseconds(c.worked()-before)/scrapes/manyProbes, "scrape-ms/probe")
	c.stop()
}

// waits are how long each of many waited.
type waits []time.Duration

// at is the wait that a part of them did not exceed.
func (w waits) at(part float64) time.Duration {
	slices.Sort(w)
	return w[min(len(w)-1, int(part*float64(len(w))))]
}

// speak lets every probe speak once a second for so long, and gives how long each waited
// for its acknowledgement.
func speak(b *testing.B, broker string, long time.Duration) waits {
	var clients []mqtt.Client
	for i := range manyProbes { // a device each: our broker takes one message of a connection at a time
		clients = append(clients, brokertest.Client(b, "tcp://"+broker, fmt.Sprint("device-", i), "", ""))
	}
	var mu sync.Mutex
	var all waits
	var answered sync.WaitGroup
	f, turn := glasshouse(manyProbes), time.NewTicker(time.Second/manyProbes)
	defer turn.Stop()
	for n := range int(long.Seconds()) * manyProbes {
		<-turn.C
		p := f.Probes[n%manyProbes]
		began, token := time.Now(), clients[n%manyProbes].Publish(p.Topic, 1, false, says(p, n/manyProbes))
		answered.Go(func() {
			token.Wait()
			mu.Lock()
			defer mu.Unlock()
			all = append(all, time.Since(began))
		})
	}
	answered.Wait()
	for _, c := range clients {
		c.Disconnect(50)
	}
	return all
}

// answers are what readers got.
type answers struct {
	mu        sync.Mutex
	took      waits // until a page was there
	away, bad int   // asked to come again; anything else
}

// read lets all readers ask, each again once it is answered, until the function it gives is
// called.
func read(page string, got *answers) (stop func()) {
	over := make(chan struct{})
	var all sync.WaitGroup
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: readers, DisableCompression: true}}
	for i := range readers {
		paths := []string{"/", fmt.Sprintf("/bins/bed%d", i%(manyProbes/2)), "/rounds", "/probes"}
		all.Go(func() {
			for n := i; ; n++ {
				select {
				case <-over:
					return
				default:
				}
				got.ask(client, "http://"+page+paths[n%len(paths)])
			}
		})
	}
	return func() { close(over); all.Wait(); client.CloseIdleConnections() }
}

func (a *answers) ask(client *http.Client, url string) {
	began, status := time.Now(), 0
	r, _ := http.NewRequest(http.MethodGet, url, nil) // the address is our own
	r.Header.Set("Accept-Encoding", "gzip")           // as a phone does
	if resp, err := client.Do(r); err == nil {
		status = resp.StatusCode
		if _, err := io.Copy(io.Discard, resp.Body); err != nil {
			status = 0
		}
		resp.Body.Close()
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	switch status {
	case http.StatusOK:
		a.took = append(a.took, time.Since(began))
	case http.StatusServiceUnavailable:
		a.away++
	default:
		a.bad++
	}
}

// worked is how long the processor has worked for the daemon (proc(5): clock ticks, of
// which Linux tells programs of 100 a second).
func (c *child) worked() time.Duration {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", c.cmd.Process.Pid))
	if err != nil {
		c.b.Fatal(err)
	}
	_, after, _ := strings.Cut(string(text), ") ")
	fields := strings.Fields(after)
	var user, system int64
	if _, err := fmt.Sscan(fields[11]+" "+fields[12], &user, &system); err != nil {
		c.b.Fatal(err)
	}
	return time.Duration(user+system) * 10 * time.Millisecond
}
