package main

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
	"binwatchd/internal/proctest"
)

const ownBrokerYAML = `farm: Hillfoot Nursery
timezone: UTC
broker: {listen: %q, user: probes, password: {file: %q}, keeper: {user: keeper, password: {file: %q}}}
journal: {path: %q, flush: 1s}
%sprobes:
  bed-t: {topic: %s, measures: temperature}
bins:
  bed: {species: red, zones: {all: {aim: living, probes: [bed-t]}}}
`

// Where binwatchd is the broker, a probe can't write in the logbook and the
// keeper can; other topics are dropped, answered and named; a reload changes
// which they are.
func TestOwnBrokerKnowsProbesFromTheKeeper(t *testing.T) {
	t.Parallel()
	dir, addr := t.TempDir(), proctest.FreeAddr(t)
	people := fmt.Sprintf("people: {mara: {token: {file: %q}}}\n", secretFile(t, dir, "mara", "0leaf1mould2for3phones4"))
	put := func(topic string) string {
		return write(t, dir, "binwatchd.yaml", fmt.Sprintf(ownBrokerYAML, addr, secretFile(t, dir, "probes", "rhubarb-leaf"),
			secretFile(t, dir, "keeper", "quince-tree"), filepath.Join(dir, "journal.db"), people, topic))
	}
	cfg := put("bed/t")
	if shown, code := runChild(t, "check", "--config", cfg, "--show"); code != 0 || strings.Contains(shown, "quince-tree") || !strings.Contains(shown, "user: keeper") {
		t.Errorf("check --show says (%d) %s", code, shown)
	}
	c := startChild(t, nil, "run", "--config", cfg)
	c.Says("watching")
	says := func(client mqtt.Client, topic, text string) {
		t.Helper()
		brokertest.Done(t, "publish "+topic, client.Publish(topic, 1, false, text))
	}
	probe := brokertest.Client(t, "tcp://"+addr, "bed", "probes", "rhubarb-leaf")
	says(probe, "bed/t", "21.5")
	says(probe, "binwatch/jot/bed", `{"what": "emptied"}`)
	says(probe, "bed/typo", "21.5")
	c.Says("they need the user of broker.keeper")
	c.Says("bed/typo")
	says(brokertest.Client(t, "tcp://"+addr, "phone", "keeper", "quince-tree"), "binwatch/jot/bed", `{"what": "watered", "amount": "2 L"}`)
	mara := brokertest.Client(t, "tcp://"+addr, "mara's", "mara", "0leaf1mould2for3phones4")
	says(mara, "binwatch/jot/bed", `{"what": "fed", "amount": "1 kg", "by": "somebody else"}`)
	v := nowView(t, cfg)
	if got := jotted(t, filepath.Join(dir, "journal.db")); got != "watered by mqtt, fed by mara" {
		t.Errorf("jotted: %s, want what the keeper and Mara jotted alone", got)
	}
	if n := v.Intake.Messages["refused"]; n != 2 {
		t.Errorf("%d messages are counted as refused, want 2: %v", n, v.Intake.Messages)
	}

	people = ""
	put("yard/t")
	hangup(t, c)
	c.Says("configuration reloaded")
	says(probe, "yard/t", "9.25")
	if v := nowView(t, cfg); *v.Probes[0].Value != 9.25 {
		t.Errorf("after the reload the probe stands at %v", *v.Probes[0].Value)
	}
	says(mara, "binwatch/jot/bed", `{"what": "turned"}`)
	if got := jotted(t, filepath.Join(dir, "journal.db")); strings.Contains(got, "turned") {
		t.Errorf("jotted: %s, also what one wrote who is gone from people", got)
	}
	c.Stop()
	for _, secret := range []string{"rhubarb-leaf", "quince-tree", "0leaf1mould"} {
		if strings.Contains(c.Log.String(), secret) {
			t.Errorf("the log gives %q away: %s", secret, c.Log)
		}
	}
}

// jotted is what the logbook holds, and by whom.
func jotted(t *testing.T, db string) string {
	t.Helper()
	j, err := journal.OpenReadOnly(t.Context(), journal.Config{Path: db, Now: time.Now})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	s, err := j.Forward(t.Context(), 0, 1000)
	if err != nil {
		t.Fatal(err)
	}
	var whats []string
	for _, e := range s.Events {
		if e.Kind == farm.EventJot {
			whats = append(whats, string(e.Jot.What)+" by "+e.Jot.By)
		}
	}
	return strings.Join(whats, ", ")
}
