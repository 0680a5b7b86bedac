package metrics_test

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"binwatchd/internal/farm"
	"binwatchd/internal/metrics"
)

func TestHealth(t *testing.T) {
	since := noon
	tests := []struct {
		name   string
		look   func() (farm.View, bool)
		status int
		says   string
	}{
		{"at work", func() (farm.View, bool) { return hillfoot(), true }, http.StatusOK, "alive"},
		{"without its broker", func() (farm.View, bool) { v := hillfoot(); v.Intake.Connected = false; return v, true }, http.StatusOK, "alive"},
		{"hung", func() (farm.View, bool) { return farm.View{}, false }, http.StatusServiceUnavailable, "the live loop does not answer"},
		{"disk full", func() (farm.View, bool) { v := hillfoot(); v.Intake.Unwritten = &since; return v, true },
			http.StatusServiceUnavailable, "the journal has not been writable since 2025-05-03T12:00:00Z"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			status, header, body := get(t, metrics.NewHandler(metrics.Config{Look: tt.look}), "/healthz", "")
			if status != tt.status || strings.TrimSpace(body) != tt.says || header.Get("Cache-Control") != "no-store" {
				t.Errorf("got %d %q %v, want %d %q", status, body, header, tt.status, tt.says)
			}
		})
	}
}

func TestOnlyReadingIsAllowed(t *testing.T) {
	for _, path := range []string{"/metrics", "/healthz"} {
		w := httptest.NewRecorder()
		metrics.NewHandler(whole(hillfoot())).ServeHTTP(w, httptest.NewRequest(http.MethodPost, path, nil))
		if w.Code != http.StatusMethodNotAllowed {
			t.Errorf("POST %s: got %d, want %d", path, w.Code, http.StatusMethodNotAllowed)
		}
	}
}
