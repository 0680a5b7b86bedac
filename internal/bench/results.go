package main

import (
	"fmt"
	"strconv"
	"strings"
)

// results hold what was measured, and note what was asked for and is missing.
type results struct {
	measured map[string]map[string]float64 // benchmark → unit
	missed   []string
}

// read takes in what `go test -bench` prints: a name, the number of rounds, then
// pairs of a value and its unit.
func (r *results) read(text string) error {
	if r.measured == nil {
		r.measured = map[string]map[string]float64{}
	}
	found := false
	for line := range strings.Lines(text) {
		words := strings.Fields(line)
		if len(words) < 4 || !strings.HasPrefix(words[0], "Benchmark") {
			continue
		}
		name := strings.TrimPrefix(words[0], "Benchmark")
		if at := strings.LastIndex(name, "-"); at > 0 { // the number of cores
			name = name[:at]
		}
		if r.measured[name] == nil {
			r.measured[name] = map[string]float64{}
		}
		for pair := words[2:]; len(pair) >= 2; pair = pair[2:] {
			v, err := strconv.ParseFloat(pair[0], 64)
			if err != nil {
				return fmt.Errorf("%q is no result: %w", line, err)
			}
			r.measured[name][pair[1]] = v
		}
		found = true
	}
	if !found {
		return fmt.Errorf("no benchmark ran:\n%s", text)
	}
	return nil
}

// say writes one value. One that is missing is seen in the table, not taken for
// zero.
func (r *results) say(format, benchmark, unit string) string {
	v, ok := r.measured[benchmark][unit]
	if !ok {
		r.missed = append(r.missed, benchmark+" "+unit)
		return "not measured"
	}
	return fmt.Sprintf(format, v)
}
