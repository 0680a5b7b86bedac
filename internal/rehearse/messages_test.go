package rehearse_test

import (
	"bytes"
	"context"
	"errors"
	"strings"
	"testing"

	"binwatchd/internal/farm"
	"binwatchd/internal/rehearse"
)

// An error names its line, and all rows before it have been judged, however far
// reading is ahead.
func TestAnErrorComesAfterWhatStandsBeforeIt(t *testing.T) {
	for _, tt := range []struct{ name, row, want string }{
		{"no time", "yesterday,bed/t0,20\n", `line 5002: "yesterday" is no RFC 3339 time`},
		{"out of order", "2025-01-01T00:00:00Z,bed/t0,20\n", "line 5002: 2025-01-01T00:00:00Z is earlier"},
		{"no clock", "0001-01-01T00:00:00Z,bed/t0,20\n", "line 5002: 0001-01-01T00:00:00Z is before 1970"},
		{"a field short", "2026-01-01T00:00:00Z,bed/t0\n", "line 5002: wrong number of fields"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var text bytes.Buffer
			recording(&text, 5000)
			text.WriteString(tt.row)
			r := rehearse.New(rehearse.Config{Farm: bed(), Prefix: "binwatch", On: func(farm.Change) {}})
			err := r.Messages(context.Background(), &text)
			if err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("got %v, want %s", err, tt.want)
			}
			if got := r.Stats().Readings; got != 5000 {
				t.Errorf("got %d readings judged, want the 5000 before it", got)
			}
		})
	}
}

// Cancelling ends a rehearsal that is under way.
func TestARehearsalCanBeCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	var text bytes.Buffer
	recording(&text, 200_000)
	r := rehearse.New(rehearse.Config{Farm: bed(), Prefix: "binwatch", On: func(farm.Change) { cancel() }})
	if err := r.Messages(ctx, &text); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want it cancelled", err)
	}
	if got := r.Stats().Readings; got == 0 || got > 190_000 {
		t.Errorf("got %d of 200000 readings judged after the first change cancelled it", got)
	}
}
