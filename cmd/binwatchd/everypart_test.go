package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/config"
	"binwatchd/internal/farm"
	"binwatchd/internal/proctest"
)

const everyPartYAML = `farm: Hillfoot Nursery
units: metric
timezone: UTC
broker: {url: %q}
journal: {path: %q, flush: 1s}
control: %q
influx: {url: %q, flavour: v2, org: hillfoot, bucket: bins, token: {file: %q}}
page: {listen: %q}
probes:
  bed-t: {topic: glass/bed, measures: temperature}
  bed-m: {topic: glass/soil, measures: moisture, calibration: [{raw: 3000, moisture: 10%%}, {raw: 1000, moisture: 90%%}]}
  tower-m: {topic: tower/m, measures: moisture}
  cell: {topic: glass/cell, measures: battery, low: 3.3}
bins:
  bed: {species: red, zones: {near: {aim: living, probes: [bed-t, bed-m]}}}
  tower: {species: red, zones: {top: {aim: living, probes: [tower-m]}}}
tell:
  - {webhook: %q, about: [now, today, soon]}
`

// A told is one who is told by a webhook, and the database, which takes lines.
type told struct {
	*httptest.Server
	mu    sync.Mutex
	posts []string
}

func startTold(t *testing.T) *told {
	o := &told{}
	o.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		o.mu.Lock()
		defer o.mu.Unlock()
		o.posts = append(o.posts, string(body))
		w.WriteHeader(http.StatusNoContent)
	}))
	t.Cleanup(o.Close)
	return o
}

// has tells whether one of the lines that were posted holds all the words.
func (o *told) has(words ...string) bool {
	o.mu.Lock()
	defer o.mu.Unlock()
	return slices.ContainsFunc(strings.Split(strings.Join(o.posts, "\n"), "\n"), func(line string) bool {
		return !slices.ContainsFunc(words, func(w string) bool { return !strings.Contains(line, w) })
	})
}

// everyPart is a running daemon with all its parts, and its file.
type everyPart struct {
	t             *testing.T
	d             *daemon
	path, yaml    string
	page          string
	broker        *brokertest.Broker
	db, hook, new *told
	log           *proctest.Log
}

func startEveryPart(t *testing.T) *everyPart {
	t.Helper()
	dir := t.TempDir()
	e := &everyPart{t: t, page: proctest.FreeAddr(t), broker: brokertest.StartMosquitto(t, brokertest.Options{}), db: startTold(t), hook: startTold(t), new: startTold(t), log: &proctest.Log{}}
	token := write(t, dir, "influx.secret", "a-token-that-is-long-enough")
	e.yaml = fmt.Sprintf(everyPartYAML, e.broker.URL, filepath.Join(dir, "journal.db"), filepath.Join(dir, "door"), e.db.URL, token, e.page, e.hook.URL)
	e.path = write(t, dir, "binwatchd.yaml", e.yaml)
	cfg, err := config.Load(e.path, config.ForRun)
	if err != nil {
		t.Fatal(err)
	}
	e.d = &daemon{path: e.path, log: slog.New(slog.NewTextHandler(e.log, nil)), clock: clockwork{now: time.Now}}
	ctx, cancel := context.WithCancel(t.Context())
	if err := e.d.open(ctx, cfg); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- e.d.serve(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Errorf("daemon ended with %v", err)
		}
	})
	proctest.Eventually(t, "the daemon is connected", func() bool { return e.view().Intake.Connected })
	return e
}

// reload puts a changed file in force: each pair of words is old and new.
func (e *everyPart) reload(pairs ...string) {
	e.t.Helper()
	was := e.yaml
	e.yaml = strings.NewReplacer(pairs...).Replace(e.yaml)
	if e.yaml == was && len(pairs) > 0 {
		e.t.Fatalf("nothing to change in %q", pairs)
	}
	write(e.t, filepath.Dir(e.path), filepath.Base(e.path), e.yaml)
	if err := e.d.reload(e.t.Context()); err != nil {
		e.t.Fatalf("reload after %q: %v", pairs, err)
	}
}

