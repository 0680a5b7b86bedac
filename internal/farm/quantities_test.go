package farm_test

import (
	"encoding/json"
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/farm"
)

// Every column of every row must make sense, for nothing else looks at it.
func TestEveryQuantityRow(t *testing.T) {
	names, fields, gauges := map[string]bool{}, map[string]bool{}, map[string]bool{}
	twice := func(seen map[string]bool, word string) bool {
		was := seen[word]
		seen[word] = true
		return was
	}
	word := regexp.MustCompile(`^[a-z][a-z0-9_]*$`)
	check := func(row *farm.QuantityRow) {
		t.Helper()
		wrong := func(what string) { t.Helper(); t.Errorf("%s: %s", row.Name, what) }
		if row.Noun == "" || row.Like == "" || !word.MatchString(string(row.Name)) {
			wrong("no name, noun or example")
		}
		if len(row.Units) == 0 || row.Units[0].Inner(12.5) != 12.5 {
			wrong("its first unit is not the inner one")
		}
		for _, u := range row.Units {
			for _, v := range []float64{row.Range.Low, 0, 6.25, row.Range.High} {
				if got := u.Inner(u.Outer(v)); math.Abs(got-v) > 1e-9*max(1, math.Abs(v)) {
					wrong("there and back in " + string(u.Unit))
				}
			}
		}
		if row.Range.Low >= row.Range.High || row.Resolution <= 0 || row.Round <= 0 || row.Strays <= 0 || row.Median < time.Minute {
			wrong("no range, resolution, rounding, error or median")
		}
		for _, r := range []farm.Rate{row.RateIn(false), row.RateIn(true)} {
			if r.Reach <= 0 || r.Fast < r.Reach || r.Noisiest < r.Reach {
				wrong("its rates do not rise")
			}
		}
		if row.Bands && row.Limits || (row.Bands || row.Limits) && (row.Margin <= 0 || len(row.ResetBy) == 0 || row.Gauge.Name == "") {
			wrong("it is judged in two ways, or without a margin, a gauge and the jots that reset it")
		}
		if !word.MatchString(row.Field) || twice(fields, row.Field) {
			wrong("its field is no word, or another's")
		}
		if g := row.Gauge; g.Name != "" && (!word.MatchString(g.Name) || g.Help == "" || g.Lowest == "" || g.Highest == "" || g.In.Times == 0 || twice(gauges, g.Name)) {
			wrong("its gauge is not whole")
		}
		for _, u := range []farm.Units{farm.Metric, farm.US} {
			w := row.Written(u)
			if said := w.String(row.Range.High); w.In.Times == 0 || said == "" || strings.Contains(said, "e+") || !strings.HasSuffix(said, w.Word) {
				wrong("it is written as " + said)
			}
		}
	}
	for i := range farm.Quantities {
		row := &farm.Quantities[i]
		if twice(names, string(row.Name)) || row.Name.Row() != row {
			t.Errorf("%s has two rows", row.Name)
		}
		check(row)
		if row.InPercent != nil {
			check(row.InPercent)
		}
	}
	if row := farm.Quantity("nobody's").Row(); row.Field != "" || row.Written(farm.US).String(3.14159) != "3.14" {
		t.Errorf("got %+v for a quantity that is in no row", row)
	}
}

