package main

import (
	"fmt"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/farm"
	"binwatchd/internal/proctest"
)

const reloadYAML = `farm: Hillfoot Nursery
timezone: UTC
broker: {url: %q}
journal: {path: %q, flush: 1s}
probes:
  bed-t: {topic: bed/t, value: /t, time: /at, measures: temperature}
%s
bins:
  bed: {species: red, zones: {near: {aim: living, probes: [bed-t]%s}%s}}
`

// A reload keeps the session and what is raised, hears new probes, and leaves
// the old configuration in force when the new one is bad.
func TestReload(t *testing.T) {
	t.Parallel()
	b := brokertest.StartMosquitto(t, brokertest.Options{})
	dir := t.TempDir()
	db := filepath.Join(dir, "journal.db")
	path := filepath.Join(dir, "binwatchd.yaml")
	put := func(probes, near, zones string) {
		write(t, dir, "binwatchd.yaml", fmt.Sprintf(reloadYAML, b.URL, db, probes, near, zones))
	}
	put("", "", "")
	c := startChild(t, nil, "run", "--config", path)
	c.Says("broker reached")
	hot := func(from, to time.Duration) {
		client := brokertest.Client(t, b.URL, "", "", "")
		defer client.Disconnect(50)
		begin := time.Now().UTC().Add(-10 * time.Hour)
		for at := from; at < to; at += 10 * time.Minute {
			body := fmt.Sprintf(`{"t": 27, "at": %q}`, begin.Add(at).Format(time.RFC3339))
			brokertest.Done(t, "publish", client.Publish("bed/t", 1, false, body))
		}
	}
	hot(0, 3*time.Hour)
	raised := waitRaised(t, path, farm.TooHot)

	// A bad file: every error is said, and nothing changes.
	write(t, dir, "binwatchd.yaml", "farm: Hillfoot Nursery\nbroker: nonsense\n")
	hangup(t, c)
	c.Says("configuration not taken")
	c.Says("binwatchd.yaml:2:9")
	put("", "", "") // the commands read the file too
	if got := waitRaised(t, path, farm.TooHot); got.Episode != raised.Episode {
		t.Errorf("got episode %s after a bad reload, want %s", got.Episode, raised.Episode)
	}

	// A new probe in a new zone is heard, on the same session.
	put("  far-m: {topic: bed/far, measures: moisture}", "", ", far: {aim: sifting, probes: [far-m]}")
	hangup(t, c)
	c.Says("configuration reloaded")
	c.Says("far-m")
	proctest.Eventually(t, "the new probe is heard", func() bool {
		b.Publish("bed/far", 1, false, "60")
		for _, p := range nowView(t, path).Probes {
			if p.ID == "far-m" && p.Value != nil && *p.Value == 60 {
				return true
			}
		}
		return false
	})
	if n := strings.Count(c.Log.String(), "broker reached"); n != 1 {
		t.Errorf("the broker was reached %d times, want the one session kept", n)
	}
	if got := waitRaised(t, path, farm.TooHot); got.Episode != raised.Episode || !got.Since.Equal(raised.Since) {
		t.Errorf("got %+v after a reload, want the old episode %s", got, raised.Episode)
	}

	// Wider bands ease it on the ordinary way; a restart does not raise it again.
	put("  far-m: {topic: bed/far, measures: moisture}", ", temperature: {thrive: 10C..29C, survive: 4C..33C}", ", far: {aim: sifting, probes: [far-m]}")
	hangup(t, c)
	proctest.Eventually(t, "the second reload", func() bool { return strings.Count(c.Log.String(), "configuration reloaded") == 2 })
	hot(3*time.Hour, 5*time.Hour)
	proctest.Eventually(t, "the heat is eased", func() bool { return !isRaised(t, path, farm.TooHot) })
	c.Stop()
	c = startChild(t, nil, "run", "--config", path)
	c.Says("broker reached")
	hot(5*time.Hour, 6*time.Hour)
	if isRaised(t, path, farm.TooHot) {
		t.Error("the heat came back after a restart")
	}
	c.Stop()
}

func hangup(t *testing.T, c *proctest.Process) {
	t.Helper()
	if err := c.Cmd.Process.Signal(syscall.SIGHUP); err != nil {
		t.Fatal(err)
	}
}

func waitRaised(t *testing.T, cfg string, cond farm.Condition) (found farm.Standing) {
	t.Helper()
	proctest.Eventually(t, string(cond)+" is raised", func() bool {
		for _, s := range nowView(t, cfg).Standing {
			if s.Condition == cond {
				found = s
				return true
			}
		}
		return false
	})
	return found
}

func isRaised(t *testing.T, cfg string, cond farm.Condition) bool {
	t.Helper()
	for _, s := range nowView(t, cfg).Standing {
		if s.Condition == cond {
			return true
		}
	}
	return false
}