func (e *everyPart) view() farm.View {
	e.t.Helper()
	v, err := client(e.d.cfg.Load()).Look(e.t.Context(), true)
	if err != nil {
		e.t.Fatal(err)
	}
	return v
}

// hears publishes until a probe has a value.
func (e *everyPart) hears(topic, payload, probe string, want float64) {
	e.t.Helper()
	proctest.Eventually(e.t, fmt.Sprintf("%s is heard at %g", probe, want), func() bool {
		e.broker.Publish(topic, 1, false, payload)
		for _, p := range e.view().Probes {
			if p.ID == probe && p.Value != nil && *p.Value-want < 0.01 && want-*p.Value < 0.01 {
				return true
			}
		}
		return false
	})
}

func (e *everyPart) get(path string) string {
	e.t.Helper()
	resp, err := http.Get("http://" + e.page + path)
	if err != nil {
		e.t.Fatal(err)
	}
	defer resp.Body.Close()
	var b bytes.Buffer
	if _, err := b.ReadFrom(resp.Body); err != nil {
		e.t.Fatal(err)
	}
	return b.String()
}

// shows wants words on the page, and others gone.
func (e *everyPart) shows(path, want, gone string) {
	e.t.Helper()
	body := e.get(path)
	if !strings.Contains(body, want) || gone != "" && strings.Contains(body, gone) {
		e.t.Errorf("%s: want %q and no %q in:\n%s", path, want, gone, body)
	}
}

