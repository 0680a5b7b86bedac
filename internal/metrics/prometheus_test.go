package metrics_test

import (
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"binwatchd/internal/metrics"
	"binwatchd/internal/proctest"
)

func newLog(w io.Writer) *slog.Logger { return slog.New(slog.NewTextHandler(w, nil)) }

// TestPrometheusScrapesIt lets Debian's Prometheus scrape the handler, in the
// format that it prefers, and asks it for what it has found.
func TestPrometheusScrapesIt(t *testing.T) {
	var accepted atomic.Value
	h := metrics.NewHandler(whole(hillfoot()))
	site := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h.ServeHTTP(w, r)
		accepted.Store(w.Header().Get("Content-Type"))
	}))
	target := site.Listener.Addr().String()
	api := startPrometheus(t, target)
	await(t, api, fmt.Sprintf("up{instance=%q}", target), "1") // nobody else scrapes this address
	for query, want := range map[string]string{
		`binwatch_temperature_celsius{bin="bed",zone="near"}`:           "27.5",
		`binwatch_moisture_ratio{bin="bed",zone="far"}`:                 "0.44",
		`binwatch_condition{condition="heating",urgency="today"}`:       "1",
		`count(binwatch_condition{condition="silent"})`:                 "2",
		`binwatch_forecast_seconds{condition="heating"}`:                "21600",
		`binwatch_readings_total{probe="bed-t",outcome="believed"}`:     "40",
		`binwatch_notices_total{by="mail",outcome="told"}`:              "5",
		`binwatch_probe_last_reading_timestamp_seconds{probe="bed-t"}`:  "1746273510",
		`count(binwatch_temperature_celsius{bin="crate"}) or vector(0)`: "0",
		`binwatch_broker_connected`:                                     "1",
	} {
		await(t, api, query, want)
	}
	site.Close() // also waits for what is being served
	if kind := accepted.Load().(string); !strings.HasPrefix(kind, "application/openmetrics-text") {
		t.Errorf("Prometheus was served %q, want OpenMetrics", kind)
	}
}

// startPrometheus runs a Prometheus that scrapes target every fifth of a second, and
// gives the address of its queries.
func startPrometheus(t *testing.T, target string) (api string) {
	t.Helper()
	dir := t.TempDir()
	conf := filepath.Join(dir, "prometheus.yml")
	text := fmt.Sprintf("global: {scrape_interval: 200ms, scrape_timeout: 200ms}\nscrape_configs:\n- job_name: binwatchd\n  static_configs: [{targets: [%q]}]\n", target)
	if err := os.WriteFile(conf, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	addr := proctest.FreeAddr(t)
	p := proctest.Start(t, exec.Command("prometheus", "--config.file="+conf, "--storage.tsdb.path="+filepath.Join(dir, "data"), "--web.listen-address="+addr))
	t.Cleanup(func() {
		if t.Failed() {
			t.Logf("prometheus said:\n%s", p.Log)
		}
	})
	return "http://" + addr + "/api/v1/query?query="
}

// await asks until the query has the wanted value.
func await(t *testing.T, api, query, want string) {
	t.Helper()
	deadline, tick := time.After(60*time.Second), time.NewTicker(50*time.Millisecond)
	defer tick.Stop()
	got := ""
	for got != want {
		select {
		case <-deadline:
			t.Fatalf("%s: got %q, want %q", query, got, want)
		case <-tick.C:
			got = ask(api, query)
		}
	}
}

// ask gives the value of a query's one series, or what hindered it.
func ask(api, query string) string {
	resp, err := http.Get(api + url.QueryEscape(query))
	if err != nil {
		return err.Error()
	}
	defer resp.Body.Close()
	var answer struct {
		Data struct{ Result []struct{ Value [2]any } }
	}
	if err := json.NewDecoder(resp.Body).Decode(&answer); err != nil {
		return err.Error()
	}
	if n := len(answer.Data.Result); n != 1 {
		return fmt.Sprintf("%d series", n)
	}
	return fmt.Sprint(answer.Data.Result[0].Value[1])
}