// Published factors: NIST Special Publication 811 (pound, ounce, °F) and the SI's
// own (1 mS/cm is 0.1 S/m; a part in a million).
func TestUnitsOfRows(t *testing.T) {
	for _, tt := range []struct {
		q    farm.Quantity
		unit farm.Unit
		v    float64
		want float64
	}{
		{farm.Temperature, "F", 212, 100}, {farm.Moisture, "ratio", 0.5, 50}, {farm.Battery, "mV", 3300, 3.3},
		{farm.Weight, "lb", 1, 0.45359237}, {farm.Weight, "oz", 16, 0.45359237}, {farm.Weight, "g", 250, 0.25},
		{farm.CO2, "%", 0.5, 5000}, {farm.CO2, "ratio", 0.04, 40_000},
		{farm.Conductivity, "µS/cm", 1413, 1.413}, {farm.Conductivity, "dS/m", 2.5, 2.5}, {farm.Conductivity, "S/m", 0.1413, 1.413},
	} {
		u, ok := tt.q.Row().Unit(tt.unit)
		if got := u.Inner(tt.v); !ok || math.Abs(got-tt.want) > 1e-12*tt.want {
			t.Errorf("%v %s of %s is %v, want %v", tt.v, tt.unit, tt.q, got, tt.want)
		}
	}
}

func TestEveryConditionRow(t *testing.T) {
	for i, row := range farm.ConditionTable {
		if row.Name != farm.Conditions[i] || row.Name.Row().Name != row.Name {
			t.Errorf("%s: its name leads elsewhere", row.Name)
		}
		if row.Is == "" || row.Over == "" || row.Do == "" || row.About != farm.AboutMachinery && row.Was == "" {
			t.Errorf("%s: words are missing", row.Name)
		}
		if q := row.Quantity; q != "" && (q.Row().Name != q || row.Found == "" || row.Side == farm.NoSide) {
			t.Errorf("%s: it is judged by %s, without words or a side", row.Name, q)
		}
		if row.Band && row.Foreseen || row.About != farm.AboutZone && (row.Aims != nil || row.Urgency == farm.Calm && row.Name != farm.Suspect) {
			t.Errorf("%s: its columns contradict each other", row.Name)
		}
		if next := row.Becomes.Row(); row.Becomes != "" && (!row.Foreseen || !next.Band || next.Quantity != row.Quantity || next.Side != row.Side) {
			t.Errorf("%s: it cannot become %s", row.Name, row.Becomes)
		}
	}
	for i := range farm.Quantities {
		q := &farm.Quantities[i]
		below, above := farm.LimitConditions(q.Name)
		if q.Bands == (below == farm.PastLimit || above == farm.PastLimit) {
			t.Errorf("%s: past its bands it is %s and %s", q.Name, below, above)
		}
	}
	if row := farm.Condition("nobody's").Row(); row.Is != "nobody's" || row.Do != "" {
		t.Errorf("got %+v for a condition that is in no row", row)
	}
}

// The JSON of a zone has its levels beside the rest, as it always had.
func TestAZonesJSON(t *testing.T) {
	at := time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC)
	z := farm.ZoneView{Bin: "bed", Zone: "near", Aim: farm.Living, StoredL: 3, Levels: farm.Levels{
		farm.CO2: {Value: 800, At: at}, farm.Moisture: {Value: 72, At: at, Fresh: true}, farm.Temperature: {Value: 20, At: at},
	}}
	text, err := json.Marshal([]farm.ZoneView{z})
	want := `[{"bin":"bed","zone":"near","aim":"living","temperature":{"value":20,"at":"2026-05-04T08:00:00Z","fresh":false},` +
		`"moisture":{"value":72,"at":"2026-05-04T08:00:00Z","fresh":true},"co2":{"value":800,"at":"2026-05-04T08:00:00Z","fresh":false},"stored_litres":3}]`
	if err != nil || string(text) != want {
		t.Errorf("got %s, %v\nwant %s", text, err, want)
	}
	var back []farm.ZoneView
	if err := json.Unmarshal(text, &back); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]farm.ZoneView{z}, back); diff != "" {
		t.Errorf("there and back (-want +got):\n%s", diff)
	}
	if bare, err := json.Marshal(farm.ZoneView{Bin: "bed"}); err != nil || string(bare) != `{"bin":"bed","zone":"","aim":""}` {
		t.Errorf("got %s, %v for a zone of which nothing is known", bare, err)
	}
	if !slices.Contains(farm.QuantityNames(), farm.CO2) {
		t.Error("CO2 is not among the names")
	}
}
