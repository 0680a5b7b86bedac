package survey_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/ingest"
	"binwatchd/internal/survey"
)

// What moves is what was taken into the hand, in each unit; what wanders, counts up, was stored
// by the broker or is heard for the first time does not.
func TestWhatMovesInTheHand(t *testing.T) {
	const stored = "stored "
	tests := []struct {
		name          string
		before, after []string // topic payload
		want          string
	}{
		{"a hand, °C", []string{"a/temperature 19.5", "b/temperature 18.5"}, []string{"a/temperature 21.5", "b/temperature 18.75"}, "a-t 19.5 to 21.5"},
		{"a hand, °F", []string{`a {"temp_f": 64.4}`, `b {"temp_f": 64.4}`}, []string{`a {"temp_f": 68.2}`, `b {"temp_f": 67.8}`}, "a-t 64.4 to 68.2"},
		{"a hand that is colder than the bin", []string{"a/temperature 44.5"}, []string{"a/temperature 38"}, "a-t 44.5 to 38"},
		{"it was warmest before", []string{"a/temperature 19.5"}, []string{"a/temperature 26.5", "a/temperature 20"}, "a-t 19.5 to 26.5"},
		{"water, %", []string{"a/moisture 61.5"}, []string{"a/moisture 99.5"}, "a-m 61.5 to 99.5"},
		{"water, and both values of a device", []string{`a {"temp_c": 21.5, "soil_moisture": 61.5, "uptime": 5}`}, []string{`a {"temp_c": 15.5, "soil_moisture": 99.5, "uptime": 900}`}, "a-m 61.5 to 99.5 beside a-t"},
		{"two hands, the warmer first", []string{"a/temperature 19.5", "b/temperature 18.5"}, []string{"a/temperature 22", "b/temperature 31"}, "b-t 18.5 to 31, a-t 19.5 to 22"},
		{"two values below one topic are two probes", []string{"shed/bed-temp 19.5", "shed/stack-temp 18.5"}, []string{"shed/stack-temp 31"}, "shed-stack-temp-t 18.5 to 31"},
		{"a fault code", []string{"a/temperature 19.5"}, []string{"a/temperature -127"}, ""},
		{"first heard now", nil, []string{"a/temperature 31.5"}, ""},
		{"stored by the broker", []string{stored + "a/temperature 12.5"}, []string{"a/temperature 19.5"}, ""},
		{"stored, after a new connection", []string{"a/temperature 12.5"}, []string{stored + "a/temperature 19.5"}, ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			s := survey.New(time.UTC)
			s.Apart()
			at := time.Date(2026, 5, 1, 8, 0, 0, 0, time.UTC)
			hear := func(messages []string) {
				for _, m := range messages {
					m, retained := strings.CutPrefix(m, stored)
					topic, payload, _ := strings.Cut(m, " ")
					at = at.Add(time.Second)
					s.Hear(&ingest.Delivery{Topic: topic, Payload: []byte(payload), Retained: retained, Arrived: at})
				}
			}
			hear(tt.before)
			s.Hold()
			hear(tt.after)
			var got []string
			for _, m := range s.Moved() {
				text := fmt.Sprintf("%s %g to %g", m.Probe.ID, m.From, m.To)
				for _, p := range m.Beside {
					text += " beside " + p.ID
				}
				got = append(got, text)
			}
			if text := strings.Join(got, ", "); text != tt.want {
				t.Errorf("got %q, want %q", text, tt.want)
			}
		})
	}
}