// Each kind of change that a reload can bring reaches every part at once: what
// hears, judges, shows, measures, tells and passes on has one farm.
func TestReloadReachesEveryPart(t *testing.T) {
	t.Parallel() // it waits more than it works
	e := startEveryPart(t)
	e.hears("glass/bed", "20.01", "bed-t", 20.01)
	e.hears("glass/soil", "2000", "bed-m", 50)

	e.reload("  bed: {", "  linden: {") // a bin renamed
	e.hears("glass/bed", "20.02", "bed-t", 20.02)
	e.shows("/", "Linden", ">Bed<")
	e.shows("/metrics", `bin="linden"`, `bin="bed"`)

	e.reload("near: {", "front: {") // a zone renamed
	e.hears("glass/bed", "20.03", "bed-t", 20.03)
	e.shows("/metrics", `zone="front"`, `zone="near"`)

	e.reload("probes: [bed-t, bed-m]", "probes: [bed-m]", "probes: [tower-m]", "probes: [tower-m, bed-t]") // a probe moved to another bin
	e.hears("glass/bed", "20.04", "bed-t", 20.04)
	e.shows("/metrics", `binwatch_temperature_celsius{bin="tower",zone="top"}`, `binwatch_temperature_celsius{bin="linden"`)

	e.reload("topic: glass/bed", "topic: yard/bed") // another topic
	e.hears("yard/bed", "20.05", "bed-t", 20.05)

	e.reload("measures: temperature}", "measures: temperature, unit: F}") // another unit
	e.hears("yard/bed", "68.2", "bed-t", 20.11)

	e.reload("{raw: 3000, moisture: 10%}", "{raw: 3000, moisture: 50%}") // another calibration
	e.hears("glass/soil", "2000", "bed-m", 70)

	e.reload("cell: {", "air: {topic: yard/air, measures: temperature}\n  cell: {") // a probe more
	e.hears("yard/air", "11", "air", 11)
	e.reload("\n  air: {topic: yard/air, measures: temperature}", "") // and gone again
	if slices.ContainsFunc(e.view().Probes, func(p farm.ProbeView) bool { return p.ID == "air" }) {
		t.Error("a probe that was taken out is still there")
	}

	e.reload("zones: {top: {aim: living,", "zones: {top: {aim: living, temperature: {thrive: 16C..18C, survive: 2C..35C},") // other bands
	e.shows("/api/now", `"high": 18`, "")
	e.reload("tower: {species: red", "tower: {species: blue") // another species
	e.shows("/api/now", `"blue"`, "")

	e.reload("units: metric", "units: us", "timezone: UTC", "timezone: Europe/London")
	e.shows("/", "°F", "°C")
	if list, ok := e.d.rounds(); !ok || e.d.farms.now().Location.String() != "Europe/London" || list.Farm != "Hillfoot Nursery" {
		t.Errorf("the rounds are of %q", list.Farm)
	}

	e.reload("farm: Hillfoot Nursery", "farm: Linden Yard")
	e.hears("yard/bed", "68.3", "bed-t", 20.17)
	e.shows("/", "Linden Yard", "Hillfoot Nursery")
	if list, ok := e.d.rounds(); !ok || list.Farm != "Linden Yard" {
		t.Errorf("the rounds are of %q", list.Farm)
	}

	e.reload("tell:\n", fmt.Sprintf("tell:\n  - {webhook: %q, about: [now, today, soon]}\n", e.new.URL)) // a teller more
	e.broker.Publish("glass/cell", 1, false, "2.9")
	for name, who := range map[string]*told{"the old teller": e.hook, "the new teller": e.new} {
		proctest.Eventually(t, name+" is told", func() bool { return who.has(`"battery-low"`, `"raised"`) })
	}
	e.reload(fmt.Sprintf("  - {webhook: %q, about: [now, today, soon]}\n", e.hook.URL), "") // a teller less
	e.broker.Publish("glass/cell", 1, false, "3.9")
	proctest.Eventually(t, "the teller that stays is told", func() bool { return e.new.has(`"battery-low"`, `"eased"`) })
	if e.hook.has(`"battery-low"`, `"eased"`) {
		t.Error("who is told no more was told")
	}

	own := secretFile(t, filepath.Dir(e.path), "mara", "leaf mould")
	e.reload("probes:\n", fmt.Sprintf("people: {mara: {password: {file: %q}}}\nprobes:\n", own)) // somebody with a password
	e.shows("/", "The shed is locked", "Linden Yard")
	e.reload(fmt.Sprintf("people: {mara: {password: {file: %q}}}\n", own), "") // and gone again
	e.shows("/", "Linden Yard", "The shed is locked")

	// The database gets each reading under the names of its own time.
	for raw, tags := range map[string]string{
		"raw=20.01 ": "bin_levels,bin=bed,farm=Hillfoot\\ Nursery,probe=bed-t,zone=near ",
		"raw=20.02 ": "bin_levels,bin=linden,farm=Hillfoot\\ Nursery,probe=bed-t,zone=near ",
		"raw=20.03 ": "bin_levels,bin=linden,farm=Hillfoot\\ Nursery,probe=bed-t,zone=front ",
		"raw=20.04 ": "bin_levels,bin=tower,farm=Hillfoot\\ Nursery,probe=bed-t,zone=top ",
		"raw=68.3 ":  "bin_levels,bin=tower,farm=Linden\\ Yard,probe=bed-t,zone=top ",
	} {
		proctest.Eventually(t, "the database has "+raw+"under "+tags, func() bool { return e.db.has(raw, tags) })
	}

	// Many look at one view; what was done since is in it.
	e.get("/api/now")
	if _, code := runChild(t, "hush", "tower", "--for", "2h", "--config", e.path); code != 0 {
		t.Errorf("hush: exit %d", code)
	}
	e.shows("/api/now", `"hushes"`, "")
}

