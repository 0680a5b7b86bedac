package config_test

import (
	"bytes"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/config"
	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

func show(t *testing.T, c *config.Config) string {
	t.Helper()
	var b bytes.Buffer
	if err := c.Show(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestShow(t *testing.T) {
	golden(t, "shown.yaml", show(t, parseAt(t, read(t, "testdata/contract.yaml"), config.ForRun)))
}

// What Show writes loads to the same farm, and showing that again changes no
// value. The one difference allowed: bands that were the aim's or the species'
// are the zone's own afterwards, and the same.
func TestShownLoadsToTheSame(t *testing.T) {
	files, err := filepath.Glob("../../configs/*.yaml")
	if err != nil || len(files) < 2 {
		t.Fatalf("found %v, %v", files, err)
	}
	for _, path := range append(files, "testdata/contract.yaml", "testdata/base.yaml") {
		t.Run(filepath.Base(path), func(t *testing.T) {
			first := parseAt(t, read(t, path), config.ForRun)
			text := show(t, first)
			second := parseAt(t, text, config.ForRun)
			if diff := cmp.Diff(withBands(first.Farm), second.Farm, cmp.Comparer(sameLocation)); diff != "" {
				t.Errorf("farm (-first +second):\n%s", diff)
			}
			ignore := cmpopts.IgnoreFields(config.Config{}, "Farm", "Notes")
			if diff := cmp.Diff(first, second, ignore, cmpopts.IgnoreUnexported(config.Config{}), cmp.Exporter(func(reflect.Type) bool { return true })); diff != "" {
				t.Errorf("settings (-first +second):\n%s", diff)
			}
			if diff := cmp.Diff(decoded(t, text), decoded(t, show(t, second))); diff != "" {
				t.Errorf("shown again (-first +second):\n%s", diff)
			}
		})
	}
}

func sameLocation(a, b *time.Location) bool { return a.String() == b.String() }

// withBands gives each zone the bands that judge it for its own.
func withBands(f farm.Farm) farm.Farm {
	g := f
	g.Bins = append([]farm.Bin(nil), f.Bins...)
	for i := range g.Bins {
		g.Bins[i].Zones = append([]farm.Zone(nil), g.Bins[i].Zones...)
		for j := range g.Bins[i].Zones {
			z := &g.Bins[i].Zones[j]
			temp, moist := husbandry.ZoneBands(&f, f.Bins[i], f.Bins[i].Zones[j])
			z.Bands = map[farm.Quantity]farm.Bands{farm.Temperature: temp, farm.Moisture: moist}
			maps.DeleteFunc(z.Bands, func(_ farm.Quantity, b farm.Bands) bool { return b.IsZero() })
		}
	}
	return g
}

// Secrets lie in files and variables; whatever is printed of a configuration,
// they are not in it.
func TestShowHoldsNoSecret(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "s"), []byte("hunter2\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Setenv("BINS_PASSWORD", "hunter2")
	text := replaced(t, brokerAt, `{url: "tcp://127.0.0.1:1883", user: bins, password: {file: "`+dir+`/s"}}`)
	text = strings.Replace(text, farmName, farmName+"page: {password: {env: BINS_PASSWORD}}\n", 1)
	c := parseAt(t, text, config.ForRun)
	if len(c.Notes) != 0 {
		t.Fatalf("the secrets cannot be read: %v", c.Notes)
	}
	shown := show(t, c)
	if strings.Contains(shown, "hunter2") || !strings.Contains(shown, "password: {env: BINS_PASSWORD}") {
		t.Errorf("shown:\n%s", shown)
	}
}
