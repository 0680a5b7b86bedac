package influxtest_test

import (
	"net/http"
	"strings"
	"testing"

	"binwatchd/internal/influxtest"
)

func post(t *testing.T, url, body string) int {
	t.Helper()
	resp, err := http.Post(url, "text/plain", strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	resp.Body.Close()
	return resp.StatusCode
}

func TestInfluxdKeepsItsDataThroughStopAndKill(t *testing.T) {
	s := influxtest.StartInfluxd(t, influxtest.Options{})
	s.Do("CREATE DATABASE d")
	post(t, s.URL+"/write?db=d&precision=ms", "m,a=b x=1 1700000000000\nm,a=b x=2 1700000001000")
	s.Stop()
	s.Stop() // nothing to do
	s.Start()
	if got := s.Count("d", "m", "x"); got != 2 {
		t.Errorf("after stop: got %d points, want 2", got)
	}
	s.Kill()
	s.Start()
	if got := s.Count("d", "m", "x"); got != 2 {
		t.Errorf("after kill: got %d points, want 2", got)
	}
	if got := s.Count("d", "nothing", "x"); got != 0 {
		t.Errorf("of an unknown measurement: got %d points, want 0", got)
	}
}

func TestInfluxdWithAuthRefusesStrangers(t *testing.T) {
	s := influxtest.StartInfluxd(t, influxtest.Options{Auth: true})
	s.Do("CREATE DATABASE d")
	if got := post(t, s.URL+"/write?db=d", "m x=1"); got != http.StatusUnauthorized {
		t.Errorf("got %d, want %d", got, http.StatusUnauthorized)
	}
}

func TestVictoriaGivesBackWhatWasWritten(t *testing.T) {
	s := influxtest.StartVictoria(t)
	if got := post(t, s.URL+"/api/v2/write?precision=ms", "m,a=b x=1.5 1700000000000"); got != http.StatusNoContent {
		t.Fatalf("got %d, want %d", got, http.StatusNoContent)
	}
	got := s.Export(`{a="b"}`)
	if len(got) != 1 || got[0].Labels["__name__"] != "m_x" || len(got[0].Values) != 1 || got[0].Values[0] != 1.5 ||
		got[0].Times[0] != 1700000000000 {
		t.Errorf("got %+v, want one point 1.5 of m_x", got)
	}
}

func TestFluxFindsWhatWasWritten(t *testing.T) {
	s := influxtest.StartInfluxd(t, influxtest.Options{Flux: true})
	s.Do("CREATE DATABASE d")
	post(t, s.URL+"/api/v2/write?bucket=d&precision=ms", "m,a=b x=1 1700000000000\nm,a=c x=2 1700000001000")
	rows := s.Flux(`from(bucket: "d") |> range(start: 2023-11-01T00:00:00Z) |> filter(fn: (r) => r._measurement == "m")`)
	if len(rows) != 2 || rows[0]["_value"] != "1" || rows[1]["a"] != "c" {
		t.Errorf("got %v", rows)
	}
	if rows := s.Flux(`from(bucket: "d") |> range(start: 2023-11-01T00:00:00Z) |> filter(fn: (r) => r._measurement == "none")`); len(rows) != 0 {
		t.Errorf("of an unknown measurement: got %v", rows)
	}
}
