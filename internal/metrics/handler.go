package metrics

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"slices"
	"time"

	"github.com/klauspost/compress/gzhttp"
	"github.com/klauspost/compress/gzip"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/common/expfmt"
)

// atOnce bounds how many scrapes are served at a time: each looks at the whole farm.
const atOnce = 4

// formats are those that a scrape may be answered in, the one that is best first.
var formats = slices.DeleteFunc(expfmt.DefaultOpenMetricsAcceptedFormats(), func(f expfmt.Format) bool {
	return f.FormatType() != expfmt.TypeOpenMetrics && f.FormatType() != expfmt.TypeTextPlain
})

// A handler serves scrapes.
type handler struct {
	cfg     Config
	levels  []levelMetrics
	process *prometheus.Registry // what the program itself takes
	turns   chan struct{}
}

// NewHandler serves GET /metrics and GET /healthz.
func NewHandler(cfg Config) http.Handler {
	cfg.Log = cmp.Or(cfg.Log, slog.New(slog.DiscardHandler))
	h := &handler{cfg, levels(), prometheus.NewRegistry(), make(chan struct{}, atOnce)}
	if cfg.Process {
		h.process.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	}
	compressed, err := gzhttp.NewWrapper(gzhttp.CompressionLevel(gzip.BestSpeed), gzhttp.EnableZstd(false))
	if err != nil {
		panic("metrics: set up compression: " + err.Error()) // the options are good ones
	}
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", compressed(h))
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) { health(w, cfg) })
	return mux
}

// ServeHTTP answers a scrape in the format that it asks for.
func (h *handler) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	select {
	case h.turns <- struct{}{}:
		defer func() { <-h.turns }()
	default:
		http.Error(w, fmt.Sprintf("%d scrapes are being answered; come again", atOnce), http.StatusServiceUnavailable)
		return
	}
	format := expfmt.NegotiateAccept(r.Header, formats...)
	t := &text{open: format.FormatType() == expfmt.TypeOpenMetrics, families: map[string]*family{}}
	collect(h.cfg, h.levels, t)
	var all bytes.Buffer
	t.writeTo(&all)
	if err := h.writeProcess(&all, format); err != nil {
		h.cfg.Log.Error("metrics are incomplete", "error", err)
	}
	w.Header().Set("Content-Type", string(format))
	_, _ = w.Write(all.Bytes()) // the scraper has gone: nobody is left to tell
}

// writeProcess writes what the program takes, whose names come after ours, and ends the
// answer.
func (h *handler) writeProcess(w io.Writer, format expfmt.Format) error {
	families, err := h.process.Gather()
	to := expfmt.NewEncoder(w, format)
	for _, f := range families {
		err = errors.Join(err, to.Encode(f))
	}
	if end, ok := to.(expfmt.Closer); ok {
		err = errors.Join(err, end.Close())
	}
	return err
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
