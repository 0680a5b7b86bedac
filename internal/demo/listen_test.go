package demo_test

import (
	"encoding/json"
	"strconv"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/demo"
)

// start is in the afternoon of a winter's day: the nursery's spring does not
// care.
var start = time.Date(2026, 1, 10, 15, 20, 0, 0, time.UTC)

const day = 24 * time.Hour

// day1 is the midnight from which the story counts.
var day1 = time.Date(2026, 1, 10, 0, 0, 0, 0, time.UTC)

// A said is one number heard from a probe.
type said struct {
	at time.Time
	v  float64
}

// heard is everything heard by "topic/pointer", and the jots.
type heard struct {
	numbers map[string][]said
	jots    []demo.Message
}

// listen runs a nursery for some days and picks the numbers out.
func listen(t *testing.T, seed uint64, days int) heard {
	t.Helper()
	h := heard{numbers: map[string][]said{}}
	demo.New(seed, start).Until(start.Add(time.Duration(days)*day), func(m demo.Message) {
		if strings.HasPrefix(m.Topic, demo.Prefix+"/jot/") {
			h.jots = append(h.jots, m)
			return
		}
		for where, v := range numbersIn(t, m) {
			h.numbers[where] = append(h.numbers[where], said{m.At, v})
		}
	})
	return h
}

// numbersIn is each number of a payload under its topic and JSON Pointer.
func numbersIn(t *testing.T, m demo.Message) map[string]float64 {
	t.Helper()
	out := map[string]float64{}
	var body any
	if err := json.Unmarshal(m.Payload, &body); err != nil {
		t.Fatalf("%s: %q: %v", m.Topic, m.Payload, err)
	}
	var walk func(where string, v any)
	walk = func(where string, v any) {
		switch v := v.(type) {
		case float64:
			out[where] = v
		case string:
			if n, err := strconv.ParseFloat(v, 64); err == nil {
				out[where] = n
			}
		case map[string]any:
			for k, inner := range v {
				walk(where+"/"+k, inner)
			}
		}
	}
	walk(m.Topic, body)
	return out
}

// between picks what was said from one day of the story to another.
func (h heard) between(where string, from, to float64) []float64 {
	var out []float64
	for _, s := range h.numbers[where] {
		if d := s.at.Sub(day1).Hours() / 24; d >= from && d < to {
			out = append(out, s.v)
		}
	}
	return out
}

func celsius(f []float64) []float64 {
	out := make([]float64, len(f))
	for i, v := range f {
		out[i] = (v - 32) * 5 / 9
	}
	return out
}
