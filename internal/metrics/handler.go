package metrics

import (
	"cmp"
	"fmt"
	"log/slog"
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	dto "github.com/prometheus/client_model/go"
)

// atOnce bounds how many scrapes are served at a time: each looks at the whole farm.
const atOnce = 4

// NewHandler serves GET /metrics and GET /healthz.
func NewHandler(cfg Config) http.Handler {
	cfg.Log = cmp.Or(cfg.Log, slog.New(slog.DiscardHandler))
	levels, registry := levels(), prometheus.NewRegistry()
	if cfg.Process {
		registry.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	}
	mux := http.NewServeMux()
	all := prometheus.GathererFunc(func() ([]*dto.MetricFamily, error) {
		process, err := registry.Gather()
		return append(collect(cfg, levels), process...), err
	})
	mux.Handle("GET /metrics", promhttp.HandlerFor(all, promhttp.HandlerOpts{
		EnableOpenMetrics:   true,
		ErrorHandling:       promhttp.ContinueOnError,
		ErrorLog:            complaint{cfg.Log},
		MaxRequestsInFlight: atOnce,
	}))
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) { health(w, cfg) })
	return mux
}

// complaint passes the library's complaints to the log.
type complaint struct{ log *slog.Logger }

func (c complaint) Println(v ...any) {
	c.log.Error("metrics are incomplete", "error", fmt.Sprint(v...))
}

// health answers 200 when the live loop answers and readings reach the journal,
// else 503 with the reason. A lost broker is not the daemon's failure: it waits, and
// raises a condition of its own.
func health(w http.ResponseWriter, cfg Config) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	v, ok := cfg.Look()
	switch {
	case !ok:
		http.Error(w, "the live loop does not answer", http.StatusServiceUnavailable)
	case v.Intake.Unwritten != nil:
		http.Error(w, "the journal has not been writable since "+v.Intake.Unwritten.UTC().Format(time.RFC3339), http.StatusServiceUnavailable)
	default:
		fmt.Fprintln(w, "alive")
	}
}
