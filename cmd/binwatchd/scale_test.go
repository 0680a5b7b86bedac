package main

import (
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"golang.org/x/sys/unix"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/proctest"
)

// With -scale the figures of docs/scale.md are made; without it the smallest
// farm alone is measured, over a single day.
var scale = flag.Bool("scale", false, "measure large farms too")

const scaleEvery = 10 * time.Minute

// A daemon held to one core takes a day or more of a whole farm out of the
// broker's queue, each reading to disk. What that took is printed, not judged;
// that nothing is missing is judged.
func TestWhatOneCoreCarries(t *testing.T) {
	t.Parallel()
	sizes, least := []int{20}, 0
	if *scale {
		sizes, least = append(sizes, 200, 1000), 20_000
	}
	for _, probes := range sizes {
		t.Run(fmt.Sprintf("%d probes", probes), func(t *testing.T) { takeDays(t, probes, max(144, least/probes)) })
	}
}

func takeDays(t *testing.T, probes, each int) {
	t.Helper()
	dir := t.TempDir()
	broker := brokertest.StartMosquitto(t, brokertest.Options{Extra: "max_inflight_messages 200\nmax_queued_messages 0\nlog_type error"})
	page, db := proctest.FreeAddr(t), filepath.Join(dir, "journal.db")
	cfg := write(t, dir, "farm.yaml", scaleYAML(broker.URL, db, page, probes))
	first := onOneCore(t, func() *proctest.Process { return startChild(t, nil, "run", "--config", cfg) })
	first.Says("broker reached")
	toStart := cpuOf(t, first)
	first.Stop() // its session stays
	sendDays(t, broker.URL, probes, each)

	began := time.Now()
	c := onOneCore(t, func() *proctest.Process { return startChild(t, nil, "run", "--config", cfg) })
	c.Says("broker reached")
	all := probes * each
	asked := awaitKept(t, page, all)
	took, cpu := time.Since(began), cpuOf(t, c)-toStart
	asking := costOfAsking(t, c, page)
	cpu -= time.Duration(asked) * asking
	t.Logf("%d readings: %.0f a second, %.0f s of CPU a million; at rest %d MB", all, float64(all)/took.Seconds(), cpu.Seconds()*1e6/float64(all), residentMB(t, c))
	c.Stop()
	if info, err := os.Stat(db); err != nil {
		t.Error(err)
	} else {
		t.Logf("journal: %.0f bytes a reading; to start: %v of CPU; a scrape: %v of CPU", float64(info.Size())/float64(all), toStart, asking)
	}
}

// scaleYAML has pairs of probes, a temperature and a moisture, in a bin each.
func scaleYAML(broker, db, page string, probes int) string {
	var p, b strings.Builder
	for i := range probes / 2 {
		fmt.Fprintf(&p, "  t%[1]d: {topic: glass/t%[1]d, value: /v, time: /at, measures: temperature, every: 10m}\n", i)
		fmt.Fprintf(&p, "  m%[1]d: {topic: glass/m%[1]d, value: /v, time: /at, measures: moisture, every: 10m}\n", i)
		fmt.Fprintf(&b, "  bed%[1]d: {species: red, volume: 100 L, zones: {all: {aim: living, probes: [t%[1]d, m%[1]d]}}}\n", i)
	}
	return fmt.Sprintf("farm: Hillfoot Nursery\ntimezone: UTC\nbroker: {url: %q}\njournal: {path: %q, flush: 1s}\npage: {listen: %q}\nprobes:\n%sbins:\n%s", broker, db, page, &p, &b)
}

