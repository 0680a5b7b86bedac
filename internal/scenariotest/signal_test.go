package scenariotest_test

import (
	"testing"
	"time"

	"binwatchd/internal/scenariotest"
)

// up and down: 0 4 8 4 0 4, an hour apart.
var hill = scenariotest.Signal{From: start, Step: time.Hour, V: []float64{0, 4, 8, 4, 0, 4}}

func TestSignalAt(t *testing.T) {
	tests := []struct {
		name  string
		after time.Duration
		want  float64
	}{
		{"before the first", -time.Hour, 0},
		{"on a sample", time.Hour, 4},
		{"between", 90 * time.Minute, 6},
		{"on the last", 5 * time.Hour, 4},
		{"after the last", 9 * time.Hour, 4},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if got := hill.At(start.Add(tt.after)); got != tt.want {
				t.Errorf("got %g, want %g", got, tt.want)
			}
		})
	}
}

func TestSignalCrossings(t *testing.T) {
	type cross func(float64, time.Time) (time.Time, bool)
	tests := []struct {
		name  string
		of    cross
		limit float64
		after time.Duration
		want  time.Duration // from start; negative for never
	}{
		{"rises between samples", hill.Rises, 6, 0, 90 * time.Minute},
		{"rises on a sample", hill.Rises, 4, 0, time.Hour},
		{"falls", hill.Falls, 6, 0, 150 * time.Minute},
		{"falls after it fell", hill.Falls, 6, 3 * time.Hour, -1},
		{"rises the second time", hill.Rises, 2, 2 * time.Hour, 270 * time.Minute},
		{"never gets there", hill.Rises, 9, 0, -1},
		{"touches the top only", hill.Rises, 8, 0, -1},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			at, ok := tt.of(tt.limit, start.Add(tt.after))
			if ok != (tt.want >= 0) || ok && !at.Equal(start.Add(tt.want)) {
				t.Errorf("got %s after the start, %v; want %s", at.Sub(start), ok, tt.want)
			}
		})
	}
}

func TestSignalExtremes(t *testing.T) {
	if v, at := hill.Max(start, hill.To()); v != 8 || !at.Equal(start.Add(2*time.Hour)) {
		t.Errorf("highest: got %g at %s", v, at)
	}
	if v, at := hill.Min(start.Add(time.Hour), hill.To()); v != 0 || !at.Equal(start.Add(4*time.Hour)) {
		t.Errorf("lowest: got %g at %s", v, at)
	}
	if v, _ := hill.Max(start.Add(150*time.Minute), start.Add(200*time.Minute)); v != 4 {
		t.Errorf("highest in a short while: got %g", v)
	}
}
