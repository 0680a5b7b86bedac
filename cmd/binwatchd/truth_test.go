package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
	"binwatchd/internal/rehearse"
)

const truthYAML = `farm: Hillfoot Nursery
timezone: UTC
broker: {url: "tcp://127.0.0.1:1883"}
journal: {path: %q}
probes:
  bed-t: {topic: glass/bed, measures: temperature}
bins:
  bed: {species: red, zones: {all: {aim: living, probes: [bed-t], temperature: {thrive: 15C..%sC, survive: 4C..32C}}}}
tell:
  - {mail: keeper@example.org}
mail: {server: "127.0.0.1:2525", from: bins@example.org}
`

// pastWithTruth is a farm that was warmed on its first and its fourth day, and whose
// keeper was told of the first.
func pastWithTruth(t *testing.T) (said func(args ...string) (string, int)) {
	t.Helper()
	dir := t.TempDir()
	db, from := filepath.Join(dir, "journal.db"), time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC)
	for name, limit := range map[string]string{"farm": "25", "wider": "29", "stricter": "22"} {
		write(t, dir, name+".yaml", fmt.Sprintf(truthYAML, db, limit))
	}
	liveThrough(t, filepath.Join(dir, "farm.yaml"), from, from.AddDate(0, 0, 4), func(at time.Time, publish func(topic, payload string)) {
		if h := at.Sub(from).Hours(); at.Minute()%20 == 0 {
			publish("glass/bed", fmt.Sprintf("%.1f", 20+8.5*max(0, math.Sin(2*math.Pi*(h-6)/72))))
		}
	})
	j, err := journal.Open(t.Context(), journal.Config{Path: db, Now: time.Now})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	owed, err := j.Owed(t.Context(), "mail:keeper@example.org", time.Now(), 9)
	if err != nil || len(owed) == 0 {
		t.Fatalf("owed are %v, %v", owed, err)
	}
	if err := j.Settle(t.Context(), from.AddDate(0, 0, 2), farm.Fated{Fate: farm.Told, IDs: []int64{owed[0].ID}}); err != nil {
		t.Fatal(err)
	}
	return func(args ...string) (string, int) {
		t.Helper()
		for i, a := range args {
			if strings.HasSuffix(a, ".yaml") {
				args[i] = filepath.Join(dir, a)
			}
		}
		var out bytes.Buffer
		code := dispatch(t.Context(), append([]string{"rehearse", "--journal", "--against", "told"}, args...), &streams{os.Stdin, &out, &out})
		return out.String(), code
	}
}

// What this program and a configuration would have noticed is held against what was
// noticed, and told, in truth.
func TestRehearsalAgainstTheTruth(t *testing.T) {
	t.Parallel()
	said := pastWithTruth(t)
	for _, tt := range []struct {
		cfg  string
		args []string
		want []string
	}{
		{cfg: "farm.yaml", want: []string{"from 2026-05-01 00:00 to 2026-05-04 23:40", "notices   1      2", "too-hot   2      2", "then and now, alike: 1\n",
			"2026-05-04 20:50  Bed, all: too-hot, not told then, told now\n", "only then\n  nothing\n", "only now\n  nothing\n"}},
		{cfg: "wider.yaml", want: []string{"too-hot   2      0", "alike: 0\n", "only then\n  2026-05-01 20:50  Bed, all: too-hot (today), for 27 hours\n", "only now\n  nothing\n"}},
		{cfg: "stricter.yaml", want: []string{"too-hot   2      2", "alike: 0\n", "2026-05-01 20:50  Bed, all: too-hot, 11 hours earlier\n", "only then\n  nothing\n"}},
		{cfg: "farm.yaml", args: []string{"--from", "2026-05-04"}, want: []string{"from 2026-05-04 00:00", "notices   0      1", "alike: 0\n", "2026-05-04 20:50"}},
		{cfg: "farm.yaml", args: []string{"--to", "2026-05-04"}, want: []string{" to 2026-05-03 23:40", "notices   1      1", "alike: 1\n"}},
		{cfg: "farm.yaml", args: []string{"--from", "2027-01-01"}, want: []string{"the journal holds no readings of that time"}},
	} {
		t.Run(strings.Join(append(tt.args, tt.cfg), " "), func(t *testing.T) {
			got, _ := said(append([]string{"--config", tt.cfg}, tt.args...)...)
			for _, want := range tt.want {
				if !strings.Contains(got, want) {
					t.Errorf("want %q in\n%s", want, got)
				}
			}
		})
	}
	var truth rehearse.Truth
	text, _ := said("--config", "stricter.yaml", "--json")
	if err := json.Unmarshal([]byte(text), &truth); err != nil {
		t.Fatal(err)
	}
	if len(truth.Both) != 2 || truth.Both[0].Later > -4*3600 || truth.Both[0].Then.Notices != 1 || truth.Both[1].Then.Notices != 0 || truth.Now.Notices != 2 {
		t.Errorf("as JSON it is %+v", truth)
	}
}