// sendDays leaves what all probes say at the broker, in the order of time.
func sendDays(t *testing.T, url string, probes, each int) {
	t.Helper()
	c := brokertest.Client(t, url, "glass", "", "")
	defer c.Disconnect(50)
	from := time.Now().UTC().Add(-time.Duration(each) * scaleEvery)
	var sent []mqtt.Token
	for k := range each {
		at := from.Add(time.Duration(k) * scaleEvery)
		day := 2 * math.Pi * float64(k) / 144
		for i := range probes / 2 {
			ripple := float64((k*7+i*13)%11) / 20
			for kind, v := range map[string]float64{"t": 20 + 3*math.Sin(day) + ripple, "m": 77 + 2*math.Sin(day/3) + ripple} {
				body := fmt.Sprintf(`{"v": %.2f, "at": %q}`, v, at.Format(time.RFC3339Nano))
				sent = append(sent, c.Publish(fmt.Sprintf("glass/%s%d", kind, i), 1, false, body))
			}
		}
		if len(sent) < 1000 && k < each-1 {
			continue
		}
		for _, token := range sent {
			brokertest.Done(t, "publish", token)
		}
		sent = nil
	}
}

// onOneCore starts something that may run on the first core of ours only.
func onOneCore(t *testing.T, start func() *proctest.Process) *proctest.Process {
	t.Helper()
	runtime.LockOSThread() // a child inherits the cores of the thread that starts it
	defer runtime.UnlockOSThread()
	var ours, one unix.CPUSet
	if err := unix.SchedGetaffinity(0, &ours); err != nil {
		t.Fatal(err)
	}
	for cpu := 0; one.Count() == 0; cpu++ {
		if ours.IsSet(cpu) {
			one.Set(cpu)
		}
	}
	if err := unix.SchedSetaffinity(0, &one); err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := unix.SchedSetaffinity(0, &ours); err != nil {
			t.Error(err)
		}
	}()
	return start()
}

var journalReadings = regexp.MustCompile(`(?m)^binwatch_journal_readings\{packed="(?:yes|no)"\} (\S+)$`)

// kept is how many readings the journal has.
func kept(t *testing.T, page string) int {
	t.Helper()
	return int(sumOf(t, journalReadings, metricsOf(t, page)))
}

func sumOf(t *testing.T, numbers *regexp.Regexp, text string) (sum float64) {
	t.Helper()
	for _, m := range numbers.FindAllStringSubmatch(text, -1) {
		v, err := strconv.ParseFloat(m[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		sum += v
	}
	return sum
}

// awaitKept waits until the journal has all readings, and wants no more. It
// tells how often it asked.
func awaitKept(t *testing.T, page string, all int) (asked int) {
	t.Helper()
	deadline, tick := time.After(10*time.Minute), time.NewTicker(500*time.Millisecond)
	defer tick.Stop()
	n := 0
	for n < all {
		select {
		case <-deadline:
			t.Fatalf("got %d readings, want %d", n, all)
		case <-tick.C:
			n = kept(t, page)
			asked++
		}
	}
	if n != all {
		t.Errorf("got %d readings, want %d", n, all)
	}
	return asked
}

// costOfAsking is the CPU time that a scrape takes the daemon.
func costOfAsking(t *testing.T, c *proctest.Process, page string) time.Duration {
	t.Helper()
	const times = 20
	before := cpuOf(t, c)
	for range times {
		metricsOf(t, page)
	}
	return (cpuOf(t, c) - before) / times
}

// cpuOf is what a process has used in all, user and system, to a hundredth of a second.
func cpuOf(t *testing.T, c *proctest.Process) time.Duration {
	t.Helper()
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", c.Cmd.Process.Pid))
	if err != nil {
		t.Fatal(err)
	}
	fields := strings.Fields(string(stat[strings.LastIndexByte(string(stat), ')')+1:]))
	var ticks time.Duration
	for _, f := range fields[11:13] { // utime, stime: proc(5), where Linux counts 100 a second
		n, err := strconv.Atoi(f)
		if err != nil {
			t.Fatal(err)
		}
		ticks += time.Duration(n)
	}
	return ticks * 10 * time.Millisecond
}

var resident = regexp.MustCompile(`(?m)^VmRSS:\s+(\d+) kB$`)

func residentMB(t *testing.T, c *proctest.Process) int {
	t.Helper()
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", c.Cmd.Process.Pid))
	if err != nil {
		t.Fatal(err)
	}
	return int(sumOf(t, resident, string(status)) / 1024)
}
