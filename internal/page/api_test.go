package page_test

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"binwatchd/internal/farm"
)

func decode[T any](t *testing.T, b []byte) (v T) {
	t.Helper()
	if err := json.Unmarshal(b, &v); err != nil {
		t.Fatalf("%v in %.200s", err, b)
	}
	return v
}

func TestAPINowAndRounds(t *testing.T) {
	f := newFake()
	p := newPage(t, f.config())
	w := get(p, "/api/now")
	if kind := w.Header().Get("Content-Type"); w.Code != http.StatusOK || kind != "application/json" {
		t.Fatalf("status %d, %s", w.Code, kind)
	}
	if d := cmp.Diff(f.view, decode[farm.View](t, w.Body.Bytes()), cmpopts.EquateEmpty()); d != "" {
		t.Errorf("/api/now (-want +got):\n%s", d)
	}
	if d := cmp.Diff(f.rounds, decode[farm.Rounds](t, get(p, "/api/rounds").Body.Bytes()), cmpopts.EquateEmpty()); d != "" {
		t.Errorf("/api/rounds (-want +got):\n%s", d)
	}
}

type history struct {
	Zone, Quantity, Step string
	From, To             time.Time
	Samples              []farm.Sample
}

func TestAPIHistory(t *testing.T) {
	p := newPage(t, newFake().config())
	h := decode[history](t, get(p, "/api/history?zone=bed/near&quantity=moisture&from=2027-07-09T00:00:00Z&to=2027-07-09T04:00:00Z&step=1h").Body.Bytes())
	if h.Zone != "bed/near" || h.Quantity != "moisture" || h.Step != "1h" || len(h.Samples) != 4 {
		t.Errorf("%+v", h)
	}
	if s := h.Samples[0]; !s.At.Equal(h.From) || s.Min > s.Mean || s.Mean > s.Max || s.N == 0 {
		t.Errorf("first sample %+v", s)
	}
	h = decode[history](t, get(p, "/api/history?zone=crate").Body.Bytes())
	if h.Zone != "crate/all" || h.Quantity != "temperature" || h.Step != "30m" || !h.To.Equal(noon) || h.To.Sub(h.From) != 48*time.Hour {
		t.Errorf("with nothing asked: %s %s %s %v %v", h.Zone, h.Quantity, h.Step, h.From, h.To)
	}
}

// A place is found by the name that notices use, wherever the page takes one.
func TestPlacesByTheNamesOfNotices(t *testing.T) {
	p := newPage(t, newFake().config())
	for query, want := range map[string]string{"bed%2Fnear": "bed/near", "Bed,%20near": "bed/near", "BED/NEAR": "bed/near", "Crate": "crate/all"} {
		if h := decode[history](t, get(p, "/api/history?zone="+query).Body.Bytes()); h.Zone != want {
			t.Errorf("history of %s: got that of %q, want %s", query, h.Zone, want)
		}
	}
	for _, path := range []string{"/bins/BED", "/bins/bed", "/jot?bin=Bed", "/jot?bin=Bed,%20near", "/jot?bin=BED&zone=Near", "/hush?bin=Bed,%20near&condition=too-dry"} {
		if w := get(p, path); w.Code != http.StatusOK || !strings.Contains(w.Body.String(), "Bed") {
			t.Errorf("%s: status %d", path, w.Code)
		}
	}
	w := get(p, "/bins/shed")
	if wantAll(t, w.Body.String(), "no bin &#34;shed&#34;; there are cabinet, bed"); w.Code != http.StatusNotFound {
		t.Errorf("/bins/shed: status %d", w.Code)
	}
}

func TestAPIHistoryRefuses(t *testing.T) {
	p := newPage(t, newFake().config())
	for query, status := range map[string]int{
		"":                                     404,
		"zone=shed":                            404,
		"zone=bed/middle":                      404,
		"zone=bed":                             400, // which end?
		"zone=crate&quantity=battery":          400,
		"zone=crate&from=yesterday":            400,
		"zone=crate&from=0001-01-01T00:00:00Z": 400,
		"zone=crate&to=9999-01-01T00:00:00Z":   400,
		"zone=crate&from=2027-07-09T13:00:00Z&to=2027-07-09T12:00:00Z": 400,
		"zone=crate&step=often":                        400,
		"zone=crate&step=1s":                           400,
		"zone=crate&from=2010-01-01T00:00:00Z&step=1m": 400,
		"zone=crate&zone=barrel":                       400,
	} {
		w := get(p, "/api/history?"+query)
		if w.Code != status || decode[map[string]string](t, w.Body.Bytes())["error"] == "" {
			t.Errorf("%q: status %d, want %d: %s", query, w.Code, status, w.Body)
		}
	}
}

// TestAPIHistoryLongSpan: the whole of what may be asked has a step of its own
// that keeps it under the bound.
func TestAPIHistoryLongSpan(t *testing.T) {
	p := newPage(t, newFake().config())
	w := get(p, "/api/history?zone=crate&from=2000-01-01T00:00:00Z")
	if w.Code != http.StatusOK {
		t.Fatalf("status %d: %s", w.Code, w.Body)
	}
	if h := decode[history](t, w.Body.Bytes()); len(h.Samples) == 0 || len(h.Samples) > 5000 {
		t.Errorf("%d samples in steps of %s", len(h.Samples), h.Step)
	}
}

func TestAPIHelp(t *testing.T) {
	w := get(newPage(t, newFake().config()), "/api")
	wantAll(t, w.Body.String(), "/api/now", "/api/rounds", "/api/history", "POST /jot")
	if kind := w.Header().Get("Content-Type"); kind != "text/plain; charset=utf-8" {
		t.Errorf("it is %s", kind)
	}
}
