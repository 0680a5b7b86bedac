package main

import (
	"bufio"
	"cmp"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/http"
	"slices"
	"strings"
	"time"

	"binwatchd/internal/config"
	"binwatchd/internal/ingest"
	"binwatchd/internal/metrics"
	"binwatchd/internal/notify"
	"binwatchd/internal/page"
	"binwatchd/internal/page/auth"
	"binwatchd/internal/secret"
	"binwatchd/internal/watch"
)

// openWeb puts the page, the metrics and the health together on one address.
func (d *daemon) openWeb(_ context.Context, cfg *config.Config) error {
	if cfg.Page == nil {
		return nil
	}
	var o opener
	password := o.reveal("page password", cfg.Page.Password)
	if key := o.reveal("page calendar", cfg.Page.Calendar); key != "" {
		o.note("page calendar", page.CheckKey(key))
	}
	people := peopleOf(cfg, &o)
	if err := cmp.Or(o.err(), page.Check(cfg.Page.Listen, password != "" || hasLogin(people))); err != nil {
		return err
	}
	p, err := page.New(page.Config{
		Farm: d.farms.now, Look: d.often.look, Rounds: d.often.rounds, History: d.journal, Letters: d.journal,
		Ahead: d.often.comes, Calendar: d.often.calendar, CalendarKey: calendarKey(cfg.Page.Calendar),
		Reliability: d.often.reliability.Get, Act: d.act, Password: password, People: people, TLS: cfg.Page.TLS != nil, Now: d.now, Log: d.log,
	})
	if err != nil {
		return err
	}
	d.page = p
	mux := http.NewServeMux()
	mux.Handle("/", p)
	scraped := d.metricsHandler()
	for path, part := range map[string]page.Part{"GET /metrics": page.Metrics, "GET /healthz": page.Health} {
		if slices.Contains(cfg.Page.Open, part) {
			mux.Handle(path, scraped)
		} else {
			mux.Handle(path, p.Guard(scraped))
		}
	}
	d.web, err = listenWeb(cfg.Page, mux)
	return err
}

// calendarKey reads the key of the calendar's address anew each time, so that a changed
// file changes the address.
func calendarKey(s secret.Secret) func() string {
	return func() string {
		key, err := revealed(s)
		if err != nil {
			return ""
		}
		return key
	}
}

// metricsHandler shows the farm and the machinery to a scraper.
func (d *daemon) metricsHandler() http.Handler {
	mc := metrics.Config{
		Version: versionName(), Look: d.often.glance, Journal: d.journalFigures, Notices: d.noticeFigures, Log: d.log,
		Starts: metrics.Starts{Messages: watch.MessageOutcomes, Rejected: ingest.ProbeReasons}, Process: true,
	}
	if d.forward != nil {
		mc.Influx = d.influxFigures
	}
	return metrics.NewHandler(mc)
}

func (d *daemon) journalFigures() (metrics.Journal, bool) {
	s, ok := inTime(d.journal.Sizes)
	return metrics.Journal{
		FileBytes: s.FileBytes, LogBytes: s.LogBytes, FreeBytes: s.FreeBytes,
		Packed: s.Packed, Unpacked: s.Unpacked, Events: s.Events, Oldest: s.Oldest,
	}, ok
}

func (d *daemon) influxFigures() (metrics.Influx, bool) {
	f := d.forward.Figures()
	waiting, ok := inTime(func(ctx context.Context) (int64, error) { return d.journal.Behind(ctx, f.Reached) })
	return metrics.Influx{Waiting: waiting, Written: f.Written, Parked: f.Parked, Failed: f.Failed, At: f.At}, ok
}

func (d *daemon) noticeFigures() []metrics.Notices {
	var out []metrics.Notices
	for _, r := range d.sending.now().Recipients() {
		for _, outcome := range notify.Outcomes {
			if r.By != "rounds" { // which are owed to nobody
				out = append(out, metrics.Notices{By: r.By, Outcome: outcome})
			}
		}
	}
	for _, c := range d.sending.now().Counts() {
		kind, _, _ := strings.Cut(c.By, ":")
		out = append(out, metrics.Notices{By: kind, Outcome: c.Outcome, Count: c.N})
	}
	return out
}

// A webServer serves the page, the metrics and the health on one address.
type webServer struct {
	http *http.Server
	ln   net.Listener
}

// listenWeb binds at once, so that an address in use is an error here.
func listenWeb(p *page.Settings, h http.Handler) (*webServer, error) {
	ln, err := net.Listen("tcp", p.Listen)
	if err != nil {
		return nil, fmt.Errorf("serve the page: %w", err)
	}
	w := &webServer{ln: ln, http: &http.Server{
		Handler: h, ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 15 * time.Second,
		WriteTimeout: 30 * time.Second, IdleTimeout: 2 * time.Minute,
	}}
	if p.TLS != nil {
		pair, err := keyPair(p.TLS.Cert, p.TLS.Key)
		if err != nil {
			return nil, errors.Join(fmt.Errorf("read the page's certificate: %w", err), ln.Close())
		}
		w.ln = tls.NewListener(ln, &tls.Config{MinVersion: tls.VersionTLS12, Certificates: []tls.Certificate{pair}})
	}
	return w, nil
}

// run serves until ctx ends; answers under way have a few seconds to end.
func (w *webServer) run(ctx context.Context) error {
	done := make(chan error, 1)
	go func() { done <- w.http.Serve(w.ln) }()
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
	}
	end, cancel := context.WithTimeout(context.WithoutCancel(ctx), 3*time.Second)
	defer cancel()
	if err := w.http.Shutdown(end); err != nil {
		w.http.Close()
	}
	<-done
	return nil
}

// close frees the address of a server that never ran. Twice is harmless.
func (w *webServer) close() error {
	if err := w.ln.Close(); err != nil && !errors.Is(err, net.ErrClosed) {
		return fmt.Errorf("close the page: %w", err)
	}
	return nil
}

func hashPassword(_ context.Context, c *call) error {
	line, _ := bufio.NewReader(c.in).ReadString('\n') // a last line may lack its end
	password := strings.TrimRight(line, "\r\n")
	if password == "" {
		return errors.New("no password came in on standard input")
	}
	hash, err := auth.HashPassword(password)
	if err != nil {
		return err
	}
	fmt.Fprintln(c.out, hash)
	return nil
}
