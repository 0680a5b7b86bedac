package backoff_test

import (
	"context"
	"math"
	"net/http"
	"testing"
	"testing/synctest"
	"time"

	"binwatchd/internal/backoff"
)

func TestWaitsDouble(t *testing.T) {
	for _, tt := range []struct {
		failures int
		want     time.Duration
	}{
		{1, 30 * time.Second}, {2, time.Minute}, {3, 2 * time.Minute}, {7, 32 * time.Minute}, {8, time.Hour}, {9, time.Hour},
		{math.MaxInt, time.Hour},
	} {
		if got := (backoff.Doubling{First: 30 * time.Second, Most: time.Hour}).After(tt.failures); got != tt.want {
			t.Errorf("after %d failures: %v, want %v", tt.failures, got, tt.want)
		}
	}
	if got := (backoff.Doubling{First: time.Minute, Most: time.Second}).After(1); got != time.Second {
		t.Errorf("a first wait past the longest: %v", got)
	}
}

func TestPause(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		began := time.Now()
		if !backoff.Pause(t.Context(), time.Minute) || time.Since(began) != time.Minute {
			t.Errorf("a pause of a minute lasted %v", time.Since(began))
		}
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		if began = time.Now(); backoff.Pause(ctx, time.Minute) || time.Since(began) != time.Second {
			t.Errorf("a pause that is ended after a second lasted %v", time.Since(began))
		}
	})
}

// Both forms are those of RFC 9110 §10.2.3.
func TestRetryAfter(t *testing.T) {
	now := time.Date(2027, 7, 8, 15, 0, 0, 0, time.UTC)
	for _, tt := range []struct {
		header string
		want   time.Duration
	}{
		{"", 0}, {"120", 2 * time.Minute}, {"999999", time.Hour}, {"-5", 0}, {"1e3", 0}, {"99999999999999999999", 0},
		{"Thu, 08 Jul 2027 15:05:00 GMT", 5 * time.Minute}, {"Thu, 08 Jul 2027 14:00:00 GMT", 0}, {"Fri, 09 Jul 2027 15:00:00 GMT", time.Hour},
	} {
		if got := backoff.RetryAfter(http.Header{"Retry-After": {tt.header}}, now); got != tt.want {
			t.Errorf("%q: %v, want %v", tt.header, got, tt.want)
		}
	}
}
