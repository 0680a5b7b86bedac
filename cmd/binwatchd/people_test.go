package main

import (
	"fmt"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/farm"
	"binwatchd/internal/proctest"
)

// What somebody has taken on is theirs after a kill, too; by the command and by a message
// to a broker of our own.
func TestWhatIsTakenOutlivesAKill(t *testing.T) {
	t.Parallel()
	dir, addr := t.TempDir(), proctest.FreeAddr(t)
	cfg := write(t, dir, "binwatchd.yaml", fmt.Sprintf(`farm: Hillfoot Nursery
timezone: UTC
broker: {listen: %q}
journal: {path: %q, flush: 1s}
probes:
  cell: {topic: bed/cell, measures: battery, low: 3.3}
  bed-t: {topic: bed/t, measures: temperature}
bins: {bed: {species: red, zones: {all: {aim: living, probes: [bed-t]}}}}
people: {mara: {token: {file: %q}}, jo: {token: {file: %q}}}
`, addr, filepath.Join(dir, "journal.db"), secretFile(t, dir, "mara", "0leaf1mould2for3phones4"), secretFile(t, dir, "jo", "0bark1chips2for3phones4")))
	c := startChild(t, nil, "run", "--config", cfg)
	c.Says("watching")
	brokertest.Done(t, "publish", brokertest.Client(t, "tcp://"+addr, "bed", "", "").Publish("bed/cell", 1, false, "2.9"))
	id := waitRaised(t, cfg, farm.BatteryLow).Episode
	if said, code := runChild(t, "take", id, "--until", "2h", "--by", "Mara", "--config", cfg); code != 0 || !strings.Contains(said, "Mara looks after it until ") {
		t.Errorf("take says (%d) %s", code, said)
	}
	for _, wrong := range [][]string{{id, "--until", "2h"}, {id, "--by", "nobody"}, {id, "--by", "jo", "--until", "some day"}, {"no-such-id", "--by", "jo"}, {"--by", "jo"}} {
		if said, code := runChild(t, append([]string{"take", "--config", cfg}, wrong...)...); code == 0 {
			t.Errorf("take %v says %s", wrong, said)
		}
	}
	c.End(syscall.SIGKILL)
	c = startChild(t, nil, "run", "--config", cfg)
	c.Says("watching")
	st := waitRaised(t, cfg, farm.BatteryLow)
	if st.KnownBy != "mara" || st.Taken == nil || !st.Seen || !strings.HasPrefix(st.Known, "Mara looks after it until ") {
		t.Errorf("after the kill: %+v", st)
	}
	if said, _ := runChild(t, "now", "--config", cfg); !strings.Contains(said, st.Known+"]") {
		t.Errorf("now says %s", said)
	}
	jo := brokertest.Client(t, "tcp://"+addr, "jo's", "jo", "0bark1chips2for3phones4")
	brokertest.Done(t, "publish", jo.Publish("binwatch/seen/"+id, 1, false, `{"until": "3h", "by": "mara"}`))
	if st := waitRaised(t, cfg, farm.BatteryLow); st.KnownBy != "jo" {
		t.Errorf("by message: %+v", st)
	}
	if said, code := runChild(t, "take", id, "--until", "now", "--by", "jo", "--config", cfg); code != 0 || !strings.Contains(said, "given back: ") {
		t.Errorf("take says (%d) %s", code, said)
	}
	if st := waitRaised(t, cfg, farm.BatteryLow); st.Seen || !strings.HasPrefix(st.Known, "Jo looked after it until ") {
		t.Errorf("given back: %+v", st)
	}
	c.Stop()
}
