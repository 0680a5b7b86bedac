package ingest_test

import (
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
)

func TestLeaves(t *testing.T) {
	at := time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC)
	none, berlin := math.NaN(), time.FixedZone("", 2*60*60)
	tests := []struct {
		name, payload string
		want          []ingest.Leaf
	}{
		{"a number", " 21.5\n", []ingest.Leaf{{Text: "21.5", Number: 21.5}}},
		{"a number in quotes", `"21.5"`, []ingest.Leaf{{Text: "21.5", Number: 21.5}}},
		{"a word", "open", []ingest.Leaf{{Text: "open", Number: none}}},
		{"half an object", `{"t": 21`, []ingest.Leaf{{Text: `{"t": 21`, Number: none}}},
		{"nested, by pointer", `{"soil":{"m":["40.5"]},"at":"2026-05-04T08:00:00Z"}`, []ingest.Leaf{
			{Pointer: "/at", Text: "2026-05-04T08:00:00Z", Number: none, Time: at},
			{Pointer: "/soil/m/0", Text: "40.5", Number: 40.5},
		}},
		{"names that need escapes", `{"a/b":1,"c~":{"":2}}`, []ingest.Leaf{
			{Pointer: "/a~1b", Text: "1", Number: 1},
			{Pointer: "/c~0/", Text: "2", Number: 2},
		}},
		{"the last of two counts", `{"t":1,"t":"off"}`, []ingest.Leaf{{Pointer: "/t", Text: "off", Number: none}}},
		{"no value", `{"t":null,"on":true}`, []ingest.Leaf{{Pointer: "/on", Text: "true", Number: none}, {Pointer: "/t", Text: "null", Number: none}}},
		{"a number with its unit", "21.5 °C", []ingest.Leaf{{Text: "21.5 °C", Number: 21.5, Unit: farm.Celsius}}},
		{"a time without a zone", `{"Time":"2026-05-04T10:00:00"}`, []ingest.Leaf{{Pointer: "/Time", Text: "2026-05-04T10:00:00", Number: none, Time: at}}},
		{"nothing", " \n", nil},
		{"nothing inside", `{"a":[],"b":{}}`, nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if diff := cmp.Diff(tt.want, ingest.Leaves([]byte(tt.payload), berlin), cmpopts.EquateNaNs()); diff != "" {
				t.Errorf("(-want +got)\n%s", diff)
			}
		})
	}
}

// A decoder asked for what was found reads the same, or the probes proposed
// from leaves would not work.
func FuzzLeavesAreWhatADecoderReads(f *testing.F) {
	for _, payload := range []string{"{\"\x81\":0}", "21.5", `{"t":21.5,"at":1777881600}`, `{"a":{"b/c":[1,"2",null,{"":3}]}}`, `[NaN,-Infinity]`, `{"t":1,"t":[2]}`, "warm", `"`, "21,5", "21.5 \xb0C", `{"t":"21.5\u00b0C"}`} {
		f.Add([]byte(payload))
	}
	now := time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC)
	f.Fuzz(func(t *testing.T, payload []byte) {
		for _, leaf := range ingest.Leaves(payload, nil) {
			if math.IsNaN(leaf.Number) || leaf.Unit != "" && leaf.Unit != farm.Celsius {
				continue
			}
			probe := farm.Probe{ID: "p", Topic: "x", Value: leaf.Pointer, Measures: farm.Temperature, Unit: farm.Celsius}
			got := ingest.NewDecoder(&farm.Farm{Probes: []farm.Probe{probe}}, "binwatch").Decode("x", payload, now)
			if len(got.Readings) != 1 || got.Readings[0].Raw != leaf.Number {
				t.Errorf("%q at %q: a decoder reads %v, want %v", payload, leaf.Pointer, got, leaf.Number)
			}
		}
	})
}
