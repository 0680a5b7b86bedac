package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// The farm of the cuts: forty thermometers and moisture probes in twenty bins, and
// a battery for each bin. One after the other runs low and is charged again, or says
// what cannot be, so that conditions come and go all the time.
const (
	binsInFarm = 20
	farmName   = "Hillfoot Nursery"
	clientID   = "binwatchd-hillfoot"
)

// Ends are where the daemon finds what it works with.
type ends struct {
	broker, journal, flush, control, hook string
	mail                                  int // port of the mail server
}

// configuration is the farm in YAML.
func configuration(e ends) string {
	var probes, bins strings.Builder
	for i := range binsInFarm {
		fmt.Fprintf(&probes, "  t%02d: {topic: cellar/t%02d, value: /v, time: /at, measures: temperature}\n", i, i)
		fmt.Fprintf(&probes, "  m%02d: {topic: cellar/m%02d, value: /v, time: /at, measures: moisture}\n", i, i)
		fmt.Fprintf(&probes, "  b%02d: {topic: cellar/b%02d, value: /v, time: /at, measures: battery, low: 3.3, of: [t%02d, m%02d]}\n", i, i, i, i)
		fmt.Fprintf(&bins, "  bin%02d: {species: red, zones: {all: {aim: living, probes: [t%02d, m%02d]}}}\n", i, i, i)
	}
	return fmt.Sprintf("farm: %s\ntimezone: UTC\nbroker: {url: %q, client_id: %s}\njournal: {path: %q, flush: %s}\ncontrol: %q\nprobes:\n%sbins:\n%stell:\n  - {webhook: %q, about: [now, today, soon]}\n"+
		"  - {mail: keeper@example.org, about: [today, soon]}\nmail: {server: \"127.0.0.1:%d\", from: bins@example.org, security: none}\n",
		farmName, e.broker, clientID, e.journal, e.flush, e.control, probes.String(), bins.String(), e.hook, e.mail)
}

// A reading is what a probe says once: no probe says two things of one instant.
type reading struct {
	Probe string
	At    time.Time
	Value float64
}

// key names a reading.
func (r reading) key() string { return fmt.Sprintf("%s %d", r.Probe, r.At.UnixMilli()) }

func (r reading) topic() string { return "cellar/" + r.Probe }

// message is the reading as it is sent.
func (r reading) message() string {
	return fmt.Sprintf(`{"v":%.3f,"at":%q}`, r.Value, r.At.UTC().Format("2006-01-02T15:04:05.000Z"))
}

// keyOf reads a message back.
func keyOf(topic string, payload []byte) (key string, ok bool) {
	probe, ours := strings.CutPrefix(topic, "cellar/")
	var m struct {
		At time.Time `json:"at"`
	}
	if !ours || json.Unmarshal(payload, &m) != nil || m.At.IsZero() {
		return "", false
	}
	return reading{Probe: probe, At: m.At}.key(), true
}

// probeAt is the nth reading of all, round and round through the probes. In its
// turn, which comes after so many rounds for each bin, a battery is low for a while,
// and later the bin's two other probes say what cannot be.
func probeAt(n int, at time.Time, rounds int) reading {
	i, round := n/3%binsInFarm, n/(3*binsInFarm)
	turn := round/rounds - i
	absurd := turn >= 9 && turn < 12
	r := reading{At: at.Truncate(time.Millisecond)}
	switch n % 3 {
	case 0:
		r.Probe, r.Value = fmt.Sprintf("t%02d", i), 20+float64(i)/10+float64(round%50)/100
		if absurd {
			r.Value = -127 // a thermometer's word for a broken line
		}
	case 1:
		r.Probe, r.Value = fmt.Sprintf("m%02d", i), 76+float64(i)/10-float64(round%50)/100
		if absurd {
			r.Value = 150
		}
	default:
		r.Probe, r.Value = fmt.Sprintf("b%02d", i), 4.1
		if turn >= 2 && turn < 7 {
			r.Value = 3.1
		}
	}
	return r
}

// brokerSettings are the snippet that the package brings, for all who are here: the
// network is no wider than this machine. Saves says when mosquitto writes its
// store; "": as the snippet does.
func brokerSettings(snippet, saves string) string {
	s := strings.NewReplacer("listener 1883 127.0.0.1", "listener 1883", "allow_anonymous false", "allow_anonymous true", "password_file ", "# ").Replace(snippet)
	if saves != "" {
		s = strings.ReplaceAll(s, "autosave_interval 10", saves)
	}
	return s
}

// equip writes what differs from one try to the next onto the disk of a machine
// that is switched off.
func equip(disk, dir, yaml, mosquitto string, ear *ear) error {
	for name, text := range map[string]string{"binwatchd.yaml": yaml, "binwatchd.conf": mosquitto, "hook": fmt.Sprintf("PORT=%d\nMAIL=%d\n", ear.port, ear.mail)} {
		from, to := filepath.Join(dir, "equip-"+name), "lib/powercut/"+name
		if err := place(from, text); err != nil {
			return err
		}
		// debugfs says nothing of a failure by its exit; the machine would.
		if err := do("debugfs", "-w", "-R", "rm "+to, disk); err != nil {
			return err
		}
		if err := do("debugfs", "-w", "-R", "write "+from+" "+to, disk); err != nil {
			return err
		}
		os.Remove(from)
	}
	return nil
}
