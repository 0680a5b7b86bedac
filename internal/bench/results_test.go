package main

import (
	"fmt"
	"io"
	"slices"
	"testing"
)

func TestResultsAreReadAsTheyAreMeasured(t *testing.T) {
	r := &results{}
	if err := r.read("goos: linux\nBenchmarkIntake/mosquitto_20_in_flight-2 \t 11\t 5e+09 ns/op\t 1.04 ratio\nPASS\n"); err != nil {
		t.Fatal(err)
	}
	if got := r.say("%.2f", "Intake/mosquitto_20_in_flight", "ratio"); got != "1.04" || len(r.missed) > 0 {
		t.Errorf("got %s, missed %v, want the ratio", got, r.missed)
	}
	if err := r.read("PASS\n"); err == nil {
		t.Error("got no error when no benchmark ran")
	}
	if err := r.read("BenchmarkX-2 1 fast ns/op\n"); err == nil {
		t.Error("got no error for a value that is no number")
	}
}

// A figure that was not measured is missed, whichever it is.
func TestAMissingFigureIsMissed(t *testing.T) {
	none := &results{}
	table(io.Discard, none)
	all := &results{}
	for _, m := range none.missed {
		var benchmark, unit string
		if _, err := fmt.Sscan(m, &benchmark, &unit); err != nil {
			t.Fatal(err)
		}
		if err := all.read(fmt.Sprintf("Benchmark%s-2 1 1 %s 1 ns/op\n", benchmark, unit)); err != nil {
			t.Fatal(err)
		}
	}
	for benchmark, units := range all.measured {
		for unit := range units {
			r := &results{measured: map[string]map[string]float64{benchmark: {unit: 1}}}
			table(io.Discard, r)
			if unit != "ns/op" && (slices.Contains(r.missed, benchmark+" "+unit) || len(r.missed) >= len(none.missed)) {
				t.Errorf("%s %s is measured and missed all the same", benchmark, unit)
			}
		}
	}
}
