package main

import (
	"fmt"
	"html"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/farm"
	"binwatchd/internal/proctest"
)

// inventedMark makes a child know one quantity more.
const inventedMark = "BINWATCHD_KNOWS_TARTNESS"

// tartness is a quantity that nobody has heard of: all of it is this row.
var tartness = farm.QuantityRow{
	Name: "tartness", Noun: "tartness", Like: "4 °T",
	Units: []farm.UnitRow{{Unit: "°T", Suffix: " °T", Times: 1, Over: 1}, {Unit: "dT", Suffix: " dT", Times: 1, Over: 10}},
	Range: farm.Band{Low: -20, High: 60}, Resolution: 0.1,
	Rate: farm.Rate{Reach: 20, Fast: 40, Noisiest: 10}, AirRate: farm.Rate{Reach: 20, Fast: 40, Noisiest: 10},
	Median: 30 * time.Minute, Limits: true, Margin: 0.5,
	Above: farm.Remedy{Do: "Sweeten it a little.", Cautions: []string{"Do not taste it."}},
	Field: "tartness_t",
	Gauge: farm.Gauge{
		Name: "tartness", Unit: "kilodegrees", In: farm.UnitRow{Times: 1000, Over: 1},
		Help: "Tartness of a zone", Lowest: "Tartness at the sweetest", Highest: "Tartness at the tartest",
	},
	Metric: farm.Written{In: farm.UnitRow{Times: 1, Over: 1}, Word: "°T", Digits: 1},
	US:     farm.Written{In: farm.UnitRow{Times: 1, Over: 1}, Word: "°T", Digits: 1},
	Step:   " °T", Round: 10, Strays: 1,
}

// knowInvented puts the row into the table of a child that is asked to.
func knowInvented() {
	if os.Getenv(inventedMark) != "" {
		farm.Quantities = append(slices.Clip(farm.Quantities), tartness)
	}
}

const quantityYAML = `farm: Hillfoot Nursery
units: metric
timezone: UTC
broker: {url: %q}
journal: {path: %q, flush: 1s}
control: %q
influx: {url: %q, flavour: v2, org: hillfoot, bucket: bins, token: {file: %q}}
page: {listen: %q}
probes:
  vat: {topic: cellar/vat, value: /tart, measures: tartness, unit: dT}
  air: {topic: cellar/air, value: /rh, measures: humidity}
  co2: {topic: cellar/air, value: /co2, measures: co2}
  load: {topic: cellar/load, measures: weight, unit: lb}
  sour: {topic: cellar/soil, value: /ph, measures: ph}
  salt: {topic: cellar/soil, value: /ec, measures: conductivity, unit: "µS/cm"}
bins:
  bed:
    species: red
    patience: 0s
    zones:
      near:
        aim: living
        probes: [vat, air, co2, load, sour, salt]
        limits: {tartness: 20 dT..9 °T, co2: 0ppm..2000ppm}
tell:
  - {webhook: %q, about: [today]}
`

