package main

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

const exportYAML = `
farm: Hillfoot Nursery
timezone: UTC
broker: {url: "tcp://127.0.0.1:1883"}
journal: {path: %q}
influx: {url: %q, flavour: v1, database: bins}
probes:
  bed-t: {topic: glass/bed, value: /t, time: /at, measures: temperature, unit: F}
  bed-m: {topic: glass/bed, value: /m, time: /at, measures: moisture}
  glass-air: {topic: glass/air, measures: temperature}
bins:
  bed: {species: red, volume: 160 L, ambient: glass-air, zones: {near: {aim: living, probes: [bed-t, bed-m]}}}
`

// exportedSite has lived through two days: too hot in the end, with one fault code and
// a feed that was jotted twice in the same words.
func exportedSite(t *testing.T) (cfg string, db *told) {
	t.Helper()
	dir, db := t.TempDir(), startTold(t)
	cfg = write(t, dir, "farm.yaml", fmt.Sprintf(exportYAML, filepath.Join(dir, "journal.db"), db.URL))
	from := time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC)
	liveThrough(t, cfg, from, from.AddDate(0, 0, 2), func(at time.Time, publish func(topic, payload string)) {
		hours, bed := at.Sub(from).Hours(), 68.0
		switch {
		case hours == 10:
			bed = 185
			for range 2 {
				publish("binwatch/jot/bed", `{"what":"fed","amount":"2 kg","of":"grain, \"wet\"","at":"2026-05-01T09:00:00Z"}`)
			}
			publish("binwatch/jot/bed", `{"what":"watered","amount":"2 L","at":"2026-05-01T09:00:00Z"}`)
		case hours > 30:
			bed = min(68+4*(hours-30), 97)
		}
		publish("glass/bed", fmt.Sprintf(`{"t": %v, "m": %.2f, "at": %q}`, bed, 77-hours/12, at.Format(time.RFC3339)))
		publish("glass/air", "18.5")
	})
	return cfg, db
}

func exportedText(t *testing.T, cfg string, args ...string) string {
	t.Helper()
	out, code := runChild(t, append([]string{"export", "--config", cfg}, args...)...)
	if code != 0 {
		t.Fatalf("export %q: exit %d", args, code)
	}
	return out
}

// The exported lines are those that the database is sent, to the byte.
func TestExportedLinesAreTheForwarders(t *testing.T) {
	cfg, db := exportedSite(t)
	if out, code := runChild(t, "resend", "--from", "2020-01-01", "--config", cfg); code != 0 {
		t.Fatalf("resend: exit %d: %s", code, out)
	}
	sorted := func(text string) []string { return slices.Sorted(strings.Lines(text)) }
	all := ""
	for _, what := range exported {
		if what != "names" { // which are no points
			all += exportedText(t, cfg, "--what", what, "--format", "lines")
		}
	}
	got, want := sorted(all), sorted(strings.Join(db.posts, ""))
	if !slices.Equal(got, want) || len(got) < 3*2*24*6+4 {
		t.Errorf("exported %d lines, the database was sent %d", len(got), len(want))
	}
	if n := strings.Count(all, ",again=1,"); n != 1 {
		t.Errorf("%d jots are told apart from one like them, want 1", n)
	}
	for _, word := range []string{"condition=too-hot", `doubt="fault code"`, "place=glass-air", `of="grain, \"wet\""`} {
		if !strings.Contains(all, word) {
			t.Errorf("no line has %s", word)
		}
	}
}

// What is exported is opened by programs that nobody here wrote: a doubted value is
// no number there, and nothing is lost of commas and quotes.
func TestExportedTablesAreReadElsewhere(t *testing.T) {
	cfg, _ := exportedSite(t)
	dir := cmp.Or(os.Getenv("EXPORT_OUT"), t.TempDir()) // for others: tools/export
	db, script := filepath.Join(t.TempDir(), "farm.sqlite"), ".mode csv\n"
	for _, what := range exported {
		path := write(t, dir, what+".csv", exportedText(t, cfg, "--what", what))
		script += fmt.Sprintf(".import %q %s\n", path, what)
	}
	script += `SELECT count(*), count(nullif(value, '')), max(CAST(nullif(value, '') AS REAL)) < 37, max(unit) FROM readings WHERE probe = 'bed-t';
SELECT count(*), raw, value, doubt FROM readings WHERE doubt <> '';
SELECT change, urgency, count(*) FROM conditions WHERE condition = 'too-hot' AND change = 'raised';
SELECT sum(kg), sum(litres), max("of"), count(*) FROM logbook;
`
	sqlite := exec.Command("sqlite3", db)
	sqlite.Stdin = strings.NewReader(script)
	out, err := sqlite.CombinedOutput()
	want := "288,287,1,C\n1,185,\"\",\"fault code\"\nraised,today,1\n4.0,2.0,\"grain, \"\"wet\"\"\",3\n"
	if got := strings.ReplaceAll(string(out), "\r", ""); err != nil || got != want {
		t.Errorf("sqlite3: %v\ngot  %s\nwant %s", err, got, want)
	}
}

// JSON holds the same, an object a line.
func TestExportedObjects(t *testing.T) {
	cfg, _ := exportedSite(t)
	for what, least := range map[string]int{"readings": 3 * 2 * 24 * 6, "conditions": 1, "logbook": 3} {
		text := exportedText(t, cfg, "--what", what, "--format", "json")
		in, n, doubted := json.NewDecoder(bytes.NewReader([]byte(text))), 0, 0
		for in.More() {
			var o struct {
				Time, At    time.Time
				Value       *float64
				Unit, Doubt string
			}
			if err := in.Decode(&o); err != nil || o.Time.IsZero() && o.At.IsZero() {
				t.Fatalf("%s: %v, %+v", what, err, o)
			}
			if o.Doubt != "" {
				doubted++
			}
			if what == "readings" && ((o.Value == nil) != (o.Doubt != "") || o.Unit == "") {
				t.Errorf("a reading with the value %v, the unit %q and the doubt %q", o.Value, o.Unit, o.Doubt)
			}
			n++
		}
		if n < least || strings.Count(text, "\n") != n || (doubted == 1) != (what == "readings") {
			t.Errorf("%s: %d objects on %d lines, %d doubted", what, n, strings.Count(text, "\n"), doubted)
		}
	}
}