// What a reload can't change is said at each reload by name, and goes on as it
// was; a secret with another content is noticed too.
func TestReloadSaysWhatWaitsForARestart(t *testing.T) {
	t.Parallel()
	e := startEveryPart(t)
	says := func(want string) {
		t.Helper()
		lines := strings.Split(e.log.String(), "\n")
		last := ""
		for _, l := range lines {
			if strings.Contains(l, "take a restart") {
				last = l
			}
		}
		if !strings.Contains(last, "parts="+want) {
			t.Errorf("said %q, want %s", last, want)
		}
	}
	e.reload("bed-t: {topic: glass/bed", "bed-t: {topic: glass/bed2")
	if strings.Contains(e.log.String(), "take a restart") {
		t.Errorf("said of a probe that it takes a restart: %s", e.log)
	}
	e.reload("bucket: bins", "bucket: other")
	says("influx")
	e.reload("glass/bed2", "glass/bed3") // still waiting
	says("influx")
	e.reload("flush: 1s", "flush: 2s", "broker: {url:", "broker: {prefix: elsewhere, url:")
	says(`"broker, journal and influx"`)
	e.hears("glass/bed3", "20", "bed-t", 20)
	write(t, filepath.Dir(e.path), "influx.secret", "another-token-that-is-long")
	e.reload()
	says(`"broker, journal, influx and the content of influx.token"`)
	if strings.Contains(e.log.String(), "another-token") {
		t.Error("a secret is in the log")
	}
	// Jots still come by the prefix in force.
	e.broker.Publish("binwatch/jot/bed", 1, false, `{"what":"watered","amount":"2 L"}`)
	proctest.Eventually(t, "a jot is noted", func() bool { return e.view().Intake.Messages["taken"] >= 2 })
	if got := e.d.cfg.Load().Influx.Bucket; got != "bins" {
		t.Errorf("the bucket in force is called %q", got)
	}
}

// A broker of our own takes what is heard after a reload, and no more what was
// before.
func TestReloadReachesTheListener(t *testing.T) {
	t.Parallel()
	dir, at := t.TempDir(), proctest.FreeAddr(t)
	const text = `farm: Hillfoot Nursery
broker: {listen: %q}
journal: {path: %q, flush: 1s}
control: %q
probes:
  bed-t: {topic: %s, measures: temperature}
bins:
  bed: {species: red, zones: {near: {aim: living, probes: [bed-t]}}}
`
	file := func(topic string) string {
		return write(t, dir, "binwatchd.yaml", fmt.Sprintf(text, at, filepath.Join(dir, "journal.db"), filepath.Join(dir, "door"), topic))
	}
	path := file("old/t")
	c := startChild(t, nil, "run", "--config", path)
	c.Says("watching")
	probe := brokertest.Client(t, "tcp://"+at, "bed", "", "")
	heard := func(topic, payload string, want float64) bool {
		probe.Publish(topic, 1, false, payload).WaitTimeout(time.Second)
		p := nowView(t, path).Probes[0]
		return p.Value != nil && *p.Value == want
	}
	proctest.Eventually(t, "the old topic is heard", func() bool { return heard("old/t", "20", 20) })
	file("new/t")
	hangup(t, c)
	c.Says("configuration reloaded")
	proctest.Eventually(t, "the new topic is heard", func() bool { return heard("new/t", "21", 21) })
	if heard("old/t", "22", 22) {
		t.Error("the old topic is still heard")
	}
}

// A probe that goes by another name is not well again: whoever was told of it
// hears once that it is watched no more.
func TestRenameIsNoAllClear(t *testing.T) {
	t.Parallel()
	e := startEveryPart(t)
	e.broker.Publish("glass/cell", 1, false, "2.9")
	proctest.Eventually(t, "the low battery is told", func() bool { return e.hook.has(`"battery-low"`, `"raised"`) })
	e.reload("  cell: {", "  cell-2: {")
	proctest.Eventually(t, "the end is told", func() bool { return e.hook.has(`"battery-low"`, `"eased"`) })
	if !e.hook.has(`"probe":"cell"`, `"eased"`, `"ended":"unwatched"`, "Probe cell is no longer in the configuration; what was told of it is not watched any more.") {
		t.Errorf("told %q", e.hook.posts)
	}
	e.reload() // and once only
	e.broker.Publish("glass/cell", 1, false, "2.8")
	proctest.Eventually(t, "the renamed one is told", func() bool { return e.hook.has(`"probe":"cell-2"`, `"raised"`) })
	e.hook.mu.Lock()
	defer e.hook.mu.Unlock()
	if n := strings.Count(strings.Join(e.hook.posts, "\n"), `"ended":"unwatched"`); n != 1 {
		t.Errorf("told %d times, want once: %q", n, e.hook.posts)
	}
}