// A quantity is a row of a table: one that nobody has heard of goes from what a
// probe publishes into the journal, the judging, the page, a metric, a point of the
// database and a notice. So do the five that have no bands.
func TestAQuantityIsOneRow(t *testing.T) {
	t.Parallel()
	dir, page := t.TempDir(), proctest.FreeAddr(t)
	broker, db, hook := brokertest.StartMosquitto(t, brokertest.Options{}), startTold(t), startTold(t)
	token := write(t, dir, "influx.secret", "a-token-that-is-long-enough")
	cfg := write(t, dir, "binwatchd.yaml", fmt.Sprintf(quantityYAML, broker.URL, filepath.Join(dir, "journal.db"),
		filepath.Join(dir, "door"), db.URL, token, page, hook.URL))
	c := startChild(t, []string{inventedMark + "=1"}, "run", "--config", cfg)
	c.Says("watching")
	get := func(path string) string {
		resp, err := http.Get("http://" + page + path)
		if err != nil {
			return err.Error()
		}
		defer resp.Body.Close()
		body, _ := io.ReadAll(resp.Body)
		return html.UnescapeString(string(body))
	}
	ask := func(args ...string) string {
		cmd := exec.Command(os.Args[0], append(args, "--config", cfg)...)
		cmd.Env = append(os.Environ(), childMark+"=1", inventedMark+"=1")
		out, err := cmd.CombinedOutput()
		if err != nil {
			t.Errorf("binwatchd %v: %v: %s", args, err, out)
		}
		return string(out)
	}

	proctest.Eventually(t, "both limits are told of", func() bool {
		broker.Publish("cellar/vat", 1, false, `{"tart": 96}`)
		broker.Publish("cellar/air", 1, false, `{"rh": 91.4, "co2": 2600}`)
		broker.Publish("cellar/load", 1, false, `55`)
		broker.Publish("cellar/soil", 1, false, `{"ph": 6.8, "ec": 1413}`)
		return hook.has(`"quantity":"tartness"`) && hook.has(`"quantity":"co2"`)
	})
	for name, words := range map[string][]string{
		"a notice":                  {`"past-limit"`, `"raised"`, `"today"`, "Bed: its tartness is 9.6 °T, above its limit of 9 °T.", "Sweeten it", "Do not taste it."},
		"a notice with its caution": {`"past-limit"`, "Bed: its CO2 is 2600 ppm, above its limit of 2000 ppm.", "5,000 ppm", "Local codes decide."},
	} {
		if !hook.has(words...) {
			t.Errorf("%s: nobody was told %q", name, words)
		}
	}
	for _, line := range []string{
		"probe=vat,zone=near tartness_t=9.6,tartness_t_limits_low=2,tartness_t_limits_high=9,raw=96 ", "humidity_pct=91.4,", "co2_ppm=2600,", "weight_kg=24.94", "ph=6.8,", "conductivity_ms_cm=1.413,",
	} {
		proctest.Eventually(t, "the database has "+line, func() bool { return db.has("bin_levels,bin=bed,farm=Hillfoot", line) })
	}
	for what, words := range map[string][]string{
		get("/metrics"): {
			`binwatch_tartness_kilodegrees{bin="bed",zone="near"} 0.0096`, `binwatch_limit_tartness_kilodegrees{band="limits",bin="bed",side="high",zone="near"} 0.009`, `binwatch_humidity_ratio{bin="bed",zone="near"} 0.914`,
			`binwatch_co2_ratio{bin="bed",zone="near"} 0.0026`, `binwatch_weight_grams{bin="bed",zone="near"} 24947.58`,
			`binwatch_ph{bin="bed",zone="near"} 6.8`, `binwatch_conductivity_siemens_per_metre{bin="bed",zone="near"} 0.1413`,
			`binwatch_condition{bin="bed",condition="past-limit",urgency="today",zone="near"} 1`,
		},
		get("/bins/bed"): {
			"tartness", "9.6 °T", "above its limit of 9 °T", "air humidity", "91 %", "2600 ppm", "24.9 kg", "6.8", "1.41 mS/cm", "Take care.",
		},
		get("/api/history?zone=bed/near&quantity=tartness"):                    {`"quantity": "tartness"`, `"max": 9.6`},
		ask("calibrate", "co2", "--mark", "455=420ppm", "--mark", "2100=0.2%"): {"co2: 420ppm", "co2: 2000ppm"},
		get("/probes"):  {"9.6 °T", "1.41 mS/cm"},
		get("/api/now"): {`"tartness": {`, `"co2": {`},
		ask("now"):      {"tartness 9.6 °T", "CO2 2600 ppm", "pH 6.8", "above its limit of 9 °T"},
		ask("check"):    {"6 probes"},
		ask("export"):   {",96,9.6,"},
		ask("rounds"):   {"Sweeten it a little.", "Do not taste it."},
	} {
		for _, w := range words {
			if !strings.Contains(what, w) {
				t.Errorf("no %q in:\n%.3000s", w, what)
			}
		}
	}

	proctest.Eventually(t, "it is within its limits again", func() bool {
		broker.Publish("cellar/vat", 1, false, `{"tart": 60}`)
		return hook.has(`"quantity":"tartness"`, `"eased"`, "within its limits again")
	})
}
